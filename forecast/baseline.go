package forecast

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// fitted is a straight line of wear in mm against km, on the scale of the
// odometer track, and what it was made of.
type fitted struct {
	Trend
	past *Trend // up to Trend.X0, where it differs
	// pivots are the quantiles, at Levels, of (wear - line)/standard error.
	pivots   []float64
	readings int
	borrowed bool    // from planning bands
	peer     float64 // mm per km of like positions; 0 = not known
}

// fitLine fits the running life of a position of an axle; false where no line
// can be had.
type fitLine func(a *Axle, s *Series) (fitted, bool)

const (
	// OldAfter is the number of days after which a reading is too old to clear
	// a vehicle: a year between inspections and a month's grace. Judgement.
	OldAfter = 400
	// standingKmPerDay is a rate below which a vehicle counts as standing.
	standingKmPerDay = 0.5
	// risingMM is a rise over the readings of a life that their error does not
	// explain. Judgement: twice the error of a difference of two readings.
	risingMM = 0.8
)

// forecastStraight forecasts every axle of v by a straight line per position.
func forecastStraight(name string, v *Vehicle, asOf Day, opt Options, fit fitLine) []AxleForecast {
	t := trackOf(v, asOf)
	u := SimpleUsage(t, asOf)
	usage := usageWarnings(t, u)
	var out []AxleForecast
	for i := range v.Axles {
		a := &v.Axles[i]
		if len(a.Specs) == 0 {
			continue
		}
		f := AxleForecast{
			Axle: a.Number, Model: name, AsOf: asOf, Limiting: -1,
			OdometerKm: t.Display(u.NowKm), KmPerDay: u.KmPerDay(),
		}
		straightAxle(&f, a, t, u, opt, fit)
		f.Warnings = append(f.Warnings, usage...)
		out = append(out, f)
	}
	return out
}

// usageWarnings says what is wrong with the odometer.
func usageWarnings(t Track, u Usage) []Warning {
	var out []Warning
	switch {
	case !t.Known():
		out = append(out, Warning{UsageUnknown, "no odometer reading: neither distance nor date can be given"})
	case u.Intervals == 0:
		out = append(out, Warning{UsageUnknown, "one odometer reading only: the distance per day is assumed"})
	case t.recent < standingKmPerDay:
		out = append(out, Warning{Standing, "the odometer does not move"})
	}
	if n := len(t.Dropped); n > 0 {
		d := t.Dropped[0]
		out = append(out, Warning{OdometerFault, fmt.Sprintf("%d odometer readings not taken as they stand, the first %.0f km: %s", n, d.Odometer.Km, d.Why)})
	}
	return out
}

