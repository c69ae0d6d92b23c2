package chart

import (
	"bytes"
	"fmt"
	"math"
	"time"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgimg"

	"brakewear/forecast"
	"brakewear/internal/fleet"
	"brakewear/internal/units"
)

// Chart is a picture that can be drawn at any size.
type Chart struct {
	// Alt says in words what the picture shows.
	Alt string
	// Figures are what it shows as a table.
	Figures *Figures
	plot    func(narrow bool) (*plot.Plot, []entry)
}

// Sizes of a chart on a page, in px: beside the words, and on a phone, where
// it has room for fewer ticks.
const (
	WideWidth, WideHeight     = 640, 330
	NarrowWidth, NarrowHeight = 340, 280
)

// narrowBelow is the width in px under which a chart is laid out for a phone.
const narrowBelow = 480

// SVG draws the chart w by h px.
func (c *Chart) SVG(w, h float64) []byte {
	cv := newCanvas(w, h)
	p, key := c.plot(w < narrowBelow)
	render(p, key, draw.New(cv))
	return cv.document(c.Alt)
}

// PNG draws the chart w by h px on paper, at scale dots to a px.
func (c *Chart) PNG(w, h float64, scale int) ([]byte, error) {
	p, key := c.plot(w < narrowBelow)
	p.BackgroundColor = sheet
	// A vg.Length is a 72nd of an inch: at 72 dots per inch it is one px.
	cv := vgimg.NewWith(vgimg.UseWH(vg.Length(w), vg.Length(h)), vgimg.UseDPI(72*scale))
	render(p, key, draw.New(cv))
	var b bytes.Buffer
	if _, err := (vgimg.PngCanvas{Canvas: cv}).WriteTo(&b); err != nil {
		return nil, fmt.Errorf("draw chart: %w", err)
	}
	return b.Bytes(), nil
}

// entry is a line of the key: a mark or a line, and what it stands for.
type entry struct {
	name  string
	glyph draw.GlyphStyle
	line  draw.LineStyle
}

// render draws the plot with its key above it, where it hides no data.
func render(p *plot.Plot, key []entry, c draw.Canvas) {
	if p.BackgroundColor != nil {
		c.SetColor(p.BackgroundColor)
		c.Fill(c.Rectangle.Path())
	}
	const rowHeight, thumb, gap, edge = 17, 22, 16, 8
	st := draw.TextStyle{Color: text, Font: font.From(sans, tickSize), Handler: plot.DefaultTextHandler, YAlign: draw.YCenter}
	x, y := c.Min.X+edge, c.Max.Y-edge-rowHeight/2
	for i, e := range key {
		w := thumb + st.Width(e.name) + gap
		if i > 0 && x+w > c.Max.X {
			x, y = c.Min.X+edge, y-rowHeight
		}
		if e.line.Width > 0 {
			c.StrokeLine2(e.line, x, y, x+thumb-6, y)
		} else {
			c.DrawGlyphNoClip(e.glyph, vg.Point{X: x + thumb/2 - 3, Y: y})
		}
		c.FillText(st, vg.Point{X: x + thumb, Y: y}, e.name)
		x += w
	}
	top := vg.Length(edge)
	if len(key) > 0 {
		top = c.Max.Y - y + rowHeight/2 + 4
	}
	p.BackgroundColor = nil
	p.Draw(draw.Crop(c, 2, -10, 0, -top))
}

var sans = font.Font{Typeface: "Liberation", Variant: "Sans"}

// Type sizes in px: the least that is read at arm's length.
const (
	tickSize  = 12
	labelSize = 12.5
)

// newPlot returns an empty plot in our dress.
func newPlot(xLabel, yLabel string) *plot.Plot {
	p := plot.New()
	p.BackgroundColor = nil // the page's
	p.X.Label.Text, p.Y.Label.Text = xLabel, yLabel
	for _, a := range []*plot.Axis{&p.X, &p.Y} {
		a.Label.TextStyle.Font = font.From(sans, labelSize)
		a.Label.TextStyle.Color = soft
		a.Label.Padding = 4
		a.Tick.Label.Font = font.From(sans, tickSize)
		a.Tick.Label.Color = soft
		a.Tick.LineStyle.Color = rule
		a.Tick.Length = 4
		a.LineStyle.Color = soft
		a.LineStyle.Width = 1
		a.Padding = 0
	}
	return p
}

func lineStyle(k ink, width float64, dashes ...float64) draw.LineStyle {
	s := draw.LineStyle{Color: k, Width: vg.Length(width)}
	for _, d := range dashes {
		s.Dashes = append(s.Dashes, vg.Length(d))
	}
	return s
}

// line draws a curve; points that are no numbers are left out.
func line(p *plot.Plot, pts plotter.XYs, s draw.LineStyle) {
	if pts = finite(pts); len(pts) > 1 {
		p.Add(&plotter.Line{XYs: pts, LineStyle: s})
	}
}

func finite(pts plotter.XYs) plotter.XYs {
	out := pts[:0:0]
	for _, q := range pts {
		if !math.IsNaN(q.X+q.Y) && !math.IsInf(q.X+q.Y, 0) {
			out = append(out, q)
		}
	}
	return out
}

