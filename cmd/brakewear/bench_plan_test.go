package main

import (
	"encoding/json"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"brakewear/forecast"
	"brakewear/internal/plan"
)

// TestBenchPlan: the proposal and the simple ways plan the same axles, and the
// proposal is the cheapest. The times are the machine's.
func TestBenchPlan(t *testing.T) {
	out, _, err := command(t, "bench", "plan", "--jobs", "30", "--days", "30", "--shops", "2", "--format", "json")
	if err != nil {
		t.Fatal(err)
	}
	var got []planBench
	if err := json.Unmarshal([]byte(out), &got); err != nil {
		t.Fatalf("%v in %s", err, out)
	}
	if len(got) != 1+len(plan.Rules) {
		t.Fatalf("got %d ways, want the proposal and %d rules", len(got), len(plan.Rules))
	}
	for _, r := range got {
		if r.Booked+r.Unplaced < 30 || r.Crossing != got[0].Crossing || r.Visits == 0 {
			t.Errorf("no sense in %+v", r)
		}
		if r.Cost < got[0].Cost-1e-9 {
			t.Errorf("%s costs %g, the proposal %g", r.Way, r.Cost, got[0].Cost)
		}
	}
	if !(got[0].Bound > 0 && got[0].Bound <= got[0].Cost+1e-9) {
		t.Errorf("bound %g of cost %g", got[0].Bound, got[0].Cost)
	}
	if out, _, err = command(t, "bench", "plan", "--jobs", "5", "--days", "20"); err != nil || !strings.Contains(out, "latest slot before book-by") {
		t.Errorf("table: %s, %v", out, err)
	}
	if _, _, err := command(t, "bench", "plan", "--jobs", "0"); err == nil || exitCode(err) != exitUsage {
		t.Errorf("no jobs: got %v, want a refusal", err)
	}
}

// TestBenchPlanWeekly: planned every week, all ways see the same axles come to
// their limit, and each is done once.
func TestBenchPlanWeekly(t *testing.T) {
	out, _, err := command(t, "bench", "plan", "--weekly", "--jobs", "30", "--days", "28", "--shops", "2", "--format", "json")
	if err != nil {
		t.Fatal(err)
	}
	var got []rolled
	if err := json.Unmarshal([]byte(out), &got); err != nil {
		t.Fatalf("%v in %s", err, out)
	}
	if len(got) != 1+len(plan.Rules) {
		t.Fatalf("got %d ways, want the proposal and %d rules", len(got), len(plan.Rules))
	}
	for _, r := range got {
		if r.Done == 0 || r.Visits == 0 || r.Visits > r.Done || r.Crossing == 0 || r.Crossing != got[0].Crossing || r.PastLimit > r.Crossing ||
			(r.PastDays > 0) != (r.PastLimit > 0) || r.PastDays > float64(28*r.PastLimit) || !(r.WastedMM > 0) {
			t.Errorf("no sense in %+v", r)
		}
	}
	if out, _, err = command(t, "bench", "plan", "--weekly", "--jobs", "5", "--days", "14"); err != nil || !strings.Contains(out, "planned every week") {
		t.Errorf("table: %s, %v", out, err)
	}
}

// What will be read later changes no forecast of today.
func TestBenchToCome(t *testing.T) {
	known := benchPlanCmd{Jobs: 20, Days: 60, Shops: 1, Load: 1, Seed: 3}
	later := known
	later.Weekly = true
	a, err := known.fleet()
	if err != nil {
		t.Fatal(err)
	}
	b, err := later.fleet()
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(a.problem, b.problem); d != "" {
		t.Error(d)
	}
	changed := false
	for id, v := range a.vehicles {
		w := b.vehicles[id]
		now := a.model.Forecast(v, forecast.Day(benchUntil), forecast.Options{})
		if d := cmp.Diff(now, b.model.Forecast(w, forecast.Day(benchUntil), forecast.Options{}), cmpopts.EquateNaNs()); d != "" {
			t.Errorf("vehicle %d: %s", id, d)
		}
		soon := forecast.Day(benchUntil + 60)
		was, is := a.model.Forecast(v, soon, forecast.Options{}), b.model.Forecast(w, soon, forecast.Options{})
		changed = changed || !cmp.Equal(was, is, cmpopts.EquateNaNs())
	}
	if !changed {
		t.Error("nothing was read in sixty days")
	}
}
