package store_test

import (
	"database/sql"
	"fmt"
	"slices"
	"strings"
	"testing"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// listed are the numbers of the vehicles that a search finds.
func listed(t *testing.T, db *store.DB, sc auth.Scope, q store.VehicleQuery) (numbers []string) {
	t.Helper()
	page, err := db.Vehicles(t.Context(), sc, q)
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range page.Rows {
		numbers = append(numbers, v.Number)
	}
	if page.Total != len(numbers) {
		t.Errorf("%+v: counted %d, listed %d", q, page.Total, len(numbers))
	}
	return numbers
}

// A search finds what another process wrote as soon as that is stored, and what a
// trial wrote never.
func TestSearchRightAfterWrite(t *testing.T) {
	for _, dialect := range []string{store.SQLite, store.Postgres} {
		t.Run(dialect, func(t *testing.T) {
			url := storetest.URL(t, dialect)
			db, other := storetest.MustOpen(t, url), storetest.MustOpen(t, url)
			check := func(text string, want ...string) {
				t.Helper()
				for _, x := range []*store.DB{db, other} {
					if got := listed(t, x, all, store.VehicleQuery{Text: text}); !slices.Equal(got, want) {
						t.Errorf("%q: got %q, want %q", text, got, want)
					}
				}
			}
			check("bus")
			plate := func(p string) func(*store.VehicleEntry) {
				return func(e *store.VehicleEntry) { e.Plate = p }
			}
			mustVehicles(t, db, entry("Bus 1", plate("QX-10")), entry("Bus 2"))
			check("bus", "Bus 1", "Bus 2")
			check("qx10", "Bus 1")
			mustVehicles(t, other, entry("Bus 1", plate("RY 20")), entry("Bus 3"))
			check("bus", "Bus 1", "Bus 2", "Bus 3")
			check("qx10")
			check("y2", "Bus 1")
			// A trial is undone; what is stored next may have its ids.
			err := db.Trial(t.Context(), func(trial *store.DB) error {
				mustVehicles(t, trial, entry("Bus 4"))
				if got := listed(t, trial, all, store.VehicleQuery{Text: "bus 4"}); len(got) != 1 {
					t.Errorf("within the trial: got %q", got)
				}
				return nil
			})
			if err != nil {
				t.Fatal(err)
			}
			check("bus 4")
			mustVehicles(t, other, entry("Bus 5"))
			check("bus 4")
			check("bus 5", "Bus 5")
		})
	}
}

// How names are read: all of them once, then what was written since, and nothing
// while nothing was.
func TestNamesReadSince(t *testing.T) {
	for _, dialect := range []string{store.SQLite, store.Postgres} {
		t.Run(dialect, func(t *testing.T) {
			url := storetest.URL(t, dialect)
			db, other := storetest.MustOpen(t, url), storetest.MustOpen(t, url)
			defer store.SetMaxLater(3)()
			mustVehicles(t, other, entry("Bus 1"), entry("Bus 2"), entry("Bus 3"), entry("Bus 4"), entry("Bus 5"))
			// A server's own upkeep may change the version: then it is looked
			// whether anything was written, and nothing was.
			const nothing, since, whole = "nothing", "what was written since", "all"
			search := func(text string, reads []string, want ...string) {
				t.Helper()
				ctx, ran := storetest.Watch(t.Context())
				page, err := db.Vehicles(ctx, all, store.VehicleQuery{Text: text})
				if err != nil {
					t.Fatal(err)
				}
				var got []string
				for _, v := range page.Rows {
					got = append(got, v.Number)
				}
				if !slices.Equal(got, want) {
					t.Errorf("%q: got %q, want %q", text, got, want)
				}
				read := nothing
				for _, q := range ran.Queries() {
					switch {
					case !strings.Contains(q, "v.search, v.written"):
					case strings.Contains(q, "where"):
						read = since
					default:
						read = whole
					}
				}
				if !slices.Contains(reads, read) {
					t.Errorf("%q: it read %s, want one of %q", text, read, reads)
				}
				for _, whole := range ran.Whole(t, url, []string{"vehicles"}) {
					if read == since && strings.Contains(whole, "v.search, v.written") {
						t.Errorf("%q: what was written since is looked for among all: %s", text, whole)
					}
				}
			}
			search("bus 1", []string{whole}, "Bus 1")
			search("bus 2", []string{nothing, since}, "Bus 2")
			for i := range 3 {
				plate := fmt.Sprint("QX ", i)
				mustVehicles(t, other, entry("Bus 2", func(e *store.VehicleEntry) { e.Plate = plate }))
				search("qx", []string{since}, "Bus 2")
			}
			mustVehicles(t, other, entry("Bus 6"), entry("Bus 1", func(e *store.VehicleEntry) { e.Plate = "QX 9" }))
			search("qx", []string{since}, "Bus 1", "Bus 2")
			mustVehicles(t, other, entry("Bus 7"), entry("Bus 8"))
			search("bus 7", []string{whole}, "Bus 7")
			mustVehicles(t, other, entry("Bus 9"))
			search("bus 9", []string{since}, "Bus 9")
			// While another reads all, nobody waits for it.
			done := db.HoldNames()
			defer done()
			search("bus 9", []string{nothing, since}, "Bus 9")
			mustVehicles(t, other, entry("Bus 10"), entry("Bus 11"), entry("Bus 12"), entry("Bus 13"))
			search("bus 13", []string{since}, "Bus 13")
		})
	}
}

// Transactions on a server end in another order than they began: what an earlier
// one wrote is found as soon as it has ended, and so is what was written under
// numbers of another server.
func TestNamesOfTransactionsInAnyOrder(t *testing.T) {
	db := storetest.Open(t, store.Postgres)
	mustVehicles(t, db, entry("Bus 1"), entry("Bus 2"), entry("Bus 3"))
	rename := func(tx interface {
		Exec(string, ...any) (sql.Result, error)
	}, number, plate string) {
		t.Helper()
		if _, err := tx.Exec(`update vehicles set search = $1, written = txid_current() where number = $2`, plate, number); err != nil {
			t.Fatal(err)
		}
	}
	check := func(text string, want ...string) {
		t.Helper()
		if got := listed(t, db, all, store.VehicleQuery{Text: text}); !slices.Equal(got, want) {
			t.Errorf("%q: got %q, want %q", text, got, want)
		}
	}
	check("qx")
	first, err := db.WritePool().Beginx()
	if err != nil {
		t.Fatal(err)
	}
	defer first.Rollback()
	second, err := db.WritePool().Beginx()
	if err != nil {
		t.Fatal(err)
	}
	defer second.Rollback()
	rename(first, "Bus 1", "qx1")
	rename(second, "Bus 2", "qx2")
	check("qx")
	if err := second.Commit(); err != nil {
		t.Fatal(err)
	}
	check("qx", "Bus 2")
	rename(db.WritePool(), "Bus 2", "qx3")
	check("qx", "Bus 2")
	check("qx2")
	if err := first.Commit(); err != nil {
		t.Fatal(err)
	}
	check("qx", "Bus 1", "Bus 2")
	check("qx1", "Bus 1")
	// As after a restore of a backup: numbers that are yet to be given here.
	mustExec(t, db, `update vehicles set written = 9000000000`)
	check("qx", "Bus 1", "Bus 2")
	rename(db.WritePool(), "Bus 3", "qx4")
	check("qx", "Bus 1", "Bus 2", "Bus 3")
}

// However many are found, and so in whichever way they are looked for, the lists
// are the same, and nobody is shown what he may not see.
func TestSearchManyAndFew(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		var entries []store.VehicleEntry
		for i := range 60 {
			entries = append(entries, entry(fmt.Sprint("Bus ", i), of([]string{"North", "South"}[i%2], []string{"Quay", "Hill", "Bay"}[i%3]), func(e *store.VehicleEntry) {
				e.Plate = fmt.Sprintf("Q%d-%d", i%7, i)
			}))
		}
		ids := mustVehicles(t, db, entries...)
		var fs []store.AxleForecast
		for i, id := range ids {
			fs = append(fs, due(id, 1, ptr(asOf+fleet.Date(i%11)), float64(asOf)))
		}
		mustForecasts(t, db, fs...)
		fleets, err := db.Fleets(t.Context(), all)
		if err != nil {
			t.Fatal(err)
		}
		depots, err := db.Depots(t.Context(), all)
		if err != nil {
			t.Fatal(err)
		}
		type list struct {
			total int
			rows  []string
		}
		ask := func(sc auth.Scope, q store.DueQuery) (l list) {
			t.Helper()
			page, err := db.DueSoon(t.Context(), sc, q)
			if err != nil {
				t.Fatal(err)
			}
			for _, r := range page.Rows {
				l.rows = append(l.rows, r.Vehicle)
			}
			for _, number := range listed(t, db, sc, store.VehicleQuery{Text: q.Text, Fleet: q.Fleet, Depot: q.Depot, Limit: store.MaxLimit}) {
				l.rows = append(l.rows, "vehicle "+number)
			}
			l.total = page.Total
			return l
		}
		found := 0
		for _, sc := range []auth.Scope{all, auth.ScopeOf([]int64{fleets[1].ID}, nil), auth.ScopeOf(nil, []int64{depots[0].ID}), {}} {
			for _, text := range []string{"bus", "bus 1", "q3", "Q3-1", "q31", "7", "\n", "us 5\nq", "zz"} {
				for _, q := range []store.DueQuery{{}, {Fleet: fleets[0].ID}, {Fleet: fleets[0].ID, Depot: depots[0].ID}, {Before: ptr(asOf + 5)}, {Vehicles: ids[10:30]}} {
					for _, sort := range []store.DueSort{store.ByBookBy, store.ByVehicle} {
						q.Text, q.Sort, q.Limit = text, sort, store.MaxLimit
						few := ask(sc, q)
						undo := store.SetMaxFound(0)
						many := ask(sc, q)
						undo()
						if few.total != many.total || !slices.Equal(few.rows, many.rows) {
							t.Errorf("%+v %+v: by ids %v, by names %v", sc, q, few, many)
						}
						found += len(few.rows)
						if sc.Empty() && len(few.rows) > 0 {
							t.Errorf("%+v: the empty scope sees %v", q, few)
						}
					}
				}
			}
		}
		if found == 0 {
			t.Error("nothing was ever found")
		}
	})
}

