package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"brakewear/internal/auth"
	"brakewear/internal/pgserver"
	"brakewear/internal/store/storetest"
	"brakewear/internal/web"
)

// newerStep is a step of the schema that a newer program brings. It fails when it
// is done twice.
const newerStep = `-- +goose Up
alter table vehicles add column newer_build text not null default '';
create index newer_build on thickness_readings (day, mm);
`

const newerVersion = 90001

// newerBuild builds the program with newerStep and returns its file.
func newerBuild(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	step, err := filepath.Abs(fmt.Sprintf("../../migrations/postgres/%d_newer_build.sql", newerVersion))
	if err != nil {
		t.Fatal(err)
	}
	overlay, err := json.Marshal(map[string]map[string]string{"Replace": {step: write(t, "step.sql", newerStep)}})
	if err != nil {
		t.Fatal(err)
	}
	program := filepath.Join(dir, "newer")
	cmd := exec.CommandContext(t.Context(), "go", "build", "-overlay", write(t, "overlay.json", string(overlay)), "-o", program, ".")
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	return program
}

// process is one that serves.
type process struct {
	cmd     *exec.Cmd
	out     lockedText
	address string
}

// launch starts a program that serves a database: this one, or that of a
// file.
func launch(t *testing.T, program, dsn string) *process {
	t.Helper()
	p := &process{cmd: exec.CommandContext(t.Context(), os.Args[0])}
	p.cmd.Args[0] = "brakewear" // see TestMain
	if program != "" {
		p.cmd = exec.CommandContext(t.Context(), program)
	}
	p.cmd.Args = append(p.cmd.Args, "serve", "--listen", "127.0.0.1:0", "--files-per-minute", "0", "--changes-per-minute", "0")
	p.cmd.Env = append(os.Environ(), "DATABASE_URL="+dsn)
	p.cmd.Stdout, p.cmd.Stderr = &p.out, &p.out
	if err := p.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	return p
}

var servingOn = regexp.MustCompile(`Serving on (http://\S+)/ `)

// ready waits until p serves.
func (p *process) ready(t *testing.T) {
	t.Helper()
	await(t, func() bool {
		m := p.out.find(servingOn)
		if m != nil {
			p.address = m[1]
		}
		return m != nil
	})
}

// balancer sends requests to one process after the other.
type balancer struct {
	client *http.Client
	at     atomic.Pointer[[]string]
	turn   atomic.Int64
}

func (b *balancer) to(ps ...*process) {
	addresses := []string{}
	for _, p := range ps {
		addresses = append(addresses, p.address)
	}
	b.at.Store(&addresses)
}

// sendUntilDone sends r until it is done, and returns how often it failed, by
// the death of its process or an answer that says when to come back.
func (b *balancer) sendUntilDone(t *testing.T, r request) (failed int) {
	for begun := time.Now(); ; failed++ {
		addresses := *b.at.Load()
		a := sendTo(b.client, addresses[int(b.turn.Add(1))%len(addresses)], r)
		switch {
		case a.well():
			return failed
		case a.err == nil && !a.later(), time.Since(begun) > time.Minute:
			t.Errorf("%s: %v", r.path, a)
			return failed
		}
		time.Sleep(20 * time.Millisecond)
	}
}

