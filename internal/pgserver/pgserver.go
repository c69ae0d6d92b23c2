// Package pgserver starts a throw-away PostgreSQL server, for tests and
// benchmarks. It never touches a server that is there already.
package pgserver

import (
	"errors"
	"fmt"
	"net/url"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"time"
)

// Options of the server. Nobody connects but through the socket in the
// cluster's own folder.
const (
	// Fast is for tests: nothing has to survive a crash, and no plan changes in
	// the middle because statistics came, which takes a slow machine.
	Fast = "-c fsync=off -c synchronous_commit=off -c full_page_writes=off -c autovacuum=off" +
		" -c deadlock_timeout=50ms -c shared_buffers=128MB -c max_wal_size=2GB"
	// Usual is for measuring: as a small server is set up, and as safe.
	Usual = "-c shared_buffers=512MB -c max_wal_size=4GB"
)

// ErrNone means that PostgreSQL is not installed.
var ErrNone = errors.New("no PostgreSQL server is installed")

// Server is a running server.
type Server struct {
	URL   *url.URL                                   // of its database to connect to first, as its superuser
	bin   string                                     // folder of the server's programs
	tool  func(name string, args ...string) []string // a command on the cluster
	alive *os.File                                   // see watch
}

// Create makes a database and returns its URL.
func (s *Server) Create(name string) (string, error) { return s.create(name) }

// Copy makes a database with all that is in another one, which nobody may be
// connected to, and returns its URL.
func (s *Server) Copy(name, from string) (string, error) { return s.create(name, "-T", from) }

func (s *Server) create(name string, options ...string) (string, error) {
	cmd := s.client("createdb", append(options, name)...)
	if out, err := cmd.CombinedOutput(); err != nil {
		return "", fmt.Errorf("createdb %s: %w\n%s", name, err, out)
	}
	u := *s.URL
	u.Path = "/" + name
	return u.String(), nil
}

// Run runs SQL by psql, statement by statement, and returns what it prints:
// fields divided by |.
func (s *Server) Run(name, sql string) (string, error) {
	cmd := s.client("psql", "-X", "-q", "-A", "-t", "-v", "ON_ERROR_STOP=1", "-d", name)
	cmd.Stdin = strings.NewReader(sql)
	var out, said strings.Builder
	cmd.Stdout, cmd.Stderr = &out, &said
	if err := cmd.Run(); err != nil {
		return "", fmt.Errorf("psql: %w\n%s", err, said.String())
	}
	return out.String(), nil
}

// client is a client program of the server's own version, on it.
func (s *Server) client(name string, args ...string) *exec.Cmd {
	program := filepath.Join(s.bin, name)
	if _, err := os.Stat(program); err != nil {
		program = name // initdb may be in PATH by a link
	}
	return exec.Command(program, append([]string{"-h", s.URL.Query().Get("host"), "-U", s.URL.User.Username()}, args...)...)
}

// CPU returns how much processor time the connections that have ended took, and
// whether that can be known here: only Linux tells.
func (s *Server) CPU() (time.Duration, bool) {
	pid, err := s.pid()
	if err != nil {
		return 0, false
	}
	stat, err := os.ReadFile(filepath.Join("/proc", strconv.Itoa(pid), "stat"))
	if err != nil {
		return 0, false
	}
	// The name, in brackets, may hold anything; cutime and cstime are the 14th
	// and 15th field after it (proc(5)), in hundredths of a second.
	_, rest, _ := strings.Cut(string(stat), ") ")
	fields := strings.Fields(rest)
	if len(fields) < 15 {
		return 0, false
	}
	ticks := 0
	for _, f := range fields[13:15] {
		n, err := strconv.Atoi(f)
		if err != nil {
			return 0, false
		}
		ticks += n
	}
	return time.Duration(ticks) * 10 * time.Millisecond, true
}

// Restart ends the server and starts it again: as an operator does, or by a crash.
func (s *Server) Restart(crash bool) error {
	mode := "fast"
	if crash {
		mode = "immediate"
	}
	dir := s.URL.Query().Get("host")
	words := s.tool("pg_ctl", "-s", "-w", "-m", mode, "-l", filepath.Join(dir, "log"), "restart")
	cmd := exec.Command(words[0], words[1:]...)
	cmd.Dir = dir
	if out, err := cmd.CombinedOutput(); err != nil {
		return fmt.Errorf("%s: %w\n%s", strings.Join(words, " "), err, out)
	}
	return nil
}

// Pause stops all processes of the server, which nobody is told of, until Resume.
func (s *Server) Pause() error { return s.signal(syscall.SIGSTOP) }

// Resume ends Pause.
func (s *Server) Resume() error { return s.signal(syscall.SIGCONT) }

// signal sends a signal to the server's first process and then to those that
// it has started; only Linux tells which.
func (s *Server) signal(sig syscall.Signal) error {
	first, err := s.pid()
	if err != nil {
		return err
	}
	if err := syscall.Kill(first, sig); err != nil {
		return err
	}
	children, err := os.ReadFile(fmt.Sprintf("/proc/%d/task/%d/children", first, first))
	if err != nil {
		return err
	}
	for _, word := range strings.Fields(string(children)) {
		pid, err := strconv.Atoi(word)
		if err != nil {
			return err
		}
		if err := syscall.Kill(pid, sig); err != nil && !errors.Is(err, syscall.ESRCH) { // it has ended
			return err
		}
	}
	return nil
}

