package chart

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"brakewear/internal/fleet"
	"brakewear/internal/units"
)

// headroom is what a plot of bars leaves above the highest for its words.
const headroom = 1.12

// LiningLeft draws how many axles have how much left: first those that are at
// or past their limit, then classes of equal width from 0 to 100 %. It is nil
// where there are none.
func LiningLeft(counts []int) *Chart {
	total, most := 0, 0
	for _, n := range counts {
		total, most = total+n, max(most, n)
	}
	if total == 0 || len(counts) < 2 {
		return nil
	}
	step := 100 / float64(len(counts)-1)
	parts := []string{fmt.Sprintf("%d at or past the limit", counts[0])}
	for i, n := range counts[1:] {
		parts = append(parts, fmt.Sprintf("%d with %g to %g %%", n, float64(i)*step, float64(i+1)*step))
	}
	alt := fmt.Sprintf("%d measured axles by the share of usable thickness that is left: %s.", total, strings.Join(parts, ", "))
	return &Chart{Alt: alt, plot: func(narrow bool) (*plot.Plot, []entry) {
		p := newPlot("usable thickness left, %", "axles")
		const gap = 4
		bs := boxes{{x0: -gap - step, x1: -gap, y1: float64(counts[0]), look: looksPast, words: strconv.Itoa(counts[0])}}
		ticks := []plot.Tick{{Value: -gap - step/2, Label: "none"}}
		for i, n := range counts[1:] {
			lo := float64(i) * step
			bs = append(bs, box{x0: lo + .6, x1: lo + step - .6, y1: float64(n), look: looksOpen, words: strconv.Itoa(n)})
		}
		every := 1
		if narrow {
			every = 2
		}
		for i := 0; i < len(counts); i += every {
			ticks = append(ticks, plot.Tick{Value: float64(i) * step, Label: fmt.Sprintf("%g", float64(i)*step)})
		}
		p.X.Min, p.X.Max, p.Y.Min, p.Y.Max = -gap-step-2, 102, 0, float64(most)*headroom
		p.X.Tick.Marker, p.Y.Tick.Marker = labelled(ticks...), wholeTicks(5)
		flatGrid(p)
		p.Add(bs)
		return p, nil
	}}
}

// wholeTicks is niceTicks of what is counted.
func wholeTicks(n int) plot.Ticker {
	return plot.TickerFunc(func(lo, hi float64) []plot.Tick {
		if hi-lo < float64(n) {
			n = max(1, int(hi-lo))
		}
		return niceTicks(n, false).Ticks(lo, hi)
	})
}

// Span is what some days bring, both included.
type Span struct {
	From, To         fleet.Date
	Expected, Booked float64 // limits reached; of these on axles that are booked
	Needed, Free     float64 // hours: of what is to be booked by then
}

// weekAxis lays the spans out by their days, with room for what was before
// them, which From 0 stands for.
type weekAxis struct {
	first, last float64
	before      bool
}

func newWeekAxis(spans []Span) weekAxis {
	a := weekAxis{before: spans[0].From == 0}
	for _, s := range spans {
		if s.From != 0 {
			if a.first == 0 {
				a.first = float64(s.From)
			}
			a.last = float64(s.To + 1)
		}
	}
	return a
}

// Days between what was before and the first week, and at a bar's sides.
const (
	beforeGap = 3
	barGap    = .7
)

func (a weekAxis) of(s Span) (x0, x1 float64) {
	if s.From == 0 {
		return a.first - beforeGap - 7 + barGap, a.first - beforeGap - barGap
	}
	x0, x1 = float64(s.From), float64(s.To+1)
	gap := math.Min(barGap, (x1-x0)/4)
	return x0 + gap, x1 - gap
}

func (a weekAxis) set(tell units.Reader, p *plot.Plot, spans []Span, narrow bool) {
	p.X.Min, p.X.Max = a.first-1, a.last+1
	var ticks []plot.Tick
	if a.before {
		p.X.Min -= 7 + beforeGap
		ticks = append(ticks, plot.Tick{Value: a.first - beforeGap - 3.5, Label: "by now"})
	}
	next, every := 0, 2
	if narrow {
		next, every = 1, 4 // the first stands too near to what was before
	}
	n := 0
	for _, s := range spans {
		if s.From == 0 {
			continue
		}
		if n == next {
			x0, x1 := a.of(s)
			ticks = append(ticks, plot.Tick{Value: (x0 + x1) / 2, Label: tell.DayShort(s.From)})
			next += every
		}
		n++
	}
	p.X.Tick.Marker = labelled(ticks...)
}

