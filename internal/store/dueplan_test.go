package store_test

import (
	"fmt"
	"testing"

	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// What a row says of its booking, its proposal, its workshop and its place is what
// whoever wrote last left there, also by hand; a forecast changes nothing of it.
func TestDuePlanRightAfterWrite(t *testing.T) {
	for _, dialect := range []string{store.SQLite, store.Postgres} {
		t.Run(dialect, func(t *testing.T) {
			url := storetest.URL(t, dialect)
			db, other := storetest.MustOpen(t, url), storetest.MustOpen(t, url)
			ids := mustVehicles(t, db, entry("Bus 1"), entry("Bus 2"))
			quay := depotOf(t, db, "Quay")
			for _, id := range ids {
				mustForecasts(t, db, worn(id, 1, 9, 1), worn(id, 2, 9, 1))
			}
			says := func(vehicle int64, axle int) string {
				t.Helper()
				page, err := db.DueSoon(t.Context(), all, store.DueQuery{})
				if err != nil {
					t.Fatal(err)
				}
				for _, r := range page.Rows {
					if r.VehicleID != vehicle || r.Axle != axle {
						continue
					}
					s := r.Fleet + " " + r.Depot
					if r.Booked != nil {
						s += fmt.Sprintf(", booked %s +%d", r.Booked.Depot, r.Booked.Day-monday)
					}
					if r.Proposed != nil {
						s += fmt.Sprintf(", proposed +%d", r.Proposed.Day-monday)
					}
					if r.Waiting != nil {
						s += fmt.Sprintf(", %s %v", r.Waiting.Currency, r.Waiting.Damage)
					}
					return s
				}
				t.Fatalf("axle %d of vehicle %d is not listed", axle, vehicle)
				return ""
			}
			shop := fleet.DefaultWorkshop()
			shop.DepotID, shop.Currency, shop.PastLight = quay.ID, "SEK", 300
			if err := db.SaveWorkshop(t.Context(), all, "N. N.", shop); err != nil {
				t.Fatal(err)
			}
			booked := mustBook(t, db, job(ids[0], quay.ID, monday))
			by := func(statement string, args ...any) func() {
				return func() { storetest.Exec(t, url, fmt.Sprintf(statement, args...)) }
			}
			work := "insert into booking_work (booking_id, seq, axle, item, part_number, quantity, reason) values (%d, 9, 2, 'pads', '', 0, '')"
			for _, x := range []struct {
				name    string
				write   func()
				vehicle int
				axle    int
				want    string
			}{
				{"booked", func() {}, 0, 1, "North Quay, booked Quay +0, SEK 300"},
				{"not this one", func() {}, 1, 1, "North Quay, SEK 300"},
				{"day", by("update bookings set day = '%s' where id = %d", monday+1, booked.ID), 0, 1, "North Quay, booked Quay +1, SEK 300"},
				{"work added", by(work, booked.ID), 0, 2, "North Quay, booked Quay +1, SEK 300"},
				{"work changed", by("update booking_work set axle = 3 where axle = 2"), 0, 2, "North Quay, SEK 300"},
				{"forecast", func() { mustForecasts(t, other, worn(ids[0], 1, 8, 1)) }, 0, 1, "North Quay, booked Quay +1, SEK 300"},
				{"work taken away", by("delete from booking_work where axle = 1"), 0, 1, "North Quay, SEK 300"},
				{"ended", by("update bookings set state = 'done' where id = %d", booked.ID), 0, 1, "North Quay, SEK 300"},
				{"another booked", func() { mustBook(t, other, job(ids[1], quay.ID, monday+2)) }, 1, 1, "North Quay, booked Quay +2, SEK 300"},
				{"and an earlier one", func() { mustBook(t, other, job(ids[1], quay.ID, monday)) }, 1, 1, "North Quay, booked Quay +0, SEK 300"},
				{"proposed", func() {
					mustPropose(t, other, []fleet.Depot{quay}, visitOf(ids[0], quay.ID, monday+3, 9*60))
				}, 0, 1, "North Quay, proposed +3, SEK 300"},
				{"proposed for another day", by("update proposal_visits set day = '%s'", monday+4), 0, 1, "North Quay, proposed +4, SEK 300"},
				{"declined", by("update proposal_visits set state = 'declined'"), 0, 1, "North Quay, SEK 300"},
				{"damage", by("update workshops set past_light = 400"), 0, 1, "North Quay, SEK 400"},
				{"depot", by("update depots set name = 'Pier' where id = %d", quay.ID), 1, 1, "North Pier, booked Pier +0, SEK 400"},
				{"fleet", by("update fleets set name = 'West' where name = 'North'"), 1, 1, "West Pier, booked Pier +0, SEK 400"},
				{"no workshop", by("delete from workshop_days; delete from workshop_hours; delete from workshops"), 1, 1, "West Pier, booked Pier +0"},
			} {
				x.write()
				if got := says(ids[x.vehicle], x.axle); got != x.want {
					t.Errorf("%s: got %q, want %q", x.name, got, x.want)
				}
			}
		})
	}
}

// Who still sees an older state sees no newer plan, and leaves none behind for others.
func TestDuePlanOfOlderState(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		id := mustVehicles(t, db, entry("Bus 1"))[0]
		quay := depotOf(t, db, "Quay")
		mustForecasts(t, db, worn(id, 1, 9, 1))
		count := func(db *store.DB, booked bool, want int) {
			t.Helper()
			page, err := db.DueSoon(t.Context(), all, store.DueQuery{Booked: &booked})
			if err != nil || page.Total != want || len(page.Rows) != want {
				t.Errorf("booked %t: got %+v, %v; want %d axles", booked, page, err, want)
			}
		}
		err := db.OneState(t.Context(), "look", "", func(state *store.DB) error {
			count(state, true, 0)
			mustBook(t, db, job(id, quay.ID, monday))
			count(db, true, 1)
			count(state, true, 0)
			count(state, false, 1)
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
		count(db, false, 0)
		count(db, true, 1)
	})
}

// A page of what is found by name is right as soon as another process has stored a name.
func TestDueSearchRightAfterWrite(t *testing.T) {
	for _, dialect := range []string{store.SQLite, store.Postgres} {
		t.Run(dialect, func(t *testing.T) {
			url := storetest.URL(t, dialect)
			db, other := storetest.MustOpen(t, url), storetest.MustOpen(t, url)
			plate := func(p string) func(*store.VehicleEntry) {
				return func(e *store.VehicleEntry) { e.Plate = p }
			}
			ids := mustVehicles(t, db, entry("Bus 1", plate("QX 10")), entry("Bus 2", plate("RY 20")))
			for _, id := range ids {
				mustForecasts(t, db, worn(id, 1, 9, 1))
			}
			check := func(text string, want int) {
				t.Helper()
				for range 2 { // read, and kept
					page, err := db.DueSoon(t.Context(), all, store.DueQuery{Text: text})
					if err != nil || page.Total != want || len(page.Rows) != want {
						t.Errorf("%q: got %+v, %v; want %d axles", text, page, err, want)
					}
				}
			}
			check("qx", 1)
			mustForecasts(t, other, worn(ids[0], 1, 8, 1))
			check("qx", 1)
			mustVehicles(t, other, entry("Bus 2", plate("QX 20")))
			check("qx", 2)
			mustVehicles(t, other, entry("Bus 1", plate("RY 10")), entry("Bus 2", plate("RY 20")))
			check("qx", 0)
			mustVehicles(t, other, entry("Bus 3", plate("QX 30")))
			check("qx", 0) // nothing is forecast of it
			mustForecasts(t, other, worn(mustVehicles(t, other, entry("Bus 3"))[0], 1, 9, 1))
			check("qx", 1)
		})
	}
}
