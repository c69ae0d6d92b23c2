package findings_test

import (
	"testing"

	"brakewear/forecast"
	"brakewear/internal/findings"
	"brakewear/internal/pipeline"
	"brakewear/internal/rules"
)

// One vehicle with forty readings of an axle; a forecast of it takes some
// hundred times as long.
func BenchmarkOf(b *testing.B) {
	s := of("M3").fit(0, "pad")
	for d := 50; d < 500; d += 50 {
		w := float64(d) / 50
		s.pads(d, 20-w, 20.1-w, 19.9-w, 20-w).odo(d+7, odometer(d+7))
	}
	known := pipeline.VehicleOf(&s.h)
	m := &forecast.Full{Params: forecast.DefaultParams()}
	v := findings.Vehicle{
		Vehicle: s.h.Vehicle, Axles: s.h.Axles, Odometers: s.h.Odometers, Readings: s.h.Readings, Fitments: s.h.Fitments,
		Model: m, Known: known, Rules: rules.Or(rules.Unset), Thresholds: rules.ThresholdsWith(nil),
	}
	fs := m.Forecast(known, forecast.Day(day(500)), forecast.Options{})
	for i := range fs {
		v.Forecasts = append(v.Forecasts, &fs[i])
	}
	b.Run("findings", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			findings.Of(&v)
		}
	})
	b.Run("forecast", func(b *testing.B) {
		for b.Loop() {
			m.Forecast(known, forecast.Day(day(500)), forecast.Options{})
		}
	})
}
