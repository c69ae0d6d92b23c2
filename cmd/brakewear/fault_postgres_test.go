package main

import (
	"fmt"
	"net/http"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"brakewear/internal/web"
)

// slack is what a busy machine may take on top of a limit.
const slack = 5 * time.Second

// PostgreSQL refuses connections. Every request is answered 503 at once, with
// when to come back and nothing private, and all is well as soon as it accepts.
func TestFaultPostgresRefuses(t *testing.T) {
	s := newService(t)
	s.vehicles(1)
	requests := []request{
		{path: "/"},
		{path: "/vehicles/1"},
		{path: "/api/v1/due"},
		{path: "/sign-in", body: "email=ada%40example.org&password=four+plain+words+here"},
		inspection(1, 1),
	}
	s.proxy.Refuse()
	s.proxy.Cut()
	for _, r := range requests {
		a := s.send(r)
		if !a.later() || a.took > slack {
			t.Errorf("%s: got %v; want 503 at once", r.path, a)
		}
		if want := "cannot be reached just now"; !strings.Contains(a.body, want) {
			t.Errorf("%s: got %v; want it to say %q", r.path, a, want)
		}
		for _, private := range []string{"127.0.0.1", "pq:", "dial", "EOF"} {
			if strings.Contains(a.body, private) {
				t.Errorf("%s: the answer tells %q", r.path, private)
			}
		}
	}
	for path, want := range map[string]int{"/healthz": 200, "/readyz": 503, "/sign-in": 200} {
		if a := s.send(request{path: path}); a.status != want {
			t.Errorf("%s: got %v, want %d", path, a, want)
		}
	}
	s.proxy.Accept()
	for _, r := range requests {
		if a := s.send(r); a.status >= 500 {
			t.Errorf("%s, when it accepts again: %v", r.path, a)
		}
	}
	s.whole(1)
}

// PostgreSQL is restarted, and crashes, while people read and enter. Every
// request that fails says when to come back, sent again it is done, and nothing
// is there twice.
func TestFaultPostgresRestarts(t *testing.T) {
	const writers, readers = 6, 4
	s := newService(t)
	s.vehicles(writers)
	var wg sync.WaitGroup
	var stop atomic.Bool
	var told, sent atomic.Int64
	for cart := range writers {
		wg.Go(func() {
			for day := 1; !stop.Load(); day++ {
				told.Add(int64(s.sendUntilDone(inspection(1+cart, day))))
				sent.Add(1)
			}
		})
	}
	for range readers {
		wg.Go(func() {
			for !stop.Load() {
				told.Add(int64(s.sendUntilDone(request{path: "/"})))
			}
		})
	}
	for _, crash := range []bool{false, true} {
		time.Sleep(time.Second)
		if err := s.server.Restart(crash); err != nil {
			t.Error(err)
		}
	}
	time.Sleep(time.Second)
	stop.Store(true)
	wg.Wait()
	if told.Load() == 0 {
		t.Error("nobody was told to come back; the test shows nothing")
	}
	s.whole(int(sent.Load()))
	t.Attr("told-to-come-back", fmt.Sprint(told.Load()))
	t.Attr("done", fmt.Sprint(sent.Load()))
}

// All processes of PostgreSQL are stopped, and its connections stay. Forty
// clients are answered 503 within the time of a request, by few connections, and
// all is well when it goes on.
func TestFaultPostgresStops(t *testing.T) {
	const clients = 40
	s := newService(t)
	s.vehicles(clients)
	at := func(do func(i int)) {
		var wg sync.WaitGroup
		for i := range clients {
			wg.Go(func() { do(i) })
		}
		wg.Wait()
	}
	at(func(i int) { s.sendUntilDone(inspection(1+i, 1)) })
	// Some of those below are cut short in the midst of a transaction.
	stopping := make(chan error, 1)
	go func() {
		time.Sleep(20 * time.Millisecond)
		stopping <- s.server.Pause()
	}()
	defer s.server.Resume()
	at(func(i int) {
		r := inspection(1+i, 2)
		if i%4 == 0 {
			r = request{path: "/"}
		}
		for { // until it stops
			a := s.send(r)
			if a.well() {
				continue
			}
			if limit := web.RequestTime + 2*time.Second + slack; !a.later() || a.took > limit {
				t.Errorf("%s: got %v; want 503 within %v", r.path, a, limit)
			}
			return
		}
	})
	if err := <-stopping; err != nil {
		t.Fatal(err)
	}
	if _, most := s.proxy.Connections(); most > 2*16 {
		t.Errorf("%d connections for %d clients", most, clients)
	}
	if err := s.server.Resume(); err != nil {
		t.Fatal(err)
	}
	at(func(i int) { s.sendUntilDone(inspection(1+i, 2)) })
	s.whole(2 * clients)
}

