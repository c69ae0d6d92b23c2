package main

import (
	"encoding/json"
	"strings"
	"testing"

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
