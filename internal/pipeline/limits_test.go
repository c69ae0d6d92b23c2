package pipeline_test

import (
	"errors"
	"strings"
	"testing"

	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/rules"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// wantError wants an error of a kind with a word in its message.
func wantError(t *testing.T, err, kind error, word string) {
	t.Helper()
	if !errors.Is(err, kind) || !strings.Contains(err.Error(), word) {
		t.Errorf("got %v, want %v with %q", err, kind, word)
	}
}

// keptLimit returns the limit that the kept forecast of axle 1 is of.
func keptLimit(t *testing.T, s *pipeline.Service, vehicle int64) float64 {
	t.Helper()
	fs, err := s.DB.Forecasts(t.Context(), all, vehicle)
	if err != nil {
		t.Fatal(err)
	}
	return fs[0].Positions[0].Spec.Limit
}

// The kept forecasts follow the rule set picked and a workshop's own limit:
// 3.2 mm of 49 CFR 393.47(d)(1) against the maker's invented 3 mm.
func TestLimitsAreFollowed(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ctx, s := t.Context(), newService(db)
		h := bus(t, s)
		v := h.Vehicle
		was := medianOf(t, s, v.ID)
		pick := func(set string) (pipeline.RefitReport, error) {
			return s.PickRules(ctx, all, store.RuleChoice{FleetID: v.FleetID, RuleSet: set, Reason: fleet.Reason{By: "N. N."}}, s.Today())
		}
		rep, err := pick("us-393")
		if err != nil || rep.Vehicles != 1 {
			t.Fatalf("got %+v, %v; the van's limit of 2 mm stays above 1/32 in", rep, err)
		}
		if got := keptLimit(t, s, v.ID); got != 3.2 {
			t.Errorf("limit %g mm, want 3.2", got)
		}
		if now := medianOf(t, s, v.ID); now >= was {
			t.Errorf("limit reached at %g km, before at %g: a larger limit must come earlier", now, was)
		}
		_, err = pick("mars")
		wantError(t, err, fleet.ErrInvalid, "want one of eu")

		set := func(mm float64, why string) error {
			return s.SetAxleLimit(ctx, all, fleet.AxleLimit{VehicleID: v.ID, Axle: 1, Part: fleet.Pad, MM: mm, Reason: fleet.Reason{Why: why, By: "N. N."}}, s.Today())
		}
		wantError(t, set(3, ""), fleet.ErrInvalid, "3 mm leaves more room than the 3.2 mm that hold (US-03): write down why")
		wantError(t, set(21, ""), fleet.ErrInvalid, "must be below the new thickness")
		wantError(t, set(0, ""), fleet.ErrInvalid, "no limit of your own to withdraw")
		for _, c := range []struct {
			mm   float64
			why  string
			want float64
		}{{5, "", 5}, {0, "", 3.2}, {3.2, "", 3.2}, {3, "hydraulic brakes: 1.6 mm by the rule", 3}, {0, "", 3.2}} {
			if err := set(c.mm, c.why); err != nil {
				t.Fatal(err)
			}
			if got := keptLimit(t, s, v.ID); got != c.want {
				t.Errorf("own limit %g mm: got %g, want %g", c.mm, got, c.want)
			}
		}
		if rep, err := pick("eu"); err != nil || rep.Vehicles != 1 || keptLimit(t, s, v.ID) != 3 {
			t.Errorf("back to the maker's: got %+v, %v, limit %g", rep, err, keptLimit(t, s, v.ID))
		}
	})
}

// A vehicles file that says how the brakes are worked moves the limits: of 1.6
// mm (393.47(d)(1)) for hydraulic ones the maker's 3 mm is the larger.
func TestActuationMovesLimits(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ctx, s := t.Context(), newService(db)
		v := bus(t, s).Vehicle
		if _, err := s.PickRules(ctx, all, store.RuleChoice{FleetID: v.FleetID, RuleSet: "us-393", Reason: fleet.Reason{By: "N. N."}}, s.Today()); err != nil {
			t.Fatal(err)
		}
		text := "vehicle,actuation\nBus 1,hydraulic\n"
		_, rep, err := s.TakeIn(ctx, all, "test", pipeline.File{Name: "vehicles.csv", Body: strings.NewReader(text)}, s.Today())
		if err != nil || rep.Vehicles == 0 || keptLimit(t, s, v.ID) != 3 {
			t.Errorf("got %+v, %v, limit %g", rep, err, keptLimit(t, s, v.ID))
		}
	})
}

func TestThresholdsOfAFleet(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ctx, s := t.Context(), newService(db)
		v := bus(t, s).Vehicle
		set := func(id string, x *float64) error {
			return s.SetThreshold(ctx, all, store.OwnThreshold{FleetID: v.FleetID, ValueID: id, X: x, Reason: fleet.Reason{Why: "tried", By: "N. N."}})
		}
		if err := set("WP-16", new(1.5)); err != nil {
			t.Fatal(err)
		}
		wantError(t, set("WP-99", new(1.5)), fleet.ErrInvalid, "none of this id")
		wantError(t, set("UK-01", new(1.5)), fleet.ErrInvalid, "none of this id")
		wantError(t, set("WP-16", new(-1.0)), fleet.ErrInvalid, "above 0")
		ts, err := s.Thresholds(ctx, all, v.FleetID)
		if err != nil || ts.Of(rules.Taper, "M3").X != 1.5 {
			t.Errorf("got %+v, %v", ts, err)
		}
		if err := set("WP-16", nil); err != nil {
			t.Fatal(err)
		}
		if ts, err := s.Thresholds(ctx, all, v.FleetID); err != nil || ts.Of(rules.Taper, "M3").X != 2 {
			t.Errorf("taken back: got %+v, %v", ts, err)
		}
	})
}
