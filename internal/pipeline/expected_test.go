package pipeline_test

import (
	"errors"
	"testing"
	"time"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

func TestExpected(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s := newService(db)
		mustImport(t, s, "vehicles.csv", vehiclesCSV, 2, 0, 0)
		mustImport(t, s, "axles.csv", axlesCSV, 3, 0, 0)
		mustImport(t, s, "readings.csv", readingsCSV, 5, 0, 0)
		vs, err := db.VehicleIndex(t.Context(), all)
		if err != nil {
			t.Fatal(err)
		}
		bus := vs["Bus 1"][0]
		got, err := s.Expected(t.Context(), all, bus.ID, fleet.NewDate(2026, time.March, 1))
		if err != nil {
			t.Fatal(err)
		}
		front := fleet.Position{Axle: 1, Part: fleet.Pad, Side: fleet.Left, Face: fleet.Inner}
		found := false
		for _, e := range got {
			if e.Position != front {
				continue
			}
			found = true
			// 5.1 mm on 1 February, losing some 0.9 mm a month.
			if e.Median < 3.5 || e.Median > 5.1 || !(e.Low < e.Median && e.Median < e.High) {
				t.Errorf("got %.2f mm (%.2f to %.2f), want about 4.3", e.Median, e.Low, e.High)
			}
			if e.Spec.New != 20 || e.Spec.Limit != 3 {
				t.Errorf("got specification %+v, want 20 and 3 mm", e.Spec)
			}
			if e.LastMM == nil || *e.LastMM != 5.1 || *e.LastDate != fleet.NewDate(2026, time.February, 1) {
				t.Errorf("got last reading %v, want 5.1 mm on 1 February", e.LastMM)
			}
		}
		if !found {
			t.Fatalf("nothing expected of %v: %+v", front, got)
		}
		_, err = s.Expected(t.Context(), auth.ScopeOf([]int64{bus.FleetID + 99}, nil), bus.ID, s.Today())
		if !errors.Is(err, fleet.ErrNotFound) {
			t.Errorf("another scope: got %v, want ErrNotFound", err)
		}
	})
}
