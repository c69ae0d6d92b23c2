package forecast

import (
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
)

// TestFitterForgets: what a fitter worked on before, with other numbers of
// places and readings, leaves no trace in the next forecast.
func TestFitterForgets(t *testing.T) {
	fit := []Fitment{fitment(0, Position{Part: Pad})}
	thinnest := func(days ...Day) (rs []Reading) {
		for _, d := range days {
			rs = append(rs, reading(d, Position{Part: Pad}, 12-.01*float64(d)))
		}
		return rs
	}
	sides := func(days ...Day) (rs []Reading) {
		for _, d := range days {
			for _, s := range []string{"left", "right"} {
				rs = append(rs, reading(d, Position{Part: Pad, Side: s}, 12-.011*float64(d)))
			}
		}
		return rs
	}
	vehicles := map[string]*Vehicle{
		"four places": padVehicle(pad12, 600, steady(.012, 100, 200, 300, 400, 500, 600), fit),
		"two places":  padVehicle(pad12, 600, sides(100, 200, 300, 400, 500, 600), fit),
		"one place":   padVehicle(pad12, 600, thinnest(50, 100, 150, 200, 250, 300, 350, 400, 450, 500, 550, 600), fit),
		"no reading":  padVehicle(pad12, 600, nil, fit),
	}
	m := newFull()
	m.Params.Noise = map[Part]Noise{Pad: defaultNoise(Pad)}
	forecast := func(f *fitter, v *Vehicle) AxleForecast {
		h := m.history(f, v, 600, partOrder[:], unheard)
		af := AxleForecast{Limiting: -1}
		m.axle(f, &h, 0, &af, Options{Paths: true})
		return af
	}
	for name, v := range vehicles {
		want := forecast(new(fitter), v)
		for before, o := range vehicles {
			f := new(fitter)
			forecast(f, o)
			if diff := cmp.Diff(want, forecast(f, v), cmpopts.EquateNaNs()); diff != "" {
				t.Errorf("%s after %s (-alone +after):\n%.400s", name, before, diff)
			}
		}
	}
}
