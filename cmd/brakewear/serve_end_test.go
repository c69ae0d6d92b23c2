package main

import (
	"context"
	"io"
	"net"
	"net/http"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"
)

// The service is told to end in the midst of a request. That one gets its
// answer, and new ones find nobody.
func TestFaultEndedInRequest(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	begun, finish := make(chan struct{}), make(chan struct{})
	h := http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.URL.Path != "/slow" {
			return
		}
		close(begun)
		<-finish
		if err := r.Context().Err(); err != nil {
			t.Errorf("the request was cut short: %v", err)
		}
		io.WriteString(w, "all of it")
	})
	const delay = 200 * time.Millisecond
	ctx, stop := context.WithCancel(t.Context())
	told := make(chan time.Time, 1)
	ended := make(chan error, 1)
	go func() { ended <- serveUntil(ctx, l, h, func() { told <- time.Now() }, delay) }()

	address := "http://" + l.Addr().String()
	type answer struct {
		body string
		err  error
	}
	slow := make(chan answer, 1)
	go func() {
		res, err := http.Get(address + "/slow")
		if err != nil {
			slow <- answer{err: err}
			return
		}
		defer res.Body.Close()
		b, err := io.ReadAll(res.Body)
		slow <- answer{string(b), err}
	}()
	<-begun
	stop()
	at := <-told
	// A connection of its own each time, as a new caller has.
	knock := &http.Client{Transport: &http.Transport{DisableKeepAlives: true}}
	res, err := knock.Get(address)
	if err != nil {
		t.Fatalf("while it still serves: %v", err)
	}
	res.Body.Close()
	await(t, func() bool {
		res, err := knock.Get(address)
		if err == nil {
			res.Body.Close()
		}
		return err != nil
	})
	if got := time.Since(at); got < delay {
		t.Errorf("it took no more %v after it was told, want %v", got, delay)
	}
	select {
	case err := <-ended:
		t.Fatalf("it ended in the midst of a request: %v", err)
	default:
	}
	close(finish)
	if got := <-slow; got.err != nil || got.body != "all of it" {
		t.Errorf("the request in flight: got %q, %v", got.body, got.err)
	}
	if err := <-ended; err != nil {
		t.Errorf("the end: %v", err)
	}
}

// lockedText collects what a program writes while a test reads it.
type lockedText struct {
	mu sync.Mutex
	b  strings.Builder
}

func (l *lockedText) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *lockedText) find(re *regexp.Regexp) []string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return re.FindStringSubmatch(l.b.String())
}

// TestServeIsMonitored reads the monitoring's own address while the program
// serves, and while it ends.
func TestServeIsMonitored(t *testing.T) {
	var out, log lockedText
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() {
		ended <- run(ctx, []string{"serve", "--listen", "127.0.0.1:0", "--monitor-listen", "127.0.0.1:0", "--shutdown-delay", "3s",
			"--database", filepath.Join(t.TempDir(), "own.db")}, func(string) string { return "" }, &out, &log)
	}()
	defer func() {
		stop()
		if err := <-ended; err != nil {
			t.Errorf("serve: %v", err)
		}
	}()
	var pages, monitor string
	await(t, func() bool {
		p, m := out.find(servingOn), log.find(regexp.MustCompile(`address=(http://\S+)/metrics`))
		if p == nil || m == nil {
			return false
		}
		pages, monitor = p[1], m[1]
		return true
	})
	get := func(address string) (status int, body string) {
		t.Helper()
		res, err := http.Get(address)
		if err != nil {
			t.Fatal(err)
		}
		defer res.Body.Close()
		b, err := io.ReadAll(res.Body)
		if err != nil {
			t.Fatal(err)
		}
		return res.StatusCode, string(b)
	}
	get(pages + "/nowhere")
	for _, address := range []string{pages, monitor} {
		for _, path := range []string{"/healthz", "/readyz"} {
			if status, body := get(address + path); status != http.StatusOK {
				t.Errorf("%s: got %d %q", path, status, body)
			}
		}
	}
	if status, body := get(monitor + "/metrics"); status != http.StatusOK ||
		!strings.Contains(body, `brakewear_requests_total{method="GET",route="none",status="4`) {
		t.Errorf("figures: got %d, want the request that led nowhere: %s", status, body)
	}
	if status, _ := get(pages + "/metrics"); status == http.StatusOK {
		t.Errorf("figures are among the pages")
	}
	stop()
	await(t, func() bool { status, _ := get(pages + "/readyz"); return status == http.StatusServiceUnavailable })
	if status, _ := get(pages + "/healthz"); status != http.StatusOK {
		t.Errorf("alive while it ends: got %d", status)
	}
}
