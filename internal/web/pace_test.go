package web

import (
	"context"
	"fmt"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/gin-gonic/gin"
	"pgregory.net/rapid"

	"brakewear/internal/auth"
)

// somebody knows the sessions and tokens of accounts by their number.
type somebody struct{}

func (somebody) who(secret string, session int64) (auth.Who, error) {
	account, err := strconv.ParseInt(secret, 10, 64)
	return auth.Who{Account: account, Session: session, Grants: []auth.Grant{{Role: auth.Admin}}}, err
}

func (s somebody) SessionOf(_ context.Context, secret string) (auth.Who, error) {
	return s.who(secret, 7)
}

func (s somebody) TokenOf(_ context.Context, secret string) (auth.Who, error) {
	return s.who(secret, 0)
}

// sender sends requests to all routes under a pace, on a clock of its own.
type sender struct {
	h   http.Handler
	now time.Time
}

func newSender(p Pace) *sender {
	s := &sender{now: time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)}
	r := NewEngine(slog.New(slog.DiscardHandler))
	r.Use(Guard(somebody{}), p.Keep(func() time.Time { return s.now }))
	for _, rule := range Routes {
		r.Handle(rule.Method, rule.Path, func(c *gin.Context) { c.String(http.StatusOK, "taken") })
	}
	s.h = r
	return s
}

// send sends one request; from is an address, and who a session's account or,
// with a T before it, a token's.
func (s *sender) send(method, path, from, who string) *httptest.ResponseRecorder {
	r := httptest.NewRequest(method, path, nil)
	r.RemoteAddr = from + ":1"
	if token, ok := strings.CutPrefix(who, "T"); ok {
		r.Header.Set("Authorization", "Bearer "+token)
	} else {
		r.AddCookie(&http.Cookie{Name: SessionCookie, Value: who})
	}
	w := httptest.NewRecorder()
	s.h.ServeHTTP(w, r)
	return w
}

// taken sends n and returns how many were taken.
func (s *sender) taken(n int, method, path, from, who string) (taken int) {
	for range n {
		if s.send(method, path, from, who).Code == http.StatusOK {
			taken++
		}
	}
	return taken
}

func TestPace(t *testing.T) {
	s := newSender(Pace{Files: 60, Changes: 600})
	check := func(what string, got, want int) {
		t.Helper()
		if got != want {
			t.Errorf("%s: %d taken, want %d", what, got, want)
		}
	}
	check("a minute's files at once", s.taken(100, "POST", "/readings", "192.0.2.1", "1"), 60)
	check("by another route", s.taken(10, "POST", "/api/v1/uploads", "192.0.2.1", "1"), 0)
	check("from another address", s.taken(10, "POST", "/readings", "192.0.2.2", "1"), 0)
	check("by a token of the account", s.taken(100, "POST", "/api/v1/files", "192.0.2.1", "T1"), 60)
	check("by another account", s.taken(5, "POST", "/readings", "192.0.2.1", "2"), 5)
	check("other changes", s.taken(700, "POST", "/plan/propose", "192.0.2.1", "1"), 600)
	check("pages", s.taken(700, "GET", "/", "192.0.2.1", "1"), 700)

	refused := s.send("POST", "/api/v1/checks", "192.0.2.1", "T1")
	if got := refused.Header().Get("Retry-After"); refused.Code != http.StatusTooManyRequests || got != "2" { // at least the second it takes
		t.Errorf("got %d, Retry-After %q; want 429 and 2", refused.Code, got)
	}
	if !strings.Contains(refused.Body.String(), "Too many files were sent within a minute. Nothing of this one was taken: send it again in 2 s.") {
		t.Errorf("got %s", refused.Body)
	}
	s.now = s.now.Add(2 * time.Second)
	check("two seconds later", s.taken(10, "POST", "/readings", "192.0.2.1", "1"), 2)
	s.now = s.now.Add(time.Hour)
	check("an hour later", s.taken(100, "POST", "/readings", "192.0.2.1", "1"), 60)
}

