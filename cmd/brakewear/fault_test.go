package main

import (
	"errors"
	"fmt"
	"io"
	"net/http"
	"strings"
	"sync"
	"testing"
	"time"

	"brakewear/internal/faultproxy"
	"brakewear/internal/pgserver"
	"brakewear/internal/store/storetest"
)

// The fleet of these tests is invented.

// faultServer is a PostgreSQL server to be ill-treated, whose commits outlive a
// crash of it.
var faultServer = sync.OnceValues(func() (*pgserver.Server, error) {
	return pgserver.Start("-c fsync=off -c autovacuum=off -c shared_buffers=64MB -c max_connections=40")
})

// service is the program, serving on a database that something happens to.
type service struct {
	t       *testing.T
	server  *pgserver.Server
	dsn     string            // of the database, past the proxy
	proxy   *faultproxy.Proxy // between the program and its database
	address string
	client  *http.Client
}

// newService starts the program on a new database of faultServer.
func newService(t *testing.T) *service {
	t.Helper()
	s := &service{t: t}
	var err error
	if s.server, err = faultServer(); errors.Is(err, pgserver.ErrNone) {
		t.Skip(err)
	}
	if err != nil {
		t.Fatal(err)
	}
	if s.dsn, err = s.server.Create(strings.ToLower(t.Name())); err != nil {
		t.Fatal(err)
	}
	proxied := ""
	if s.proxy, proxied, err = faultproxy.Postgres(s.dsn); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.proxy.Close() })
	s.address, s.client = serving(t, "--database", proxied, "--files-per-minute", "0", "--changes-per-minute", "0")
	return s
}

// vehicles takes in n vehicles, Cart 1 to Cart n, with ids from 1.
func (s *service) vehicles(n int) {
	s.t.Helper()
	var vehicles, axles []string
	for i := 1; i <= n; i++ {
		vehicles = append(vehicles, fmt.Sprintf(`{"vehicle":"Cart %d","fleet":"Quarry","depot":"Pit"}`, i))
		axles = append(axles, fmt.Sprintf(`{"vehicle":"Cart %d","axle":1,"brake":"disc","pad_new_mm":14,"pad_limit_mm":3}`, i))
	}
	s.mustSend(request{path: "/api/v1/vehicles", body: "[" + strings.Join(vehicles, ",") + "]"})
	s.mustSend(request{path: "/api/v1/axles", body: "[" + strings.Join(axles, ",") + "]"})
}

// request is something that is sent, and sent again.
type request struct {
	path, body, key string // GET where there is no body
}

// inspection of a cart on the n-th day of the year, by one reading.
func inspection(cart, n int) request {
	day := time.Date(2025, 1, n, 0, 0, 0, 0, time.UTC).Format(time.DateOnly)
	return request{
		path: fmt.Sprintf("/api/v1/vehicles/%d/inspections", cart),
		body: fmt.Sprintf(`{"date":%q,"technician":"N. N.","odometer_km":%d,"readings":[{"axle":1,"part":"pad","side":"left","face":"inner","value_mm":%.2f}]}`,
			day, 1000+300*n, 14-0.02*float64(n)),
		key: fmt.Sprintf("inspection-%d-%d", cart, n),
	}
}

// reply is what came back.
type reply struct {
	status int
	again  string // Retry-After
	body   string
	took   time.Duration
	err    error // of the line to the program
}

func (a reply) String() string {
	return fmt.Sprintf("%d after %v, Retry-After %q, %v: %.300s", a.status, a.took.Round(time.Millisecond), a.again, a.err, a.body)
}

// well says whether it was done.
func (a reply) well() bool { return a.err == nil && a.status < 300 }

// later says whether it is to be sent again, as it should be told.
func (a reply) later() bool {
	return a.err == nil && a.status == http.StatusServiceUnavailable && a.again != ""
}

// send sends r once.
func (s *service) send(r request) reply { return sendTo(s.client, s.address, r) }

func sendTo(client *http.Client, address string, r request) (a reply) {
	method, kind := http.MethodGet, ""
	if r.body != "" {
		method, kind = http.MethodPost, "application/json"
		if !strings.HasPrefix(r.path, "/api/") {
			kind = "application/x-www-form-urlencoded"
		}
	}
	req, err := http.NewRequest(method, address+r.path, strings.NewReader(r.body))
	if err != nil {
		return reply{err: err}
	}
	if kind != "" {
		req.Header.Set("Content-Type", kind)
	}
	if r.key != "" {
		req.Header.Set("Idempotency-Key", r.key)
	}
	begun := time.Now()
	defer func() { a.took = time.Since(begun) }()
	res, err := client.Do(req)
	if err != nil {
		return reply{err: err}
	}
	defer res.Body.Close()
	body, err := io.ReadAll(res.Body)
	return reply{status: res.StatusCode, again: res.Header.Get("Retry-After"), body: string(body), err: err}
}

func (s *service) mustSend(r request) reply {
	s.t.Helper()
	a := s.send(r)
	if !a.well() {
		s.t.Fatalf("%s: %v", r.path, a)
	}
	return a
}

// sendUntilDone sends r again and again, as its answers ask for, and returns how often it
// was told to. Nobody waits as long here as Retry-After says.
func (s *service) sendUntilDone(r request) (told int) {
	for begun := time.Now(); ; {
		a := s.send(r)
		switch {
		case a.well():
			return told
		case !a.later():
			s.t.Errorf("%s: %v; want to be told to send it later", r.path, a)
			return told
		case time.Since(begun) > time.Minute:
			s.t.Errorf("%s: not done after %v: %v", r.path, time.Since(begun), a)
			return told
		}
		told++
		time.Sleep(20 * time.Millisecond)
	}
}

// rows returns the rows of a query, past the proxy.
func (s *service) rows(query string) []string {
	s.t.Helper()
	return storetest.Dump(s.t, s.dsn, query)
}

// whole checks that every inspection that was acknowledged is there once, with
// its key, and that the forecasts know all of them.
func (s *service) whole(inspections int) {
	s.t.Helper()
	want := fmt.Sprintf("n=%d ", inspections)
	for _, query := range []string{
		"select count(*) n from thickness_readings",
		"select count(*) n from (select distinct vehicle_id, day from thickness_readings) days",
		"select count(*) n from odometer_readings",
		"select count(*) n from uploads where kind = 'form'",
		"select count(*) n from request_keys where key like 'inspection-%'",
		"select coalesce(sum(readings), 0) n from axle_forecasts",
	} {
		s.soon(query, want)
	}
}

// soon checks that a query gives one row within some seconds: forecasts that
// were cut off follow.
func (s *service) soon(query, want string) {
	s.t.Helper()
	for begun := time.Now(); ; time.Sleep(50 * time.Millisecond) {
		got := s.rows(query)
		if len(got) == 1 && got[0] == want {
			return
		}
		if time.Since(begun) > 2*slack {
			s.t.Fatalf("%s: got %v, want %s", query, got, want)
		}
	}
}
