package chart

import (
	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// look is how an area is told from others without its colour: what it is
// filled with, and its edge.
type look struct{ fill, edge ink }

var (
	looksOpen   = look{tint, wear}  // what is expected
	looksFirm   = look{plan, plan}  // what somebody decided
	looksStrong = look{wear, wear}  // what goes beyond
	looksPast   = look{text, text}  // over and done
	looksLight  = look{sheet, soft} // what comes along
)

// box is a rectangle in the plot's own units, with words above it.
type box struct {
	x0, x1, y0, y1 float64
	look           look
	words          string
}

// boxes draws its elements in turn; words that are wider than their box are
// left out.
type boxes []box

// Plot implements plot.Plotter.
func (bs boxes) Plot(c draw.Canvas, p *plot.Plot) {
	tx, ty := p.Transforms(&c)
	st := draw.TextStyle{Color: text, Font: font.From(sans, tickSize), Handler: plot.DefaultTextHandler, XAlign: draw.XCenter, YAlign: draw.YBottom}
	for _, b := range bs {
		x0, x1, y0, y1 := tx(b.x0), tx(b.x1), ty(b.y0), ty(b.y1)
		if x1 > x0 && y1 > y0 {
			b.look.draw(&c, x0, x1, y0, y1)
		}
		if st.Width(b.words) <= x1-x0+6 {
			c.FillText(st, vg.Point{X: (x0 + x1) / 2, Y: y1 + 2}, b.words)
		}
	}
}

func (l look) draw(c *draw.Canvas, x0, x1, y0, y1 vg.Length) {
	ring := []vg.Point{{X: x0, Y: y0}, {X: x1, Y: y0}, {X: x1, Y: y1}, {X: x0, Y: y1}, {X: x0, Y: y0}}
	c.FillPolygon(l.fill, ring[:4])
	c.StrokeLines(lineStyle(l.edge, 1.2), ring)
}

// DrawGlyph implements draw.GlyphDrawer: the look in a key.
func (l look) DrawGlyph(c *draw.Canvas, _ draw.GlyphStyle, at vg.Point) {
	const half = 5
	l.draw(c, at.X-half, at.X+half, at.Y-half, at.Y+half)
}

func (l look) entry(name string) entry {
	return entry{name: name, glyph: draw.GlyphStyle{Shape: l, Color: text, Radius: 5}}
}

// flatGrid draws the lines of the y ticks alone.
func flatGrid(p *plot.Plot) {
	p.Add(lines{})
}

// lines is the grid of flatGrid: behind bars lines across x say nothing.
type lines struct{}

// Plot implements plot.Plotter.
func (lines) Plot(c draw.Canvas, p *plot.Plot) {
	_, ty := p.Transforms(&c)
	for _, t := range p.Y.Tick.Marker.Ticks(p.Y.Min, p.Y.Max) {
		if y := ty(t.Value); !t.IsMinor() && c.ContainsY(y) {
			c.StrokeLine2(lineStyle(rule, .75), c.Min.X, y, c.Max.X, y)
		}
	}
}

// labelled puts the ticks given.
func labelled(ts ...plot.Tick) plot.Ticker {
	return plot.TickerFunc(func(float64, float64) []plot.Tick { return ts })
}
