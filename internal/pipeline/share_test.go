package pipeline_test

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"brakewear/internal/auth"
	"brakewear/internal/demo"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// The fleets here are invented, from a seed.

var sharedUntil = fleet.NewDate(2026, time.March, 1)

// inventFleet takes so many vehicles in.
func inventFleet(t *testing.T, db *store.DB, vehicles int) {
	t.Helper()
	err := demo.TakeIn(t.Context(), newService(db), demo.Generate(demo.Options{Vehicles: vehicles, Seed: 7, Until: sharedUntil}))
	if err != nil {
		t.Fatal(err)
	}
}

// stored is all that a refit stores, but when it was and in which order.
func stored(t *testing.T, url string) map[string][]string {
	t.Helper()
	out := make(map[string][]string)
	for table, query := range map[string]string{
		"parameters": "select model, as_of, learned, diagnostics from model_parameters order by id",
		"axles":      "select * from axle_forecasts order by vehicle_id, axle",
		"positions":  "select * from forecast_positions order by vehicle_id, axle",
		"log":        "select * from forecast_log order by vehicle_id, axle, as_of",
		"findings":   "select * from findings order by vehicle_id, kind, subject",
		"record":     "select * from track_record order by vehicle_id, axle, part, removed, ahead",
	} {
		for _, line := range storetest.Dump(t, url, query) {
			var words []string
			for _, w := range strings.Split(line, " ") {
				switch name, _, _ := strings.Cut(w, "="); name {
				case "id", "logged_at", "found_at", "seen_at", "changed_at", "made_at", "written":
				default:
					words = append(words, w)
				}
			}
			out[table] = append(out[table], strings.Join(words, " "))
		}
	}
	return out
}

// forget removes what refits stored.
func forget(t *testing.T, url string) {
	t.Helper()
	for _, table := range []string{"forecast_positions", "axle_forecasts", "forecast_log", "findings", "track_record", "refit_shares", "refits", "model_parameters"} {
		storetest.Exec(t, url, "delete from "+table)
	}
}

// sameKept wants every byte that two refits stored to be the same.
func sameKept(t *testing.T, what string, got, want map[string][]string) {
	t.Helper()
	for table, lines := range want {
		if len(lines) == 0 && table != "record" {
			t.Errorf("%s: no rows of %s; the test shows nothing", what, table)
		}
		if len(got[table]) != len(lines) {
			t.Errorf("%s: got %d rows of %s, want %d", what, len(got[table]), table, len(lines))
			continue
		}
		for i := range lines {
			if got[table][i] != lines[i] {
				t.Errorf("%s: %s, row %d:\ngot  %s\nwant %s", what, table, i, got[table][i], lines[i])
				break
			}
		}
	}
}

// Workers on databases of their own stand for processes: whatever their number,
// every byte stored is the same.
func TestRefitShared(t *testing.T) {
	for _, dialect := range []string{store.SQLite, store.Postgres} {
		t.Run(dialect, func(t *testing.T) {
			url := storetest.URL(t, dialect)
			inventFleet(t, storetest.MustOpen(t, url), 60)
			refit := func(workers int) map[string][]string {
				forget(t, url)
				var wg sync.WaitGroup
				for range workers {
					s := newService(storetest.MustOpen(t, url))
					s.SetShares(7, time.Minute)
					wg.Go(func() {
						// Whoever comes first begins it; the others join.
						rep, err := s.Refit(t.Context(), all, nil, sharedUntil)
						if err != nil || rep.Vehicles != 60 || rep.Axles < 100 || !rep.Trained {
							t.Errorf("got %+v, %v; want the forecasts of 60 vehicles", rep, err)
						}
					})
				}
				wg.Wait()
				return stored(t, url)
			}
			one := refit(1)
			if len(one["parameters"]) != 1 {
				t.Fatalf("%d rows of parameters, want 1", len(one["parameters"]))
			}
			three := refit(3)
			// One that comes when the others are through learns and forecasts again.
			three["parameters"] = slices.Compact(three["parameters"])
			sameKept(t, "three workers", three, one)
		})
	}
}

// Whether vehicles are kept between the rounds of learning, all or some or none of
// them, every byte stored is the same.
func TestRefitShelf(t *testing.T) {
	for _, dialect := range []string{store.SQLite, store.Postgres} {
		t.Run(dialect, func(t *testing.T) {
			url := storetest.URL(t, dialect)
			db := storetest.MustOpen(t, url)
			inventFleet(t, db, 60)
			refit := func(rows int) map[string][]string {
				forget(t, url)
				s := newService(db)
				s.SetShares(7, time.Minute)
				s.SetShelf(rows)
				if rep, err := s.Refit(t.Context(), all, nil, sharedUntil); err != nil || rep.Vehicles != 60 {
					t.Fatalf("got %+v, %v; want the forecasts of 60 vehicles", rep, err)
				}
				return stored(t, url)
			}
			none := refit(1)
			sameKept(t, "some kept", refit(4000), none)
			sameKept(t, "all kept", refit(1<<20), none)
		})
	}
}

