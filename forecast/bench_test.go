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
