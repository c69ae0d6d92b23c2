package forecast

import (
	"math"
	"testing"
)

// What is read first after a declared fitting may show that other parts are on by
// then: thicker than those fitted, or too little worn for the distance. All invented;
// 50 km a day, and a car's front pads wear 0.5 to 2.5 mm per 10,000 km (bandOf).
func TestRenewedUnseen(t *testing.T) {
	pads := func(mm float64) []float64 { return []float64{mm, mm, mm, mm} }
	for _, c := range []struct {
		name    string
		fitted  float64 // on day 0; 0 = new, 12 mm
		day     Day     // of the first visit
		mm      []float64
		changed bool
	}{
		{"worn as they do", 0, 400, pads(9.5), false},
		{"worn slowly", 0, 400, pads(11), false},
		{"not worn yet", 0, 30, pads(12.1), false},
		{"read new on the day of fitting", 0, 0, pads(12), false},
		{"as good as new after 45,000 km", 0, 900, pads(11.9), true},
		{"thicker than those fitted", 8, 100, pads(11), true},
		{"one of them mistyped", 8, 100, []float64{7.8, 7.8, 11, 7.8}, false},
	} {
		var readings []Reading
		for i, p := range allPads {
			readings = append(readings, reading(c.day, p, c.mm[i]))
		}
		fit := []Fitment{{Day: 0, Km: math.NaN(), Pos: Position{Part: Pad}, MM: c.fitted}}
		f := one(t, newFull(), padVehicle(pad12, c.day, readings, fit), c.day)
		if got := len(f.Basis.Changes) > 0; got != c.changed || f.Has(PartChange) != c.changed {
			t.Errorf("%s: changes %+v, warnings %v; want a change: %v", c.name, f.Basis.Changes, f.Warnings, c.changed)
			continue
		}
		if !c.changed {
			continue
		}
		if x := f.Basis.Changes[0]; x.After != 0 || x.Before != c.day {
			t.Errorf("%s: changed between days %d and %d, want 0 and %d", c.name, x.After, x.Before, c.day)
		}
		// 10 mm wear off in 160,000 km at the most.
		if km := f.Crossing.Km.Quantile(.05); !(km < 50*float64(c.day)+160_000) {
			t.Errorf("%s: limit not before %.0f km, of parts that wear as others do", c.name, km)
		}
	}
}

// TestRenewedUnseenKept: somebody says that the parts were not changed.
func TestRenewedUnseenKept(t *testing.T) {
	var readings []Reading
	for _, p := range allPads {
		readings = append(readings, reading(900, p, 11.9))
	}
	v := padVehicle(pad12, 900, readings, []Fitment{fitment(0, Position{Part: Pad})})
	v.Axles[0].Kept = []Kept{{Part: Pad, After: 0, Before: 900}}
	if f := one(t, newFull(), v, 900); len(f.Basis.Changes) > 0 {
		t.Errorf("changes %+v, want none", f.Basis.Changes)
	}
}
