package pipeline_test

import (
	"errors"
	"math"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

var padsOfAxle1 = []fleet.WorkItem{{Axle: 1, Item: fleet.ItemPads, Reason: "worn"}}

// cardWorld is a bus whose pads are worn, measured over a year.
func cardWorld(t *testing.T, db *store.DB) (*pipeline.Service, int64) {
	t.Helper()
	s := newService(db)
	db.Now = s.Now
	mustImport(t, s, "vehicles.csv", vehiclesCSV, 2, 0, 0)
	mustImport(t, s, "axles.csv", axlesCSV, 3, 0, 0)
	mustImport(t, s, "readings.csv", readingsCSV, 5, 0, 0)
	if _, err := s.Refit(t.Context(), all, nil, s.Today()); err != nil {
		t.Fatal(err)
	}
	index, err := db.VehicleIndex(t.Context(), all)
	if err != nil {
		t.Fatal(err)
	}
	return s, index["Bus 1"][0].ID
}

// settle enters every step of a card as done.
func settle(t *testing.T, db *store.DB, c *fleet.Card) {
	t.Helper()
	for _, step := range c.Steps {
		if _, err := db.EnterStep(t.Context(), all, c.ID, step.Seq, fleet.StepEntry{State: fleet.StepDone, By: "N. N."}); err != nil {
			t.Fatal(err)
		}
	}
}

// stop is a decelerometer test with a mean in m/s², invented.
func stop(vehicle int64, day fleet.Date, stage fleet.Stage, mean float64) fleet.BrakeTest {
	return fleet.BrakeTest{
		VehicleID: vehicle, Date: day, Method: fleet.Decelerometer, System: fleet.ServiceBrake, Stage: stage,
		Mean: mean, PedalN: 300, Technician: "N. N.",
	}
}

// The loop: a card is opened, parts come off and go on, the test after proves
// them, the card is passed and the new set has its own forecast.
func TestCardLoop(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s, bus := cardWorld(t, db)
		before, err := db.Forecasts(t.Context(), all, bus)
		if err != nil {
			t.Fatal(err)
		}
		c, err := s.OpenCardFor(t.Context(), all, "N. N.", bus, padsOfAxle1)
		if err != nil {
			t.Fatal(err)
		}
		shelf, err := db.SaveStockPart(t.Context(), all, fleet.StockPart{FleetID: c.FleetID, Number: "p-100", Item: fleet.ItemPads, PerAxle: 1})
		if err == nil {
			err = db.SetStock(t.Context(), all, shelf, c.DepotID, 3)
		}
		if err != nil {
			t.Fatal(err)
		}
		km := 158000.0
		left := fleet.Position{Axle: 1, Part: fleet.Pad, Side: fleet.Left, Face: fleet.Inner}
		f := pipeline.Fitted{
			OdometerKm: &km,
			Off:        []fleet.Reading{{Position: left, MM: 4.4, Given: "4.4", Unit: "mm"}},
			On:         []fleet.CardPart{{Axle: 1, Part: fleet.Pad, Number: "P-100", Batch: "7"}},
		}
		c, err = s.FitParts(t.Context(), all, "N. N.", c.ID, f)
		if err != nil || len(pipeline.PartRemarks(&c)) != 0 {
			t.Fatalf("got %+v, %v", c, err)
		}
		// 20 mm: the axle's specification; nothing was measured.
		if len(c.Parts) != 1 || c.Parts[0].MM != 20 || c.Parts[0].Measured || c.Parts[0].Number != "P-100" || *c.OdometerKm != km {
			t.Errorf("got %+v", c)
		}
		after, err := db.Forecasts(t.Context(), all, bus)
		if err != nil {
			t.Fatal(err)
		}
		if was, is := before[0].Crossing.Day.Quantile(.5), after[0].Crossing.Day.Quantile(.5); !(is > was+100) {
			t.Errorf("the new set is forecast for day %g, the old one was for %g", is, was)
		}
		// What came off ended its segment, and is held against what was forecast.
		rows, err := db.TrackRecord(t.Context(), all, store.RecordQuery{})
		if err != nil || len(rows) != 3 || math.Abs(rows[0].LeftMM-1.4) > 1e-9 {
			t.Errorf("track record: got %+v, %v; want 4.4 mm less the limit of 3", rows, err)
		}
		// Sent again, it changes nothing.
		if c, err = s.FitParts(t.Context(), all, "N. N.", c.ID, f); err != nil || len(c.Parts) != 1 {
			t.Errorf("again: got %+v, %v", c.Parts, err)
		}

		if _, err := s.CloseCard(t.Context(), all, "N. N.", c.ID, fleet.CardPassed, ""); !errors.Is(err, fleet.ErrConflict) {
			t.Errorf("passed without any step: got %v", err)
		}
		settle(t, db, &c)
		if _, err := s.CloseCard(t.Context(), all, "N. N.", c.ID, fleet.CardPassed, ""); !errors.Is(err, fleet.ErrConflict) || !strings.Contains(err.Error(), "no brake test") {
			t.Errorf("passed without a test: got %v", err)
		}
		for _, b := range []fleet.BrakeTest{stop(bus, c.Day, fleet.BeforeJob, 3), stop(bus, c.Day, fleet.AfterJob, 6)} {
			if _, _, err := db.AddBrakeTest(t.Context(), all, b, "N. N."); err != nil {
				t.Fatal(err)
			}
		}
		tests, err := s.CardTests(t.Context(), all, &c)
		if err != nil || tests.Before == nil || tests.After == nil || tests.After.Mean != 6 {
			t.Fatalf("got %+v, %v", tests, err)
		}
		// A failed safety step keeps the card from being passed, whoever entered it
		// as done before.
		failed := 0
		for _, step := range c.Steps {
			if step.Safety && step.Key != fleet.TestStep {
				failed = step.Seq
			}
		}
		enter := func(state fleet.EntryState) {
			t.Helper()
			if _, err := db.EnterStep(t.Context(), all, c.ID, failed, fleet.StepEntry{State: state, By: "N. N."}); err != nil {
				t.Fatal(err)
			}
		}
		enter(fleet.StepFailed)
		if _, err := s.CloseCard(t.Context(), all, "N. N.", c.ID, fleet.CardPassed, ""); !errors.Is(err, fleet.ErrConflict) {
			t.Errorf("passed with a failed step: got %v", err)
		}
		enter(fleet.StepDone)
		c, err = s.CloseCard(t.Context(), all, "N. N.", c.ID, fleet.CardPassed, "all well")
		if err != nil || c.State != fleet.CardPassed || c.ClosedBy != "N. N." || c.ClosedAt == nil {
			t.Fatalf("got %+v, %v", c, err)
		}
		// The set that was noted has left the shelf, once.
		if p, err := db.StockPart(t.Context(), all, shelf); err != nil || p.Stock[0].Quantity != 2 {
			t.Errorf("on the shelf: got %+v, %v; want 2", p.Stock, err)
		}
		if got := c.Steps[failed-1].Earlier; got != 2 {
			t.Errorf("got %d entries that no longer stand, want 2", got)
		}
		if _, err := db.EnterStep(t.Context(), all, c.ID, 1, fleet.StepEntry{State: fleet.StepDone}); !errors.Is(err, fleet.ErrConflict) {
			t.Errorf("entered on a closed card: got %v", err)
		}

		// Undone with a reason, the old segment goes on.
		c, _, err = s.UndoPart(t.Context(), all, c.ID, c.Parts[0].ID, fleet.Reason{Why: "wrong vehicle", By: "N. N."})
		if err != nil || c.Parts[0].Undone == nil || c.Parts[0].Undone.Why != "wrong vehicle" {
			t.Fatalf("got %+v, %v", c.Parts, err)
		}
		again, err := db.Forecasts(t.Context(), all, bus)
		if err != nil || math.Abs(again[0].Crossing.Day.Quantile(.5)-before[0].Crossing.Day.Quantile(.5)) > 60 {
			t.Errorf("the old set is forecast for day %g, was for %g; %v", again[0].Crossing.Day.Quantile(.5), before[0].Crossing.Day.Quantile(.5), err)
		}
	})
}

