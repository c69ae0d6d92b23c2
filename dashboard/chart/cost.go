package chart

import (
	"fmt"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
)

// Cost is what a piece of work costs in fleets of several sizes.
type Cost struct {
	Name     string
	Sizes    []float64 // vehicles, ascending
	Values   []float64 // above 0, as they are named on the axis
	Exponent float64   // of the size, that fits best
}

// Costs draws costs against the size of the fleet, both in decades, so that what
// grows in proportion rises one decade over one; nil when there is nothing.
func Costs(label string, costs []Cost) *Chart {
	if len(costs) == 0 {
		return nil
	}
	alt := "Cost against the number of vehicles."
	for _, c := range costs {
		alt += fmt.Sprintf(" %s grows with the size to the power of %.2f.", c.Name, c.Exponent)
	}
	return &Chart{Alt: alt, plot: func(bool) (*plot.Plot, []entry) {
		p := newPlot("vehicles", label)
		p.X.Scale, p.Y.Scale = plot.LogScale{}, plot.LogScale{}
		p.X.Tick.Marker, p.Y.Tick.Marker = plot.LogTicks{Prec: -1}, plot.LogTicks{Prec: -1}
		grid(p)
		var key []entry
		for i, c := range costs {
			s := lineStyle([]ink{wear, text, plan}[i%3], 2, modelDashes[i%len(modelDashes)]...)
			var pts plotter.XYs
			for k := range c.Sizes {
				pts = append(pts, plotter.XY{X: c.Sizes[k], Y: c.Values[k]})
			}
			line(p, pts, s)
			key = append(key, entry{name: fmt.Sprintf("%s, exponent %.2f", c.Name, c.Exponent), line: s})
		}
		return p, key
	}}
}