func TestPaceOfAddress(t *testing.T) {
	s := newSender(Pace{Files: 60, Changes: 600})
	got := 0
	for account := range 20 {
		got += s.taken(60, "POST", "/readings", "192.0.2.1", fmt.Sprint(account))
	}
	if got != 600 {
		t.Errorf("files by twenty accounts from one address: %d taken, want 600", got)
	}
	if got := s.taken(60, "POST", "/readings", "192.0.2.2", "99"); got != 60 {
		t.Errorf("from another address: %d taken, want 60", got)
	}
	if got := s.taken(7000, "POST", "/sign-in", "192.0.2.1", ""); got != 6000 {
		t.Errorf("by nobody: %d taken, want 6000", got)
	}
	if got := s.taken(10, "POST", "/readings", "[2001:db8::1]", "98") + s.taken(10, "POST", "/sign-in", "[2001:db8::2]", ""); got != 20 {
		t.Errorf("by IPv6: %d taken, want 20", got)
	}
}

// What a refused account sends is not held against its workshop.
func TestPaceSparesOthers(t *testing.T) {
	s := newSender(Pace{Files: 60, Changes: 600})
	s.taken(2000, "POST", "/readings", "192.0.2.1", "1")
	if got := s.taken(60, "POST", "/readings", "192.0.2.1", "2"); got != 60 {
		t.Errorf("another account of the address: %d taken, want 60", got)
	}
}

// Twenty phones that come back to a network at once, each with a morning's
// readings, are all heard.
func TestPaceOfPhones(t *testing.T) {
	s := newSender(Pace{Files: FilesPerMinute, Changes: ChangesPerMinute})
	var wg sync.WaitGroup
	for phone := range 20 {
		wg.Go(func() {
			if got := s.taken(40, "POST", "/vehicles/1/measure", "192.0.2.1", fmt.Sprint(phone+1)); got != 40 {
				t.Errorf("phone %d: %d taken, want 40", phone, got)
			}
		})
	}
	wg.Wait()
}

func TestPaceNone(t *testing.T) {
	s := newSender(Pace{})
	if got := s.taken(1000, "POST", "/readings", "192.0.2.1", "1"); got != 1000 {
		t.Errorf("without a bound: %d taken, want 1000", got)
	}
}

// Every route that changes something is under a bound.
func TestPaceOfRoutes(t *testing.T) {
	p := Pace{Files: 1, Changes: 2}
	for _, r := range Routes {
		n, _ := p.of(r)
		want := 2
		switch {
		case r.Method == "GET" || r.Method == "HEAD":
			want = 0
		case takesFile[r.Method+" "+r.Path]:
			want = 1
		}
		if n != want {
			t.Errorf("%s %s: got %d, want %d", r.Method, r.Path, n, want)
		}
	}
	for route := range takesFile {
		method, path, _ := strings.Cut(route, " ")
		if _, ok := RuleOf(method, path); !ok {
			t.Errorf("%s: there is no such route", route)
		}
	}
}

// Memory stays bounded, whoever comes.
func TestDuesAreBounded(t *testing.T) {
	var d dues
	now := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
	for i := range 5 * maxDues {
		d.add(now, fmt.Sprint("from ", i), time.Second, time.Minute)
		d.add(now, "who never rests", 0, time.Minute)
		if n := len(d.late) + len(d.before); n > maxDues {
			t.Fatalf("%d are remembered, want at most %d", n, maxDues)
		}
	}
	if _, late := d.late["who never rests"]; !late {
		t.Error("who comes all the time is forgotten")
	}
}

// However it comes, any stretch of time takes no more than its length and the
// span hold; and what waits as long as it is told is taken.
func TestDuesHold(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var d dues
		start := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
		now := start
		interval := time.Duration(rapid.IntRange(1, 20).Draw(t, "interval")) * time.Second
		const span = time.Minute
		var taken []time.Time
		for range rapid.IntRange(1, 100).Draw(t, "requests") {
			now = now.Add(time.Duration(rapid.IntRange(0, 30).Draw(t, "pause")) * time.Second)
			wait := d.add(now, "key", interval, span)
			if wait > 0 {
				now = now.Add(wait)
				if again := d.add(now, "key", interval, span); again != 0 {
					t.Fatalf("after waiting %v: told to wait %v more", wait, again)
				}
			}
			taken = append(taken, now)
			for i, from := range taken {
				if n, most := len(taken)-i, int((now.Sub(from)+span)/interval); n > most {
					t.Fatalf("%d in %v, want at most %d", n, now.Sub(from), most)
				}
			}
		}
	})
}