// A card closed in the morning far east of Greenwich, where it is still the day
// before, keeps the test of that day.
func TestCardTestsFarEast(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s, bus := cardWorld(t, db)
		s.Now = func() time.Time { return time.Date(2026, 3, 2, 8, 0, 0, 0, time.FixedZone("", 10*3600)) }
		db.Now = s.Now
		c, err := s.OpenCardFor(t.Context(), all, "N. N.", bus, padsOfAxle1)
		if err != nil {
			t.Fatal(err)
		}
		settle(t, db, &c)
		if _, _, err := db.AddBrakeTest(t.Context(), all, stop(bus, c.Day, fleet.AfterJob, 6), "N. N."); err != nil {
			t.Fatal(err)
		}
		if c, err = s.CloseCard(t.Context(), all, "N. N.", c.ID, fleet.CardPassed, ""); err != nil {
			t.Fatal(err)
		}
		tests, err := s.CardTests(t.Context(), all, &c)
		if err != nil || tests.After == nil || tests.After.Date != fleet.NewDate(2026, 3, 2) {
			t.Errorf("of the closed card: got %+v, %v; want the test after the job", tests.After, err)
		}
	})
}

func TestFitPartsRefuses(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s, bus := cardWorld(t, db)
		c, err := s.OpenCardFor(t.Context(), all, "N. N.", bus, padsOfAxle1)
		if err != nil {
			t.Fatal(err)
		}
		pos := fleet.Position{Axle: 1, Part: fleet.Pad, Side: fleet.Left, Face: fleet.Inner}
		for _, x := range []struct {
			name string
			f    pipeline.Fitted
			want string
		}{
			{"nothing", pipeline.Fitted{}, "nothing was entered"},
			{"another axle", pipeline.Fitted{On: []fleet.CardPart{{Axle: 2, Part: fleet.Pad}}}, "axle 2"},
			{"no new value", pipeline.Fitted{On: []fleet.CardPart{{Axle: 1, Part: fleet.Rotor}}}, "measure the new part"},
			{"below zero", pipeline.Fitted{Off: []fleet.Reading{{Position: pos, MM: -1}}}, "want 0 to"},
		} {
			if _, err := s.FitParts(t.Context(), all, "N. N.", c.ID, x.f); !errors.Is(err, fleet.ErrInvalid) || !strings.Contains(err.Error(), x.want) {
				t.Errorf("%s: got %v, want %q", x.name, err, x.want)
			}
		}
		// One side only is taken, with a remark.
		c, err = s.FitParts(t.Context(), all, "N. N.", c.ID, pipeline.Fitted{On: []fleet.CardPart{{Axle: 1, Part: fleet.Pad, Side: fleet.Left}}})
		remarks := pipeline.PartRemarks(&c)
		if err != nil || len(remarks) != 1 || !strings.Contains(remarks[0], "left only") {
			t.Errorf("one side: got %q, %v", remarks, err)
		}
		if _, err := s.OpenCardFor(t.Context(), auth.Scope{}, "N. N.", bus, padsOfAxle1); !errors.Is(err, fleet.ErrNotFound) {
			t.Errorf("no scope: got %v", err)
		}
		if _, err := db.Card(t.Context(), auth.Scope{}, c.ID); !errors.Is(err, fleet.ErrNotFound) {
			t.Errorf("no scope: got %v", err)
		}
	})
}

