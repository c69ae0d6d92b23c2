package forecast

import (
	"math"
	"testing"
)

// TestNonsenseSpecs: a specification that cannot be meant is refused at the door,
// and none of what follows comes out as no number.
func TestNonsenseSpecs(t *testing.T) {
	inf, nan := math.Inf(1), math.NaN()
	fleet, _ := inventFleet(5, 30)
	models, _ := baselines(fleet)(20000)
	models = append(models, &Full{Params: DefaultParams()})
	for _, spec := range []Spec{
		{0, 0}, {3, 3}, {nan, 2}, {12, nan}, {inf, 2}, {12, -inf}, {-5, -9}, {12, 0}, {12, -1}, {1e308, 2}, {1e-300, 1e-301},
		{12, 11.999999999}, {2, 12}, {math.MaxFloat64, math.SmallestNonzeroFloat64},
	} {
		for _, part := range []Part{Pad, Lining, Rotor, Drum} {
			var rs []Reading
			for i, mm := range []float64{10, 9, 8, 7.5} {
				rs = append(rs, Reading{Day: 18000 + Day(30*i), Km: nan, Pos: Position{Part: part, Side: "left"}, MM: mm})
			}
			for _, readings := range [][]Reading{rs, rs[:1], nil} {
				v := &Vehicle{ID: "invented", Odometer: monthly(18000, 1000, 3000, 5000, 7000, 9000),
					Axles: []Axle{{Number: 1, Specs: map[Part]Spec{part: spec}, Readings: readings, Fitments: []Fitment{{Day: 17990, Km: 500, Pos: Position{Part: part}}}}}}
				for _, m := range models {
					for _, f := range m.Forecast(v, 18130, Options{Paths: true}) {
						for _, d := range []Dist{f.Crossing.Km, f.Crossing.Day} {
							for _, x := range d.X {
								if math.IsNaN(x) {
									t.Errorf("%s, %v of %s, %d readings: quantiles %v", m.Name(), spec, part, len(readings), d.X)
									break
								}
							}
						}
						for _, p := range f.Positions {
							if p.Crossing.Km.Known() && (math.IsNaN(p.ThicknessMM) || math.IsNaN(p.RatePer10000)) && p.Readings > 1 {
								t.Errorf("%s, %v of %s, %d readings: %g mm, rate %g", m.Name(), spec, part, len(readings), p.ThicknessMM, p.RatePer10000)
							}
						}
					}
				}
			}
		}
	}
}
