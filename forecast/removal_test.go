package forecast

import (
	"math"
	"testing"
)

// worn is an axle of new 12 mm pads with a limit of 2 mm that wear 1 mm per
// 10,000 km on a vehicle that drives 100 km a day. Invented; the expected values
// follow by hand.
func worn(at ...Day) *Vehicle {
	a := Axle{Number: 1, Specs: map[Part]Spec{Pad: {New: 12, Limit: 2}}}
	v := &Vehicle{Class: "M1"}
	for _, d := range at {
		km := 100 * float64(d)
		v.Odometer = append(v.Odometer, Odometer{d, km})
		for _, side := range []string{"left", "right"} {
			mm := 12 - km/10000
			if side == "left" {
				mm -= .5 * km / 80000 // wears a little faster
			}
			a.Readings = append(a.Readings, Reading{Day: d, Km: km, Pos: Position{Pad, side, "inner"}, MM: mm})
		}
	}
	a.Fitments = []Fitment{{Day: 0, Km: 0, Pos: Position{Part: Pad}}, {Day: 805, Km: 80500, Pos: Position{Part: Pad}}}
	v.Axles = []Axle{a}
	return v
}

func TestRemovals(t *testing.T) {
	left := Position{Pad, "left", "inner"}
	for _, c := range []struct {
		name string
		v    *Vehicle
		asOf Day
		want []Removal
	}{
		// At 800 days 12 - 8 - .5 = 3.5 mm: 1.5 of 10 left. 8.5 mm in 80,000 km
		// make 10 mm in 94,118 km, day 941.18.
		{"near the limit", worn(300, 800, 1000), 1000, []Removal{{
			Axle: 1, Part: Pad, Removed: 805, First: left, LeftMM: 1.5, LeftShare: .15, CrossKm: 94117.647, CrossDay: 941.176,
		}}},
		// The same, judged before the odometer got there: at 100 km a day.
		{"by the recent pace", worn(300, 800), 810, []Removal{{
			Axle: 1, Part: Pad, Removed: 805, First: left, LeftMM: 1.5, LeftShare: .15, CrossKm: 94117.647, CrossDay: 941.176,
		}}},
		{"last read months before", worn(300, 700, 1000), 1000, nil},
		{"not off yet", worn(300, 800), 804, nil},
	} {
		got, _ := Removals(c.v, c.asOf)
		if len(got) != len(c.want) {
			t.Errorf("%s: got %+v, want %+v", c.name, got, c.want)
			continue
		}
		for i, g := range got {
			w := c.want[i]
			if g.Axle != w.Axle || g.Part != w.Part || g.Fitted != w.Fitted || g.Removed != w.Removed || g.First != w.First ||
				math.Abs(g.LeftMM-w.LeftMM) > 1e-9 || math.Abs(g.LeftShare-w.LeftShare) > 1e-9 ||
				math.Abs(g.CrossKm-w.CrossKm) > .01 || math.Abs(g.CrossDay-w.CrossDay) > .01 {
				t.Errorf("%s: got %+v, want %+v", c.name, g, w)
			}
		}
	}
	// Half worn: it counts, but where it would have met its limit is not said.
	v := worn(300, 500)
	v.Axles[0].Fitments[1].Day = 505
	got, _ := Removals(v, 1000)
	if len(got) != 1 || !math.IsNaN(got[0].CrossKm) || !math.IsNaN(got[0].CrossDay) || math.Abs(got[0].LeftShare-.46875) > 1e-9 {
		t.Errorf("half worn: got %+v", got)
	}
}

func TestShiftOn(t *testing.T) {
	// A cluster that starts anew at 100 km after 50,000.
	tr := CleanOdometer([]Odometer{{0, 30000}, {100, 40000}, {200, 50000}, {210, 100}, {300, 9000}, {400, 19000}})
	if len(tr.Swaps) != 1 {
		t.Fatalf("got %+v, want one swap", tr)
	}
	if before, after := tr.ShiftOn(150), tr.ShiftOn(350); before != 0 || after < 49000 || after > 52000 {
		t.Errorf("got %g before and %g after the swap, want 0 and about 50,000", before, after)
	}
	if got := (Track{}).ShiftOn(3); got != 0 {
		t.Errorf("nothing known: got %g, want 0", got)
	}
}
