package store_test

import (
	"errors"
	"slices"
	"sync"
	"testing"
	"time"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// refitDay is any day.
var refitDay = fleet.NewDate(2026, time.March, 1)

func mustJoin(t *testing.T, db *store.DB, size int) store.Refit {
	t.Helper()
	r := store.Refit{Model: "line", AsOf: refitDay, Risk: .05, Scope: auth.AllFleets(), Knows: []byte("{}")}
	if err := db.JoinRefit(t.Context(), &r, size); err != nil {
		t.Fatal(err)
	}
	return r
}

func mustTake(t *testing.T, db *store.DB, r store.Refit) *store.Share {
	t.Helper()
	s, err := db.TakeShare(t.Context(), r.ID, r.Step, "test", time.Minute)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// fiveVehicles takes five vehicles in.
func fiveVehicles(t *testing.T, db *store.DB) {
	t.Helper()
	mustTakeIn(t, db, func(w *store.Writer) error {
		var es []store.VehicleEntry
		for _, n := range []string{"A", "B", "C", "D", "E"} {
			es = append(es, store.VehicleEntry{Fleet: "North", Depot: "Quay", Vehicle: fleet.Vehicle{Number: n}})
		}
		_, err := w.Vehicles(es)
		return err
	})
}

// The same refit is joined, another one begun beside it; all vehicles are in
// one share each.
func TestJoinRefit(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		fiveVehicles(t, db)
		r := mustJoin(t, db, 2)
		if again := mustJoin(t, db, 1); again.ID != r.ID || again.State != store.RefitWorking || !again.Learning {
			t.Errorf("got %+v, want %+v", again, r)
		}
		technicians := store.Refit{Model: "line", AsOf: refitDay, Risk: .05, Scope: auth.AllFleets().WithPlanning(auth.Scope{}), Knows: []byte("{}")}
		if err := db.JoinRefit(t.Context(), &technicians, 2); err != nil || technicians.ID != r.ID {
			t.Errorf("asked for by who may not plan: got %+v, %v; want %+v", technicians, err, r)
		}
		other := store.Refit{Model: "line", AsOf: refitDay, Risk: .05, Scope: auth.ScopeOf(nil, []int64{1}), Knows: []byte("{}")}
		if err := db.JoinRefit(t.Context(), &other, 2); err != nil || other.ID == r.ID {
			t.Errorf("got %+v, %v; want one for other depots", other, err)
		}
		if got := other.Scope.Depots(); !slices.Equal(got, []int64{1}) || other.Scope.All() {
			t.Errorf("got the scope %+v", other.Scope)
		}
		var all []int64
		for range 3 {
			s := mustTake(t, db, r)
			n := 0
			err := db.VehiclesBetween(t.Context(), auth.AllFleets(), s.FirstID, s.LastID, func(id int64, _ string) {
				all = append(all, id)
				n++
			})
			if err != nil || n != s.Vehicles {
				t.Errorf("share %d: got %d vehicles, %v; want %d", s.Number, n, err, s.Vehicles)
			}
		}
		if len(all) != 5 || !slices.IsSorted(all) {
			t.Errorf("the shares have the vehicles %v, want five, each once", all)
		}
		// What was left unfinished a day ago is not joined.
		now := time.Now().Add(25 * time.Hour)
		db.Now = func() time.Time { return now }
		if later := mustJoin(t, db, 2); later.ID == r.ID {
			t.Error("joined what was left a day ago")
		}
		if old, err := db.Refit(t.Context(), r.ID); err != nil || old.State != store.RefitFailed {
			t.Errorf("got %+v, %v; want it failed", old, err)
		}
	})
}

// However many take shares at once, each has one holder.
func TestTakeShareOnce(t *testing.T) {
	for _, dialect := range []string{store.SQLite, store.Postgres} {
		t.Run(dialect, func(t *testing.T) {
			url := storetest.URL(t, dialect)
			db := storetest.MustOpen(t, url)
			fiveVehicles(t, db)
			r := mustJoin(t, db, 1)
			var mu sync.Mutex
			var taken []int
			var wg sync.WaitGroup
			for range 8 {
				own := storetest.MustOpen(t, url)
				wg.Go(func() {
					for {
						s, err := own.TakeShare(t.Context(), r.ID, 0, "test", time.Minute)
						if err != nil {
							t.Error(err)
						}
						if s == nil {
							return
						}
						mu.Lock()
						taken = append(taken, s.Number)
						mu.Unlock()
					}
				})
			}
			wg.Wait()
			slices.Sort(taken)
			if want := []int{0, 1, 2, 3, 4}; !slices.Equal(taken, want) {
				t.Errorf("taken %v, want %v", taken, want)
			}
		})
	}
}