// Limits draws the expected number of limits reached in each span, those of
// booked axles at the foot. A span From 0 is all that was before. It is nil
// where there are none.
func Limits(tell units.Reader, spans []Span) *Chart {
	most, sum, booked := 0., 0., 0.
	for _, s := range spans {
		most = math.Max(most, s.Expected)
		sum += s.Expected
		booked += s.Booked
	}
	if len(spans) == 0 || !(sum > 0) {
		return nil
	}
	alt := fmt.Sprintf("Limits reached by week, if nothing were changed: %.1f expected by %s, %.1f of them on axles that are booked.",
		sum, tell.Day(spans[len(spans)-1].To), booked)
	for i, s := range spans {
		if s.From == 0 {
			alt += fmt.Sprintf(" %.1f were reached by now.", s.Expected)
		} else if s.Expected == most && i > 0 {
			alt += fmt.Sprintf(" The most, %.1f, fall in the week of %s.", s.Expected, tell.DayShort(s.From))
		}
	}
	return &Chart{Alt: alt, plot: func(narrow bool) (*plot.Plot, []entry) {
		p := newPlot("week of", "limits reached, expected")
		a := newWeekAxis(spans)
		var bs boxes
		for _, s := range spans {
			x0, x1 := a.of(s)
			bs = append(bs,
				box{x0: x0, x1: x1, y1: s.Booked, look: looksFirm},
				box{x0: x0, x1: x1, y0: s.Booked, y1: s.Expected, look: looksOpen, words: figure(s.Expected)})
		}
		p.Y.Min, p.Y.Max = 0, most*headroom
		a.set(tell, p, spans, narrow)
		p.Y.Tick.Marker = niceTicks(5, false)
		flatGrid(p)
		p.Add(bs)
		return p, []entry{looksOpen.entry("not booked"), looksFirm.entry("booked")}
	}}
}

// figure is an expected number as short as it says something.
func figure(x float64) string {
	switch {
	case x < .05:
		return ""
	case x < 9.95:
		return strconv.FormatFloat(x, 'f', 1, 64)
	}
	return strconv.FormatFloat(x, 'f', 0, 64)
}

// Hours draws the hours that the work of each span needs against those that
// are free. It is nil where there are neither.
func Hours(tell units.Reader, spans []Span) *Chart {
	most, needed, free, short := 0., 0., 0., 0
	for _, s := range spans {
		most = math.Max(most, math.Max(s.Needed, s.Free))
		needed += s.Needed
		free += s.Free
		if s.From != 0 && s.Needed > s.Free {
			short++
		}
	}
	if len(spans) == 0 || !(most > 0) {
		return nil
	}
	alt := fmt.Sprintf("Workshop hours by week: %.0f for axles that are to be booked by then, %.0f free beside what is booked. In %d of the weeks more are needed than are free.", needed, free, short)
	return &Chart{Alt: alt, plot: func(narrow bool) (*plot.Plot, []entry) {
		p := newPlot("week of", "technician hours")
		a := newWeekAxis(spans)
		var bs boxes
		var ls levels
		for _, s := range spans {
			x0, x1 := a.of(s)
			within := math.Min(s.Needed, s.Free)
			if s.From == 0 {
				within = s.Needed
			} else {
				ls = append(ls, level{x0 - barGap/2, x1 + barGap/2, s.Free})
			}
			bs = append(bs,
				box{x0: x0, x1: x1, y1: within, look: looksOpen},
				box{x0: x0, x1: x1, y0: within, y1: s.Needed, look: looksStrong})
		}
		p.Y.Min, p.Y.Max = 0, most*headroom
		a.set(tell, p, spans, narrow)
		p.Y.Tick.Marker = niceTicks(5, false)
		flatGrid(p)
		p.Add(bs, ls)
		return p, []entry{looksOpen.entry("to book by then"), looksStrong.entry("beyond what is free"), {name: "free", line: lineStyle(plan, 3)}}
	}}
}

// level is a line across a bar's place.
type level struct{ x0, x1, y float64 }

type levels []level

// Plot implements plot.Plotter.
func (ls levels) Plot(c draw.Canvas, p *plot.Plot) {
	tx, ty := p.Transforms(&c)
	for _, l := range ls {
		c.StrokeLine2(lineStyle(plan, 3), tx(l.x0), ty(l.y), tx(l.x1), ty(l.y))
	}
}

// Layer is one part of a stack of bars.
type Layer struct {
	Name   string
	Values []float64 // by bar
}

// layerLooks are the looks of stacked layers from the foot up.
var layerLooks = []look{looksFirm, looksOpen, looksLight}

