package forecast

import (
	"slices"
	"testing"
)

// TestFittedPastItsLimit wants a part that went on at or past its limit to be due as
// of then, and due no longer by that once it was measured thicker or renewed.
func TestFittedPastItsLimit(t *testing.T) {
	disc := Position{Part: Rotor, Side: "left"}
	pad := Position{Part: Pad, Side: "left", Face: "inner"}
	shoe := Position{Part: Drum, Side: "right"}
	specs := map[Part]Spec{Pad: pad12, Rotor: {New: 28, Limit: 25}, Drum: {New: 300, Limit: 302}}
	at := func(d Day, p Position, mm float64) Fitment {
		return Fitment{Day: d, Km: 50 * float64(d), Pos: p, MM: mm}
	}
	for _, c := range []struct {
		name     string
		fitments []Fitment
		readings []Reading
		want     string // of being past the limit; "" = not due by that
	}{
		{"a rotor below its limit", []Fitment{at(400, disc, 24.6)}, nil, "left rotor: fitted at 24.6 mm, limit 25 mm"},
		{"a pad below its limit", []Fitment{at(400, pad, 1.5)}, nil, "left inner pad: fitted at 1.5 mm, limit 2 mm"},
		{"a drum above its limit", []Fitment{at(400, shoe, 302.5)}, nil, "right drum: fitted at 302.5 mm, limit 302 mm"},
		{"renewed since", []Fitment{at(300, disc, 24.6), at(400, disc, 28)}, nil, ""},
		{"measured since, and as good as new", []Fitment{at(300, disc, 24.6)}, []Reading{reading(400, disc, 27.9)}, ""},
		{"mistyped since", []Fitment{at(300, pad, 1.5)}, []Reading{reading(400, pad, 95)}, "left inner pad: fitted at 1.5 mm, limit 2 mm"},
		{"measured since, at its limit", []Fitment{at(300, disc, 24.6)}, []Reading{reading(400, disc, 24.5)}, "left rotor: last measured at 24.5 mm, limit 25 mm"},
		{"measured on the day, as the one before was", []Fitment{at(400, disc, 24.6)}, []Reading{reading(400, disc, 27.9)}, "left rotor: fitted at 24.6 mm, limit 25 mm"},
	} {
		for _, m := range []Model{newFull(), Line{}} {
			t.Run(c.name+", "+m.Name(), func(t *testing.T) {
				v := padVehicle(pad12, 420, c.readings, c.fitments)
				v.Axles[0].Specs = specs
				f := &m.Forecast(v, 420, Options{})[0]
				checkSane(t, f)
				got := ""
				if i := slices.IndexFunc(f.Warnings, func(w Warning) bool { return w.Code == PastLimit }); i >= 0 {
					got = f.Warnings[i].Text
				}
				if got != c.want {
					t.Errorf("got %q, want %q", got, c.want)
				}
				if q := f.Crossing.Day.Quantile(.95); c.want != "" && !(q <= 420) {
					t.Errorf("got the limit by day %g, want it past", q)
				}
			})
		}
	}
}
