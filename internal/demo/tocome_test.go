package demo

import (
	"testing"

	"brakewear/internal/fleet"

	"github.com/google/go-cmp/cmp"
)

// TestToCome wants the inspections to come to go on where the records stop:
// parts get thinner, stay above the limit until they reach it, and are looked
// at as often as before.
func TestToCome(t *testing.T) {
	const rounding = .005 // mm, half of what clean records are rounded to
	var days, visits float64
	for v := range Generate(Options{Vehicles: 400, Seed: 7, Until: until, Clean: true, ToCome: true}) {
		k := classOf(v)
		for i := range v.Truth.Lives {
			l := &v.Truth.Lives[i]
			friction := l.Part == fleet.Pad || l.Part == fleet.Lining
			if len(l.ToCome) > 0 && (!friction || !l.Crossing.Known) {
				t.Fatalf("%s: inspections to come of the %s fitted on %s", v.Number, l.Part, l.Fitted.Date)
			}
			if !friction || !l.Crossing.Known {
				continue
			}
			from := until
			if l.Removed.Known {
				from = l.Removed.Date
			}
			last := map[fleet.Position]float64{}
			for _, r := range v.Readings {
				if r.Position.Axle == l.Axle && r.Position.Part == l.Part && r.Date > l.Fitted.Date && r.Date < from && !r.Tripped {
					last[r.Position] = r.MM
				}
			}
			seen := fleet.Date(0)
			for _, r := range l.ToCome {
				if r.Date <= from || r.Date >= l.Crossing.Date || r.Date < seen {
					t.Errorf("%s: read on %s after %s; removed or last on record on %s, limit on %s", v.Number, r.Date, seen, from, l.Crossing.Date)
				}
				if r.Date != seen && !r.Tripped {
					visits += k.visit / axleMeasured
				}
				seen = r.Date
				if r.Position.Part != l.Part || r.Tripped {
					continue
				}
				before, ok := last[r.Position]
				if r.MM < l.Limit-rounding || ok && r.MM > before+rounding {
					t.Errorf("%s %s: %g mm on %s after %g mm, limit %g", v.Number, r.Position, r.MM, r.Date, before, l.Limit)
				}
				last[r.Position] = r.MM
			}
			days += float64(max(0, l.Crossing.Date-from))
		}
	}
	// Some thousand visits .4 of their log apart: a standard error of 1 %, and
	// half an interval less at the end of each life.
	if ratio := visits / days; visits < 1000 || ratio < .85 || ratio > 1.1 {
		t.Errorf("days of the inspections to come over days on the axle: got %.3f of %.0f, want about 1", visits/days, days)
	}
}

func classOf(v *Vehicle) *class {
	for i := range classes {
		if classes[i].name == v.Truth.Class {
			return &classes[i]
		}
	}
	return nil
}

// TestToComeIsApart wants the records and the rest of the truth to be the same
// whether or not the inspections to come are made up.
func TestToComeIsApart(t *testing.T) {
	opt := Options{Vehicles: 60, Seed: 5, Until: until}
	var plain []*Vehicle
	for v := range Generate(opt) {
		plain = append(plain, v)
	}
	opt.ToCome = true
	i := 0
	for v := range Generate(opt) {
		v.Truth.OdometerToCome = nil
		for k := range v.Truth.Lives {
			v.Truth.Lives[k].ToCome = nil
		}
		if d := cmp.Diff(plain[i], v); d != "" {
			t.Fatalf("%s, -without +with: %.1000s", v.Number, d)
		}
		i++
	}
}
