package findings_test

import (
	"strings"
	"testing"

	"brakewear/forecast"
	"brakewear/internal/findings"
	"brakewear/internal/fleet"
	"brakewear/internal/rules"
)

// tested is what is found of a truck with decelerometer tests a quarter apart;
// the values are invented, 4.9 m/s² is 50 % (EU-04).
func tested(set string, tests ...fleet.BrakeTest) []fleet.Finding {
	for i := range tests {
		tests[i].ID, tests[i].Date = int64(i+1), day(90*i)
		tests[i].Method, tests[i].System = fleet.Decelerometer, fleet.ServiceBrake
	}
	v := findings.Vehicle{
		Vehicle:    fleet.Vehicle{ID: 7, Category: "N3", FirstUsed: fleet.NewDate(2019, 5, 4)},
		BrakeTests: tests,
		Known:      &forecast.Vehicle{},
		Rules:      rules.Or(set),
		Thresholds: rules.ThresholdsWith(nil),
	}
	return findings.Of(&v)
}

func decel(mean, pedal float64) fleet.BrakeTest { return fleet.BrakeTest{Mean: mean, PedalN: pedal} }

func TestBrakeTestFindings(t *testing.T) {
	for _, c := range []struct {
		name string
		got  []fleet.Finding
		want []fleet.FindingKind
		seen string
	}{
		{"none", tested("eu"), nil, ""},
		{"sound", tested("eu", decel(5.6, 300), decel(5.7, 310), decel(5.5, 290), decel(5.6, 300)), nil, ""},
		{"fades", tested("eu", decel(6.3, 0), decel(6, 0), decel(5.7, 0), decel(5.4, 0)), []fleet.FindingKind{fleet.BrakeFades}, "the efficiency fell from 64.2\u00a0% to 55.1\u00a0%"},
		{"harder", tested("eu", decel(5.6, 300), decel(5.6, 340), decel(5.6, 370), decel(5.6, 410)), []fleet.FindingKind{fleet.PedalHarder}, "grew from 300 to 410\u00a0N"},
		{"last fails", tested("eu", decel(5.6, 0), decel(4, 0)), []fleet.FindingKind{fleet.TestFailed}, "Efficiency: 40.8\u00a0%, 50\u00a0% required (EU-04)"},
		{"failed, then mended", tested("eu", decel(4, 0), decel(5.6, 0)), nil, ""},
		{"no rule set", tested("", decel(4, 0)), nil, ""},
	} {
		var kinds []fleet.FindingKind
		seen := ""
		for _, f := range c.got {
			kinds = append(kinds, f.Kind)
			seen += f.Seen
			if f.VehicleID != 7 || f.Advice == "" || f.Source == "" || f.Position.Axle != 0 || f.Subject == "" {
				t.Errorf("%s: got %+v", c.name, f)
			}
		}
		if len(kinds) != len(c.want) || len(kinds) > 0 && kinds[0] != c.want[0] || !strings.Contains(seen, c.seen) {
			t.Errorf("%s: got %v, want %v; seen: %s", c.name, kinds, c.want, seen)
		}
	}
}
