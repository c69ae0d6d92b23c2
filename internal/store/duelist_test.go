package store_test

import (
	"fmt"
	"math/rand/v2"
	"sync"
	"testing"

	gocmp "github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"brakewear/forecast"
	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// What is held of the due-soon list and brought up to date by what was written since,
// by this process or another, lists what a list read whole does, under any filter, in
// any order.
func TestDueListKeptUp(t *testing.T) {
	steps := 120
	if testing.Short() {
		steps = 30
	}
	for _, dialect := range []string{store.SQLite, store.Postgres} {
		t.Run(dialect, func(t *testing.T) {
			url := storetest.URL(t, dialect)
			db, other, anew := storetest.MustOpen(t, url), storetest.MustOpen(t, url), storetest.MustOpen(t, url)
			rng := rand.New(rand.NewPCG(3, 4)) // a seed like any other
			depots := []string{"Quay", "Hill", "Bay"}
			duties := []string{"", "city", "hills"}
			bus := func(n int) store.VehicleEntry {
				return entry(fmt.Sprint("Bus ", n), of([]string{"North", "South"}[n%2], depots[rng.IntN(len(depots))]), func(e *store.VehicleEntry) {
					e.Duty, e.Plate = duties[rng.IntN(len(duties))], fmt.Sprint("Q", rng.IntN(5))
				})
			}
			ids := mustVehicles(t, db, entry("Bus 0"), bus(1), bus(2), bus(3))
			north := []int64{ids[0], ids[2]}
			axle := func(ago fleet.Date) store.AxleForecast {
				f := worn(ids[rng.IntN(len(ids))], 1+rng.IntN(3), 3+12*rng.Float64(), 1+rng.Float64())
				f.AsOf -= forecast.Day(ago)
				by := fleet.Date(f.AsOf) + fleet.Date(rng.IntN(60)-10)
				if f.BookBy = &by; rng.IntN(5) == 0 {
					f.BookBy = nil
				}
				f.PastLimit = rng.IntN(6) == 0
				if rng.IntN(6) == 0 {
					unmeasured(&f)
				}
				return f
			}
			query := func() store.DueQuery {
				q := store.DueQuery{Sort: store.DueSorts[rng.IntN(len(store.DueSorts))], Limit: 1 + rng.IntN(6), Today: asOf + fleet.Date(rng.IntN(3))}
				some := func(set func()) {
					if rng.IntN(5) == 0 {
						set()
					}
				}
				date := func() *fleet.Date { return ptr(asOf + fleet.Date(rng.IntN(80)-20)) }
				some(func() { q.Fleet = 1 + rng.Int64N(2) })
				some(func() { q.Depot = 1 + rng.Int64N(6) })
				some(func() { q.Text = []string{"bus 1", "q3", "us"}[rng.IntN(3)] })
				some(func() { q.Before = date() })
				some(func() { q.From = date() })
				some(func() { q.LimitFrom = date() })
				some(func() { q.LimitTo = date() })
				some(func() { q.Booked = ptr(rng.IntN(2) == 0) })
				some(func() { q.Measured = ptr(rng.IntN(2) == 0) })
				some(func() { q.Late = true })
				some(func() { q.Left = store.LeftClasses[rng.IntN(len(store.LeftClasses))] })
				some(func() { q.Part = []fleet.Part{fleet.Pad, fleet.Rotor}[rng.IntN(2)] })
				some(func() { q.Duty = &duties[rng.IntN(len(duties))] })
				some(func() { q.Moved = store.Shifts[rng.IntN(len(store.Shifts))] })
				some(func() { q.Vehicles = ids[:rng.IntN(len(ids))] })
				return q
			}
			quay := depotOf(t, db, "Quay")
			scopes := []auth.Scope{all, auth.ScopeOf([]int64{quay.FleetID}, nil), auth.ScopeOf(nil, []int64{quay.ID})}
			var asked []store.DueQuery // time and again, for what is kept of each
			for range 25 {
				asked = append(asked, query())
			}
			listed := 0
			for step := range steps {
				by := []*store.DB{db, other}[rng.IntN(2)]
				switch rng.IntN(8) {
				case 0:
					n := 4 + rng.IntN(30)
					ids = append(ids, mustVehicles(t, by, bus(n))...)
					if n%2 == 0 {
						north = append(north, ids[len(ids)-1])
					}
				case 1: // moved, or with another duty
					mustVehicles(t, by, bus(1+rng.IntN(3)))
				case 2:
					if err := by.LogForecasts(t.Context(), all, []store.AxleForecast{axle(30), axle(31), axle(32)}); err != nil {
						t.Fatal(err)
					}
				case 3:
					mustBook(t, by, job(north[rng.IntN(len(north))], quay.ID, monday+7*fleet.Date(step)))
				case 4:
					shop := fleet.DefaultWorkshop()
					shop.DepotID, shop.Currency, shop.PastLight = quay.ID, []string{"SEK", "EUR"}[rng.IntN(2)], float64(rng.IntN(9))
					if err := by.SaveWorkshop(t.Context(), all, "N. N.", shop); err != nil {
						t.Fatal(err)
					}
				case 5:
					mustPropose(t, by, []fleet.Depot{quay}, visitOf(north[rng.IntN(len(north))], quay.ID, monday+fleet.Date(step), 9*60))
				default:
					fs := map[dueKey]store.AxleForecast{}
					for range 1 + rng.IntN(4) {
						f := axle(0)
						fs[dueKey{f.VehicleID, f.Axle}] = f
					}
					for _, f := range fs {
						mustForecasts(t, by, f)
					}
				}
				undo := func() {}
				if step%10 == 9 {
					undo = store.SetMaxDueNews(0) // too much to be read piece by piece
				}
				anew.ForgetDue()
				asked[rng.IntN(len(asked))] = query()
				for range 8 {
					q := asked[rng.IntN(len(asked))]
					sc := scopes[q.Limit%len(scopes)]
					for {
						want, err := anew.DueSoon(t.Context(), sc, q)
						if err != nil {
							t.Fatal(err)
						}
						got, err := db.DueSoon(t.Context(), sc, q)
						if err != nil {
							t.Fatal(err)
						}
						if d := gocmp.Diff(want, got, cmpopts.EquateNaNs(), cmpopts.EquateEmpty()); d != "" {
							t.Fatalf("step %d, %+v: read whole, kept up:\n%s", step, q, d)
						}
						listed += len(got.Rows)
						if q.After = got.Next; q.After == "" {
							break
						}
					}
				}
				undo()
			}
			if listed < steps {
				t.Errorf("%d rows were listed in %d steps: too few to compare", listed, steps)
			}
		})
	}
}

// While many write and many look, everybody sees what he wrote.
func TestDueListAtOnce(t *testing.T) {
	for _, dialect := range []string{store.SQLite, store.Postgres} {
		t.Run(dialect, func(t *testing.T) {
			url := storetest.URL(t, dialect)
			dbs := []*store.DB{storetest.MustOpen(t, url), storetest.MustOpen(t, url)}
			var entries []store.VehicleEntry
			for i := range 6 {
				entries = append(entries, entry(fmt.Sprint("Bus ", i)))
			}
			ids := mustVehicles(t, dbs[0], entries...)
			var wg sync.WaitGroup
			for i, id := range ids {
				wg.Go(func() {
					for n := range fleet.Date(20) {
						by := asOf + n
						f := due(id, 1, &by, float64(asOf))
						if err := storetest.SaveForecasts(t.Context(), dbs[i%2], all, []store.AxleForecast{f}); err != nil {
							t.Error(err)
							return
						}
						q := store.DueQuery{From: &by, Before: &by, Vehicles: []int64{id}, Moved: []store.Shift{"", store.IntoDue}[n%2], Today: asOf + n%3}
						want := 1
						if q.Moved != "" {
							want = 0 // nothing is known of a month ago
						}
						page, err := dbs[(i+int(n))%2].DueSoon(t.Context(), all, q)
						if err != nil || page.Total != want || len(page.Rows) != want || want == 1 && *page.Rows[0].BookBy != by {
							t.Errorf("vehicle %d, step %d: got %+v, %v; want %d rows to be booked by %v", id, n, page, err, want, by)
							return
						}
					}
				})
			}
			wg.Wait()
		})
	}
}

// A page says that there is another while there is one, also when what is written to
// the others leaves none.
func TestDueListLastPage(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ids := mustVehicles(t, db, entry("Bus 1"), entry("Bus 2"), entry("Bus 3"))
		for i, id := range ids {
			mustForecasts(t, db, due(id, 1, ptr(asOf+fleet.Date(i)), float64(asOf)))
		}
		first := store.DueQuery{Before: ptr(asOf + 9), Limit: 1}
		look := func(q store.DueQuery, want int, more bool) (next string) {
			t.Helper()
			page, err := db.DueSoon(t.Context(), all, q)
			if err != nil || page.Total != want || len(page.Rows) != 1 || (page.Next != "") != more {
				t.Errorf("got %+v, %v; want one row of %d, and another page: %t", page, err, want, more)
			}
			return page.Next
		}
		second := first
		second.After = look(first, 3, true)
		look(second, 3, true)
		mustForecasts(t, db, due(ids[2], 1, ptr(asOf+20), float64(asOf)))
		look(first, 2, true)
		look(second, 2, false)
		mustForecasts(t, db, due(ids[1], 1, ptr(asOf+20), float64(asOf)))
		look(first, 1, false)
		mustForecasts(t, db, due(ids[1], 1, ptr(asOf+1), float64(asOf)))
		look(first, 2, true)
	})
}