// A card of no booking that is sent again, and again at the same moment, is opened
// once; other work has a card of its own.
func TestCardSentAgain(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s, bus := cardWorld(t, db)
		var opened atomic.Int32
		var wg sync.WaitGroup
		for range 6 {
			wg.Go(func() {
				switch _, err := s.OpenCardFor(t.Context(), all, "N. N.", bus, padsOfAxle1); {
				case err == nil:
					opened.Add(1)
				case !errors.Is(err, fleet.ErrConflict) || !strings.Contains(err.Error(), "has job card"):
					t.Errorf("again: got %v, want a conflict that names the card", err)
				}
			})
		}
		wg.Wait()
		if got := opened.Load(); got != 1 {
			t.Errorf("got %d cards, want 1", got)
		}
		if _, err := s.OpenCardFor(t.Context(), all, "N. N.", bus, []fleet.WorkItem{{Axle: 1, Item: fleet.ItemHoses}}); err != nil {
			t.Errorf("other work: %v", err)
		}
	})
}

// A card keeps the steps it was made from; the next is made from those that the
// workshop keeps now, with the maker's values of the vehicle.
func TestCardSteps(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s, bus := cardWorld(t, db)
		first, err := s.OpenCardFor(t.Context(), all, "N. N.", bus, padsOfAxle1)
		if err != nil {
			t.Fatal(err)
		}
		plans, err := db.StepPlans(t.Context(), all, first.FleetID)
		if err != nil {
			t.Fatal(err)
		}
		finish := plans[fleet.SectionFinish]
		for i := range finish.Steps {
			if finish.Steps[i].Key == "final" {
				finish.Steps[i].Text = "Final check by a second person"
			}
		}
		if v, err := db.SaveStepPlan(t.Context(), all, "N. N.", finish); err != nil || v != 1 {
			t.Fatalf("got version %d, %v", v, err)
		}
		if _, err := db.SaveStepPlan(t.Context(), all, "N. N.", finish); !errors.Is(err, fleet.ErrConflict) {
			t.Errorf("an old version was edited: got %v", err)
		}
		low, high := 570.0, 630.0 // Nm, invented
		if err := db.SaveMakersValue(t.Context(), all, "N. N.", fleet.MakersValue{FleetID: first.FleetID, Measure: "wheel nuts", Low: &low, High: &high}); err != nil {
			t.Fatal(err)
		}
		// It is dropped, so that another of the same work can be opened.
		if _, err := s.CloseCard(t.Context(), all, "N. N.", first.ID, fleet.CardDropped, "came by mistake"); err != nil {
			t.Fatal(err)
		}
		second, err := s.OpenCardFor(t.Context(), all, "N. N.", bus, padsOfAxle1)
		if err != nil {
			t.Fatal(err)
		}
		text := func(c *fleet.Card) string { return c.Steps[len(c.Steps)-1].Text }
		if first, err = db.Card(t.Context(), all, first.ID); err != nil || strings.Contains(text(&first), "second person") || !strings.Contains(text(&second), "second person") {
			t.Errorf("got %q and %q, %v", text(&first), text(&second), err)
		}
		for _, step := range second.Steps {
			if step.Key != "nuts_on" {
				continue
			}
			if m := step.Measures[0]; m.High == nil || *m.High != high {
				t.Errorf("got %+v, want the maker's torque", m)
			}
			if _, err := db.EnterStep(t.Context(), all, second.ID, step.Seq, fleet.StepEntry{State: fleet.StepDone, Values: []float64{500}, Key: "a"}); err != nil {
				t.Fatal(err)
			}
			// The same entry again, as from a phone that did not hear the answer.
			if added, err := db.EnterStep(t.Context(), all, second.ID, step.Seq, fleet.StepEntry{State: fleet.StepDone, Values: []float64{500}, Key: "a"}); err != nil || added {
				t.Errorf("again: got %v, %v", added, err)
			}
			second, err = db.Card(t.Context(), all, second.ID)
			if got := second.Steps[step.Seq-1]; err != nil || got.Settled() || len(got.Faults()) != 1 || got.Earlier != 0 {
				t.Errorf("got %+v, %v; want 500 Nm to be under the maker's", got, err)
			}
		}
	})
}

