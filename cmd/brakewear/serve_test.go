package main

import (
	"bufio"
	"context"
	"io"
	"net/http"
	"net/url"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// serving runs serve with args until the test ends, and returns its address.
func serving(t *testing.T, args ...string) string {
	t.Helper()
	ctx, stop := context.WithCancel(t.Context())
	r, w := io.Pipe()
	done := make(chan error, 1)
	go func() {
		err := run(ctx, append([]string{"serve", "--listen", "127.0.0.1:0"}, args...), func(string) string { return "" }, w, io.Discard)
		w.CloseWithError(io.EOF)
		done <- err
	}()
	t.Cleanup(func() {
		stop()
		if err := <-done; err != nil {
			t.Errorf("serve: %v", err)
		}
	})
	line, err := bufio.NewReader(r).ReadString('\n')
	if err != nil {
		t.Fatalf("serve: %v", err)
	}
	_, address, _ := strings.Cut(line, "http://")
	address, _, _ = strings.Cut(address, "/ ")
	return "http://" + address
}

// What a person asks for on the page is done while it serves.
func TestServeDoesScheduledWork(t *testing.T) {
	address := serving(t, "--database", filepath.Join(t.TempDir(), "own.db"))
	page := func() string {
		t.Helper()
		res, err := http.Get(address + "/work")
		if err != nil {
			t.Fatal(err)
		}
		defer res.Body.Close()
		body, err := io.ReadAll(res.Body)
		if err != nil || res.StatusCode != http.StatusOK {
			t.Fatalf("got %s, %v: %s", res.Status, err, body)
		}
		return string(body)
	}
	// The clock must have seen the job first.
	await(t, func() bool { return strings.Contains(page(), "Run now: backup") })
	res, err := http.PostForm(address+"/work", url.Values{"job": {"backup"}, "zone": {"UTC"}})
	if err != nil {
		t.Fatal(err)
	}
	res.Body.Close()
	if res.StatusCode != http.StatusOK { // of the page that it leads to
		t.Fatalf("asked to run: got %s", res.Status)
	}
	await(t, func() bool { return strings.Contains(page(), "Wrote brakewear-") })
}

// await waits until what is to happen has happened.
func await(t *testing.T, happened func() bool) {
	t.Helper()
	for end := time.Now().Add(time.Minute); time.Now().Before(end); time.Sleep(50 * time.Millisecond) {
		if happened() {
			return
		}
	}
	t.Fatal("it does not happen")
}
