package forecast

import "testing"

// thickened is an axle whose left inner pad rises from 5 to 11.5 mm between
// days 180 and 270 with no fitment recorded. Invented.
func thickened() *Vehicle {
	a := Axle{Number: 1, Specs: map[Part]Spec{Pad: {New: 12, Limit: 2}}}
	v := &Vehicle{Class: "N1"}
	for k, mm := range []float64{11, 8, 5, 11.5, 8.5} {
		day, km := Day(90*k), 9000*float64(k)
		v.Odometer = append(v.Odometer, Odometer{day, km})
		for _, side := range []string{"left", "right"} {
			a.Readings = append(a.Readings, Reading{Day: day, Km: km, Pos: Position{Pad, side, "inner"}, MM: mm})
		}
	}
	v.Axles = []Axle{a}
	return v
}

// A change that somebody says there was none of is found no more, and the
// forecast does not begin a new life with it.
func TestKept(t *testing.T) {
	full := &Full{DefaultParams()}
	for _, m := range []Model{Line{}, full} {
		t.Run(m.Name(), func(t *testing.T) {
			v := thickened()
			found := m.Forecast(v, 365, Options{})[0]
			if len(found.Basis.Changes) == 0 {
				t.Fatal("the change is not found")
			}
			c := found.Basis.Changes[0]
			if c.After != 180 || c.Before != 270 {
				t.Errorf("got a change between %d and %d, want 180 and 270", c.After, c.Before)
			}
			for _, k := range []struct {
				kept Kept
				want bool // the change is still found
			}{
				{Kept{Pad, c.After, c.Before}, false},
				{Kept{Pad, 0, 365}, false},
				{Kept{Pad, 0, 90}, true},
				{Kept{Rotor, c.After, c.Before}, true},
			} {
				v := thickened()
				v.Axles[0].Kept = []Kept{k.kept}
				got := m.Forecast(v, 365, Options{})[0]
				if (len(got.Basis.Changes) > 0) != k.want || got.Has(PartChange) != k.want {
					t.Errorf("%+v: got changes %+v, warnings %+v", k.kept, got.Basis.Changes, got.Warnings)
				}
				if !k.want && !got.Crossing.Day.Known() {
					t.Errorf("%+v: no forecast at all", k.kept)
				}
			}
		})
	}
}