// Who sees an older state asks for a day's moves first: those who see what was written
// since have them right.
func TestDueListOlderMoves(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		id := mustVehicles(t, db, entry("Bus 1"))[0]
		then := worn(id, 1, 10, 1)
		then.AsOf -= store.TrendDays
		if err := db.LogForecasts(t.Context(), all, []store.AxleForecast{then}); err != nil {
			t.Fatal(err)
		}
		faster := func(db *store.DB, want int) {
			t.Helper()
			page, err := db.DueSoon(t.Context(), all, store.DueQuery{Moved: store.Faster, Today: asOf})
			if err != nil || page.Total != want || len(page.Rows) != want {
				t.Errorf("got %+v, %v; want %d axles", page, err, want)
			}
		}
		mustForecasts(t, db, worn(id, 1, 9, 1))
		err := db.OneState(t.Context(), "look", "", func(state *store.DB) error {
			if _, err := state.DueSoon(t.Context(), all, store.DueQuery{}); err != nil {
				return err
			}
			mustForecasts(t, db, worn(id, 1, 9, 2))
			if _, err := db.DueSoon(t.Context(), all, store.DueQuery{}); err != nil {
				return err
			}
			faster(state, 0)
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
		faster(db, 1)
	})
}

// One asks an SQLite file for its version, another writes, and then the one reads: a
// row that somebody reads from before is not kept for those who come after.
func TestDueListOlderRows(t *testing.T) {
	db := storetest.MustOpen(t, storetest.URL(t, store.SQLite))
	id := mustVehicles(t, db, entry("Bus 1"))[0]
	mustForecasts(t, db, due(id, 1, ptr(asOf), float64(asOf)))
	look := func(db *store.DB, q store.DueQuery, want fleet.Date) error {
		page, err := db.DueSoon(t.Context(), all, q)
		if err == nil && (len(page.Rows) != 1 || *page.Rows[0].BookBy != want) {
			err = fmt.Errorf("%+v: got %+v, want one row to be booked by %v", q, page, want)
		}
		return err
	}
	err := db.OneState(t.Context(), "look", "", func(before *store.DB) error {
		if _, err := before.VehicleNumber(t.Context(), all, id); err != nil { // now it sees a state
			return err
		}
		version, err := db.Version(t.Context())
		if err != nil {
			return err
		}
		mustForecasts(t, db, due(id, 1, ptr(asOf+9), float64(asOf)))
		err = db.OneStateOf(t.Context(), version, func(after *store.DB) error { return look(after, store.DueQuery{Limit: store.MaxLimit}, asOf+9) }) // too long to be kept
		if err != nil {
			return err
		}
		return look(before, store.DueQuery{Sort: store.ByVehicle}, asOf)
	})
	if err != nil {
		t.Fatal(err)
	}
	if err := look(db, store.DueQuery{}, asOf+9); err != nil {
		t.Error(err)
	}
}

// A later version of a server's database has what was under way in an earlier one, or
// what began after it.
func TestVersionCovers(t *testing.T) {
	for _, c := range []struct {
		held, asked string
		want        bool
	}{
		{"s 10:13:10,11", "s 10:13:10,11", true},
		{"s 10:14:10", "s 10:13:10,11", true},
		{"s 10:13:10,11", "s 10:14:10", false},
		{"s 10:13:10", "s 10:13:10,11", true},
		{"s 13:13:", "s 10:13:10", true},
		{"s 10:13:10,11", "s 10:13:10", false},
		{"s 10:13:10", "s 13:13:", false},
		{"r 10:14:10", "s 10:13:10,11", false},
		{"1 8", "1 7", true}, // of a file
		{"1 7", "1 8", false},
		{"2 8", "1 7", false},
		{"", "1 7", false},
		{"1 7", "", false},
		{"", "", false},
	} {
		if got := store.Covers(c.held, c.asked); got != c.want {
			t.Errorf("%q has all of %q: got %t, want %t", c.held, c.asked, got, c.want)
		}
	}
}