// Three processes serve one PostgreSQL under load; one is killed by SIGKILL, and
// two are replaced by a newer build at the same time, which brings a newer schema.
// No request fails that sending it again does not heal, nothing is there twice,
// the old process goes on, and no older one starts any more.
func TestFaultNewerBuild(t *testing.T) {
	const writers, readers = 4, 2
	server, err := faultServer()
	if errors.Is(err, pgserver.ErrNone) {
		t.Skip(err)
	}
	if err != nil {
		t.Fatal(err)
	}
	newer := newerBuild(t)
	s := &service{t: t, server: server}
	if s.dsn, err = server.Create(strings.ToLower(t.Name())); err != nil {
		t.Fatal(err)
	}
	old := []*process{launch(t, "", s.dsn), launch(t, "", s.dsn), launch(t, "", s.dsn)}
	for _, p := range old {
		p.ready(t)
	}
	b := &balancer{client: signedIn(t, s.dsn, old[0].address)}
	b.to(old...)
	s.address, s.client = old[0].address, b.client
	s.vehicles(writers)

	var wg sync.WaitGroup
	var stop atomic.Bool
	var sent, failed atomic.Int64
	for cart := range writers {
		wg.Go(func() {
			for day := 1; !stop.Load(); day++ {
				failed.Add(int64(b.sendUntilDone(t, inspection(1+cart, day))))
				sent.Add(1)
			}
		})
	}
	for range readers {
		wg.Go(func() {
			for !stop.Load() {
				failed.Add(int64(b.sendUntilDone(t, request{path: "/"})))
			}
		})
	}
	until := func(more int64) {
		t.Helper()
		have := sent.Load()
		await(t, func() bool { return sent.Load() >= have+more })
	}
	until(6)
	old[0].cmd.Process.Kill()
	until(6)
	if err := old[1].cmd.Process.Signal(syscall.SIGTERM); err != nil {
		t.Error(err)
	}
	young := []*process{launch(t, newer, s.dsn), launch(t, newer, s.dsn)}
	for _, p := range young {
		p.ready(t)
	}
	b.to(young[0], young[1], old[2])
	until(10)
	stop.Store(true)
	wg.Wait()

	if err := old[0].cmd.Wait(); err == nil {
		t.Error("the first was not killed")
	}
	if err := old[1].cmd.Wait(); err != nil {
		t.Errorf("the second, told to end: %v", err)
	}
	s.whole(int(sent.Load()))
	if failed.Load() == 0 {
		t.Error("no request failed; the test shows nothing")
	}
	t.Attr("done", fmt.Sprint(sent.Load()))
	t.Attr("sent-again", fmt.Sprint(failed.Load()))
	if got := s.rows("select count(*) n from goose_db_version where version_id = 90001"); got[0] != "n=1 " {
		t.Errorf("the newer step was done: got %v, want once", got)
	}
	for _, p := range []*process{young[0], young[1], old[2]} { // each by itself
		for _, r := range []request{{path: "/"}, {path: "/vehicles/1"}, {path: "/api/v1/due"}} {
			if a := sendTo(b.client, p.address, r); !a.well() {
				t.Errorf("%s at the end: %v", r.path, a)
			}
		}
	}

	late := launch(t, "", s.dsn)
	defer time.AfterFunc(30*time.Second, func() { late.cmd.Process.Kill() }).Stop()
	if err := late.cmd.Wait(); err == nil || late.out.find(regexp.MustCompile(`brakewear: .*schema version 90001.*use a newer program`)) == nil {
		t.Errorf("an older program: got %v; want it to say that it is too old:\n%s", err, late.out.b.String())
	}
	for _, p := range []*process{young[0], young[1], old[2]} {
		if err := p.cmd.Process.Signal(syscall.SIGTERM); err != nil {
			t.Error(err)
		}
		if err := p.cmd.Wait(); err != nil {
			t.Errorf("told to end: %v", err)
		}
	}
}

// signedIn returns a client with a session of an admin, for every process at
// the host of address.
func signedIn(t *testing.T, dsn, address string) *http.Client {
	t.Helper()
	secret, err := storetest.SignIn(t.Context(), storetest.MustOpen(t, dsn), "ada", auth.Grant{Role: auth.Admin})
	if err != nil {
		t.Fatal(err)
	}
	u, err := url.Parse(address)
	if err != nil {
		t.Fatal(err)
	}
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	jar.SetCookies(u, []*http.Cookie{{Name: web.SessionCookie, Value: secret}}) // cookies know no ports (RFC 6265, 8.5)
	return &http.Client{Jar: jar, Timeout: time.Minute}
}
