package chart

import (
	"math"
	"strings"
	"testing"

	"brakewear/forecast"
	"brakewear/internal/fleet"
	"brakewear/internal/units"
)

// Readings and the line through them are drawn on one scale, also where the
// instrument cluster was changed.
func TestThicknessAcrossSwap(t *testing.T) {
	left := forecast.Position{Part: forecast.Pad, Side: "left", Face: "inner"}
	v := &forecast.Vehicle{ID: "invented", Swaps: []forecast.DeclaredSwap{{Day: 20100, Old: 310_000, New: 10}}}
	a := forecast.Axle{Number: 1, Specs: map[forecast.Part]forecast.Spec{forecast.Pad: {New: 20, Limit: 2}}}
	a.Fitments = []forecast.Fitment{{Day: 20000, Km: 300_000, Pos: forecast.Position{Part: forecast.Pad}}}
	var rs []fleet.Reading
	for i := range 6 {
		d, km := forecast.Day(20050+50*i), 305_000+5000*float64(i)
		if d > 20100 {
			km -= 309_990
		}
		mm := 20 - float64(i+1)
		a.Readings = append(a.Readings, forecast.Reading{Day: d, Km: km, Pos: left, MM: mm})
		v.Odometer = append(v.Odometer, forecast.Odometer{Day: d, Km: km})
		rs = append(rs, fleet.Reading{Date: fleet.Date(d), OdometerKm: &km, MM: mm, Position: fleet.Position{Axle: 1, Part: fleet.Pad, Side: fleet.Left, Face: fleet.Inner}})
	}
	v.Axles = []forecast.Axle{a}
	m := &forecast.Full{Params: forecast.DefaultParams()}
	f := m.Forecast(v, 20300, forecast.Options{Paths: true})[0]
	c := Axle{Forecast: &f, Readings: rs, Track: forecast.CleanOdometer(v.Odometer, v.Swaps...)}
	ps := c.points(forecast.Pad)
	last := ps[len(ps)-1]
	path := f.Positions[f.Limiting].Path
	i := 0
	for path[i].Km < last.km && i < len(path)-1 {
		i++
	}
	if math.Abs(path[i].Mid-last.mm) > 1 {
		t.Errorf("the last reading of %.1f mm is drawn at %.0f km, where the line is at %.1f mm", last.mm, last.km, path[i].Mid)
	}
}

// The figures of an odometer go on over a change of the instrument cluster as the
// chart does, and say what the new one showed. The readings are invented.
func TestOdometerFiguresAcrossSwap(t *testing.T) {
	var odo []fleet.Odometer
	var rs []forecast.Odometer
	for i, km := range []float64{300_000, 305_000, 310_000, 4_000, 9_000} {
		d := fleet.Date(20000 + 50*i)
		odo = append(odo, fleet.Odometer{Date: d, Km: km})
		rs = append(rs, forecast.Odometer{Day: forecast.Day(d), Km: km})
	}
	track := forecast.CleanOdometer(rs, forecast.DeclaredSwap{Day: 20110, Old: 311_000, New: 0})
	c := Odometer(units.Reader{}, odo, track, 20210, 100)
	want := []string{"300.0", "305.0", "310.0", "315.0", "320.0"} // 311 + 4, 311 + 9
	for i, row := range c.Figures.Rows[:len(want)] {
		if row[1] != want[i] {
			t.Errorf("row %d: got %q, want %s thousand km", i, row, want[i])
		}
		if got := strings.Contains(row[2], "read as"); got != (i > 2) {
			t.Errorf("row %d: got %q", i, row)
		}
	}
}