// pid returns the number of the server's first process.
func (s *Server) pid() (int, error) {
	text, err := os.ReadFile(filepath.Join(s.URL.Query().Get("host"), "data", "postmaster.pid"))
	if err != nil {
		return 0, err
	}
	first, _, _ := strings.Cut(string(text), "\n")
	return strconv.Atoi(first)
}

// Stop ends the server and removes its folder, soon.
func (s *Server) Stop() error { return s.alive.Close() }

// Start makes a cluster in a temporary folder and serves it, with the options, on
// a socket in there. A watchdog stops it and removes the folder after Stop, when
// the Server is no longer reachable, or when this process ends, in whatever way.
func Start(options string) (*Server, error) {
	bin, err := pgBin()
	if err != nil {
		return nil, err
	}
	// Not under TMPDIR: a socket's path is limited to 107 bytes, and the
	// server's user must be able to get there.
	dir, err := os.MkdirTemp("/tmp", "brakewear-pg-")
	if err != nil {
		return nil, err
	}
	as, err := unprivileged(dir)
	if err != nil {
		return nil, errors.Join(err, os.RemoveAll(dir))
	}
	data := filepath.Join(dir, "data")
	tool := func(name string, args ...string) []string {
		return slices.Concat(as, []string{filepath.Join(bin, name), "-D", data}, args)
	}
	alive, err := watch(tool("pg_ctl", "-s", "-m", "immediate", "stop"), dir)
	if err != nil {
		return nil, errors.Join(err, os.RemoveAll(dir))
	}
	for _, step := range [][]string{
		tool("initdb", "-U", "postgres", "-A", "trust", "-E", "UTF8", "--locale=C", "--no-sync"),
		tool("pg_ctl", "-s", "-w", "-l", filepath.Join(dir, "log"), "-o", "-c listen_addresses='' -k "+dir+" "+options, "start"),
	} {
		cmd := exec.Command(step[0], step[1:]...)
		cmd.Dir = dir
		if out, err := cmd.CombinedOutput(); err != nil {
			return nil, errors.Join(fmt.Errorf("%s: %w\n%s", strings.Join(step, " "), err, out), alive.Close())
		}
	}
	q := url.Values{"host": {dir}, "sslmode": {"disable"}}
	u := url.URL{Scheme: "postgres", User: url.User("postgres"), Path: "/postgres", RawQuery: q.Encode()}
	return &Server{URL: &u, bin: bin, tool: tool, alive: alive}, nil
}

// DebianBins is where servers are looked for beside PATH: Debian's folders, one
// per version.
var DebianBins = "/usr/lib/postgresql/*/bin"

// pgBin returns the folder of initdb and pg_ctl: in PATH, or Debian's newest.
func pgBin() (string, error) {
	if path, err := exec.LookPath("initdb"); err == nil {
		return filepath.Dir(path), nil
	}
	found, err := filepath.Glob(filepath.Join(DebianBins, "initdb"))
	if err != nil || len(found) == 0 {
		return "", ErrNone
	}
	version := func(path string) int {
		dir := filepath.Base(filepath.Dir(filepath.Dir(path)))
		n, _ := strconv.Atoi(dir) // of 9.6, too old anyway: 0
		return n
	}
	newest := slices.MaxFunc(found, func(a, b string) int { return version(a) - version(b) })
	return filepath.Dir(newest), nil
}

// unprivileged returns the words to put before a command so that it does not
// run as root, which PostgreSQL refuses, and gives dir to that user.
func unprivileged(dir string) ([]string, error) {
	if os.Geteuid() != 0 {
		return nil, nil
	}
	for _, name := range []string{"postgres", "nobody"} {
		u, err := user.Lookup(name)
		if err != nil {
			continue
		}
		uid, _ := strconv.Atoi(u.Uid)
		gid, _ := strconv.Atoi(u.Gid)
		if err := os.Chown(dir, uid, gid); err != nil {
			return nil, err
		}
		return []string{"runuser", "-u", name, "--"}, nil
	}
	return nil, errors.New("to run PostgreSQL as root there must be a user postgres or nobody to run it as")
}

// watch starts a process that runs stop and removes dir once alive is closed,
// which happens at the latest when this process ends, even if it is killed.
func watch(stop []string, dir string) (alive *os.File, err error) {
	r, w, err := os.Pipe()
	if err != nil {
		return nil, err
	}
	defer r.Close()
	cmd := exec.Command("sh", slices.Concat([]string{"-c", `read _; dir=$1; shift; "$@"; rm -rf "$dir"`, "watch", dir}, stop)...)
	cmd.Dir = "/"
	cmd.Stdin = r
	cmd.SysProcAttr = &syscall.SysProcAttr{Setsid: true} // an interrupt from the keyboard is not for it
	return w, cmd.Start()
}
