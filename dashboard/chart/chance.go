package chart

import (
	"fmt"
	"math"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"

	"brakewear/forecast"
	"brakewear/internal/fleet"
	"brakewear/internal/units"
)

// maxAhead bounds the calendar of a chart: what lies further off than three
// years no workshop plans.
const maxAhead = 3 * 365

// Chance draws the chance that an axle has reached its limit, day by day, with
// the book-by day at the accepted risk. It is nil where nothing is known, or
// nothing happens within three years.
func Chance(tell units.Reader, f *forecast.AxleForecast, bookBy *forecast.Day, risk float64) *Chart {
	d := f.Crossing.Day
	if !d.Known() {
		return nil
	}
	from := float64(f.AsOf)
	lo, mid, hi := d.Quantile(.1), d.Quantile(.5), d.Quantile(.9)
	if lo > from+maxAhead {
		return nil
	}
	end := math.Min(d.Quantile(.975), from+maxAhead)
	end = math.Max(end, from+28) // a limit already passed still gets an axis
	alt := fmt.Sprintf("Axle %d: chance that the limit has been reached, from %s to %s.", f.Axle, day(tell, f.AsOf), day(tell, forecast.Day(end)))
	if !math.IsInf(mid, 1) {
		alt += fmt.Sprintf(" Even odds on %s.", day(tell, forecast.Day(mid)))
	}
	if bookBy != nil {
		alt += fmt.Sprintf(" Book by %s, while the chance is below %.0f %%.", day(tell, *bookBy), 100*risk)
	}
	return &Chart{Alt: alt, Figures: chanceFigures(tell, d, from, end), plot: func(narrow bool) (*plot.Plot, []entry) {
		p := newPlot("", "chance that the limit is reached, %")
		if narrow {
			p.Y.Label.Text = "chance limit reached, %"
		}
		grid(p)
		curve := plotter.XYs{{X: from, Y: 100 * d.CDF(from)}}
		for i, x := range d.X {
			if x > from && x < end {
				curve = append(curve, plotter.XY{X: x, Y: 100 * forecast.Levels[i]})
			}
		}
		curve = append(curve, plotter.XY{X: end, Y: 100 * d.CDF(end)})
		var floor, roof plotter.XYs // of the 80 % interval
		for _, q := range sample(math.Max(lo, from), math.Min(hi, end)) {
			floor = append(floor, plotter.XY{X: q})
			roof = append(roof, plotter.XY{X: q, Y: 100 * d.CDF(q)})
		}
		area(p, floor, roof)
		line(p, curve, lineStyle(wear, 2.2))
		if mid >= from && mid <= end {
			p.Add(mark{at: mid, vertical: true, style: lineStyle(wear, 1.2), words: "even odds " + shortDay(tell, mid, narrow), row: 0, left: mid > from+.55*(end-from)})
		}
		if bookBy != nil && float64(*bookBy) >= from {
			p.Add(mark{at: float64(*bookBy), vertical: true, style: lineStyle(plan, 1.6), words: "book by " + shortDay(tell, float64(*bookBy), narrow), row: 1})
		}
		p.Add(mark{at: 100 * risk, style: lineStyle(text, 1, 1.5, 2.5), words: fmt.Sprintf("accepted risk %.0f %%", 100*risk)})
		p.X.Min, p.X.Max, p.Y.Min, p.Y.Max = from, end, 0, 104
		p.X.Tick.Marker = dateTicks(7)
		if narrow {
			p.X.Tick.Marker = dateTicks(3)
		}
		p.Y.Tick.Marker = niceTicks(6, false)
		return p, nil
	}}
}

// shortDay leaves the year out where there is no room.
func shortDay(tell units.Reader, x float64, narrow bool) string {
	d := forecast.Day(math.Floor(x))
	if narrow {
		return tell.DayShort(fleet.Date(d))
	}
	return day(tell, d)
}

// sample returns enough points between lo and hi for a smooth edge.
func sample(lo, hi float64) []float64 {
	const n = 48
	if !(hi > lo) {
		return nil
	}
	xs := make([]float64, n+1)
	for i := range xs {
		xs[i] = lo + (hi-lo)*float64(i)/n
	}
	return xs
}
