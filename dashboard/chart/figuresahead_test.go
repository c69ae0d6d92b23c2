package chart

import (
	"testing"

	"github.com/google/go-cmp/cmp"

	"brakewear/forecast"
	"brakewear/internal/fleet"
	"brakewear/internal/units"
)

// TestFiguresAhead: what the tables say in the place of the curves. The limit is reached evenly over
// the 100 days from 1 March 2026 (invented); the chart goes from 8 March to 20 May.
func TestFiguresAhead(t *testing.T) {
	first := float64(fleet.NewDate(2026, 3, 1))
	d := forecast.DistOf(func(p float64) float64 { return first + 100*p })
	want := [][]string{
		{"5 %", "already"}, {"10 %", "11 Mar 2026"}, {"25 %", "26 Mar 2026"}, {"50 %", "20 Apr 2026"}, {"75 %", "15 May 2026"},
		{"90 %", "after 20 May 2026"}, {"95 %", "after 20 May 2026"},
	}
	if diff := cmp.Diff(want, chanceFigures(units.Reader{}, d, first+7, first+80).Rows); diff != "" {
		t.Error(diff)
	}
	// Of the line what is behind stands as read, and what lies ahead in at most forecastSteps rows.
	line := forecast.PositionForecast{Pos: forecast.Position{Part: forecast.Pad}}
	for i := range 41 {
		mm := 20 - .25*float64(i)
		line.Path = append(line.Path, forecast.PathPoint{Km: 1000 * float64(i), Mid: mm, Lo: mm - 1, Hi: mm + 1})
	}
	a := &Axle{Forecast: &forecast.AxleForecast{OdometerKm: 20_000}}
	rows := a.thicknessFigures(nil, []forecast.PositionForecast{line}, 0).Rows
	if n := len(rows); n != forecastSteps || rows[0][0] != "20.0" || rows[n-1][0] != "40.0" || rows[n-1][2] != "10.0" || rows[n-1][3] != "9.0 to 11.0" {
		t.Errorf("got %q, want %d rows from 20 to 40", rows, forecastSteps)
	}
}
