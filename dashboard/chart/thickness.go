package chart

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"

	"brakewear/forecast"
	"brakewear/internal/fleet"
	"brakewear/internal/units"
)

// Axle is what a chart needs of one axle.
type Axle struct {
	Forecast *forecast.AxleForecast // with paths
	Readings []fleet.Reading        // of any axle; others are left out
	Fitments []fleet.Fitment        // of any axle; others are left out
	Track    forecast.Track         // of the vehicle's odometer
	Tell     units.Reader
}

// point is a reading where it is drawn.
type point struct {
	pos      forecast.Position
	day      forecast.Day
	km, mm   float64
	setAside bool
	tripped  bool
}

// Thickness draws the readings of one part of an axle against the odometer,
// the line fitted to each position, the 80 % interval of the one that decides,
// the limit, and fitments as breaks. It is nil where there is nothing to draw.
func Thickness(a Axle, part forecast.Part) *Chart {
	points := a.points(part)
	var lines []forecast.PositionForecast
	decides := -1
	for i, p := range a.Forecast.Positions {
		if p.Pos.Part != part {
			continue
		}
		if i == a.Forecast.Limiting {
			decides = len(lines)
		}
		lines = append(lines, p)
	}
	if decides < 0 {
		decides = earliest(lines)
	}
	if len(points) == 0 && (decides < 0 || len(lines[decides].Path) == 0) {
		return nil
	}
	return &Chart{
		Alt:     thicknessAlt(a, part, points, lines, decides),
		Figures: a.thicknessFigures(points, lines, decides),
		plot: func(narrow bool) (*plot.Plot, []entry) {
			return a.thickness(part, points, lines, decides, narrow)
		},
	}
}

// points returns the readings of part where they are drawn, by day.
func (a *Axle) points(part forecast.Part) []point {
	type key struct {
		day forecast.Day
		pos forecast.Position
		mm  float64
	}
	aside := map[key]bool{}
	for _, s := range a.Forecast.Basis.SetAside {
		aside[key{s.Reading.Day, s.Reading.Pos, s.Reading.MM}] = true
	}
	var ps []point
	for _, r := range a.Readings {
		if r.Position.Axle != a.Forecast.Axle || forecast.Part(r.Position.Part) != part {
			continue
		}
		pos := forecast.Position{Part: part, Side: string(r.Position.Side), Face: string(r.Position.Face)}
		p := point{pos: pos, day: forecast.Day(r.Date), mm: r.MM, tripped: r.Tripped}
		p.km = a.kmAt(p.day, r.OdometerKm)
		p.setAside = aside[key{p.day, pos, r.MM}]
		if !math.IsNaN(p.km) {
			ps = append(ps, p)
		}
	}
	slices.SortStableFunc(ps, func(x, y point) int { return cmp.Compare(x.day, y.day) })
	return ps
}

// kmAt is the odometer on a day, as given or the track's, on the scale of the
// present instrument cluster, which forecasts are on: below 0 from before it.
func (a *Axle) kmAt(d forecast.Day, given *float64) float64 {
	if given == nil {
		return a.Track.Display(a.Track.Km(d))
	}
	return a.Track.Display(a.Track.Reading(*given, d))
}

// earliest is the index of the position whose median limit comes first, -1 for
// none.
func earliest(lines []forecast.PositionForecast) int {
	best := -1
	for i := range lines {
		if best < 0 || lines[i].Crossing.Km.Quantile(.5) < lines[best].Crossing.Km.Quantile(.5) {
			best = i
		}
	}
	return best
}

// livesShown is how many lives of a part the chart shows at most, the present
// one included: the one before tells whether this one wears as usual, older
// ones only press it together. The table on the page has them all.
const livesShown = 2

func (a *Axle) thickness(part forecast.Part, points []point, lines []forecast.PositionForecast, decides int, narrow bool) (*plot.Plot, []entry) {
	p := newPlot("odometer, thousand "+a.Tell.DistanceUnit(), "thickness, "+a.Tell.GaugeUnit(string(part)))
	if len(a.Track.Swaps) > 0 {
		p.X.Label.Text = "odometer as it shows now, thousand " + a.Tell.DistanceUnit()
	}
	if part == forecast.Drum {
		p.Y.Label.Text = "inside diameter, " + a.Tell.GaugeUnit(string(part))
	}
	grid(p)
	fitted := a.fittedAt(part)
	from := math.Inf(-1)
	if n := len(fitted); n > livesShown-1 {
		from = fitted[n-livesShown].km
	}
	end := a.Forecast.OdometerKm
	for _, q := range points {
		if math.IsNaN(end) || q.km > end {
			end = q.km
		}
	}
	var spec forecast.Spec
	if decides >= 0 {
		d := &lines[decides]
		spec = d.Spec
		if q := d.Crossing.Km.Quantile(.9); !math.IsNaN(q) && !math.IsInf(q, 1) {
			if n := len(d.Path); n > 0 && q > d.Path[n-1].Km {
				q = d.Path[n-1].Km // beyond, nothing is drawn
			}
			if math.IsNaN(end) || q > end {
				end = q
			}
		}
		var lo, hi plotter.XYs
		for _, q := range d.Path {
			if q.Km <= end*1.02 {
				lo, hi = append(lo, plotter.XY{X: q.Km, Y: q.Lo}), append(hi, plotter.XY{X: q.Km, Y: q.Hi})
			}
		}
		area(p, lo, hi)
	}
	for i := range lines {
		if i != decides {
			line(p, middle(lines[i].Path, end), lineStyle(soft, 1))
		}
	}
	if decides >= 0 {
		line(p, middle(lines[decides].Path, end), lineStyle(wear, 2.2))
	}
	for i, f := range fitted {
		p.Add(mark{at: f.km, vertical: true, style: lineStyle(plan, 1.2, 5, 3), words: "fitted " + f.words(a.Tell, narrow), row: len(fitted) - 1 - i})
	}
	p.Add(mark{at: a.Forecast.OdometerKm, vertical: true, style: lineStyle(text, 1, 1.5, 2.5), words: "today", left: true, low: true})
	if decides >= 0 {
		p.Add(mark{at: spec.Limit, style: lineStyle(text, 1.6), words: "limit " + a.Tell.Exactly(string(part), spec.Limit), left: true, from: from})
	}
	var decisive forecast.Position
	if decides >= 0 {
		decisive = lines[decides].Pos
	}
	key := scatter(p, points, decisive)
	frame(p, points, spec, decides >= 0, from, end)
	ticks := 7
	if narrow {
		ticks = 4
	}
	p.X.Tick.Marker = per(a.Tell.OfKm(1), niceTicks(ticks, true))
	p.Y.Tick.Marker = per(a.Tell.OfMM(string(part), 1), niceTicks(6, false))
	return p, key
}