// A process that began nothing helps with what others began, and is done when
// they are.
func TestHelp(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		inventFleet(t, db, 20)
		s := newService(db)
		if helped, err := s.Help(t.Context()); helped || err != nil {
			t.Errorf("got %v, %v; want nothing to help with", helped, err)
		}
		// Begun by a process that ended at once.
		r := store.Refit{Model: "line", AsOf: sharedUntil, Risk: .05, Scope: all, Knows: []byte("{}")}
		if err := db.JoinRefit(t.Context(), &r, 3); err != nil {
			t.Fatal(err)
		}
		if helped, err := s.Help(t.Context()); !helped || err != nil {
			t.Errorf("got %v, %v; want help given", helped, err)
		}
		ps, err := db.RefitProgress(t.Context(), r.ID)
		if err != nil || len(ps) != 1 || ps[0].Forecast != 20 || ps[0].Shares != 7 {
			t.Errorf("got %+v, %v; want 20 vehicles forecast in 7 shares", ps, err)
		}
		if got, err := db.Refit(t.Context(), r.ID); err != nil || got.State != store.RefitDone {
			t.Errorf("got %+v, %v; want it done", got, err)
		}
		due, err := db.DueSoon(t.Context(), all, store.DueQuery{Limit: 100})
		if err != nil || len(due.Rows) == 0 {
			t.Errorf("got %d rows, %v", len(due.Rows), err)
		}
	})
}

// A refit that began before more was taken in is not joined by one that is asked
// for after: it has not all vehicles, and is through with some of which more is
// known. Who waits for it waits for the other.
func TestRefitSuperseded(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s := newService(db)
		mustImport(t, s, "vehicles.csv", vehiclesCSV, 2, 0, 0)
		mustImport(t, s, "axles.csv", axlesCSV, 3, 0, 0)
		// Begun by a process that holds a share of it.
		s.SetShares(1, time.Minute)
		r := store.Refit{Model: pipeline.DefaultModel, AsOf: sharedUntil, Risk: pipeline.DefaultRisk, Scope: all, Knows: []byte("{}")}
		if err := db.JoinRefit(t.Context(), &r, 1); err != nil {
			t.Fatal(err)
		}
		held, err := db.TakeShare(t.Context(), r.ID, 0, "another", time.Minute)
		if err != nil {
			t.Fatal(err)
		}
		waiting := make(chan error, 1)
		ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
		defer cancel()
		go func() {
			// It joins what is there, and waits for the share that is held.
			_, err := newService(db).Refit(ctx, all, nil, sharedUntil)
			waiting <- err
		}()
		time.Sleep(100 * time.Millisecond)
		mustImport(t, s, "more.csv", strings.Replace(vehiclesCSV, "Bus 1", "Bus 3", 1), 1, 0, 1)
		mustImport(t, s, "axles.csv", "vehicle,axle,brake,pad_new_mm,pad_limit_mm\nBus 3,1,disc,20,3\n", 1, 0, 0)
		rep, err := s.Refit(ctx, all, nil, sharedUntil)
		if err != nil || rep.Vehicles != 3 || rep.Axles != 4 {
			t.Errorf("got %+v, %v; want the new vehicle among three", rep, err)
		}
		if err := <-waiting; err != nil {
			t.Errorf("who waited for the first one: %v", err)
		}
		if err := db.FinishShare(ctx, held, nil); !errors.Is(err, store.ErrLeaseLost) {
			t.Errorf("a share of the first one: got %v, want ErrLeaseLost", err)
		}
		if old, err := db.Refit(ctx, r.ID); err != nil || old.State != store.RefitSuperseded {
			t.Errorf("the first one is %s, %v; want it superseded", old.State, err)
		}
	})
}

// A refit for some depots learns from all vehicles and forecasts those of the
// depots alone, whoever helps.
func TestRefitSharedScope(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		inventFleet(t, db, 30)
		ds, err := db.Depots(t.Context(), all)
		if err != nil {
			t.Fatal(err)
		}
		s := newService(db)
		s.SetShares(4, time.Minute)
		sc := auth.ScopeOf(nil, []int64{ds[0].ID})
		rep, err := s.Refit(t.Context(), sc, nil, sharedUntil)
		if err != nil {
			t.Fatal(err)
		}
		mine, _, _, err := db.Counts(t.Context(), sc)
		if err != nil {
			t.Fatal(err)
		}
		if rep.Vehicles != mine || mine == 0 || mine == 30 {
			t.Errorf("forecast %d vehicles, want the %d of the depot, of 30", rep.Vehicles, mine)
		}
		learned, err := s.Learned(t.Context(), sc, 10)
		if err != nil || len(learned) != 1 || learned[0].Params.Training.Vehicles != 30 {
			t.Errorf("got %+v, %v; want to have learned from all", learned, err)
		}
	})
}

