package pipeline_test

import (
	"fmt"
	"strings"
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

// TestJudgedAnew: when what is known of a vehicle is corrected by a file, its tests
// are judged anew by the rule set they were judged by, and say why; what was said
// before stays. 4 · 14,500 N / (12,000 kg · g) = 49.3 %: below the 50 % for a bus
// (EU-02) and a newer goods vehicle (EU-04), above the 43 % of one of before 2012
// (EU-09).
func TestJudgedAnew(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ctx, s := t.Context(), newService(db)
		v := bus(t, s).Vehicle
		pick := func(set string) {
			t.Helper()
			if _, err := s.PickRules(ctx, all, store.RuleChoice{FleetID: v.FleetID, RuleSet: set, Reason: fleet.Reason{By: "N. N."}}, s.Today()); err != nil {
				t.Fatal(err)
			}
		}
		pick("eu")
		b := fleet.BrakeTest{VehicleID: v.ID, Date: s.Today(), Method: fleet.Roller, System: fleet.ServiceBrake, WeightKg: 12_000, ForceUnit: "kN"}
		for axle := 1; axle <= 2; axle++ {
			for _, side := range []fleet.Side{fleet.Left, fleet.Right} {
				b.Wheels = append(b.Wheels, fleet.WheelEffort{Axle: axle, Side: side, N: 14_500})
			}
		}
		got, _, err := s.AddBrakeTest(ctx, all, b, "N. N.", s.Today())
		if err != nil {
			t.Fatal(err)
		}
		said := func(want ...string) {
			t.Helper()
			all, err := db.Verdicts(ctx, all, v.ID)
			if err != nil {
				t.Fatal(err)
			}
			var says []string
			for _, x := range all[got.ID] {
				says = append(says, x.RuleSet+" "+x.Verdict+" "+x.Why)
			}
			if d := cmp.Diff(want, says); d != "" {
				t.Errorf("said: %s", d)
			}
		}
		correct := func(category string, year int) {
			t.Helper()
			row := fmt.Sprintf("vehicle,fleet,depot,plate,category,make,model,year,duty\nBus 1,Ferry Lines,Harbour,KEA 1,%s,,,%d,city\n", category, year)
			if _, _, err := s.TakeIn(ctx, all, "test", pipeline.File{Name: "vehicles.csv", Body: strings.NewReader(row)}, s.Today()); err != nil {
				t.Fatal(err)
			}
		}
		said("eu fails ")
		pick("maker") // picked later, it says nothing of an earlier test
		said("eu fails ")
		correct("M3", 2018) // which comes to the same
		said("eu fails ")
		correct("N3", 2005)
		anew := "eu meets what is required category N3, before M3; year 2005, before 2019"
		said("eu fails ", anew)
		if _, err := s.Refit(ctx, all, nil, s.Today()); err != nil {
			t.Fatal(err)
		}
		said("eu fails ", anew)
		correct("N3", 2015)
		said("eu fails ", anew, "eu fails year 2015, before 2005")

		h, err := db.History(ctx, all, v.ID)
		if err != nil {
			t.Fatal(err)
		}
		if j := pipeline.JudgeBrakeTest(&h, &h.BrakeTests[0]); j.Verdict != rules.Fails || j.Checks[0].Bound.Use.Value.ID != "EU-04" {
			t.Errorf("in force: got %+v", j)
		}
		ds, err := db.Deeds(ctx, all, store.DeedQuery{Record: "brake test", RecordID: got.ID})
		if err != nil || len(ds) != 2 || ds[1].Act != "judged anew" || ds[1].Detail != "meets what is required: category N3, before M3; year 2005, before 2019" {
			t.Errorf("log of changes: got %+v, %v", ds, err)
		}
	})
}
