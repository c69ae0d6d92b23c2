package forecast

import (
	"iter"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// TwoPoint is what a workshop does with pencil and paper: it draws the line
// through the last two inspections of each position, or from new through the
// only one, and takes the earliest position. Where no line can be drawn the
// fleet's mean rate stands in. The spread around it is what such lines were
// found to have in training; dates come from the mean km/day without any.
type TwoPoint struct {
	Rates FleetRates
	// Spread is the log sd of the distance left, from a line through one
	// inspection and through two.
	Spread [2]float64
}

var _ Model = (*TwoPoint)(nil)

const (
	minLogRatios = 20  // training errors that give TwoPoint its spread
	maxLogRatio  = 2.  // beyond it an error says no more than "useless"
	minLeftShare = .02 // of the usable lining, where errors are taken
)

// assumedSpread of TwoPoint, where a fleet is too small to learn it; judgement.
var assumedSpread = [2]float64{.5, .4}

// TrainTwoPoint learns mean rates, and the spread of two-point lines from the
// lives that came near their limit: the log of the distance left over that
// forecast, at each inspection before.
func TrainTwoPoint(seq iter.Seq[*Vehicle], asOf Day) *TwoPoint {
	sums := make(rateSums)
	var errs [len(assumedSpread)]logRatios
	for v := range seq {
		lives := naiveLives(v, asOf)
		sums.addVehicle(v, lives)
		for _, series := range lives {
			for i := range series {
				series[i].twoPointErrors(&errs)
			}
		}
	}
	m := &TwoPoint{Rates: sums.rates(), Spread: assumedSpread}
	for i, e := range errs {
		if e.n >= minLogRatios {
			m.Spread[i] = math.Sqrt(e.squares / e.n)
		}
	}
	return m
}

type logRatios struct{ n, squares float64 }

// twoPointErrors adds the errors of the lines through the readings of a life
// that came near its limit, by the number of inspections behind a line.
func (s *Series) twoPointErrors(errs *[len(assumedSpread)]logRatios) {
	end := s.observedCrossing(nearLimitShare)
	if math.IsNaN(end) {
		return
	}
	points := s.points()
	for n := 2; n < len(points); n++ {
		line := twoPointLine(s.Spec.Span(), points[:n])
		if !(line.left > 0) || s.Spec.Span()-points[n-1].wear < minLeftShare*s.Spec.Span() || end <= line.base {
			continue
		}
		e := min(max(math.Log((end-line.base)/line.left), -maxLogRatio), maxLogRatio)
		errs[line.inspections-1].n++
		errs[line.inspections-1].squares += e * e
	}
}

// wearPoint is the wear in mm at a distance: new, or the mean of a day's
// readings.
type wearPoint struct {
	km, wear   float64
	inspection bool
}

// points returns the start of the series, where its fitting is declared, and
// its inspections.
func (s *Series) points() []wearPoint {
	out := make([]wearPoint, 0, len(s.Readings)+1)
	if s.Known && !math.IsNaN(s.StartKm) {
		out = append(out, wearPoint{s.StartKm, s.Spec.Wear(s.StartMM), false})
	}
	for i := 0; i < len(s.Readings); {
		day, km := s.Readings[i].Day, s.Readings[i].Km
		var sum, n float64
		for ; i < len(s.Readings) && s.Readings[i].Day == day; i++ {
			if r := s.Readings[i]; !r.Tripped {
				sum += s.Spec.Wear(r.MM)
				n++
			}
		}
		if n > 0 && !math.IsNaN(km) {
			out = append(out, wearPoint{km, sum / n, true})
		}
	}
	return out
}

// pencilLine is a two-point line: where it counts from, the rate in mm per km
// and the distance left from there, NaN where the points do not wear, and the
// number of inspections it goes through.
type pencilLine struct {
	base, rate, left float64
	inspections      int
}

func twoPointLine(span float64, points []wearPoint) pencilLine {
	n := len(points)
	l := pencilLine{base: math.NaN(), rate: math.NaN(), left: math.NaN()}
	if n == 0 {
		return l
	}
	for _, p := range points[max(0, n-2):] {
		if p.inspection {
			l.inspections++
		}
	}
	b := points[n-1]
	l.base = b.km
	if n < 2 {
		return l
	}
	a := points[n-2]
	if rate := (b.wear - a.wear) / (b.km - a.km); rate > 0 && finite(rate) {
		l.rate, l.left = rate, (span-b.wear)/rate
	}
	return l
}

// logNormalFrom is the law of base + left exp(sd Z), for a left of any sign.
func logNormalFrom(base, left, sd float64) Dist {
	return DistOf(func(p float64) float64 {
		return base + left*math.Exp(math.Copysign(sd, left)*distuv.UnitNormal.Quantile(p))
	})
}

// Name implements Model.
func (m *TwoPoint) Name() string { return "two-point" }

// Forecast implements Model.
func (m *TwoPoint) Forecast(v *Vehicle, asOf Day, _ Options) []AxleForecast {
	return naiveForecast(m.Name(), v, asOf, func(a *Axle, s *Series, now float64) (Dist, float64) {
		span := s.Spec.Span()
		points := s.points()
		fleet := m.Rates.of(v, a.Number, s.Pos.Part)
		mean := math.Exp(fleet.LogRate)
		if len(points) == 0 {
			// Nothing measured and no fitting known: half worn, for all one knows.
			return logNormalFrom(now, span/mean/2, fleet.SD), mean
		}
		line := twoPointLine(span, points)
		if math.IsNaN(line.left) {
			return logNormalFrom(line.base, (span-points[len(points)-1].wear)/mean, fleet.SD), mean
		}
		return logNormalFrom(line.base, line.left, m.Spread[line.inspections-1]), line.rate
	})
}

// naiveForecast forecasts every position by crossing, which returns the law of
// the total at the limit and the rate in mm per km, and takes the position of
// the earliest median for the axle.
func naiveForecast(name string, v *Vehicle, asOf Day, crossing func(*Axle, *Series, float64) (Dist, float64)) []AxleForecast {
	t := trackOf(v, asOf)
	now := t.Km(asOf)
	var out []AxleForecast
	for i := range v.Axles {
		a := &v.Axles[i]
		if len(a.Specs) == 0 {
			continue
		}
		lives := Segments(a, t, asOf, Jump)
		f := AxleForecast{
			Axle: a.Number, Model: name, AsOf: asOf, Limiting: -1,
			Warnings: lives.Warnings, Basis: Basis{SetAside: lives.SetAside, Changes: lives.Changes},
		}
		if t.Known() {
			f.OdometerKm, f.KmPerDay = t.Display(now), t.mean
		} else {
			f.Warnings = append(f.Warnings, Warning{UsageUnknown, "no odometer reading, hence no distance and no date"})
		}
		current := lives.Current()
		for j := range current {
			s := &current[j]
			p := PositionForecast{Pos: s.Pos, Spec: s.Spec, Readings: len(s.Readings), Since: s.StartDay, SinceKnown: s.Known}
			f.Readings += len(s.Readings)
			if t.Known() {
				km, rate := crossing(a, s, now)
				p.RatePer10000 = rate * 1e4
				p.Crossing = Crossing{Km: km.Map(t.Display), Day: t.meanDays(km, asOf)}
				p.ThicknessMM = max(0, s.Spec.Value(s.Spec.Span()-rate*(km.Quantile(.5)-now)))
				if f.Limiting < 0 || p.Crossing.Km.Quantile(.5) < f.Crossing.Km.Quantile(.5) {
					f.Limiting, f.Crossing = j, p.Crossing
				}
			}
			f.Positions = append(f.Positions, p)
		}
		if f.Readings == 0 {
			f.Warnings = append(f.Warnings, Warning{NoReadings, "no reading of the parts now on the axle: forecast from similar vehicles alone"})
		}
		if f.Crossing.Day.Known() && f.Crossing.Day.Quantile(.5) <= float64(asOf) {
			f.Warnings = append(f.Warnings, Warning{PastLimit, "more likely than not past the limit"})
		}
		out = append(out, f)
	}
	return out
}

// meanDays turns totals into days at the mean km/day.
func (t Track) meanDays(km Dist, asOf Day) Dist {
	now := t.Km(asOf)
	return km.Map(func(x float64) float64 {
		if d := t.Day(x); !math.IsNaN(d) {
			return d
		}
		days := (x - now) / t.mean
		if !(days < horizonDays) {
			return math.Inf(1)
		}
		return float64(asOf) + days
	})
}