// What the due-soon list counts is right after a write of any process.
func TestDueCountedRightAfterWrite(t *testing.T) {
	for _, dialect := range []string{store.SQLite, store.Postgres} {
		t.Run(dialect, func(t *testing.T) {
			url := storetest.URL(t, dialect)
			db, other := storetest.MustOpen(t, url), storetest.MustOpen(t, url)
			ids := mustVehicles(t, db, entry("Bus 1"), entry("Bus 2", of("South", "Hill")))
			depots, err := db.Depots(t.Context(), all)
			if err != nil {
				t.Fatal(err)
			}
			check := func(q store.DueQuery, want int) {
				t.Helper()
				for _, x := range []*store.DB{db, other} {
					for range 2 { // counted, and remembered
						page, err := x.DueSoon(t.Context(), all, q)
						if err != nil || page.Total != want || len(page.Rows) != want {
							t.Errorf("%+v: got %d of %d, %v; want %d", q, len(page.Rows), page.Total, err, want)
						}
						err = x.OneState(t.Context(), "look", "", func(state *store.DB) error {
							page, err := state.DueSoon(t.Context(), all, q)
							if page.Total != want {
								t.Errorf("%+v in one state: got %d, want %d", q, page.Total, want)
							}
							return err
						})
						if err != nil {
							t.Fatal(err)
						}
					}
				}
			}
			check(store.DueQuery{}, 0)
			mustForecasts(t, db, due(ids[0], 1, ptr(asOf+10), float64(asOf)))
			check(store.DueQuery{}, 1)
			mustForecasts(t, other, due(ids[0], 2, nil, float64(asOf)), due(ids[1], 1, ptr(asOf+20), float64(asOf)))
			check(store.DueQuery{}, 3)
			check(store.DueQuery{Before: ptr(asOf + 15)}, 1)
			check(store.DueQuery{Text: "bus 2"}, 1)
			check(store.DueQuery{Booked: ptr(false)}, 3)
			mustForecasts(t, other, due(ids[1], 1, ptr(asOf+5), float64(asOf)))
			check(store.DueQuery{Before: ptr(asOf + 15)}, 2)
			quay := slices.IndexFunc(depots, func(d fleet.Depot) bool { return d.Name == "Quay" })
			mustBook(t, other, job(ids[0], depots[quay].ID, monday))
			check(store.DueQuery{Booked: ptr(false)}, 2)
			check(store.DueQuery{Booked: ptr(true)}, 1)
			looked := func(want int) {
				t.Helper()
				for _, x := range []*store.DB{db, other} {
					if n, err := x.CountFindings(t.Context(), all, store.FindingQuery{}); err != nil || n != want {
						t.Errorf("findings: got %d, %v; want %d", n, err, want)
					}
				}
			}
			looked(0)
			mustFindings(t, other, day(6, 1), ids[:1], uneven(ids[0], 4))
			looked(1)
			// Nothing of a trial is remembered.
			err = db.Trial(t.Context(), func(trial *store.DB) error {
				mustForecasts(t, trial, due(ids[1], 3, ptr(asOf+5), float64(asOf)))
				page, err := trial.DueSoon(t.Context(), all, store.DueQuery{})
				if page.Total != 4 {
					t.Errorf("within the trial: got %d, want 4", page.Total)
				}
				return err
			})
			if err != nil {
				t.Fatal(err)
			}
			check(store.DueQuery{}, 3)
		})
	}
}

// While somebody reads all names, the due-soon list is searched without them, in
// whatever order the table has its vehicles.
func TestDueListSearchedWithoutNames(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ids := mustVehicles(t, db, entry("Bus 1"), entry("Bus 2"), entry("Bus 3"))
		for _, id := range ids {
			mustForecasts(t, db, due(id, 1, nil, float64(asOf)))
		}
		mustVehicles(t, db, entry("Bus 1", func(e *store.VehicleEntry) { e.Plate = "Q 1" })) // a server's table has it last now
		defer db.HoldNames()()
		page, err := db.DueSoon(t.Context(), all, store.DueQuery{Text: "bus"})
		if err != nil || page.Total != len(ids) || len(page.Rows) != len(ids) {
			t.Errorf("got %+v, %v; want %d rows", page, err, len(ids))
		}
	})
}