// Stack draws a bar for each name with its layers, up to three, on each other.
// It is nil where all are nothing.
func Stack(title, unit string, names []string, layers []Layer) *Chart {
	sums := make([]float64, len(names))
	most := 0.
	for _, l := range layers {
		for i, v := range l.Values {
			sums[i] += v
			most = math.Max(most, sums[i])
		}
	}
	if !(most > 0) {
		return nil
	}
	alt := title + ":"
	for i, name := range names {
		var of []string
		for _, l := range layers {
			of = append(of, fmt.Sprintf("%s %.0f", l.Name, l.Values[i]))
		}
		alt += fmt.Sprintf(" %s %.0f (%s);", name, sums[i], strings.Join(of, ", "))
	}
	alt = strings.TrimSuffix(alt, ";") + "."
	return &Chart{Alt: alt, plot: func(bool) (*plot.Plot, []entry) {
		p := newPlot("", unit)
		var bs boxes
		var ticks []plot.Tick
		for i, name := range names {
			x0, x1, y := float64(i)-.32, float64(i)+.32, 0.
			for k, l := range layers {
				b := box{x0: x0, x1: x1, y0: y, y1: y + l.Values[i], look: layerLooks[k]}
				if y = b.y1; k == len(layers)-1 {
					b.words = strconv.FormatFloat(y, 'f', 0, 64)
				}
				bs = append(bs, b)
			}
			ticks = append(ticks, plot.Tick{Value: float64(i), Label: name})
		}
		p.X.Min, p.X.Max, p.Y.Min, p.Y.Max = -.6, float64(len(names))-.4, 0, most*headroom
		p.X.Tick.Marker, p.Y.Tick.Marker = labelled(ticks...), niceTicks(5, false)
		flatGrid(p)
		p.Add(bs)
		var key []entry
		for k, l := range layers {
			key = append(key, layerLooks[k].entry(l.Name))
		}
		return p, key
	}}
}

// Range is the spread of a group: its quantiles at 10, 25, 50, 75 and 90 %.
type Range struct {
	Name string
	N    int
	At   [5]float64
}

// maxRanges is how many rows a picture has room for.
const maxRanges = 7

// Ranges draws groups under each other, the first at the top: a line over the
// middle 80 %, a bar over the middle half, a tick at the median. More than
// seven are cut off. It is nil where there are none.
func Ranges(title, unit string, rs []Range) *Chart {
	if len(rs) == 0 {
		return nil
	}
	rs = rs[:min(len(rs), maxRanges)]
	most := 0.
	alt := title + ", " + unit + ", median and middle 80 %:"
	for _, r := range rs {
		most = math.Max(most, r.At[4])
		alt += fmt.Sprintf(" %s %.2f (%.2f to %.2f, %d axles);", r.Name, r.At[2], r.At[0], r.At[4], r.N)
	}
	if !(most > 0) {
		return nil
	}
	alt = strings.TrimSuffix(alt, ";") + "."
	return &Chart{Alt: alt, plot: func(bool) (*plot.Plot, []entry) {
		p := newPlot(unit, "")
		p.HideY()
		p.X.Min, p.X.Max = -most*.03, most*1.05 // room for half of the 0 below it
		p.Y.Min, p.Y.Max = -.6, float64(len(rs))-.2
		p.X.Tick.Marker = niceTicks(5, false)
		p.Add(ranges(rs))
		return p, []entry{
			{name: "middle 80 %", line: lineStyle(soft, 1.5)},
			looksOpen.entry("middle half"),
			{name: "median", glyph: draw.GlyphStyle{Shape: upright{}, Color: text, Radius: 6}},
		}
	}}
}

// upright is a short line that stands.
type upright struct{}

// DrawGlyph implements draw.GlyphDrawer.
func (upright) DrawGlyph(c *draw.Canvas, s draw.GlyphStyle, at vg.Point) {
	c.StrokeLine2(lineStyle(text, 2.5), at.X, at.Y-s.Radius, at.X, at.Y+s.Radius)
}

type ranges []Range

// Plot implements plot.Plotter.
func (rs ranges) Plot(c draw.Canvas, p *plot.Plot) {
	tx, ty := p.Transforms(&c)
	for _, t := range p.X.Tick.Marker.Ticks(p.X.Min, p.X.Max) {
		x := tx(t.Value)
		c.StrokeLine2(lineStyle(rule, .75), x, c.Min.Y, x, c.Max.Y)
	}
	st := draw.TextStyle{Color: text, Font: font.From(sans, tickSize), Handler: plot.DefaultTextHandler, YAlign: draw.YBottom}
	for i, r := range rs {
		y := ty(float64(len(rs) - 1 - i))
		c.StrokeLine2(lineStyle(soft, 1.5), tx(r.At[0]), y, tx(r.At[4]), y)
		looksOpen.draw(&c, tx(r.At[1]), tx(r.At[3]), y-4, y+4)
		m := tx(r.At[2])
		c.StrokeLine2(lineStyle(text, 2.5), m, y-6, m, y+6)
		c.FillText(st, vg.Point{X: c.Min.X + 4, Y: y + 6}, fmt.Sprintf("%s (%d)", r.Name, r.N))
	}
}
