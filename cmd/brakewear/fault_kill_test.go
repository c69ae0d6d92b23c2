package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"brakewear/internal/auth"
	"brakewear/internal/demo"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// program returns the program as a process of its own, not yet started. It does
// not outlive the test.
func program(t *testing.T, args ...string) *exec.Cmd {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.CommandContext(t.Context(), self, args...)
	cmd.Args[0] = "brakewear" // see TestMain
	return cmd
}

// onBoth runs f for each kind of database.
func onBoth(t *testing.T, f func(t *testing.T, dialect string)) {
	for _, dialect := range []string{store.SQLite, store.Postgres} {
		t.Run(dialect, func(t *testing.T) { f(t, dialect) })
	}
}

// countIn returns what a query of one number gives.
func countIn(t *testing.T, url, query string) int {
	t.Helper()
	out := storetest.Dump(t, url, query)
	if len(out) != 1 {
		t.Fatalf("%s: got %q", query, out)
	}
	_, text, _ := strings.Cut(out[0], "=")
	n, err := strconv.Atoi(strings.TrimSpace(text))
	if err != nil {
		t.Fatalf("%s: got %q", query, out)
	}
	return n
}

// mustHold runs check on a database.
func mustHold(t *testing.T, url, when string) {
	t.Helper()
	out, _, err := command(t, "check", "--database", url)
	if err != nil {
		t.Errorf("%s: %v\n%s", when, err, out)
	}
}

// writes says whether some process is in the midst of writing to a database.
func writes(t *testing.T, url string) bool {
	t.Helper()
	if strings.Contains(url, "://") {
		return countIn(t, url, `select count(*) as n from pg_stat_activity where datname = current_database() and backend_xid is not null`) > 0
	}
	return storetest.Busy(t, url)
}

// killAt starts the program with args and kills it by SIGKILL in the midst of a
// transaction, where that does what when says, such as "insert on proposals".
func killAt(t *testing.T, url, when string, args ...string) {
	t.Helper()
	defer storetest.Slow(t, url, when)()
	cmd := program(t, args...)
	var said bytes.Buffer
	cmd.Stdout, cmd.Stderr = &said, &said
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	ended := make(chan error, 1)
	go func() { ended <- cmd.Wait() }()
	// It is there when it goes on writing for longer than it would otherwise.
	for since := time.Now(); time.Since(since) < 150*time.Millisecond; time.Sleep(2 * time.Millisecond) {
		if !writes(t, url) {
			since = time.Now()
		}
		select {
		case err := <-ended:
			t.Fatalf("%q, to be killed at the %s, ended by itself: %v\n%s", args, when, err, said.String())
		default:
		}
	}
	if err := cmd.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	<-ended
}

// The process is killed by SIGKILL while it takes a file in. The file's rows are
// there whole or not at all, and taken in again all of them are there once.
func TestFaultKilledImport(t *testing.T) {
	dir := t.TempDir()
	if err := demo.WriteCSV(dir, demo.Options{Vehicles: 25, Seed: 3, Until: fleet.NewDate(2026, 3, 1)}); err != nil {
		t.Fatal(err)
	}
	file := func(name string) string { return filepath.Join(dir, name+".csv") }
	lines, err := os.ReadFile(file("readings"))
	if err != nil {
		t.Fatal(err)
	}
	want := bytes.Count(lines, []byte("\n")) - 1
	onBoth(t, func(t *testing.T, dialect string) {
		url := storetest.URL(t, dialect)
		if out, _, err := command(t, "import", "--database", url, file("vehicles"), file("axles")); err != nil {
			t.Fatalf("%v\n%s", err, out)
		}
		const all = `select count(*) as n from thickness_readings`
		args := []string{"import", "--database", url, file("readings")}
		at := []string{"insert on thickness_readings", "update on uploads"}
		for _, when := range at {
			killAt(t, url, when, args...)
			if n := countIn(t, url, all); n != 0 {
				t.Errorf("killed at the %s: %d readings of %d", when, n, want)
			}
			mustHold(t, url, "killed at the "+when)
		}
		if out, said, err := command(t, args...); err != nil {
			t.Errorf("again: %v\n%s%s", err, out, said)
		}
		if n := countIn(t, url, all); n != want {
			t.Errorf("again: %d readings, want %d", n, want)
		}
		mustHold(t, url, "at the end")
		t.Attr("kills", strconv.Itoa(len(at)))
		t.Attr("rows", strconv.Itoa(want))
	})
}

