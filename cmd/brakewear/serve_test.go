package main

import (
	"bufio"
	"context"
	"io"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// serving runs serve with args until the test ends, and returns its address
// and a client that is signed in as the first account.
func serving(t *testing.T, args ...string) (string, *http.Client) {
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
	lines := bufio.NewScanner(r)
	next := func() string {
		if !lines.Scan() {
			t.Fatalf("serve: %v", lines.Err())
		}
		return lines.Text()
	}
	_, address, _ := strings.Cut(next(), "http://")
	address, _, _ = strings.Cut(address, "/ ")
	next() // says what the link is for
	link := next()
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	client := &http.Client{Jar: jar}
	useLink(t, client, link)
	return "http://" + address, client
}

// useLink chooses a password at a link, which signs client in.
func useLink(t *testing.T, client *http.Client, link string) {
	t.Helper()
	const password = "four plain words here"
	res, err := client.PostForm(link, url.Values{"password": {password}, "again": {password}})
	if err != nil {
		t.Fatal(err)
	}
	res.Body.Close()
	if res.StatusCode != http.StatusOK || res.Request.URL.Path != "/" { // where it leads to
		t.Fatalf("the first account's link: got %s at %s", res.Status, res.Request.URL.Path)
	}
}

// What a person asks for on the page is done while it serves.
func TestServeDoesScheduledWork(t *testing.T) {
	address, client := serving(t, "--database", filepath.Join(t.TempDir(), "own.db"))
	page := func() string {
		t.Helper()
		res, err := client.Get(address + "/work")
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
	res, err := client.PostForm(address+"/work", url.Values{"job": {"backup"}, "zone": {"UTC"}})
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
