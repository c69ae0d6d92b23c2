package store_test

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// manyVisits are invented: 140 visits of each vehicle, a third without an odometer, of
// two technicians, some on the day of the one before.
func manyVisits(ids []int64) (rs []fleet.Reading) {
	for _, id := range ids {
		for n := range 140 {
			r := reading(id, day(1, 1)+fleet.Date(n-n%9/8), 15-float64(n)/100)
			if n%3 > 0 {
				r.OdometerKm = ptr(1000 * float64(n))
			}
			r.Technician = fmt.Sprint("Technician ", n%2)
			r.Line = len(rs) + 2
			other := r
			other.Position, other.Line = pad(2, "", ""), r.Line+1
			rs = append(rs, r, other)
		}
	}
	return append(rs, rs[17]) // and one once more
}

// The readings of many visits are stored just as those of few, beside those that
// there are.
func TestManyVisitsAreAsFew(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		var rows [2][]string
		for i, batch := range []int{1000, 20} {
			if i > 0 {
				db = storetest.Open(t, db.Dialect())
			}
			// One of another fleet, so that not all are of fleet 1.
			rs := manyVisits(mustVehicles(t, db, entry("Bus 1"), entry("Bus 2"), entry("Bus 3", of("South", "Hill"))))
			var before []fleet.Reading
			for n := 0; n < len(rs); n += 7 {
				before = append(before, rs[n])
			}
			for part := range slices.Chunk(before, 20) {
				mustReadings(t, db, part...)
			}
			for _, want := range []store.Counts{{Added: len(rs) - 1 - len(before), Repeated: len(before) + 1}, {Repeated: len(rs)}} {
				var got store.Counts
				mustTakeIn(t, db, func(w *store.Writer) error {
					for part := range slices.Chunk(rs, batch) {
						c, err := w.Readings(part)
						if err != nil {
							return err
						}
						got.Added, got.Repeated = got.Added+c.Added, got.Repeated+c.Repeated
					}
					return nil
				})
				if got != want {
					t.Errorf("batches of %d: got %+v, want %+v", batch, got, want)
				}
			}
			if n := count(t, db, `select count(*) from inspections where id not in (select inspection_id from thickness_readings)`); n > 0 {
				t.Errorf("batches of %d: %d visits without readings", batch, n)
			}
			// The last two uploads speak of two places each, as every other does of those it has rows of.
			if n := count(t, db, `select count(*) from upload_places where upload_id >= (select max(id) - 1 from uploads)`); n != 4 {
				t.Errorf("batches of %d: the uploads of all speak of %d places, want 2 each", batch, n)
			}
			err := db.WritePool().SelectContext(t.Context(), &rows[i], `
				select v.number || ' ' || i.fleet_id || ' ' || r.fleet_id || ' ' || i.day || ' ' || r.day || ' ' || coalesce(i.odometer_km, -1)
					|| ' ' || i.technician || ' ' || r.axle || ' ' || r.mm || ' ' || r.line
				from thickness_readings r
				join inspections i on i.id = r.inspection_id
				join vehicles v on v.id = i.vehicle_id and v.fleet_id = i.fleet_id
				order by r.vehicle_id, r.line`)
			if err != nil {
				t.Fatal(err)
			}
			if len(rows[i]) != len(rs)-1 {
				t.Errorf("batches of %d: %d readings with their visits, want %d", batch, len(rows[i]), len(rs)-1)
			}
			mustReadings(t, db, reading(rs[0].VehicleID, day(12, 31), 3)) // by an id of the table's own
		}
		if d := cmp.Diff(rows[1], rows[0]); d != "" {
			t.Error(d)
		}
	})
}

// Two uploads at once of other parts that were measured on the same many visits are
// both stored, with each visit once.
func TestManyVisitsOfTwoAtOnce(t *testing.T) {
	db := storetest.Open(t, store.Postgres) // an SQLite file has one writer
	pads := manyVisits(mustVehicles(t, db, entry("Bus 1"), entry("Bus 2")))
	rotors := slices.Clone(pads)
	for i := range rotors {
		rotors[i].Position.Part, rotors[i].Position.Face = fleet.Rotor, ""
	}
	other := make(chan error, 1)
	mustTakeIn(t, db, func(w *store.Writer) error {
		if _, err := w.Readings(pads); err != nil {
			return err
		}
		go func() {
			other <- db.TakeIn(t.Context(), all, &fleet.Upload{Name: "rotors.csv"}, func(w *store.Writer) error {
				// One visit more than there are, so that not all are the first's.
				late := rotors[0]
				late.Date += 900
				c, err := w.Readings(append(rotors, late))
				if want := (store.Counts{Added: len(pads), Repeated: 1}); err == nil && c != want {
					t.Errorf("got %+v, want %+v", c, want)
				}
				return err
			})
		}()
		for count(t, db, `select count(*) from pg_stat_activity where datname = current_database() and wait_event_type = 'Lock'`) == 0 {
			select {
			case err := <-other:
				t.Fatalf("the second did not wait for the first: %v", err)
			case <-time.After(5 * time.Millisecond):
			}
		}
		return nil
	})
	if err := <-other; err != nil {
		t.Fatalf("the second: %v", err)
	}
	if got := count(t, db, `select count(*) from inspections`); got != 281 {
		t.Errorf("%d visits, want the 140 of each vehicle and one", got)
	}
	if got, want := count(t, db, `select count(*) from thickness_readings r join inspections i on i.id = r.inspection_id and i.day = r.day`), 2*len(pads)-1; got != want {
		t.Errorf("%d readings with their visits, want %d", got, want)
	}
}

// Uploads of nearly as many vehicles are the same statements, which a connection
// keeps.
func TestManyVisitsAskTheSame(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ids := mustVehicles(t, db, entry("Bus 1"), entry("Bus 2"), entry("Bus 3"), entry("Bus 4"))
		asked := map[string]bool{}
		ctx := store.WithTrace(t.Context(), func(query string, _ []any) {
			if strings.HasPrefix(query, "with spans") || strings.Contains(query, "select v.id, v.fleet_id, v.depot_id from vehicles v") {
				asked[query] = true
			}
		})
		for _, n := range []int{3, 4} {
			err := db.TakeIn(ctx, all, &fleet.Upload{}, func(w *store.Writer) error {
				_, err := w.Readings(manyVisits(ids[:n]))
				return err
			})
			if err != nil {
				t.Fatal(err)
			}
		}
		if len(asked) != 3 {
			t.Errorf("%d statements, want one for vehicles, one for readings and one for visits", len(asked))
		}
	})
}

// Many visits of a vehicle of others are refused as few are.
func TestManyVisitsOfOthers(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ids := mustVehicles(t, db, entry("Bus 1"), entry("Bus 2", of("South", "Hill")))
		south := count(t, db, `select fleet_id from vehicles where id = ?`, ids[1])
		for _, of := range [][]int64{ids, {ids[1], 999}} {
			err := db.TakeIn(t.Context(), auth.ScopeOf([]int64{int64(south)}, nil), &fleet.Upload{}, func(w *store.Writer) error {
				_, err := w.Readings(manyVisits(of))
				return err
			})
			if !errors.Is(err, fleet.ErrNotFound) {
				t.Errorf("vehicles %d: got %v, want not found", of, err)
			}
		}
		if n := count(t, db, `select count(*) from inspections`); n > 0 {
			t.Errorf("%d visits were kept of what was refused", n)
		}
	})
}
