package findings

import (
	"fmt"
	"strings"

	"brakewear/internal/fleet"
	"brakewear/internal/rules"
)

// brakeTestFindings are what successive brake tests show: a brake that fades, a
// pedal that wants an ever harder foot, a last test that fails.
func brakeTestFindings(v *Vehicle) (fs []fleet.Finding) {
	tests := make([]*fleet.BrakeTest, len(v.BrakeTests))
	last := map[fleet.BrakeSystem]*fleet.BrakeTest{}
	for i := range v.BrakeTests {
		tests[i] = &v.BrakeTests[i]
		last[tests[i].System] = tests[i]
	}
	for _, t := range v.Thresholds.BrakeTrends(v.Category, tests) {
		kind, advice := fleet.BrakeFades, "Look for contaminated or glazed friction material, seized pistons or pins and lost adjustment, then test again."
		figure := -t.Over
		if t.Threshold.Key == rules.PedalForceGrowth {
			kind, advice = fleet.PedalHarder, "Look at the servo or air supply, the fluid and the friction material, then test again."
			figure = 100 * (t.To/t.From - 1)
		}
		b := t.Tests[len(t.Tests)-1]
		f := finding(kind, fleet.Position{}, string(b.System)+"/"+string(b.Method))
		f.Seen = t.String()
		f.Advice = advice
		f.Source = t.Threshold.Published.ID + ", " + v.Thresholds.Of(rules.TrendChance, v.Category).Published.ID
		f.Figure = &figure
		fs = append(fs, f)
	}
	var axles []int
	for _, a := range v.Axles {
		axles = append(axles, a.Number)
	}
	for _, sys := range fleet.BrakeSystems {
		b := last[sys]
		if b == nil {
			continue
		}
		j := v.Rules.Judged(&v.Vehicle, axles, b)
		if j.Verdict < rules.Fails {
			continue
		}
		var says, ids []string
		for i := range j.Checks {
			if c := &j.Checks[i]; c.Verdict >= rules.Fails {
				says, ids = append(says, c.String()), append(ids, c.Bound.Use.Value.ID)
			}
		}
		f := finding(fleet.TestFailed, fleet.Position{}, fmt.Sprint(b.ID))
		f.Seen = fmt.Sprintf("The last test of the %s brake, on %s, fails. %s", sys, on(b.Date), strings.Join(says, " "))
		f.Advice = "Find the fault before the vehicle goes back on the road, and test again."
		f.Source = strings.Join(ids, ", ")
		fs = append(fs, f)
	}
	return fs
}
