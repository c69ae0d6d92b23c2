package main

import (
	"net/http"
	"net/url"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// Wrong passwords count for the address that a trusted proxy names, and for
// that of the peer where nobody is trusted.
func TestServeTrustsProxies(t *testing.T) {
	for name, c := range map[string]struct {
		args  []string
		other int // status of another forwarded address after the bound of the first
	}{
		"trusted":  {[]string{"--trusted-proxies", "127.0.0.0/8"}, http.StatusUnauthorized},
		"stranger": {[]string{"--trusted-proxies", "10.1.2.3"}, http.StatusTooManyRequests},
	} {
		t.Run(name, func(t *testing.T) {
			address, _ := serving(t, append([]string{"--database", filepath.Join(t.TempDir(), "own.db")}, c.args...)...)
			enter := func(from string) int {
				t.Helper()
				req, err := http.NewRequest(http.MethodPost, address+"/sign-in",
					strings.NewReader(url.Values{"email": {"ada@island.example"}, "password": {"wrong"}}.Encode()))
				if err != nil {
					t.Fatal(err)
				}
				req.Header.Set("Content-Type", "application/x-www-form-urlencoded")
				req.Header.Set("X-Forwarded-For", from)
				res, err := http.DefaultClient.Do(req)
				if err != nil {
					t.Fatal(err)
				}
				res.Body.Close()
				return res.StatusCode
			}
			got := 0
			for range 7 { // one past failuresByPair of the sign-in
				got = enter("203.0.113.9")
			}
			if got != http.StatusTooManyRequests {
				t.Errorf("the seventh wrong password: got %d, want 429", got)
			}
			if got := enter("203.0.113.10"); got != c.other {
				t.Errorf("from another address: got %d, want %d", got, c.other)
			}
		})
	}
	if _, _, err := command(t, "serve", "--database", filepath.Join(t.TempDir(), "own.db"), "--listen", "127.0.0.1:0", "--trusted-proxies", "0.0.0.0/0"); exitCode(err) != exitUsage {
		t.Errorf("everybody trusted: got %v, want a usage error", err)
	}
}

// The bounds of what may be sent are those of the flags.
func TestServeKeepsPace(t *testing.T) {
	address, client := serving(t, "--database", filepath.Join(t.TempDir(), "own.db"), "--changes-per-minute", "2")
	var got []int
	for range 3 {
		res, err := client.PostForm(address+"/account/sessions", nil)
		if err != nil {
			t.Fatal(err)
		}
		res.Body.Close()
		got = append(got, res.StatusCode)
	}
	if want := []int{200, 200, 429}; !slices.Equal(got, want) { // 200: where it leads to
		t.Errorf("got %v, want %v", got, want)
	}
	if _, _, err := command(t, "serve", "--database", filepath.Join(t.TempDir(), "own.db"), "--listen", "127.0.0.1:0", "--files-per-minute", "-1"); exitCode(err) != exitUsage {
		t.Errorf("a bound below none: got %v, want a usage error", err)
	}
}
