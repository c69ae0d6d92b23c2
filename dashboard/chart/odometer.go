package chart

import (
	"fmt"
	"math"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg/draw"

	"brakewear/forecast"
	"brakewear/internal/fleet"
	"brakewear/internal/units"
)

// aheadOfOdometer is how far the odometer's forecast is drawn, in days: about
// two inspection rounds.
const aheadOfOdometer = 182

// Odometer draws the readings of an odometer against the calendar, what was
// set aside, and how it goes on at km a day from asOf. It is nil where there
// is no reading to go by.
func Odometer(tell units.Reader, readings []fleet.Odometer, t forecast.Track, asOf forecast.Day, kmPerDay float64) *Chart {
	if !t.Known() || len(readings) == 0 {
		return nil
	}
	now := t.Km(asOf)
	alt := fmt.Sprintf("Odometer: %d readings, about %.0f thousand %s on %s", len(readings), tell.OfKm(now)/1000, tell.DistanceUnit(), day(tell, asOf))
	if kmPerDay > 0 {
		alt += ", going on at about " + tell.Distance(kmPerDay) + " a day"
	}
	return &Chart{Alt: alt + ".", Figures: odometerFigures(tell, readings, t, asOf, kmPerDay), plot: func(narrow bool) (*plot.Plot, []entry) {
		p := newPlot("", "odometer, thousand "+tell.DistanceUnit())
		grid(p)
		dropped := map[forecast.Odometer]bool{}
		for _, d := range t.Dropped {
			dropped[d.Odometer] = true
		}
		var kept, aside, track plotter.XYs
		first := asOf
		for _, r := range readings {
			o := forecast.Odometer{Day: forecast.Day(r.Date), Km: r.Km}
			first = min(first, o.Day)
			switch {
			case dropped[o]:
				aside = append(aside, plotter.XY{X: float64(o.Day), Y: o.Km})
			default:
				kept = append(kept, plotter.XY{X: float64(o.Day), Y: t.Reading(o.Km, o.Day)})
			}
		}
		for d := first; d < asOf; d += max(1, (asOf-first)/200) {
			track = append(track, plotter.XY{X: float64(d), Y: t.Km(d)})
		}
		track = append(track, plotter.XY{X: float64(asOf), Y: now})
		line(p, track, lineStyle(soft, 1.2))
		end := float64(asOf)
		top := now
		ahead := lineStyle(plan, 1.8, 5, 3)
		if kmPerDay > 0 {
			end += aheadOfOdometer
			top += kmPerDay * aheadOfOdometer
			line(p, plotter.XYs{{X: float64(asOf), Y: now}, {X: end, Y: top}}, ahead)
			p.Add(mark{at: float64(asOf), vertical: true, style: lineStyle(text, 1, 1.5, 2.5), words: "today", left: true, low: true})
		}
		dot := draw.GlyphStyle{Color: text, Radius: 2.6, Shape: draw.CircleGlyph{}}
		p.Add(&inside{plotter.Scatter{XYs: kept, GlyphStyle: dot}})
		key := []entry{{name: "read", glyph: dot}}
		if len(aside) > 0 {
			x := draw.GlyphStyle{Color: text, Radius: 4, Shape: cross}
			p.Add(&inside{plotter.Scatter{XYs: aside, GlyphStyle: x}})
			name := "set aside"
			for _, q := range aside {
				if q.Y > top {
					name = "set aside, off the chart"
				}
			}
			key = append(key, entry{name: name, glyph: x})
		}
		if kmPerDay > 0 {
			key = append(key, entry{name: "about " + tell.Distance(kmPerDay) + " a day", line: ahead})
		}
		low := math.Inf(1)
		for _, q := range append(kept, track...) {
			low, top = math.Min(low, q.Y), math.Max(top, q.Y)
		}
		pad := .08 * math.Max(top-low, 1000)
		p.X.Min, p.X.Max = float64(first), end
		if p.X.Max-p.X.Min < 28 {
			p.X.Min = p.X.Max - 28
		}
		p.Y.Min, p.Y.Max = math.Max(0, low-pad), top+pad
		p.X.Tick.Marker = dateTicks(7)
		if narrow {
			p.X.Tick.Marker = dateTicks(3)
		}
		p.Y.Tick.Marker = per(tell.OfKm(1), niceTicks(7, true))
		return p, key
	}}
}
