package forecast

import (
	"math/rand/v2"
	"slices"
	"testing"
)

// BenchmarkForecastFull is one axle of four places and six visits, from the
// vehicle's readings to the quantiles of distance and day.
func BenchmarkForecastFull(b *testing.B) {
	v := padVehicle(pad12, 600, steady(.01, 100, 200, 300, 400, 500, 600), []Fitment{fitment(0, Position{Part: Pad})})
	m := newFull()
	b.ReportAllocs()
	for b.Loop() {
		m.Forecast(v, 600, Options{})
	}
}

// untidyFleet are invented vehicles: two axles with three sets of pads each, read
// seven times up to day 1440, and rotors that are read at one time in two; here and
// there a reading is mistyped or a fitting was not recorded.
func untidyFleet(vehicles int) []*Vehicle {
	fleet := plainFleet
	fleet.vehicles = vehicles
	vs := fleet.draw(1)
	r := rand.New(rand.NewPCG(7, 1))
	for i, v := range vs {
		for k := range v.Axles {
			a := &v.Axles[k]
			a.Specs[Rotor] = Spec{New: 28, Limit: 26}
			for n, x := range a.Readings {
				if x.Pos.Face == "inner" && n%16 < 4 {
					a.Readings = append(a.Readings, Reading{Day: x.Day, Km: nan, Pos: Position{Part: Rotor, Side: x.Pos.Side}, MM: 28 - float64(x.Day)/1200})
				}
			}
			if i%4 == 0 {
				a.Readings[r.IntN(len(a.Readings))].MM -= 3
			}
			if i%4 == 1 {
				a.Fitments = a.Fitments[:2]
			}
		}
	}
	return vs
}

// BenchmarkFleet is what a fleet asks for of one vehicle, in turns of some.
func BenchmarkFleet(b *testing.B) {
	const asOf = 1440
	vs := untidyFleet(40)
	m := newFull()
	m.Params.Season = WearSeason{Cos: .08, Sin: -.06}
	front := AxlePart{1, Pad}
	for _, c := range []struct {
		name string
		of   func(*Vehicle)
	}{
		{"forecast", func(v *Vehicle) { m.Forecast(v, asOf, Options{}) }},
		{"paths", func(v *Vehicle) { m.Forecast(v, asOf, Options{Paths: true}) }},
		{"expect", func(v *Vehicle) { Expect(m, v, asOf, nan) }},
		{"expect one part", func(v *Vehicle) { Expect(m, v, asOf, nan, front) }},
		{"expect one part and forecast", func(v *Vehicle) {
			w := *v
			w.Memory = new(Memory)
			Expect(m, &w, asOf, nan, front)
			m.Forecast(&w, asOf, Options{})
		}},
	} {
		b.Run(c.name, func(b *testing.B) {
			b.ReportAllocs()
			for i := 0; b.Loop(); i++ {
				c.of(vs[i%len(vs)])
			}
		})
	}
}

// BenchmarkTrainFull learns from 500 invented cars of one pad and up to eight
// readings each; it takes all processors.
func BenchmarkTrainFull(b *testing.B) {
	vs := straightFleet(rand.New(rand.NewPCG(8, 1)), "M1", 500, 8, true).vehicles
	b.ReportAllocs()
	for b.Loop() {
		if _, err := TrainFull(slices.Values(vs), 1000); err != nil {
			b.Fatal(err)
		}
	}
}