func middle(path []forecast.PathPoint, end float64) plotter.XYs {
	var xy plotter.XYs
	for _, q := range path {
		if q.Km <= end*1.02 {
			xy = append(xy, plotter.XY{X: q.Km, Y: q.Mid})
		}
	}
	return xy
}

// frame sets the ranges: what was measured and the limit, up to where the
// limit is reached with 90 % chance.
func frame(p *plot.Plot, points []point, spec forecast.Spec, limited bool, from, end float64) {
	if math.IsNaN(end) { // neither readings nor an odometer: nothing has a place
		end = 0
	}
	x0, x1 := end, end
	y0, y1 := math.Inf(1), math.Inf(-1)
	see := func(mm float64) { y0, y1 = math.Min(y0, mm), math.Max(y1, mm) }
	if limited {
		see(spec.Limit)
		see(spec.New)
	}
	for _, q := range points {
		if q.km >= from {
			x0, x1 = math.Min(x0, q.km), math.Max(x1, q.km)
			see(q.mm)
		}
	}
	if !math.IsInf(from, -1) {
		x0 = math.Min(x0, from)
	}
	least := 0.0
	if x0 < 0 { // read by the cluster before
		least = math.Inf(-1)
	}
	if x1-x0 < 1000 { // a reading of today, and no forecast
		x0, x1 = x0-5000, x1+5000
	}
	padX, padY := .03*(x1-x0), .08*math.Max(y1-y0, 1)
	p.X.Min, p.X.Max = math.Max(least, x0-padX), x1+padX
	p.Y.Min, p.Y.Max = y0-padY, y1+padY
	if spec.New > spec.Limit && y0 >= 0 { // a pad or a lining: from nothing
		p.Y.Min = math.Max(0, p.Y.Min)
		if spec.New < 40 { // not a rotor, whose wear would be a hair's breadth
			p.Y.Min = 0
		}
		if spec.Limit/spec.New > .6 {
			p.Y.Min = y0 - padY
		}
	}
}

// fitment is a fitting of new parts as it is drawn.
type fitment struct {
	km  float64
	day forecast.Day
}

func (f fitment) words(tell units.Reader, narrow bool) string {
	if narrow {
		return fleet.Date(f.day).Time().Format("Jan 2006")
	}
	return day(tell, f.day)
}

// fittedAt returns the fitments of part, once a day, by odometer.
func (a *Axle) fittedAt(part forecast.Part) []fitment {
	var fs []fitment
	for _, f := range a.Fitments {
		if f.Position.Axle != a.Forecast.Axle || forecast.Part(f.Position.Part) != part {
			continue
		}
		d := forecast.Day(f.Date)
		if km := a.kmAt(d, f.OdometerKm); !math.IsNaN(km) && !slices.ContainsFunc(fs, func(g fitment) bool { return g.day == d }) {
			fs = append(fs, fitment{km, d})
		}
	}
	slices.SortFunc(fs, func(x, y fitment) int { return cmp.Compare(x.km, y.km) })
	return fs
}

// place is the position in the words of a legend.
func place(p forecast.Position) string {
	words := strings.TrimSpace(p.Side + " " + p.Face)
	if words == "" {
		return "thinnest"
	}
	return words
}

func thicknessAlt(a Axle, part forecast.Part, points []point, lines []forecast.PositionForecast, decides int) string {
	var b strings.Builder
	fmt.Fprintf(&b, "Axle %d, %s: %d readings against the odometer", a.Forecast.Axle, part, len(points))
	if decides >= 0 {
		d := &lines[decides]
		fmt.Fprintf(&b, ". Limit %s; %s is at %s now", a.Tell.Exactly(string(part), d.Spec.Limit), place(d.Pos), a.Tell.Thickness(string(part), d.ThicknessMM))
		lo, hi := d.Crossing.Km.Quantile(.1), d.Crossing.Km.Quantile(.9)
		if !math.IsNaN(lo) && !math.IsInf(hi, 1) {
			fmt.Fprintf(&b, " and reaches the limit between %.0f and %.0f thousand %s with 80 %% chance", a.Tell.OfKm(lo)/1000, a.Tell.OfKm(hi)/1000, a.Tell.DistanceUnit())
		}
	}
	return b.String() + "."
}
