package pipeline_test

import (
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// renewedCSV is Bus 1 whose front pads were renewed in the summer with no
// fitment recorded, and whose left inner pad then wore faster. Invented.
const renewedCSV = `vehicle,date,odometer_km,axle,part,side,face,value_mm
Bus 1,2025-03-01,100000,1,pad,left,inner,8.1
Bus 1,2025-03-01,100000,1,pad,left,outer,8.3
Bus 1,2025-03-01,100000,1,pad,right,inner,8.2
Bus 1,2025-06-01,110000,1,pad,left,inner,6.1
Bus 1,2025-06-01,110000,1,pad,left,outer,6.3
Bus 1,2025-06-01,110000,1,pad,right,inner,6.2
Bus 1,2025-09-01,120000,1,pad,left,inner,17.9
Bus 1,2025-09-01,120000,1,pad,left,outer,18.8
Bus 1,2025-09-01,120000,1,pad,right,inner,18.4
Bus 1,2025-12-01,130000,1,pad,left,inner,14.9
Bus 1,2025-12-01,130000,1,pad,left,outer,17.1
Bus 1,2025-12-01,130000,1,pad,right,inner,16.2
Bus 1,2026-02-20,139000,1,pad,left,inner,11.6
Bus 1,2026-02-20,139000,1,pad,left,outer,15.4
Bus 1,2026-02-20,139000,1,pad,right,inner,14.2
`

// renewed takes renewedCSV in and returns the bus.
func renewed(t *testing.T, s *pipeline.Service) int64 {
	t.Helper()
	for _, f := range []struct{ name, text string }{{"vehicles.csv", vehiclesCSV}, {"axles.csv", axlesCSV}, {"readings.csv", renewedCSV}} {
		if _, _, err := s.TakeIn(t.Context(), all, "test", pipeline.File{Name: f.name, Body: strings.NewReader(f.text)}, s.Today()); err != nil {
			t.Fatal(err)
		}
	}
	index, err := s.DB.VehicleIndex(t.Context(), all)
	if err != nil {
		t.Fatal(err)
	}
	return index["Bus 1"][0].ID
}

func findingsOf(t *testing.T, s *pipeline.Service, vehicle int64) []store.FindingRow {
	t.Helper()
	page, err := s.DB.Findings(t.Context(), all, store.FindingQuery{Vehicle: vehicle})
	if err != nil {
		t.Fatal(err)
	}
	return page.Rows
}

func kindsOf(rows []store.FindingRow) (out []string) {
	for _, r := range rows {
		out = append(out, string(r.Kind)+" "+string(r.State))
	}
	return out
}

// Taking readings in tells what they show; a refit tells it again and changes
// nothing.
func TestFindingsFollowReadings(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s := newService(db)
		bus := renewed(t, s)
		first := findingsOf(t, s, bus)
		if d := cmp.Diff([]string{"uneven_pads open", "part_change open"}, kindsOf(first)); d != "" {
			t.Fatal(d)
		}
		if _, err := db.NoteFinding(t.Context(), all, first[0].ID, fleet.Reason{Why: "pins freed", By: "N. N."}); err != nil {
			t.Fatal(err)
		}
		noted := findingsOf(t, s, bus)
		for range 2 {
			if _, err := s.Refit(t.Context(), all, nil, s.Today()); err != nil {
				t.Fatal(err)
			}
			if d := cmp.Diff(noted, findingsOf(t, s, bus)); d != "" {
				t.Errorf("refit: %s", d)
			}
		}
		// A correction takes the ground from under one.
		h, err := db.History(t.Context(), all, bus)
		if err != nil {
			t.Fatal(err)
		}
		for _, r := range h.Readings {
			if r.MM == 11.6 {
				mm := 12.6
				rec := fleet.Record{Kind: fleet.ReadingRecord, ID: r.ID}
				if _, err := s.Correct(t.Context(), all, rec, fleet.Change{MM: &mm}, fleet.Reason{Why: "misread", By: "N. N."}, s.Today()); err != nil {
					t.Fatal(err)
				}
			}
		}
		if d := cmp.Diff([]string{"uneven_pads no longer seen", "part_change open"}, kindsOf(findingsOf(t, s, bus))); d != "" {
			t.Error(d)
		}
	})
}