// A share whose lease is over is another's, and goes on where the first one's
// forecasts end; what the first one brings later is refused.
func TestShareTakenOver(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		fiveVehicles(t, db)
		now := time.Date(2026, 3, 1, 2, 0, 0, 0, time.UTC)
		db.Now = func() time.Time { return now }
		r := mustJoin(t, db, 10)
		first := mustTake(t, db, r)
		if s := mustTake(t, db, r); s != nil {
			t.Fatalf("got %+v, which is another's", s)
		}
		save := func(s *store.Share, through int64) error {
			fs := []store.AxleForecast{bareForecast(through)}
			return db.SaveShareForecasts(t.Context(), auth.AllFleets(), s, &store.Standing{}, fs, 1, len(fs), through)
		}
		if err := save(first, first.FirstID); err != nil {
			t.Fatal(err)
		}
		// Renewed in time it stays.
		for range 3 {
			now = now.Add(50 * time.Second)
			if err := db.RenewShare(t.Context(), first); err != nil {
				t.Fatal(err)
			}
			if s := mustTake(t, db, r); s != nil {
				t.Fatalf("got %+v, which was renewed", s)
			}
		}
		now = now.Add(61 * time.Second)
		second := mustTake(t, db, r)
		if second == nil || second.Number != 0 || second.Tries != 2 || second.Through != first.FirstID {
			t.Fatalf("got %+v, want the share from vehicle %d on", second, first.FirstID)
		}
		for what, err := range map[string]error{
			"renew":  db.RenewShare(t.Context(), first),
			"drop":   db.DropShare(t.Context(), first),
			"finish": db.FinishShare(t.Context(), first, nil),
			"save":   save(first, first.FirstID+1),
		} {
			if !errors.Is(err, store.ErrLeaseLost) {
				t.Errorf("%s: got %v, want ErrLeaseLost", what, err)
			}
		}
		if fs, err := db.Forecasts(t.Context(), auth.AllFleets(), first.FirstID+1); err != nil || len(fs) != 0 {
			t.Errorf("got %+v, %v; want nothing of what came too late", fs, err)
		}
		if err := save(second, first.FirstID+1); err != nil {
			t.Fatal(err)
		}
		if err := db.FinishShare(t.Context(), second, []byte("heard")); err != nil {
			t.Fatal(err)
		}
		ps, err := db.RefitProgress(t.Context(), 0)
		if err != nil || len(ps) != 1 || ps[0].Forecast != 2 || ps[0].Axles != 2 || ps[0].SharesDone != 1 || ps[0].Vehicles != 5 {
			t.Errorf("got %+v, %v; want two vehicles forecast, each once", ps, err)
		}
		// A hold far ahead was taken by a clock that was wrong.
		now = now.Add(-24 * time.Hour)
		if j, err := db.TakeJoin(t.Context(), r.ID, 0, time.Minute); j == nil || err != nil {
			t.Fatalf("got %v, %v", j, err)
		}
		now = now.Add(-24 * time.Hour)
		if j, err := db.TakeJoin(t.Context(), r.ID, 0, time.Minute); j == nil || err != nil {
			t.Errorf("got %v, %v; want what a clock a day ahead held", j, err)
		}
	})
}

// bareForecast is a forecast of a vehicle's first axle that knows nothing.
func bareForecast(vehicleID int64) store.AxleForecast {
	f := store.AxleForecast{VehicleID: vehicleID, Risk: .05}
	f.Axle, f.Model, f.Limiting = 1, "line", -1
	return f
}

// A step is joined once, by one process, when all shares are done with it.
func TestJoinStep(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		fiveVehicles(t, db)
		now := time.Date(2026, 3, 1, 2, 0, 0, 0, time.UTC)
		db.Now = func() time.Time { return now }
		r := mustJoin(t, db, 3)
		join := func(step int) *store.Join {
			t.Helper()
			j, err := db.TakeJoin(t.Context(), r.ID, step, time.Minute)
			if err != nil {
				t.Fatal(err)
			}
			return j
		}
		one, two := mustTake(t, db, r), mustTake(t, db, r)
		if err := db.FinishShare(t.Context(), two, []byte("b")); err != nil {
			t.Fatal(err)
		}
		if j := join(0); j != nil {
			t.Fatal("joined before all were done")
		}
		if err := db.FinishShare(t.Context(), one, []byte("a")); err != nil {
			t.Fatal(err)
		}
		first := join(0)
		if first == nil || join(0) != nil {
			t.Fatal("want one to join")
		}
		now = now.Add(2 * time.Minute)
		second := join(0)
		if second == nil || second.Tries != 2 {
			t.Fatalf("got %+v, want it taken over", second)
		}
		var heard string
		err := db.EachHeard(t.Context(), second, func(b []byte) error {
			heard += string(b)
			return nil
		})
		if err != nil || heard != "ab" {
			t.Errorf("heard %q, %v; want it in the order of shares", heard, err)
		}
		p := store.Parameters{Model: "line", AsOf: refitDay, Values: []byte("{}"), Diagnostics: []byte("{}")}
		if err := db.NextStep(t.Context(), first, []byte("{}"), &p); !errors.Is(err, store.ErrLeaseLost) {
			t.Errorf("got %v, want ErrLeaseLost", err)
		}
		if err := db.NextStep(t.Context(), second, []byte(`{"a":1}`), &p); err != nil {
			t.Fatal(err)
		}
		if ps, err := db.ParametersHistory(t.Context(), "line", 10); err != nil || len(ps) != 1 {
			t.Errorf("got %d parameters, %v; want them once", len(ps), err)
		}
		if r, err = db.Refit(t.Context(), r.ID); err != nil || r.Step != 1 || r.Learning || string(r.Knows) != `{"a":1}` {
			t.Errorf("got %+v, %v", r, err)
		}
		for range 2 {
			if err := db.FinishShare(t.Context(), mustTake(t, db, r), nil); err != nil {
				t.Fatal(err)
			}
		}
		if err := db.EndRefit(t.Context(), join(1)); err != nil {
			t.Fatal(err)
		}
		if rs, err := db.OpenRefits(t.Context()); err != nil || len(rs) != 0 {
			t.Errorf("got %+v, %v; want none open", rs, err)
		}
	})
}
