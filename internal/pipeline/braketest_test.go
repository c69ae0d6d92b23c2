package pipeline_test

import (
	"testing"

	"github.com/google/go-cmp/cmp"

	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/rules"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// A test entered by hand is judged by the fleet's rule set, compared with the
// one before the job, and its odometer reading joins the others.
func TestAddBrakeTest(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ctx, s := t.Context(), newService(db)
		v := bus(t, s).Vehicle
		if _, err := s.PickRules(ctx, all, store.RuleChoice{FleetID: v.FleetID, RuleSet: "eu", Reason: fleet.Reason{By: "N. N."}}, s.Today()); err != nil {
			t.Fatal(err)
		}
		of := func(stage fleet.Stage, n, pedal float64) fleet.BrakeTest {
			b := fleet.BrakeTest{
				VehicleID: v.ID, Date: s.Today(), Method: fleet.Roller, System: fleet.ServiceBrake, Stage: stage,
				WeightKg: 12_000, ForceUnit: "kN", PedalN: pedal, OdometerKm: new(156_000.0),
			}
			for axle := 1; axle <= 2; axle++ {
				for _, side := range []fleet.Side{fleet.Left, fleet.Right} {
					b.Wheels = append(b.Wheels, fleet.WheelEffort{Axle: axle, Side: side, N: n})
				}
			}
			return b
		}
		if _, added, err := s.AddBrakeTest(ctx, all, of(fleet.BeforeJob, 14_000, 600), "N. N.", s.Today()); err != nil || !added {
			t.Fatal(added, err)
		}
		got, added, err := s.AddBrakeTest(ctx, all, of(fleet.AfterJob, 17_000, 420), "N. N.", s.Today())
		if err != nil || !added {
			t.Fatal(added, err)
		}
		h, err := db.History(ctx, all, v.ID)
		if err != nil {
			t.Fatal(err)
		}
		// 4 · 17,000 N / (12,000 kg · g) = 57.8 %, of the 50 % for a bus used
		// first in 2019 (EU-02).
		j := pipeline.JudgeBrakeTest(&h, &got)
		if j.Verdict != rules.Meets || j.Checks[0].Bound.Use.Value.ID != "EU-02" || j.Efficiency < 57.78 || j.Efficiency > 57.79 {
			t.Errorf("got %+v", j)
		}
		before := pipeline.Earlier(&h, &got)
		if before == nil || before.PedalN != 600 {
			t.Fatalf("before: got %+v", before)
		}
		if x := pipeline.Earlier(&h, before); x != nil {
			t.Errorf("before the first: got %+v", x)
		}
		fs, err := db.Forecasts(ctx, all, v.ID)
		if err != nil || fs[0].OdometerKm != 156_000 {
			t.Errorf("the odometer read at the test: got %g, %v", fs[0].OdometerKm, err)
		}

		// It is kept as it was said, by the rules of that day.
		if _, err := s.PickRules(ctx, all, store.RuleChoice{FleetID: v.FleetID, RuleSet: "maker", Reason: fleet.Reason{By: "N. N."}}, s.Today()); err != nil {
			t.Fatal(err)
		}
		if h, err = db.History(ctx, all, v.ID); err != nil {
			t.Fatal(err)
		}
		kept := &h.BrakeTests[1]
		if kept.Said == nil || kept.Said.RuleSet != "eu" || kept.Said.At.IsZero() {
			t.Fatalf("kept: %+v", kept.Said)
		}
		if d := cmp.Diff(j, pipeline.JudgeBrakeTest(&h, kept), cmp.AllowUnexported(rules.Set{})); d != "" {
			t.Errorf("under other rules: %s", d)
		}
		if now := pipeline.JudgeAnew(&h, kept); now.Verdict != rules.NotJudged {
			t.Errorf("anew: %+v", now)
		}
		// Worked out anew it stays; another test, that nothing is required of, has no verdict.
		if _, _, err := s.AddBrakeTest(ctx, all, of(fleet.Routine, 9_000, 300), "N. N.", s.Today()); err != nil {
			t.Fatal(err)
		}
		if h, err = db.History(ctx, all, v.ID); err != nil {
			t.Fatal(err)
		}
		for _, b := range h.BrakeTests {
			if (b.Said == nil) != (b.Stage == fleet.Routine) || b.Said != nil && b.Said.RuleSet != "eu" {
				t.Errorf("%s: said %+v", b.Stage, b.Said)
			}
		}

		late := of(fleet.Routine, 1, 1)
		late.Date++
		_, _, err = s.AddBrakeTest(ctx, all, late, "N. N.", s.Today())
		wantError(t, err, fleet.ErrInvalid, "after today")
		_, err = s.CorrectBrakeTest(ctx, all, got.ID, late, fleet.Reason{Why: "x", By: "N. N."}, s.Today())
		wantError(t, err, fleet.ErrInvalid, "after today")
		better := of(fleet.AfterJob, 16_000, 420)
		if _, err := s.CorrectBrakeTest(ctx, all, got.ID, better, fleet.Reason{Why: "misread", By: "N. N."}, s.Today()); err != nil {
			t.Error(err)
		}
	})
}