// The parts of a job card and the odometer of the visit are noted together or not
// at all.
func TestPartsAndOdometerTogether(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s, bus := cardWorld(t, db)
		c, err := s.OpenCardFor(t.Context(), all, "N. N.", bus, padsOfAxle1)
		if err != nil {
			t.Fatal(err)
		}
		noted := func() (parts, fitments int) {
			c, err := db.Card(t.Context(), all, c.ID)
			h, herr := db.History(t.Context(), all, bus)
			if err := errors.Join(err, herr); err != nil {
				t.Fatal(err)
			}
			return len(c.Parts), len(h.Fitments)
		}
		parts, fitments := noted()
		ft := fleet.Fitment{VehicleID: bus, Date: c.Day, Position: fleet.Position{Axle: 1, Part: fleet.Pad}, MM: 20}
		err = db.TakeIn(t.Context(), all, &fleet.Upload{Kind: "card", By: "N. N."}, func(w *store.Writer) error {
			if _, err := w.Fitments([]fleet.Fitment{ft}); err != nil {
				return err
			}
			if _, err := w.CardParts(c.ID, []fleet.CardPart{{Axle: 1, Part: fleet.Pad, MM: 20, By: "N. N."}}); err != nil {
				return err
			}
			return w.CardOdometer(c.ID, fleet.MaxOdometerKm+1)
		})
		if p, f := noted(); !errors.Is(err, fleet.ErrInvalid) || p != parts || f != fitments {
			t.Errorf("got %d parts and %d fitments, %v; want %d and %d as before", p, f, err, parts, fitments)
		}
		// By FitParts they are one upload's; sent again, nothing more is told of.
		km := 158000.0
		f := pipeline.Fitted{OdometerKm: &km, On: []fleet.CardPart{{Axle: 1, Part: fleet.Pad}}}
		told := func() int {
			ds, err := db.Deeds(t.Context(), all, store.DeedQuery{Limit: store.MaxLimit})
			if err != nil {
				t.Fatal(err)
			}
			n := 0
			for _, d := range ds {
				if d.Act == "odometer noted" {
					n++
				}
			}
			return n
		}
		for range 2 {
			if c, err = s.FitParts(t.Context(), all, "N. N.", c.ID, f); err != nil || c.OdometerKm == nil || *c.OdometerKm != km {
				t.Fatalf("got %+v, %v", c, err)
			}
			if n := told(); n != 1 {
				t.Errorf("the odometer was told of %d times, want once", n)
			}
		}
	})
}