// straightAxle fills f.
func straightAxle(f *AxleForecast, a *Axle, t Track, u Usage, opt Options, fit fitLine) {
	lives := Segments(a, t, f.AsOf, Jump)
	f.Warnings = append(f.Warnings, lives.Warnings...)
	f.Basis.SetAside, f.Basis.Changes = lives.SetAside, lives.Changes
	for _, c := range lives.Changes {
		f.warn(PartChange, "the %s rises by more than %g mm with no fitment recorded: taken as new parts", c.Part, Jump)
	}

	var days []Day // of the readings used
	var lines []fitted
	borrowed, rising, past := false, "", ""
	for _, s := range known(lives.Current()) {
		if !s.Known && len(s.Readings) == 0 {
			s.StartDay, s.StartKm = f.AsOf, u.NowKm // what is guessed is of today
		}
		p := PositionForecast{
			Pos: s.Pos, Spec: s.Spec, ThicknessMM: math.NaN(), RatePer10000: math.NaN(),
			Since: s.StartDay, SinceKnown: s.Known,
		}
		line, ok := fit(a, &s)
		if ok {
			p.Crossing.Km = line.crossing(&s)
			p.ThicknessMM = line.thickness(&s, u.NowKm)
			p.RatePer10000 = max(line.B, 0) * 1e4
			p.Readings = line.readings
			borrowed = borrowed || line.borrowed
			if opt.Paths {
				p.Path = line.path(&s, t, u.NowKm)
			}
		} else if r := s.last(); r != nil {
			p.ThicknessMM = r.MM
			p.Readings = len(s.Readings)
		}
		if s.rises() || ok && line.B <= 0 {
			rising = s.Pos.String()
		}
		if r := s.last(); r != nil && s.Spec.Wear(r.MM) >= s.Spec.Span() {
			past = fmt.Sprintf("%s: last measured at %g mm, limit %g mm", s.Pos, r.MM, s.Spec.Limit)
			p.Crossing.Km = noLater(p.Crossing.Km, r.Km)
		} else if r == nil && s.Known && s.Spec.Wear(s.StartMM) >= s.Spec.Span() {
			past = cmp.Or(past, fmt.Sprintf("%s: fitted at %g mm, limit %g mm", s.Pos, s.StartMM, s.Spec.Limit))
			p.Crossing.Km = noLater(p.Crossing.Km, s.StartKm)
		}
		p.Crossing.Day = u.Days(p.Crossing.Km).Map(func(d float64) float64 {
			return max(d, float64(s.StartDay)) // a standing odometer has no day of its own
		})
		p.Crossing.Km = p.Crossing.Km.Map(t.Display)
		for _, r := range s.Readings {
			days = append(days, r.Day)
		}
		f.Readings += p.Readings
		f.Positions = append(f.Positions, p)
		lines = append(lines, line)
	}
	f.first(u, t)
	f.judge(days, past)
	if rising != "" {
		f.warn(Rising, "%s: the thickness does not fall; check the readings", rising)
	}
	if borrowed {
		f.warn(DefaultPrior, "too few like vehicles: wear rate taken from planning bands")
	}
	if i := f.Limiting; i >= 0 && lines[i].peer > 0 {
		f.Basis.PeerRate = lines[i].peer * 1e4
		f.Basis.RateRatio = f.Positions[i].RatePer10000 / f.Basis.PeerRate
	}
}

// known drops parts nobody ever measured or fitted where something is known of
// another part: a guess must not stand in for a measurement.
func known(series []Series) []Series {
	told := func(s Series) bool { return len(s.Readings) > 0 || s.Known }
	news := slices.ContainsFunc(series, told)
	return slices.DeleteFunc(series, func(s Series) bool {
		if told(s) {
			return false
		}
		// Of an axle without any news the friction material alone is forecast.
		return news || s.Pos.Part == Rotor || s.Pos.Part == Drum
	})
}

// first sets the axle's crossing to the earliest of its positions: pointwise
// the greatest of their chances, which the smallest of their quantiles is.
func (f *AxleForecast) first(u Usage, t Track) {
	var day []float64
	for i := range f.Positions {
		c := f.Positions[i].Crossing
		if !c.Km.Known() {
			continue
		}
		if f.Limiting < 0 {
			f.Limiting = i
			f.Crossing.Km = Dist{slices.Clone(c.Km.X)}
			day = slices.Clone(c.Day.X)
			continue
		}
		if earlier(c.Km, f.Positions[f.Limiting].Crossing.Km) {
			f.Limiting = i
		}
		for k, x := range c.Km.X {
			f.Crossing.Km.X[k] = min(f.Crossing.Km.X[k], x)
		}
		for k, x := range c.Day.X {
			day[k] = min(day[k], x)
		}
	}
	f.Crossing.Day = Dist{day}
	if lo, hi := f.Crossing.Day.Quantile(.1), f.Crossing.Day.Quantile(.9); !math.IsInf(hi, 0) && hi >= lo {
		f.Basis.Width80Days = hi - lo
	}
}

// earlier says whether a is likely to come before b: by the median, then by
// the lower quantiles where both medians lie out of sight.
func earlier(a, b Dist) bool {
	for _, p := range [3]float64{.5, .25, .05} {
		if x, y := a.Quantile(p), b.Quantile(p); x != y {
			return x < y
		}
	}
	return false
}

