package findings_test

import (
	"math"
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

// Figures by hand: 0.9 m/s² are 9.18 % of 9.80665, and 410 N are 36.67 % more than 300.
func TestBrakeTestFindings(t *testing.T) {
	for _, c := range []struct {
		name   string
		got    []fleet.Finding
		want   []fleet.FindingKind
		seen   string
		figure float64 // of it, 0 = none
	}{
		{"none", tested("eu"), nil, "", 0},
		{"sound", tested("eu", decel(5.6, 300), decel(5.7, 310), decel(5.5, 290), decel(5.6, 300)), nil, "", 0},
		{"fades", tested("eu", decel(6.3, 0), decel(6, 0), decel(5.7, 0), decel(5.4, 0)), []fleet.FindingKind{fleet.BrakeFades}, "the efficiency fell from 64.2\u00a0% to 55.1\u00a0%", 9.18},
		{"harder", tested("eu", decel(5.6, 300), decel(5.6, 340), decel(5.6, 370), decel(5.6, 410)), []fleet.FindingKind{fleet.PedalHarder}, "grew from 300 to 410\u00a0N", 36.67},
		{"last fails", tested("eu", decel(5.6, 0), decel(4, 0)), []fleet.FindingKind{fleet.TestFailed}, "Efficiency: 40.8\u00a0%, 50\u00a0% required (EU-04)", 0},
		{"failed, then mended", tested("eu", decel(4, 0), decel(5.6, 0)), nil, "", 0},
		{"no rule set", tested("", decel(4, 0)), nil, "", 0},
	} {
		var kinds []fleet.FindingKind
		seen, figure := "", 0.0
		for _, f := range c.got {
			kinds = append(kinds, f.Kind)
			seen += f.Seen
			if f.Figure != nil {
				figure = *f.Figure
			}
			if f.VehicleID != 7 || f.Advice == "" || f.Source == "" || f.Position.Axle != 0 || f.Subject == "" {
				t.Errorf("%s: got %+v", c.name, f)
			}
		}
		if len(kinds) != len(c.want) || len(kinds) > 0 && kinds[0] != c.want[0] || !strings.Contains(seen, c.seen) || math.Abs(figure-c.figure) > .01 {
			t.Errorf("%s: got %v of %g, want %v of %g; seen: %s", c.name, kinds, figure, c.want, c.figure, seen)
		}
	}
}

// A roller test that leaves an axle out says nothing of the whole vehicle: 2 kN on axle 1
// alone would be 20.4 % of 1000 kg, against 50 % (EU-04).
func TestAxleLeftOut(t *testing.T) {
	wheels := func(axles ...int) (ws []fleet.WheelEffort) {
		for _, a := range axles {
			ws = append(ws, fleet.WheelEffort{Axle: a, Side: fleet.Left, N: 1000}, fleet.WheelEffort{Axle: a, Side: fleet.Right, N: 1000})
		}
		return ws
	}
	for _, c := range []struct {
		wheels []fleet.WheelEffort
		want   int
	}{{wheels(1), 0}, {wheels(1, 2), 1}} {
		got := findings.Of(&findings.Vehicle{
			Vehicle:    fleet.Vehicle{ID: 7, Category: "N3", FirstUsed: fleet.NewDate(2019, 5, 4)},
			Axles:      []fleet.Axle{{Number: 1}, {Number: 2}},
			BrakeTests: []fleet.BrakeTest{{ID: 1, Date: day(0), Method: fleet.Roller, System: fleet.ServiceBrake, WeightKg: 1000, Wheels: c.wheels}},
			Known:      &forecast.Vehicle{},
			Rules:      rules.Or("eu"),
			Thresholds: rules.ThresholdsWith(nil),
		})
		if len(got) != c.want {
			t.Errorf("%d wheels: got %+v, want %d", len(c.wheels), got, c.want)
		}
	}
}
