package chart

import (
	"math"
	"slices"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"brakewear/forecast"
)

// strokes is a glyph of lines, on a circle of radius 1. gonum's own are drawn
// with a line too thin to be told from the grid.
type strokes [][]vg.Point

var (
	ring     = strokes{} // the circle itself
	triangle = strokes{{{X: 0, Y: 1.1}, {X: .95, Y: -.65}, {X: -.95, Y: -.65}, {X: 0, Y: 1.1}, {X: .95, Y: -.65}}}
	square   = strokes{{{X: -.8, Y: -.8}, {X: .8, Y: -.8}, {X: .8, Y: .8}, {X: -.8, Y: .8}, {X: -.8, Y: -.8}, {X: .8, Y: -.8}}}
	cross    = strokes{{{X: -.8, Y: -.8}, {X: .8, Y: .8}}, {{X: -.8, Y: .8}, {X: .8, Y: -.8}}}
	plus     = strokes{{{X: -1.2, Y: 0}, {X: 1.2, Y: 0}}, {{X: 0, Y: -1.2}, {X: 0, Y: 1.2}}}
)

// DrawGlyph implements draw.GlyphDrawer.
func (s strokes) DrawGlyph(c *draw.Canvas, sty draw.GlyphStyle, at vg.Point) {
	c.SetLineStyle(draw.LineStyle{Color: sty.Color, Width: 1.3})
	if len(s) == 0 {
		var p vg.Path
		p.Move(vg.Point{X: at.X + sty.Radius, Y: at.Y})
		p.Arc(at, sty.Radius, 0, 2*math.Pi)
		p.Close()
		c.Stroke(p)
	}
	for _, line := range s {
		var p vg.Path
		for i, q := range line {
			to := vg.Point{X: at.X + q.X*sty.Radius, Y: at.Y + q.Y*sty.Radius}
			if i == 0 {
				p.Move(to)
			} else {
				p.Line(to)
			}
		}
		c.Stroke(p)
	}
}

// shapeOf gives each position a mark of its own: the side by its shape, the
// outer face hollow.
func shapeOf(p forecast.Position) draw.GlyphDrawer {
	hollow := p.Face == "outer"
	switch {
	case p.Side == "left" && hollow:
		return ring
	case p.Side == "left":
		return draw.CircleGlyph{}
	case p.Side == "right" && hollow:
		return triangle
	case p.Side == "right":
		return draw.PyramidGlyph{}
	case hollow:
		return square
	}
	return draw.BoxGlyph{}
}

// scatter draws the readings and returns their key.
func scatter(p *plot.Plot, points []point, decisive forecast.Position) []entry {
	groups := map[string]plotter.XYs{}
	style := map[string]draw.GlyphStyle{}
	var names []string
	for _, q := range points {
		s := draw.GlyphStyle{Color: text, Radius: 4, Shape: shapeOf(q.pos)}
		name := place(q.pos)
		if q.pos == decisive {
			s.Color = wear
			s.Radius = 4.6
		}
		switch {
		case q.setAside:
			name, s.Shape, s.Color = "set aside", cross, text
		case q.tripped:
			name, s.Shape = "sensor tripped", plus
		}
		if _, ok := groups[name]; !ok {
			names = append(names, name)
			style[name] = s
		}
		groups[name] = append(groups[name], plotter.XY{X: q.km, Y: q.mm})
	}
	slices.Sort(names)
	key := make([]entry, len(names))
	for i, name := range names {
		p.Add(&inside{plotter.Scatter{XYs: groups[name], GlyphStyle: style[name]}})
		key[i] = entry{name: name, glyph: style[name]}
	}
	return key
}

// inside is a scatter that leaves points outside the axes out.
type inside struct{ plotter.Scatter }

// Plot implements plot.Plotter.
func (s *inside) Plot(c draw.Canvas, p *plot.Plot) {
	tx, ty := p.Transforms(&c)
	for _, q := range s.XYs {
		at := vg.Point{X: tx(q.X), Y: ty(q.Y)}
		if c.Contains(at) {
			c.DrawGlyphNoClip(s.GlyphStyle, at)
		}
	}
}

// GlyphBoxes implements plot.GlyphBoxer: the frame leaves room enough.
func (s *inside) GlyphBoxes(*plot.Plot) []plot.GlyphBox { return nil }