// judge adds what people should know of readings and limit.
func (f *AxleForecast) judge(days []Day, past string) {
	switch {
	case len(days) == 0:
		f.warn(NoReadings, "no reading of the parts that are on now")
	case slices.Min(days) == slices.Max(days):
		f.warn(FewReadings, "one inspection only of the parts that are on now")
	}
	if len(days) > 0 && daysBetween(slices.Max(days), f.AsOf) > OldAfter {
		f.warn(OldReadings, "last measured %.0f days ago: too long to clear the vehicle", daysBetween(slices.Max(days), f.AsOf))
	}
	if past == "" && (f.Crossing.Day.Quantile(.5) <= float64(f.AsOf) || f.Crossing.Km.Quantile(.5) <= f.OdometerKm) {
		past = "more likely than not past the limit today: measure now"
	}
	if past != "" {
		f.warn(PastLimit, "%s", past)
	}
}

func (f *AxleForecast) warn(c Code, format string, args ...any) {
	f.Warnings = append(f.Warnings, Warning{c, fmt.Sprintf(format, args...)})
}

// last returns the most worn reading of the last day, or nil.
func (s *Series) last() *Reading {
	if len(s.Readings) == 0 {
		return nil
	}
	return &s.Readings[len(s.Readings)-1] // of one day, the least worn come first
}

// rises says whether the part seems to grow back.
func (s *Series) rises() bool {
	n := len(s.Readings)
	return n >= 2 && s.Spec.Wear(s.Readings[0].MM)-s.Spec.Wear(s.Readings[n-1].MM) > risingMM
}

// measured returns the readings that a line can be drawn through. A tripped
// sensor bounds the value from above; its first signal is taken for a reading
// of that value unless less was measured before, and later signals of the
// same sensor say nothing new.
func (s *Series) measured() []Reading {
	out := make([]Reading, 0, len(s.Readings))
	worn, tripped := math.Inf(-1), false
	for _, r := range s.Readings {
		if math.IsNaN(r.Km) {
			continue
		}
		w := s.Spec.Wear(r.MM)
		if r.Tripped {
			if tripped || w <= worn {
				continue
			}
			tripped = true
		}
		worn = max(worn, w)
		out = append(out, r)
	}
	return out
}

// crossing returns the distribution of the distance at which the line reaches
// the limit. It lies after the life's start: the part was above its limit then,
// or it would not have been fitted.
func (l *fitted) crossing(s *Series) Dist {
	x := make([]float64, len(Levels))
	for i, q := range l.pivots {
		x[i] = l.Reach(s.Spec.Span(), q, s.StartKm)
		if i > 0 {
			x[i] = max(x[i], x[i-1]) // rounding
		}
	}
	return Dist{x}
}

// noLater returns d with nothing beyond km, where the part has been measured
// past its limit.
func noLater(d Dist, km float64) Dist {
	switch {
	case math.IsNaN(km):
		return d
	case !d.Known():
		return DistOf(func(float64) float64 { return km })
	}
	return d.Map(func(x float64) float64 { return min(x, km) })
}

// thickness returns the value at km, kept between new and nothing.
func (l *fitted) thickness(s *Series, km float64) float64 {
	if math.IsNaN(km) {
		return math.NaN()
	}
	wear, _ := l.At(km)
	return s.value(wear)
}

func (s *Series) value(wear float64) float64 { return max(s.Spec.Value(max(wear, 0)), 0) }

// pathPoints is enough for a smooth band.
const pathPoints = 40

// path samples the line from the start of the life to a little past the limit,
// or as far again as it has gone where it never reaches it.
func (l *fitted) path(s *Series, t Track, now float64) []PathPoint {
	end := l.Reach(1.1*s.Spec.Span(), 0, s.StartKm)
	if r := s.last(); r != nil {
		now = max(now, r.Km)
	}
	if far := s.StartKm + 4*max(now-s.StartKm, 5000); !(end <= far) {
		end = far
	}
	end = max(end, now)
	q := l.pivots[slices.Index(Levels, .90)]
	out := make([]PathPoint, pathPoints)
	for i := range out {
		km := s.StartKm + (end-s.StartKm)*float64(i)/(pathPoints-1)
		y, se := l.At(km)
		if l.past != nil && km < l.X0 {
			y, se = l.past.At(km)
		}
		a, b := s.value(y-q*se), s.value(y+q*se)
		out[i] = PathPoint{Km: t.Display(km), Mid: s.value(y), Lo: min(a, b), Hi: max(a, b)}
	}
	return out
}
