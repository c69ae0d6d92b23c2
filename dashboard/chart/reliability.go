package chart

import (
	"fmt"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg/draw"

	"brakewear/forecast"
)

// Reliability draws how often the truth lay below each quantile of the limit
// day against how often it should have, a curve per model over all cases. A
// model that is as sure as it should be lies on the diagonal.
func Reliability(rows []forecast.ScoreRow) *Chart {
	alt := "How often the limit was reached before the forecast's quantile, against how often it should have been."
	var all []forecast.ScoreRow
	for _, r := range rows {
		if r.By == "all" && r.Day.N > 0 {
			all = append(all, r)
			alt += fmt.Sprintf(" %s: the 80 %% interval held %.0f %% of %d.", r.Model, 100*r.Day.Cover80, r.Day.N)
		}
	}
	if len(all) == 0 {
		return nil
	}
	return &Chart{Alt: alt, plot: func(bool) (*plot.Plot, []entry) {
		p := newPlot("quantile of the forecast, %", "limits reached before it, %")
		grid(p)
		line(p, plotter.XYs{{X: 0, Y: 0}, {X: 100, Y: 100}}, lineStyle(text, 1, 1.5, 2.5))
		var key []entry
		for i, r := range all {
			s := lineStyle(modelInk(r.Model), 2, modelDashes[i%len(modelDashes)]...)
			var pts plotter.XYs
			for k, level := range forecast.ReliabilityLevels {
				pts = append(pts, plotter.XY{X: 100 * level, Y: 100 * r.Day.Reliability[k]})
			}
			line(p, pts, s)
			key = append(key, entry{name: r.Model, line: s, glyph: draw.GlyphStyle{}})
		}
		p.X.Min, p.X.Max, p.Y.Min, p.Y.Max = 0, 100, 0, 100
		p.X.Tick.Marker, p.Y.Tick.Marker = niceTicks(5, false), niceTicks(5, false)
		return p, key
	}}
}

// modelDashes tell the models' curves apart without colour.
var modelDashes = [][]float64{{}, {7, 3}, {2, 3}, {10, 3, 2, 3}, {4, 2}}

// modelInk keeps the copper for the model that people see.
func modelInk(model string) ink {
	if model == "full" {
		return wear
	}
	return soft
}