// The line to PostgreSQL is cut at every point of a request, before what was
// sent there arrives and after. Sent again it is done, and nothing is there
// twice.
func TestFaultPostgresIsCut(t *testing.T) {
	s := newService(t)
	s.vehicles(60)
	points, told := 0, 0
	cut := func(name string, step int, next func(i int) request, sent func(r request) int) (n int) {
		for _, passes := range []bool{false, true} {
			for after := 0; ; after += step {
				if after > 400 {
					t.Fatalf("%s: cut at %d points, and no end", name, points)
				}
				n++
				r := next(n)
				sprung := s.proxy.CutAfter(after, passes)
				told += sent(r)
				s.proxy.Disarm()
				select {
				case <-sprung:
					points++
					continue
				default:
				}
				break
			}
		}
		return n
	}
	inspections := cut("inspection", 11, func(i int) request { return inspection(1, i) }, s.sendUntilDone)
	cut("page", 11, func(int) request { return request{path: "/vehicles/1"} }, s.sendUntilDone)
	s.whole(inspections)

	rows := cut("rows", 13, func(i int) request {
		return request{
			path: "/api/v1/readings",
			body: fmt.Sprintf(`[{"vehicle":"Cart 2","date":%q,"odometer_km":%d,"axle":1,"part":"pad","side":"left","face":"inner","value_mm":%.2f}]`,
				time.Date(2025, 1, i, 0, 0, 0, 0, time.UTC).Format(time.DateOnly), 1000+300*i, 14-0.02*float64(i)),
			key: fmt.Sprintf("rows-%d", i),
		}
	}, func(r request) int {
		told := s.sendUntilDone(r)
		// What follows may have been cut off after the rows were stored.
		s.soon(`select count(*) n, (select readings from axle_forecasts where vehicle_id = 2) forecast
			from thickness_readings where vehicle_id = 2`, strings.ReplaceAll("n=N forecast=N ", "N", strings.TrimPrefix(r.key, "rows-")))
		return told
	})

	// A correction has no key: sent again it finds that it was made. Each sets one
	// of those rows aside.
	once := func(r request) int {
		a := s.send(r)
		if a.well() {
			return 0
		}
		if !a.later() {
			t.Errorf("%s: %v", r.path, a)
		}
		for range 20 {
			if a := s.send(r); a.well() || a.status == http.StatusConflict {
				return 1
			}
		}
		t.Errorf("%s: not done", r.path)
		return 1
	}
	aside, ids := 0, s.rows("select id from thickness_readings where vehicle_id = 2 order by id")
	cut("correction", 17, func(i int) request {
		return request{
			path: fmt.Sprintf("/api/v1/readings/%s/corrections", strings.Trim(ids[i-1], "id= ")),
			body: `{"act":"set aside","why":"the gauge was bent"}`,
		}
	}, func(r request) int {
		told := once(r)
		aside++
		s.soon(`select count(*) n, (select readings from axle_forecasts where vehicle_id = 2) forecast
			from thickness_readings where vehicle_id = 2 and set_aside_at is null`, strings.ReplaceAll("n=N forecast=N ", "N", fmt.Sprint(rows-aside)))
		return told
	})

	// A booking has no key: sent again it finds the axle booked.
	bookings := cut("booking", 9, func(i int) request {
		return request{
			path: "/api/v1/bookings",
			body: fmt.Sprintf(`{"vehicle_id":%d,"depot_id":1,"day":%q,"axles":[1]}`, i, workday(i)),
		}
	}, once)
	if got := s.rows("select count(*) n, count(distinct day) days from bookings"); got[0] != fmt.Sprintf("n=%d days=%d ", bookings, bookings) {
		t.Errorf("bookings: got %v, want %d", got, bookings)
	}
	if told == 0 {
		t.Error("nobody was told to come back; the test shows nothing")
	}
	t.Attr("points", fmt.Sprint(points))
	t.Attr("told-to-come-back", fmt.Sprint(told))
}

// workday is the n-th Monday to Friday from now.
func workday(n int) string {
	day := time.Now()
	for n > 0 {
		day = day.AddDate(0, 0, 1)
		if d := day.Weekday(); d != time.Saturday && d != time.Sunday {
			n--
		}
	}
	return day.Format(time.DateOnly)
}