// suggestion returns the finding of a change that nobody recorded.
func suggestion(t *testing.T, s *pipeline.Service, vehicle int64) store.FindingRow {
	t.Helper()
	for _, f := range findingsOf(t, s, vehicle) {
		if f.Kind == fleet.PartChange {
			return f
		}
	}
	t.Fatal("no change of parts was found")
	return store.FindingRow{}
}

func TestConfirmedFitmentStartsALife(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s := newService(db)
		bus := renewed(t, s)
		f := suggestion(t, s, bus)
		fit := f.Suggested.Fitment
		note := fleet.Reason{Why: "job sheet 12", By: "N. N."}
		if err := s.ConfirmFitment(t.Context(), all, f.ID, fit, note, s.Today()); err != nil {
			t.Fatal(err)
		}
		got, err := db.Finding(t.Context(), all, f.ID)
		if err != nil || got.State != fleet.NoLonger || got.Answer != fleet.Confirmed {
			t.Errorf("got %+v, %v; want it no longer seen", got, err)
		}
		fs, err := db.Forecasts(t.Context(), all, bus)
		if err != nil || len(fs[0].Positions) == 0 {
			t.Fatalf("got %+v, %v", fs, err)
		}
		for _, p := range fs[0].Positions {
			if !p.SinceKnown || fleet.Date(p.Since) != fit.Date {
				t.Errorf("%s: fitted %s (known %v), want %s", p.Pos, fleet.Date(p.Since), p.SinceKnown, fit.Date)
			}
		}
	})
}

func TestRefusedFitmentIsNotSuggestedAgain(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s := newService(db)
		bus := renewed(t, s)
		f := suggestion(t, s, bus)
		note := fleet.Reason{Why: "no job was done", By: "N. N."}
		if err := s.RefuseFitment(t.Context(), all, f.ID, note, s.Today()); err != nil {
			t.Fatal(err)
		}
		if _, err := s.Refit(t.Context(), all, nil, s.Today()); err != nil {
			t.Fatal(err)
		}
		for _, g := range findingsOf(t, s, bus) {
			if g.Kind == fleet.PartChange && (g.ID != f.ID || g.State == fleet.OpenFinding) {
				t.Errorf("suggested again: %+v", g)
			}
		}
		fs, err := db.Forecasts(t.Context(), all, bus)
		if err != nil {
			t.Fatal(err)
		}
		if n := len(fs[0].Basis.Changes); n != 0 {
			t.Errorf("the forecast still takes %d changes for true", n)
		}
	})
}

// What is noted of a rotor on a job card is told once the card is closed: the
// entry that stands, not the one before.
func TestFindingsOfJobCards(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s, bus := cardWorld(t, db)
		c, err := s.OpenCardFor(t.Context(), all, "N. N.", bus, []fleet.WorkItem{{Axle: 1, Item: fleet.ItemPads}, {Axle: 1, Item: fleet.ItemRotors}})
		if err != nil {
			t.Fatal(err)
		}
		hub := slices.IndexFunc(c.Steps, func(s fleet.CardStep) bool { return s.Key == "hub_face" && s.Axle == 1 })
		if hub < 0 {
			t.Fatal("the card has no step that measures the rotors")
		}
		enter := func(values ...float64) {
			t.Helper()
			if _, err := db.EnterStep(t.Context(), all, c.ID, c.Steps[hub].Seq, fleet.StepEntry{State: fleet.StepFailed, Values: values, By: "N. N."}); err != nil {
				t.Fatal(err)
			}
		}
		nan := math.NaN()
		enter(0.20, 0.20, 0.20, 0.20) // runout left, right, variation left, right
		enter(0.03, 0.08, nan, 0.02)  // noted again
		if _, err := s.CloseCard(t.Context(), all, "N. N.", c.ID, fleet.CardNotPassed, "rotors to be machined"); err != nil {
			t.Fatal(err)
		}
		rows := findingsOf(t, s, bus)
		rows = slices.DeleteFunc(rows, func(r store.FindingRow) bool { return r.Position.Part != fleet.Rotor })
		if d := cmp.Diff([]string{"runout open", "thickness_variation open"}, kindsOf(rows)); d != "" {
			t.Fatal(d)
		}
		for i, want := range []string{"right rotor: its face runs out by 0.08 mm", "right rotor: thickness varies by 0.02 mm"} {
			if !strings.Contains(rows[i].Seen, want) {
				t.Errorf("got %q, want %q in it", rows[i].Seen, want)
			}
		}
	})
}
