package demo

import (
	"reflect"
	"slices"
	"testing"
	"time"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"

	"github.com/google/go-cmp/cmp"
)

// islandDays are days on which the island's story must come out: through the
// year, and at the turns of it.
var islandDays = []fleet.Date{
	until,
	fleet.NewDate(2026, time.January, 1),
	fleet.NewDate(2026, time.February, 28),
	fleet.NewDate(2027, time.December, 24),
	fleet.NewDate(2031, time.March, 3),
}

func TestIslandTellsItsStory(t *testing.T) {
	for _, day := range islandDays {
		w := newWorld(Options{Seed: islandSeed, Until: day, Shares: &islandShares})
		s := &sim{world: w}
		vehicles, depots, classes := map[string]*Vehicle{}, map[string]bool{}, map[string]bool{}
		for v := range Island(day) {
			vehicles[v.Number] = v
			depots[v.Depot], classes[v.Truth.Class] = true, true
			due, ok := islandDue[v.Number]
			if !ok {
				due = later
			}
			if a, ok := islandAwkward[v.Number]; ok {
				due = a.due
			} else if !s.wellRead(v) {
				t.Errorf("%s: %s has not been measured for months", day, v.Number)
			}
			if got := s.daysLeft(v); got < due.from || got > due.to {
				t.Errorf("%s: %s is due in %d days, want %d to %d", day, v.Number, got, due.from, due.to)
			}
			for _, r := range v.Readings {
				if r.Date > day {
					t.Errorf("%s: %s has a reading of %s", day, v.Number, r.Date)
				}
			}
		}
		if len(vehicles) != 60 || len(depots) != 3 || len(classes) != 5 {
			t.Errorf("%s: got %d vehicles, %d depots, %d kinds, want 60, 3, 5", day, len(vehicles), len(depots), len(classes))
		}
		if n := len(vehicles["Van 33"].Readings); n != 1 {
			t.Errorf("%s: got %d readings of the vehicle with one", day, n)
		}
		if n := len(vehicles["Bus 122"].Readings); n != 0 {
			t.Errorf("%s: got %d readings of the vehicle with none", day, n)
		}
		if v := vehicles["Bus 117"]; !seized(s, v) {
			t.Errorf("%s: the seized caliper does not show", day)
		}
		if v := vehicles["Refuse 43"]; len(v.Truth.Typos) != 1 || v.Truth.Typos[0].MeantMM-v.Truth.Typos[0].WrittenMM < 3 {
			t.Errorf("%s: got typos %v, want one that shows", day, v.Truth.Typos)
		}
		if l := vehicles["Bus 109"].Truth.On(1, fleet.Pad, day); l.Declared || l.Number < 2 {
			t.Errorf("%s: the change off the record is number %d, declared %v", day, l.Number, l.Declared)
		}
		for number, kind := range map[string]string{"Van 26": "digit", "Car 64": clusterSwap} {
			if !slices.ContainsFunc(vehicles[number].Truth.OdometerFaults, func(f OdometerFault) bool { return f.Kind == kind }) {
				t.Errorf("%s: %s has no %s", day, number, kind)
			}
		}
		rs := vehicles["Car 67"].Readings
		if last := rs[len(rs)-1].Date; last > day-280 {
			t.Errorf("%s: the vehicle with old readings was read on %s", day, last)
		}
	}
}

func TestIslandIsTheSameEveryTime(t *testing.T) {
	a, b := slices.Collect(Island(until)), slices.Collect(Island(until))
	if !reflect.DeepEqual(a, b) {
		t.Errorf("-first +second:\n%.2000s", cmp.Diff(a, b))
	}
}

// TestTakeIn imports the island and finds all of it in the database.
func TestTakeIn(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		svc := &pipeline.Service{DB: db, Now: func() time.Time { return until.Time() }}
		if err := TakeIn(t.Context(), svc, Island(until)); err != nil {
			t.Fatal(err)
		}
		vehicles, _, readings, err := db.Counts(t.Context(), auth.AllFleets())
		if err != nil {
			t.Fatal(err)
		}
		want := 0
		for v := range Island(until) {
			want += len(v.Readings)
		}
		if vehicles != 60 || readings != want {
			t.Errorf("got %d vehicles, %d readings, want 60, %d", vehicles, readings, want)
		}
	})
}
