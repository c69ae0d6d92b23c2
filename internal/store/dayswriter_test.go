package store_test

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// Days of a file are kept once, however many there are and whoever sends them again.
func TestDaysOfAFile(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ids := mustVehicles(t, db, entry("Bus 1"), entry("Bus 2"))
		depot := depotOf(t, db, "Quay").ID
		monday := day(time.March, 2)
		// More than are handed over with the statement, and few.
		for _, n := range []int{250, 3} {
			var as []fleet.Absence
			var vs []fleet.PlannedVisit
			var cs []fleet.Closure
			for i := range n {
				d := monday + fleet.Date(1000*n+i)
				why := fmt.Sprintf("%d of %d", i, n)
				as = append(as, fleet.Absence{VehicleID: ids[i%2], First: &d, Last: &d, Reason: why})
				vs = append(vs, fleet.PlannedVisit{VehicleID: ids[i%2], DepotID: int64(i%2) * depot, Day: d, What: why})
				cs = append(cs, fleet.Closure{DepotID: depot, First: d, Last: d, Reason: why})
			}
			open := fleet.Absence{VehicleID: ids[0], Weekdays: 1 << (n % 5)} // no first day, no last
			as, vs, cs = append(as, open, open), append(vs, vs[0], vs[0]), append(cs, cs[0], cs[0])
			for _, c := range []struct{ absences, others store.Counts }{
				{store.Counts{Added: n + 1, Repeated: 1}, store.Counts{Added: n, Repeated: 2}},
				{store.Counts{Repeated: n + 2}, store.Counts{Repeated: n + 2}},
			} {
				mustTakeIn(t, db, func(w *store.Writer) error {
					a, err := w.Absences(as)
					v, verr := w.PlannedVisits(vs)
					s, serr := w.Closures(cs)
					if a != c.absences || v != c.others || s != c.others {
						t.Errorf("%d: got %+v, %+v, %+v; want %+v, then %+v twice", n, a, v, s, c.absences, c.others)
					}
					return errors.Join(err, verr, serr)
				})
			}
		}
		ups, err := db.Upkeeps(t.Context(), all, ids, 0)
		if err != nil {
			t.Fatal(err)
		}
		w, err := db.Workshop(t.Context(), all, depot, 0)
		if err != nil {
			t.Fatal(err)
		}
		a, b := ups[ids[0]], ups[ids[1]]
		if got, want := fmt.Sprint(len(a.Absences)+len(b.Absences), len(a.Visits)+len(b.Visits), len(w.Closures)), "255 253 253"; got != want {
			t.Errorf("kept: got %s, want %s", got, want)
		}
		if v := b.Visits[0]; v.DepotID != depot || a.Visits[0].DepotID != 0 {
			t.Errorf("depots of visits: got %d and %d, want none and %d", a.Visits[0].DepotID, v.DepotID, depot)
		}
		strange := auth.ScopeOf([]int64{999999}, nil)
		for what, write := range map[string]func(w *store.Writer) error{
			"absence": func(w *store.Writer) error { _, err := w.Absences(a.Absences); return err },
			"visit":   func(w *store.Writer) error { _, err := w.PlannedVisits(a.Visits); return err },
			"closure": func(w *store.Writer) error {
				_, err := w.Closures([]fleet.Closure{{DepotID: depot, First: 1, Last: 1}})
				return err
			},
		} {
			if err := db.TakeIn(t.Context(), strange, &fleet.Upload{Name: what, SHA256: what}, write); !errors.Is(err, fleet.ErrNotFound) {
				t.Errorf("a stranger's %s: got %v", what, err)
			}
		}
	})
}

// Databases from before may hold the same days twice, for each of two writers looked
// before the other had written: one of each stays.
func TestDaysTwiceBefore(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		id := mustVehicles(t, db, entry("Bus 1"))[0]
		depot := depotOf(t, db, "Quay").ID
		mustExec(t, db, "create index absences_vehicle on absences (vehicle_id)")
		mustExec(t, db, "create index planned_visits_vehicle on planned_visits (vehicle_id, day)")
		mustExec(t, db, "create index closures_depot on closures (depot_id, last_day)")
		for _, table := range []string{"absences", "planned_visits", "closures"} {
			mustExec(t, db, "drop index "+table+"_once")
		}
		for range 3 {
			mustExec(t, db, "insert into absences (fleet_id, vehicle_id, first_day, last_day, weekdays, reason) values (1, ?, null, '2026-03-02', 0, '')", id)
			mustExec(t, db, "insert into absences (fleet_id, vehicle_id, first_day, last_day, weekdays, reason) values (1, ?, '2026-03-02', null, 1, '')", id)
			mustExec(t, db, "insert into planned_visits (fleet_id, vehicle_id, depot_id, day, what) values (1, ?, null, '2026-03-02', 'service')", id)
			mustExec(t, db, "insert into planned_visits (fleet_id, vehicle_id, depot_id, day, what) values (1, ?, ?, '2026-03-02', 'service')", id, depot)
			mustExec(t, db, "insert into closures (fleet_id, depot_id, first_day, last_day, technicians, reason) values (1, ?, '2026-03-02', '2026-03-03', 0, '')", depot)
		}
		step, err := os.ReadFile(filepath.Join("..", "..", "migrations", db.Dialect(), "00048_days_once.sql"))
		if err != nil {
			t.Fatal(err)
		}
		for s := range strings.SplitSeq(string(step), ";") {
			if strings.Contains(s, "\n") && strings.TrimSpace(s) != "" {
				mustExec(t, db, s)
			}
		}
		for table, want := range map[string]int{"absences": 2, "planned_visits": 2, "closures": 1} {
			if got := count(t, db, "select count(*) from "+table); got != want {
				t.Errorf("%s: got %d, want %d", table, got, want)
			}
			if got := count(t, db, "select min(id) from "+table); got != 1 {
				t.Errorf("%s: the first of the same is to stay, got %d", table, got)
			}
		}
	})
}
