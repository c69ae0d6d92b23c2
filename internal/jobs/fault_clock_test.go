package jobs

import (
	"testing"
	"time"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// The clock jumps back a day after the nightly work. The night that comes again
// is not worked through again, and the next one is.
func TestFaultClockBackADay(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		d, h := &diary{}, &hands{t: evening}
		for _, c := range []struct {
			name string
			now  time.Time
			want int
		}{
			{"before the night", evening, 0},
			{"after it", night.Add(time.Hour), 1},
			{"a day back", night.Add(-23 * time.Hour), 0},
			{"the same night again", night.Add(time.Minute), 0},
			{"the next night", night.Add(25 * time.Hour), 1},
		} {
			h.set(c.now)
			run(t, db, h, nightly("count", d))
			if got := d.take(); len(got) != c.want {
				t.Errorf("%s: ran %d times, want %d", c.name, len(got), c.want)
			}
		}
	})
}

// The clocks change at night, forward and back. Work at a time that does not
// come, or comes twice, is done once on each day of its depot, whether the
// process goes on or begins anew each quarter of an hour.
func TestFaultDaylightSaving(t *testing.T) {
	const zone = "Australia/Lord_Howe" // by half an hour, and in the south
	for _, c := range []struct {
		name, zone string
		first      time.Time // noon of the day before, UTC
		days       []string  // of the depot
	}{
		// IANA time zone database, 2026: forward on 29 March and back on 25
		// October in Berlin; back on 5 April and forward on 4 October at Lord Howe.
		{"forward", "Europe/Berlin", time.Date(2026, 3, 28, 12, 0, 0, 0, time.UTC), []string{"2026-03-29", "2026-03-30"}},
		{"back", "Europe/Berlin", time.Date(2026, 10, 24, 12, 0, 0, 0, time.UTC), []string{"2026-10-25", "2026-10-26"}},
		{"back by half an hour", zone, time.Date(2026, 4, 4, 6, 0, 0, 0, time.UTC), []string{"2026-04-05", "2026-04-06"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Attr("database", store.SQLite)
			db := storetest.Open(t, store.SQLite)
			err := db.TakeIn(t.Context(), auth.AllFleets(), &fleet.Upload{}, func(w *store.Writer) error {
				_, err := w.Vehicles([]store.VehicleEntry{{Fleet: "North", Depot: "Quay", Vehicle: fleet.Vehicle{Number: "Bus 1"}}})
				return err
			})
			if err != nil {
				t.Fatal(err)
			}
			setZone(t, db, "Quay", c.zone)
			loc := pipeline.Zone(c.zone)
			d, h := &diary{}, &hands{t: c.first}
			job := nightly("night", d)
			job.Spec, job.PerZone = "15 2 * * *", true
			ran := map[string]int{}
			for now := c.first; now.Before(c.first.Add(42 * time.Hour)); now = now.Add(15 * time.Minute) {
				if hour := now.In(loc).Hour(); hour > 4 && hour < 23 && now != c.first {
					continue // nothing happens by day
				}
				h.set(now)
				run(t, db, h, job)
				for _, name := range d.take() {
					if name == "night" {
						ran[now.In(loc).Format(time.DateOnly)]++
					}
				}
			}
			for _, day := range c.days {
				if ran[day] != 1 {
					t.Errorf("ran %d times on %s, want once: %v", ran[day], day, ran)
				}
			}
			if len(ran) != len(c.days) {
				t.Errorf("ran on %v, want %v", ran, c.days)
			}
		})
	}
}