// A part of a refit ends every process that begins it. It ends the refit after
// four, and not one process after another.
func TestFaultRefitPoisoned(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		inventFleet(t, db, 10)
		now := time.Date(2026, 3, 1, 2, 0, 0, 0, time.UTC)
		db.Now = func() time.Time { return now }
		r := store.Refit{Model: "line", AsOf: sharedUntil, Risk: .05, Scope: all, Knows: []byte("{}")}
		if err := db.JoinRefit(t.Context(), &r, 5); err != nil {
			t.Fatal(err)
		}
		for range 4 {
			sh, err := db.TakeShare(t.Context(), r.ID, 0, "one that dies", time.Minute)
			if err != nil || sh == nil || sh.Number != 0 {
				t.Fatalf("got %+v, %v; want share 0", sh, err)
			}
			now = now.Add(2 * time.Minute)
		}
		_, err := newService(db).Help(t.Context())
		if err == nil || !strings.Contains(err.Error(), "Share 0 of step 0 was begun 4 times") {
			t.Errorf("got %v, want the share named", err)
		}
		if rs, err := db.OpenRefits(t.Context()); err != nil || len(rs) != 0 {
			t.Errorf("got %+v, %v; want nothing left to help with", rs, err)
		}
	})
}

// Set for the processes of TestFaultRefitProcesses.
const refitURL = "PIPELINE_TEST_REFIT_URL"

// killedLease is short, so that a share of a killed process is soon another's.
const killedLease = 2 * time.Second

// One of three processes that refit together is killed by SIGKILL. The others
// take its part over, and every byte stored is what one process stores alone.
func TestFaultRefitProcesses(t *testing.T) {
	if url := os.Getenv(refitURL); url != "" {
		s := newService(storetest.MustOpen(t, url))
		s.SetShares(10, killedLease)
		if _, err := s.Refit(t.Context(), all, nil, sharedUntil); err != nil {
			t.Fatal(err)
		}
		return
	}
	for _, dialect := range []string{store.SQLite, store.Postgres} {
		t.Run(dialect, func(t *testing.T) { killOneOfThree(t, storetest.URL(t, dialect)) })
	}
}

// killOneOfThree is the test on one database.
func killOneOfThree(t *testing.T, url string) {
	db := storetest.MustOpen(t, url)
	inventFleet(t, db, 150)
	start := func() *exec.Cmd {
		cmd := exec.CommandContext(t.Context(), os.Args[0], "-test.run=^TestFaultRefitProcesses$", "-test.timeout=2m")
		cmd.Env = append(os.Environ(), refitURL+"="+url)
		cmd.Stderr = os.Stderr
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		return cmd
	}
	if err := start().Wait(); err != nil {
		t.Fatal(err)
	}
	want := stored(t, url)
	forget(t, url)

	cmds := []*exec.Cmd{start(), start(), start()}
	victim := killHolder(t, url, cmds)
	for i, cmd := range cmds {
		if err := cmd.Wait(); (err != nil) != (i == victim) {
			t.Errorf("process %d: %v", i, err)
		}
	}
	got := stored(t, url)
	got["parameters"] = slices.Compact(got["parameters"])
	sameKept(t, "three processes, one killed", got, want)
	dead := strconv.Itoa(cmds[victim].Process.Pid)
	if left := storetest.Dump(t, url, "select number from refit_shares where holder is not null and worker like '% "+dead+"'"); len(left) > 0 {
		t.Errorf("the killed process still holds %v", left)
	}
}

// killHolder kills a process that holds a share, while others work as well, and
// returns which it was.
func killHolder(t *testing.T, url string, cmds []*exec.Cmd) int {
	t.Helper()
	for deadline := time.Now().Add(time.Minute); time.Now().Before(deadline); time.Sleep(5 * time.Millisecond) {
		held := storetest.Dump(t, url, "select distinct worker from refit_shares where holder is not null")
		if len(held) < 2 {
			continue
		}
		for i, cmd := range cmds {
			if strings.HasSuffix(strings.TrimSpace(held[0]), fmt.Sprint(" ", cmd.Process.Pid)) {
				if err := cmd.Process.Kill(); err != nil {
					t.Fatal(err)
				}
				return i
			}
		}
	}
	t.Fatal("no two processes work")
	return 0
}
