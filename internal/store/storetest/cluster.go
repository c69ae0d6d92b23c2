package storetest

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
)

// serverOptions: nothing has to survive a crash, and nobody connects but
// through the socket in the cluster's own folder.
const serverOptions = "-c listen_addresses='' -c fsync=off -c synchronous_commit=off" +
	" -c deadlock_timeout=50ms -c full_page_writes=off -c shared_buffers=128MB -c max_wal_size=2GB"

// startServer makes a cluster in a temporary folder and serves it on a socket
// in there. A watchdog stops it and removes the folder when this process
// ends, in whatever way.
func startServer() (*pgServer, error) {
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
		return nil, err
	}
	for _, step := range [][]string{
		tool("initdb", "-U", "postgres", "-A", "trust", "-E", "UTF8", "--locale=C", "--no-sync"),
		tool("pg_ctl", "-s", "-w", "-l", filepath.Join(dir, "log"), "-o", "-k "+dir+" "+serverOptions, "start"),
	} {
		cmd := exec.Command(step[0], step[1:]...)
		cmd.Dir = dir
		if out, err := cmd.CombinedOutput(); err != nil {
			return nil, fmt.Errorf("%s: %w\n%s", strings.Join(step, " "), err, out)
		}
	}
	q := url.Values{"host": {dir}, "sslmode": {"disable"}}
	u := url.URL{Scheme: "postgres", User: url.User("postgres"), Path: "/postgres", RawQuery: q.Encode()}
	return &pgServer{url: &u, alive: alive}, nil
}

// debianBins is where Debian puts the servers, a folder per version.
var debianBins = "/usr/lib/postgresql/*/bin"

// pgBin returns the folder of initdb and pg_ctl: in PATH, or Debian's newest.
func pgBin() (string, error) {
	if path, err := exec.LookPath("initdb"); err == nil {
		return filepath.Dir(path), nil
	}
	found, err := filepath.Glob(filepath.Join(debianBins, "initdb"))
	if err != nil || len(found) == 0 {
		return "", errNoPostgres
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
	return nil, errors.New("to test on PostgreSQL as root there must be a user postgres or nobody to run it as")
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