// The process is killed by SIGKILL while it plans a workshop. A proposal is
// there whole or not at all, the one before stands as long, and the next try
// makes one.
func TestFaultKilledProposal(t *testing.T) {
	if testing.Short() {
		t.Skip("makes the demo's fleet")
	}
	file := demoFile(t)
	onBoth(t, func(t *testing.T, dialect string) {
		url := file
		if dialect == store.Postgres {
			url = storetest.URL(t, store.Postgres)
			if _, _, err := command(t, "move", "--database", url, file); err != nil {
				t.Fatal(err)
			}
		}
		const (
			proposals = `select count(*) as n from proposals`
			empty     = `select count(*) as n from proposals p where not exists (select 1 from proposal_visits v where v.proposal_id = p.id)`
			old       = `select count(*) as n from proposal_visits v where v.state = 'open' and v.proposal_id < (select max(p.id) from proposals p where p.fleet_id = v.fleet_id)`
		)
		args := []string{"propose", "--database", url}
		if out, said, err := command(t, args...); err != nil {
			t.Fatalf("%v\n%s%s", err, out, said)
		}
		open := `select count(*) as n from proposal_visits where state = 'open'`
		before := countIn(t, url, open)
		if before == 0 || countIn(t, url, empty) != 0 {
			t.Fatalf("%d visits proposed; the test shows nothing", before)
		}
		at := []string{"insert on proposals", "insert on proposal_visits", "update on proposal_visits"}
		for _, when := range at {
			killAt(t, url, when, args...)
			mustHold(t, url, "killed at the "+when)
			if n := countIn(t, url, empty); n != 0 {
				t.Errorf("killed at the %s: %d proposals without visits", when, n)
			}
			if n := countIn(t, url, old); n != 0 {
				t.Errorf("killed at the %s: %d visits of older proposals are open", when, n)
			}
			if countIn(t, url, open) == 0 {
				t.Errorf("killed at the %s: nothing is proposed", when)
			}
		}
		was := countIn(t, url, proposals)
		if out, said, err := command(t, args...); err != nil {
			t.Errorf("again: %v\n%s%s", err, out, said)
		}
		if got := countIn(t, url, proposals); got <= was {
			t.Errorf("again: %d proposals, want more than %d", got, was)
		}
		mustHold(t, url, "at the end")
		t.Attr("kills", strconv.Itoa(len(at)))
	})
}

// served is a process that serves.
type served struct {
	*exec.Cmd
	address string
	ended   chan struct{}
}

func startServing(t *testing.T, url string, more ...string) *served {
	t.Helper()
	s := &served{Cmd: program(t, append([]string{"serve", "--listen", "127.0.0.1:0", "--database", url}, more...)...), ended: make(chan struct{})}
	out, err := s.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	s.Stderr = io.Discard
	if err := s.Start(); err != nil {
		t.Fatal(err)
	}
	lines := bufio.NewScanner(out)
	for lines.Scan() {
		if _, rest, ok := strings.Cut(lines.Text(), "Serving on "); ok {
			s.address, _, _ = strings.Cut(rest, "/ ")
			break
		}
	}
	if s.address == "" {
		t.Fatal("it does not serve")
	}
	go func() {
		io.Copy(io.Discard, out)
		s.Wait()
		close(s.ended)
	}()
	return s
}

// kill ends it by SIGKILL.
func (s *served) kill(t *testing.T) {
	t.Helper()
	if err := s.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	<-s.ended
}

// tokens adds n accounts with a token each, which may do everything.
func tokens(t *testing.T, url string, n int) (secrets []string) {
	t.Helper()
	db, err := store.Open(t.Context(), url)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close() // no longer than need be: some disks are taken away
	for i := range n {
		session, err := storetest.SignIn(t.Context(), db, "client"+strconv.Itoa(i), auth.Grant{Role: auth.Admin}, auth.Grant{Role: auth.Manager}, auth.Grant{Role: auth.Planner}, auth.Grant{Role: auth.Technician})
		if err != nil {
			t.Fatal(err)
		}
		who, err := db.SessionOf(t.Context(), session)
		if err != nil {
			t.Fatal(err)
		}
		secret := auth.NewSecret()
		k := store.Token{Name: "test", Rights: auth.Rights, Until: time.Now().AddDate(0, 1, 0)}
		if err := db.AddToken(t.Context(), who, &k, secret); err != nil {
			t.Fatal(err)
		}
		secrets = append(secrets, secret)
	}
	return secrets
}

// send sends a body to the API and decodes what comes back, and returns the
// status; 0 where nobody answered.
func send(ctx context.Context, c *http.Client, token, address, key, kind, body string, into any) int {
	req, err := http.NewRequestWithContext(ctx, http.MethodPost, address, strings.NewReader(body))
	if err != nil {
		return 0
	}
	req.Header.Set("Authorization", "Bearer "+token)
	req.Header.Set("Content-Type", kind)
	if key != "" {
		req.Header.Set("Idempotency-Key", key)
	}
	res, err := c.Do(req)
	if err != nil {
		return 0
	}
	defer res.Body.Close()
	if into != nil && res.StatusCode < 300 {
		if err := json.NewDecoder(res.Body).Decode(into); err != nil {
			return 0
		}
	}
	io.Copy(io.Discard, res.Body)
	return res.StatusCode
}