// area fills between lo and hi over the same x.
func area(p *plot.Plot, lo, hi plotter.XYs) {
	ring := make(plotter.XYs, 0, len(lo)+len(hi))
	ring = append(ring, lo...)
	for i := len(hi) - 1; i >= 0; i-- {
		ring = append(ring, hi[i])
	}
	if ring = finite(ring); len(ring) > 2 {
		p.Add(&plotter.Polygon{XYs: []plotter.XYs{ring}, Color: tint})
	}
}

// grid draws the lines of the ticks behind everything.
func grid(p *plot.Plot) {
	g := plotter.NewGrid()
	g.Vertical.Color, g.Horizontal.Color = rule, rule
	g.Vertical.Width, g.Horizontal.Width = .75, .75
	p.Add(g)
}

// mark is a straight line across the plot at one value of x or y, with words
// on it.
type mark struct {
	at       float64
	vertical bool
	style    draw.LineStyle
	words    string
	row      int     // of the words of a vertical line, from the top, so that neighbours keep apart
	low      bool    // words of a vertical line at its foot
	left     bool    // words to the left of a vertical line, or at the left end of a horizontal one
	from     float64 // words of a horizontal line begin right of this x
}

// Plot implements plot.Plotter.
func (m mark) Plot(c draw.Canvas, p *plot.Plot) {
	tx, ty := p.Transforms(&c)
	st := draw.TextStyle{Color: m.style.Color, Font: font.From(sans, tickSize), Handler: plot.DefaultTextHandler, XAlign: draw.XLeft, YAlign: draw.YBottom}
	if !m.vertical {
		y := ty(m.at)
		if !c.ContainsY(y) {
			return
		}
		c.StrokeLine2(m.style, c.Min.X, y, c.Max.X, y)
		x := c.Max.X - 4
		st.XAlign = draw.XRight
		if m.left {
			x, st.XAlign = max(c.Min.X, tx(m.from))+6, draw.XLeft
		}
		c.FillText(st, vg.Point{X: x, Y: y + 3}, m.words)
		return
	}
	x := tx(m.at)
	if !c.ContainsX(x) {
		return
	}
	c.StrokeLine2(m.style, x, c.Min.Y, x, c.Max.Y)
	y := c.Max.Y - vg.Length(2+15*(m.row+1))
	if m.low {
		y = c.Min.Y + 4
	}
	to := x + 4
	if m.left {
		to, st.XAlign = x-4, draw.XRight
	}
	c.FillText(st, vg.Point{X: to, Y: y}, m.words)
}

// niceTicks puts about n labelled ticks at round values, with the labels in
// thousands where thousands is set.
func niceTicks(n int, thousands bool) plot.Ticker {
	return plot.TickerFunc(func(lo, hi float64) []plot.Tick {
		step := niceStep((hi - lo) / float64(n))
		var ts []plot.Tick
		for i := math.Ceil(lo/step - 1e-9); i*step <= hi+step*1e-9; i++ {
			v := i*step + 0 // and not -0
			label := fmt.Sprintf("%g", round(v, 6))
			if thousands {
				label = fmt.Sprintf("%g", round(v/1000, 6))
			}
			ts = append(ts, plot.Tick{Value: v, Label: label})
		}
		return ts
	})
}

// niceStep is the one of 1, 2, 5 times a power of ten that is nearest to x by
// ratio.
func niceStep(x float64) float64 {
	if !(x > 0) || math.IsInf(x, 0) {
		return 1
	}
	power := math.Pow(10, math.Floor(math.Log10(x)))
	switch m := x / power; {
	case m < math.Sqrt(1*2):
		return power
	case m < math.Sqrt(2*5):
		return 2 * power
	case m < math.Sqrt(5*10):
		return 5 * power
	}
	return 10 * power
}

func round(x float64, decimals int) float64 {
	s := math.Pow10(decimals)
	return math.Round(x*s) / s
}

// dateTicks puts a tick at the first of about n months, the year where it
// begins or at the first tick.
func dateTicks(n int) plot.Ticker {
	return plot.TickerFunc(func(lo, hi float64) []plot.Tick {
		months := (hi - lo) / 30.44
		step := 120
		for _, s := range []int{1, 2, 3, 6, 12, 24, 60} {
			if months/float64(s) <= float64(n) {
				step = s
				break
			}
		}
		t := fleet.Date(math.Floor(lo)).Time()
		var ts []plot.Tick
		for y, m := t.Year(), 1; ; m += step {
			d := fleet.NewDate(y+(m-1)/12, time.Month((m-1)%12+1), 1)
			if float64(d) > hi {
				return ts
			}
			if float64(d) < lo {
				continue
			}
			layout := "Jan"
			if len(ts) == 0 || d.Time().Month() == 1 || step >= 12 {
				layout = "Jan 2006"
			}
			ts = append(ts, plot.Tick{Value: float64(d), Label: d.Time().Format(layout)})
		}
	})
}

// per makes ticks that are round in a reader's unit, of which there are factor
// to one of those that the plot is drawn in.
func per(factor float64, t plot.Ticker) plot.Ticker {
	return plot.TickerFunc(func(lo, hi float64) []plot.Tick {
		ts := t.Ticks(lo*factor, hi*factor)
		for i := range ts {
			ts[i].Value /= factor
		}
		return ts
	})
}

// day puts a civil day into words, with its year.
func day(tell units.Reader, d forecast.Day) string { return tell.Day(fleet.Date(d)) }
