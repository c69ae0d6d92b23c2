package chart

import (
	"fmt"
	"math"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// Promise is a forecast of the limit day beside the day that what came off showed;
// days count from there, negative is earlier.
type Promise struct {
	Name         string // of what it was about
	Low, Mid, Up float64
}

// Promises draws forecasts around the day that came true, a line each, latest at
// the top: the 80 % interval with its median. Those that missed are set off.
func Promises(ahead int, ps []Promise) *Chart {
	if len(ps) == 0 {
		return nil
	}
	held := 0
	for _, p := range ps {
		if p.holds() {
			held++
		}
	}
	alt := fmt.Sprintf("Forecasts made %d days ahead against the day that came true: the 80 %% interval held %d of %d.", ahead, held, len(ps))
	return &Chart{Alt: alt, Figures: promiseFigures(ps), plot: func(bool) (*plot.Plot, []entry) {
		p := newPlot("days after the limit day that came true", "")
		p.HideY()
		reach := 0.
		for _, q := range ps {
			reach = max(reach, math.Min(math.Abs(q.Low), maxReach), math.Min(math.Abs(q.Up), maxReach))
		}
		p.X.Min, p.X.Max = -reach*1.05, reach*1.05
		p.Y.Min, p.Y.Max = -1.5, float64(len(ps))+.8 // room for the words
		g := plotter.NewGrid()
		g.Horizontal.Width = 0
		g.Vertical.Color, g.Vertical.Width = rule, .75
		p.Add(g, mark{at: 0, vertical: true, style: lineStyle(text, 1.5), words: "came true", low: true}, promises(ps))
		p.X.Tick.Marker = niceTicks(6, false)
		return p, []entry{
			{name: "80 % interval, median", line: lineStyle(wear, 3)},
			{name: "missed", line: lineStyle(text, 2, 2, 2)},
		}
	}}
}

// maxReach keeps one forecast of years from squeezing all others; it is cut off.
const maxReach = 200

func (p Promise) holds() bool { return p.Low <= 0 && p.Up >= 0 }

// promises draws the lines, the first at the top.
type promises []Promise

// Plot implements plot.Plotter.
func (ps promises) Plot(c draw.Canvas, p *plot.Plot) {
	tx, ty := p.Transforms(&c)
	for i, q := range ps {
		y := ty(float64(len(ps) - i))
		style := lineStyle(wear, 3)
		if !q.holds() {
			style = lineStyle(text, 2, 2, 2)
		}
		lo, up := max(c.Min.X, tx(q.Low)), min(c.Max.X, tx(q.Up))
		if lo < up {
			c.StrokeLine2(style, lo, y, up, y)
		}
		if x := tx(q.Mid); c.ContainsX(x) {
			c.StrokeLine2(lineStyle(text, 2), x, y-3, x, y+3)
		}
	}
	// Few enough to be told apart are named.
	if room := c.Max.Y - c.Min.Y; room/vg.Length(len(ps)) >= tickSize+2 {
		st := draw.TextStyle{Color: soft, Font: font.From(sans, tickSize), Handler: plot.DefaultTextHandler, YAlign: draw.YCenter}
		for i, q := range ps {
			c.FillText(st, vg.Point{X: c.Min.X + 4, Y: ty(float64(len(ps)-i)) + tickSize/2 + 1}, q.Name)
		}
	}
}