// The service is killed by SIGKILL while many clients send readings to it. What
// it said it took is there, and what the clients send again, not knowing, is
// there once.
func TestFaultKilledServing(t *testing.T) {
	const clients, vans = 6, 12
	onBoth(t, func(t *testing.T, dialect string) {
		url := storetest.URL(t, dialect)
		var vehicles, axles strings.Builder
		vehicles.WriteString("vehicle,category\n")
		axles.WriteString("vehicle,axle,brake,pad_new_mm,pad_limit_mm\n")
		for v := range vans {
			fmt.Fprintf(&vehicles, "Van %d,N1\n", v)
			fmt.Fprintf(&axles, "Van %d,1,disc,12,2\n", v)
		}
		if out, _, err := command(t, "import", "--database", url, write(t, "v.csv", vehicles.String()), write(t, "a.csv", axles.String())); err != nil {
			t.Fatalf("%v\n%s", err, out)
		}
		secrets := tokens(t, url, clients)
		var mu sync.Mutex
		s := startServing(t, url)
		address := func() string { mu.Lock(); defer mu.Unlock(); return s.address }
		ctx, stop := context.WithCancel(t.Context())
		defer stop()
		acknowledged, again := map[string]int64{}, 0
		var wg sync.WaitGroup
		for i, token := range secrets {
			client := &http.Client{Timeout: 20 * time.Second}
			wg.Go(func() {
				day := fleet.NewDate(2024, 1, 1)
				for n := 0; ctx.Err() == nil; n++ {
					// A reading that nobody else sends.
					body := fmt.Sprintf(`[{"vehicle":"Van %d","date":"%s","axle":1,"part":"pad","side":"left","face":"inner","value_mm":"%.2f mm","odometer_km":%d}]`,
						i*2, day+fleet.Date(n), 11-.001*float64(n), 20000+10*n)
					key := fmt.Sprintf("%d-%d", i, n)
					// Until it is acknowledged, under the same key.
					for try := 0; ; try++ {
						var up struct {
							ID       int64 `json:"id"`
							Accepted int   `json:"accepted"`
							Repeated int   `json:"repeated"`
						}
						status := send(context.WithoutCancel(ctx), client, token, address()+"/api/v1/readings", key, "application/json", body, &up)
						if status == http.StatusOK || status == http.StatusCreated {
							mu.Lock()
							acknowledged[key] = up.ID
							if try > 0 {
								again++
							}
							mu.Unlock()
							break
						}
						if status != 0 && status != http.StatusServiceUnavailable && status != http.StatusTooManyRequests {
							t.Errorf("%s: got %d", key, status)
							return
						}
						time.Sleep(20 * time.Millisecond)
					}
				}
			})
		}
		const kills = 4
		var slowest time.Duration
		taken := func() int {
			mu.Lock()
			defer mu.Unlock()
			return len(acknowledged)
		}
		for k := range kills {
			before := taken()
			await(t, func() bool { return taken() >= before+clients })
			time.Sleep(time.Duration(k) * 17 * time.Millisecond)
			s.kill(t)
			began := time.Now()
			known := taken()
			if n := countIn(t, url, `select count(*) as n from thickness_readings`); n < known {
				t.Errorf("killed: %d readings, and %d were acknowledged", n, known)
			}
			next := startServing(t, url)
			mu.Lock()
			s = next
			mu.Unlock()
			slowest = max(slowest, time.Since(began))
		}
		before := taken()
		await(t, func() bool { return taken() >= before+clients })
		stop()
		wg.Wait()
		s.kill(t)
		if again == 0 || len(acknowledged) < 4*clients {
			t.Errorf("%d acknowledged, %d of them at another try; the test shows nothing", len(acknowledged), again)
		}
		if n := countIn(t, url, `select count(*) as n from thickness_readings`); n != len(acknowledged) {
			t.Errorf("%d readings, and %d were acknowledged", n, len(acknowledged))
		}
		if n := countIn(t, url, `select count(*) as n from (select 1 from thickness_readings group by vehicle_id, day having count(*) > 1) x`); n != 0 {
			t.Errorf("%d readings are doubled", n)
		}
		ids := map[int64]bool{}
		for _, id := range acknowledged {
			ids[id] = true
		}
		if n := countIn(t, url, `select count(*) as n from uploads u where u.kind = 'readings' and u.accepted = 1`); n != len(acknowledged) || len(ids) != n {
			t.Errorf("%d uploads of a reading, %d acknowledged, want %d", n, len(ids), len(acknowledged))
		}
		mustHold(t, url, "at the end")
		t.Attr("kills", strconv.Itoa(kills))
		t.Attr("acknowledged", strconv.Itoa(len(acknowledged)))
		t.Attr("sent-again", strconv.Itoa(again))
		t.Attr("serving-again-within", slowest.Round(10*time.Millisecond).String())
	})
}
