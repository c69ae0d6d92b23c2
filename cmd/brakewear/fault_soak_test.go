package main

import (
	"context"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"net/http"
	"os"
	"runtime"
	"strconv"
	"sync"
	"testing"
	"time"

	"go.uber.org/goleak"

	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// soakVariable says how long the soak takes on each database; see soakTime.
const soakVariable = "BRAKEWEAR_SOAK"

// soakTime is how long it takes unless said: enough for every kind of request to
// meet every other some hundred times.
const soakTime = 6 * time.Second

// soak is the clients of a soak, and what was acknowledged to them.
type soak struct {
	t       *testing.T
	ctx     context.Context
	address string
	url     string

	mu       sync.Mutex
	answers  map[string]int // by kind and status
	readings map[int64]bool // uploads acknowledged, of one reading each
	bookings map[int64]bool
	fixed    int            // corrections acknowledged
	unknown  map[string]int // requests whose time was over, by kind
	slowest  time.Duration
}

// do sends one request and notes its answer. One that is none of the statuses
// that the kind may get is a fault.
func (s *soak) do(c *http.Client, token, kind, method, path, body string, into any, may ...int) int {
	began := time.Now()
	status := 0
	if method == http.MethodGet {
		req, err := http.NewRequestWithContext(context.WithoutCancel(s.ctx), method, s.address+path, nil)
		if err == nil {
			req.Header.Set("Authorization", "Bearer "+token)
			if res, err := c.Do(req); err == nil {
				res.Body.Close()
				status = res.StatusCode
			}
		}
	} else {
		key := ""
		if kind == "upload" {
			key = strconv.FormatUint(rand.Uint64(), 36)
		}
		status = send(context.WithoutCancel(s.ctx), c, token, s.address+path, key, "application/json", body, into)
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.slowest = max(s.slowest, time.Since(began))
	s.answers[kind+" "+strconv.Itoa(status)]++
	// On a busy machine a request's time may be over, which is said; what became
	// of a change is then not known.
	if status == http.StatusServiceUnavailable {
		s.unknown[kind]++
		return status
	}
	for _, m := range may {
		if m == status {
			return status
		}
	}
	s.t.Errorf("%s %s %s: got %d, want one of %v", method, path, body, status, may)
	return status
}

// client does f again and again, n counting, until the soak ends.
func (s *soak) client(wg *sync.WaitGroup, f func(c *http.Client, r *rand.Rand, n int)) {
	r := rand.New(rand.NewPCG(rand.Uint64(), 1))
	wg.Go(func() {
		c := &http.Client{Timeout: time.Minute, Transport: &http.Transport{}}
		defer c.CloseIdleConnections()
		for n := 0; s.ctx.Err() == nil; n++ {
			f(c, r, n)
		}
	})
}

// Many clients browse, send readings, book and correct at once, while a day and
// its scheduled work pass. No answer is a fault of ours, all that was
// acknowledged is there once, the data keep every rule of check.sql, and no
// goroutine stays.
func TestFaultSoak(t *testing.T) {
	length := soakTime
	if s := os.Getenv(soakVariable); s != "" {
		var err error
		if length, err = time.ParseDuration(s); err != nil {
			t.Fatalf("%s: %v", soakVariable, err)
		}
	}
	onBoth(t, func(t *testing.T, dialect string) {
		const vehicles = 5
		w := newRowsWorld(t, dialect, vehicles)
		storetest.Exec(t, w.url, `update recipients set stopped_by = 'test', stopped_at = added_at`) // no mail is set up
		mustHold(t, w.url, "before")
		leaves := goleak.IgnoreCurrent()
		secrets := tokens(t, w.url, 8)

		// The clock of the work runs so fast that a day passes; that of the
		// database does not, for its leases are of real time.
		begun := time.Now()
		fast := 24 * time.Hour / length
		ctx, stop := context.WithCancel(t.Context())
		e := &env{ctx: ctx, stdout: &lockedText{}, stderr: &lockedText{}, log: slog.New(slog.DiscardHandler),
			now: func() time.Time { return begun.Add(min(time.Since(begun)*fast, 24*time.Hour)) }}
		db, err := store.Open(t.Context(), w.url)
		if err != nil {
			t.Fatal(err)
		}
		svc := e.service(db, 0)
		svc.BackupDir = t.TempDir()
		svc.Model = w.svc.Model
		out := &lockedText{}
		e.stdout = out
		ended := make(chan error, 1)
		go func() { ended <- serve(e, svc, listening{Listen: "127.0.0.1:0"}, nil) }()
		await(t, func() bool { return out.find(servingOn) != nil })
		s := &soak{t: t, ctx: ctx, address: out.find(servingOn)[1], url: w.url,
			answers: map[string]int{}, readings: map[int64]bool{}, bookings: map[int64]bool{}, unknown: map[string]int{}}
		most := s.run(secrets, vehicles, length)
		stop()
		if err := <-ended; err != nil {
			t.Errorf("serve: %v", err)
		}
		if err := db.Close(); err != nil {
			t.Error(err)
		}
		if err := goleak.Find(leaves); err != nil {
			t.Error(err)
		}
		mustHold(t, w.url, "after the soak")
		s.compare()
		done := countIn(t, w.url, `select count(*) as n from job_runs where state = 'done'`)
		// One that ran at the end is the next process's to note.
		if bad := storetest.Dump(t, w.url, `select job, state, message from job_runs where state not in ('done', 'cut_short', 'running', 'waiting')`); len(bad) != 0 || done == 0 {
			t.Errorf("%d runs of scheduled work were done; not: %q", done, bad)
		}
		total := 0
		for _, n := range s.answers {
			total += n
		}
		t.Logf("answers: %v", s.answers)
		t.Attr("hours", "24")
		t.Attr("in", length.String())
		t.Attr("requests", strconv.Itoa(total))
		t.Attr("uploads", strconv.Itoa(len(s.readings)))
		t.Attr("bookings", strconv.Itoa(len(s.bookings)))
		t.Attr("corrections", strconv.Itoa(s.fixed))
		t.Attr("jobs", strconv.Itoa(done))
		if n := len(s.unknown); n > 0 {
			t.Attr("answered-503", fmt.Sprint(s.unknown))
		}
		t.Attr("slowest", s.slowest.Round(time.Millisecond).String())
		t.Attr("most-goroutines", strconv.Itoa(most))
	})
}

// run lets the clients work for so long, and returns the most goroutines that
// there were.
func (s *soak) run(secrets []string, vehicles int, length time.Duration) (most int) {
	ctx, stop := context.WithCancel(s.ctx)
	defer stop()
	begun := time.Now()
	s.ctx = ctx
	ok := http.StatusOK
	pages := []string{"/api/v1/due", "/api/v1/vehicles", "/api/v1/vehicles/1/history", "/api/v1/findings", "/api/v1/bookings", "/api/v1/overview", "/api/v1/uploads"}
	var wg sync.WaitGroup
	for _, token := range secrets[:2] {
		s.client(&wg, func(c *http.Client, r *rand.Rand, _ int) {
			s.do(c, token, "browse", http.MethodGet, pages[r.IntN(len(pages))], "", nil, ok)
		})
	}
	first := fleet.NewDate(2026, 3, 3)
	for i, token := range secrets[2:4] {
		s.client(&wg, func(c *http.Client, r *rand.Rand, n int) {
			// A reading that nobody else sends: the day and the value say so.
			body := fmt.Sprintf(`[{"vehicle":"Bus %d","date":"%s","axle":1,"part":"pad","side":"right","face":"inner","value_mm":"%.3f mm","odometer_km":%d}]`,
				1+r.IntN(vehicles), first+fleet.Date(n%200), 5+float64(i)-.001*float64(n/200), 160000+n)
			var up struct{ ID int64 }
			if s.do(c, token, "upload", http.MethodPost, "/api/v1/readings", body, &up, ok, http.StatusCreated) < 300 {
				s.mu.Lock()
				s.readings[up.ID] = true
				s.mu.Unlock()
			}
		})
	}
	today := fleet.DateOf(time.Now())
	for _, token := range secrets[4:6] {
		var mine []int64
		s.client(&wg, func(c *http.Client, r *rand.Rand, n int) {
			var b struct{ ID int64 }
			switch {
			case len(mine) == 0 || r.IntN(2) == 0:
				body := fmt.Sprintf(`{"depot_id":1,"day":"%s","vehicle_id":%d,"axles":[%d]}`, today+2+fleet.Date(r.IntN(60)), 1+r.IntN(vehicles), 1+r.IntN(2))
				if s.do(c, token, "book", http.MethodPost, "/api/v1/bookings", body, &b, http.StatusCreated, http.StatusConflict) == http.StatusCreated {
					mine = append(mine, b.ID)
					s.mu.Lock()
					s.bookings[b.ID] = true
					s.mu.Unlock()
				}
			default: // of all, so that two clients meet
				path := fmt.Sprintf("/api/v1/bookings/%d/", mine[r.IntN(len(mine))])
				if r.IntN(2) == 0 {
					body := fmt.Sprintf(`{"depot_id":1,"day":"%s","why":"to try"}`, today+2+fleet.Date(r.IntN(60)))
					s.do(c, token, "move", http.MethodPost, path+"move", body, nil, ok, http.StatusConflict)
				} else {
					end := []string{"missed", "withdrawn"}[r.IntN(2)]
					s.do(c, token, "end", http.MethodPost, path+end, `{"why":"to try"}`, nil, ok, http.StatusConflict)
				}
			}
		})
	}
	// Two correct the same readings; who comes second is told.
	for i, token := range secrets[6:8] {
		s.client(&wg, func(c *http.Client, r *rand.Rand, n int) {
			body := fmt.Sprintf(`{"value_mm":"%.4f mm","confirmed":true,"why":"read again"}`, 4+.5*float64(i)+.0001*float64(n))
			path := fmt.Sprintf("/api/v1/readings/%d/corrections", 1+n/2)
			if s.do(c, token, "correct", http.MethodPost, path, body, nil, ok, http.StatusCreated, http.StatusConflict, http.StatusNotFound) < 300 {
				s.mu.Lock()
				s.fixed++
				s.mu.Unlock()
			}
		})
	}
	s.client(&wg, func(c *http.Client, _ *rand.Rand, _ int) {
		s.do(c, secrets[0], "propose", http.MethodPost, "/api/v1/proposals", `{"days":30}`, nil, http.StatusCreated, http.StatusConflict)
		time.Sleep(time.Second) // each takes all processors for a while
	})
	look := time.NewTicker(50 * time.Millisecond)
	defer look.Stop()
	for time.Since(begun) < length || !s.enough() && time.Since(begun) < length+slowest {
		<-look.C
		most = max(most, runtime.NumGoroutine())
	}
	stop()
	wg.Wait()
	return most
}

// enough says whether so much was acknowledged that to compare it shows
// something.
func (s *soak) enough() bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return len(s.readings) >= 10 && len(s.bookings) >= 5 && s.fixed >= 5
}

// slowest is how much longer a busy machine may take to get there.
const slowest = time.Minute

// compare counts what was acknowledged in the database.
func (s *soak) compare() {
	s.t.Helper()
	if !s.enough() {
		s.t.Errorf("%d uploads, %d bookings, %d corrections; the test shows nothing", len(s.readings), len(s.bookings), s.fixed)
	}
	for _, c := range []struct {
		kind, query string
		want        int
	}{
		{"upload", `select count(*) as n from uploads where kind = 'readings' and sent_by like 'client%' and accepted = 1`, len(s.readings)},
		{"upload", `select count(*) as n from thickness_readings r join uploads u on u.id = r.upload_id where u.kind = 'readings' and u.sent_by like 'client%'`, len(s.readings)},
		{"book", `select count(*) as n from bookings where made_by like 'client%'`, len(s.bookings)},
		{"correct", `select count(*) as n from corrections where act = 'corrected' and done_by like 'client%'`, s.fixed},
	} {
		if n := countIn(s.t, s.url, c.query); n < c.want || n > c.want+s.unknown[c.kind] {
			s.t.Errorf("%s: %d are there, and %d were acknowledged", c.query, n, c.want)
		}
	}
}
