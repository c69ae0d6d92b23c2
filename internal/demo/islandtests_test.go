package demo

import (
	"testing"
	"time"

	"brakewear/internal/auth"
	"brakewear/internal/pipeline"
	"brakewear/internal/rules"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// The island's brake tests come out as their stories want them.
func TestIslandBrakeTests(t *testing.T) {
	db := storetest.Open(t, store.SQLite)
	svc := &pipeline.Service{DB: db, Now: func() time.Time { return until.Time() }}
	if err := TakeIn(t.Context(), svc, Island(until)); err != nil {
		t.Fatal(err)
	}
	index, err := db.VehicleIndex(t.Context(), auth.AllFleets())
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		number string
		tests  int
		last   rules.Verdict
		trends int
	}{
		{"Bus 103", 5, rules.Meets, 2}, // EU-02: 50 %
		{"Bus 112", 6, rules.Meets, 0}, // one of them after a job
		{"Bus 106", 5, rules.Meets, 0},
		{"Refuse 41", 5, rules.Meets, 0},
		{"Refuse 48", 5, rules.Unclear, 0},
		{"Van 24", 5, rules.Fails, 0}, // EU-14: 30 %
		{"Car 65", 5, rules.Meets, 0},
		{"Truck 82", 5, rules.Fails, 0}, // reckoned from the whole distance
		{"Bus 101", 0, rules.NotJudged, 0},
	} {
		h, err := db.History(t.Context(), auth.AllFleets(), index[c.number][0].ID)
		if err != nil {
			t.Fatal(err)
		}
		if len(h.BrakeTests) != c.tests {
			t.Errorf("%s: got %d tests, want %d", c.number, len(h.BrakeTests), c.tests)
			continue
		}
		if trends := pipeline.BrakeTrends(&h, rules.ThresholdsWith(nil)); len(trends) != c.trends {
			t.Errorf("%s: got trends %v, want %d", c.number, trends, c.trends)
		}
		if c.tests == 0 {
			continue
		}
		last := &h.BrakeTests[c.tests-1]
		if j := pipeline.JudgeBrakeTest(&h, last); j.Verdict != c.last {
			t.Errorf("%s: the last test %s: %v, want %s", c.number, j.Verdict, j.Checks, c.last)
		}
		if last.Note != islandNote || last.Date > until {
			t.Errorf("%s: got %+v", c.number, last)
		}
	}
}
