package chart

import (
	"fmt"
	"maps"
	"math"
	"slices"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg/draw"

	"brakewear/internal/fleet"
	"brakewear/internal/units"
)

// TestPoint is one value of a brake test.
type TestPoint struct {
	Day   fleet.Date
	Y     float64
	Stage fleet.Stage
	// Series joins tests that can be compared, by a line: of one method, since
	// the last job.
	Series int
}

// TestSeries is a value of brake tests over time: an efficiency, a pedal
// force.
type TestSeries struct {
	Name   string // in words, for the picture's own words: "efficiency"
	Label  string // of the axis: "efficiency, %"
	Unit   string
	Points []TestPoint // by day
	// Limit is what is required, 0 = nothing; Words says so on its line.
	Limit float64
	Words string
}

// BrakeTests draws a value of brake tests against the calendar with what is
// required. It is nil where there is nothing to draw.
func BrakeTests(tell units.Reader, s TestSeries) *Chart {
	if len(s.Points) == 0 {
		return nil
	}
	last := s.Points[len(s.Points)-1]
	alt := fmt.Sprintf("%d brake tests: %s %.4g %s on %s", len(s.Points), s.Name, last.Y, s.Unit, tell.Day(last.Day))
	if s.Limit > 0 {
		alt += "; " + s.Words
	}
	return &Chart{Alt: alt + ".", Figures: testFigures(tell, s), plot: func(narrow bool) (*plot.Plot, []entry) {
		p := newPlot("", s.Label)
		grid(p)
		glyphs := []struct {
			stage fleet.Stage
			name  string
			style draw.GlyphStyle
		}{
			{fleet.Routine, "of no job", draw.GlyphStyle{Color: text, Radius: 3.4, Shape: draw.CircleGlyph{}}},
			{fleet.BeforeJob, "before a job", draw.GlyphStyle{Color: text, Radius: 3.8, Shape: ring}},
			{fleet.AfterJob, "after a job", draw.GlyphStyle{Color: plan, Radius: 4.4, Shape: draw.PyramidGlyph{}}},
		}
		first, low, high := s.Points[0].Day, math.Inf(1), math.Inf(-1)
		joined := map[int]plotter.XYs{}
		for _, q := range s.Points {
			low, high = math.Min(low, q.Y), math.Max(high, q.Y)
			joined[q.Series] = append(joined[q.Series], plotter.XY{X: float64(q.Day), Y: q.Y})
		}
		if s.Limit > 0 {
			low, high = math.Min(low, s.Limit), math.Max(high, s.Limit)
		}
		for _, n := range slices.Sorted(maps.Keys(joined)) {
			line(p, joined[n], lineStyle(soft, 1.2))
		}
		var key []entry
		for _, g := range glyphs {
			var pts plotter.XYs
			for _, q := range s.Points {
				if q.Stage == g.stage {
					pts = append(pts, plotter.XY{X: float64(q.Day), Y: q.Y})
				}
			}
			if len(pts) > 0 {
				p.Add(&inside{plotter.Scatter{XYs: pts, GlyphStyle: g.style}})
				key = append(key, entry{name: g.name, glyph: g.style})
			}
		}
		if s.Limit > 0 {
			p.Add(mark{at: s.Limit, style: lineStyle(text, 1.6), words: s.Words, left: true, from: float64(first)})
		}
		span := math.Max(high-low, .1*high)
		p.Y.Min, p.Y.Max = math.Max(0, low-.25*span), high+.25*span
		room := math.Max(30, .08*float64(last.Day-first))
		p.X.Min, p.X.Max = float64(first)-room, float64(last.Day)+room
		p.X.Tick.Marker = dateTicks(7)
		if narrow {
			p.X.Tick.Marker = dateTicks(3)
		}
		p.Y.Tick.Marker = niceTicks(6, false)
		return p, key
	}}
}
