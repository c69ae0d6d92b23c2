package chart

import (
	"cmp"
	"fmt"
	"math"
	"strings"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// Lying draws a bar that lies for each name, under each other, with its layers,
// up to three, behind each other: names have room there. More than seven are cut
// off. It is nil where all are nothing.
func Lying(title, unit string, names []string, layers []Layer) *Chart {
	names = names[:min(len(names), maxRanges)]
	most := 0.
	alt := title + ", " + unit + ":"
	for i, name := range names {
		sum := 0.
		var of []string
		for _, l := range layers {
			sum += l.Values[i]
			of = append(of, l.Name+" "+cmp.Or(figure(l.Values[i]), "0"))
		}
		most = math.Max(most, sum)
		alt += fmt.Sprintf(" %s %s (%s);", name, cmp.Or(figure(sum), "0"), strings.Join(of, ", "))
	}
	if !(most > 0) {
		return nil
	}
	alt = strings.TrimSuffix(alt, ";") + "."
	return &Chart{Alt: alt, plot: func(bool) (*plot.Plot, []entry) {
		p := newPlot(unit, "")
		p.HideY()
		p.X.Min, p.X.Max = 0, most*headroom
		p.Y.Min, p.Y.Max = -.5, float64(len(names))-.2
		p.X.Tick.Marker = niceTicks(5, false)
		p.Add(lying{names, layers})
		var key []entry
		for k, l := range layers {
			key = append(key, layerLooks[k].entry(l.Name))
		}
		return p, key
	}}
}

type lying struct {
	names  []string
	layers []Layer
}

// Plot implements plot.Plotter.
func (ls lying) Plot(c draw.Canvas, p *plot.Plot) {
	tx, ty := p.Transforms(&c)
	for _, t := range p.X.Tick.Marker.Ticks(p.X.Min, p.X.Max) {
		x := tx(t.Value)
		c.StrokeLine2(lineStyle(rule, .75), x, c.Min.Y, x, c.Max.Y)
	}
	st := draw.TextStyle{Color: text, Font: font.From(sans, tickSize), Handler: plot.DefaultTextHandler, YAlign: draw.YBottom}
	for i, name := range ls.names {
		y, at := ty(float64(len(ls.names)-1-i)), 0.
		for k, l := range ls.layers {
			if l.Values[i] > 0 {
				layerLooks[k].draw(&c, tx(at), tx(at+l.Values[i]), y-6, y+6)
				at += l.Values[i]
			}
		}
		c.FillText(st, vg.Point{X: c.Min.X + 4, Y: y + 8}, name+" "+figure(at))
	}
}
