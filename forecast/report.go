package forecast

import (
	"fmt"
	"math"
	"slices"
	"sort"
)

// alike: of places whose chances to be the first differ by no more, as those of two
// sides never read, the limiting one is the first, and not the one that rounding made
// larger.
const alike = 1e-6

// report turns the outlooks of an axle's parts into its forecast.
func (m *Full) report(f *fitter, h *vehicleHistory, looks []outlook, af *AxleForecast) {
	first := make([]float64, 0, len(looks))
	var joint []Dist
	for i := range looks {
		joint = append(joint, looks[i].joint.Map(h.km))
	}
	km, share := earliest(joint)
	first = append(first, share...)
	best := 0.0
	var days []Day
	limiting := -1
	past, rising := "", ""
	for i := range looks {
		o := &looks[i]
		for j := range o.live {
			p := o.position(h, j)
			if q := first[i] * o.prob[j]; q > best*(1+alike) {
				best, af.Limiting, limiting = q, len(af.Positions), i
			}
			af.Positions = append(af.Positions, p)
			if r := o.last(j); r != nil && o.spec.Wear(r.MM) >= o.spec.Span() {
				past = fmt.Sprintf("%s: last measured at %g mm, limit %g mm", r.Pos, r.MM, o.spec.Limit)
			} else if b := &o.births[o.places[j].born]; r == nil && past == "" && b.known && b.mean <= o.places[j].limit {
				past = fmt.Sprintf("%s: fitted at %g mm, limit %g mm", p.Pos, o.value(b.mean), o.spec.Limit)
			}
			if o.rises(j) {
				rising = o.pos[j].String()
			}
		}
		af.Readings += o.used
		for _, u := range o.inUse {
			days = append(days, o.days[o.rows[u].visit])
		}
		o.tell(af)
	}
	af.Crossing.Km = km
	af.Crossing.Day = h.usage.Days(km)
	af.Crossing.Km = h.shown(km)
	af.judge(days, past)
	if rising != "" {
		af.warn(Rising, "%s: the thickness does not fall; check the readings", rising)
	}
	if limiting >= 0 {
		m.explain(f, h, &looks[limiting], km, af)
		if looks[limiting].prior.banded {
			af.warn(DefaultPrior, "too few like vehicles: wear rate taken from planning bands")
		}
	}
}

// shown maps distances to what the dashboard shows; unknown without an
// odometer.
func (h *vehicleHistory) shown(km Dist) Dist {
	if !h.told {
		return Dist{}
	}
	return km.Map(h.track.Display)
}

// position is the forecast of live place j.
func (o *outlook) position(h *vehicleHistory, j int) PositionForecast {
	b := &o.births[o.places[j].born]
	p := PositionForecast{
		Pos: o.pos[j], Spec: o.spec,
		ThicknessMM:  o.value(o.now.mean[j]),
		RatePer10000: 10 * o.slope[j],
		Since:        b.day, SinceKnown: b.known,
	}
	for _, u := range o.inUse {
		if o.rows[u].place == j {
			p.Readings += o.rows[u].n
		}
	}
	km := o.each[j].Map(h.km)
	p.Crossing = Crossing{Km: h.shown(km), Day: h.usage.Days(km)}
	if o.path != nil {
		p.Path = o.path[j]
	}
	return p
}

// last returns the last reading of live place j, the most worn of its day and
// one set aside included, or nil.
func (s *set) last(j int) *Reading {
	var out *Reading
	for i := range s.rows {
		r := s.readings[i]
		if s.rows[i].place != j {
			continue
		}
		if out == nil || r.Day > out.Day || s.spec.Wear(r.MM) > s.spec.Wear(out.MM) {
			out = r
		}
	}
	return out
}

// rises says whether live place j seems to grow back.
func (s *set) rises(j int) bool {
	first, last := math.NaN(), math.NaN()
	for i := range s.rows {
		if s.rows[i].place != j || slices.Contains(s.aside, i) || slices.Contains(s.trips, i) {
			continue
		}
		if last = s.rows[i].y; math.IsNaN(first) {
			first = last
		}
	}
	return last-first > risingMM
}

// tell adds what was set aside, changed or found, in words.
func (o *outlook) tell(af *AxleForecast) {
	for _, i := range o.aside {
		af.Basis.SetAside = append(af.Basis.SetAside, SetAside{
			*o.readings[i], "disagrees with the other readings more than a mistyped value would",
		})
	}
	if n := len(o.aside); n > 0 {
		r := o.readings[o.aside[0]]
		af.warn(SetAsideCode, "%s of the %s not used, the first %s at %g mm, in disagreement with the others; measure again", readingsOf(n), o.part, r.Pos, r.MM)
	}
	af.Basis.Doubted = append(af.Basis.Doubted, o.remeasure...)
	for _, r := range o.remeasure {
		if o.earlier {
			af.warn(Remeasure, "%s: %g mm is thinner than the other readings allow; measure again. Until then the earlier date is shown, with thin readings taken as true", r.Pos, r.MM)
		} else {
			af.warn(Remeasure, "%s: %g mm is thinner than the other readings and any wear since allow, and was not used; measure again", r.Pos, r.MM)
		}
	}
	if o.change != nil {
		af.warn(PartChange, "the %s grew thicker with no fitment recorded: taken as new parts; record the fitment", o.part)
	}
	if o.offRecord > 0 {
		af.warn(PartChange, "the %s would be past its limit by now, yet it was left on: probably renewed with no fitment recorded; measure it", o.part)
	}
	if o.drags {
		side := "left"
		if o.drag.side == rightSide {
			side = "right"
		}
		af.Basis.Drags = append(af.Basis.Drags, Drag{o.part, side, o.drag.pace, o.drag.after, o.drag.before, o.drag.chance})
		af.warn(Dragging, "the %s side wears about %.1f times as fast since its caliper may have begun to drag: check it", side, o.drag.pace)
	}
}

// earliest returns the distribution of the first of independent events, and
// the chance of each to be the first.
func earliest(ds []Dist) (first Dist, share []float64) {
	share = make([]float64, len(ds))
	switch len(ds) {
	case 0:
		return Dist{}, share
	case 1:
		return ds[0], []float64{1}
	}
	xs := distances(ds...)
	if len(xs) == 0 {
		return ds[0], share
	}
	cdf := make([]float64, len(xs))
	prev, here := make([]float64, len(ds)), make([]float64, len(ds))
	was := 1.0
	for i, x := range xs {
		all := 1.0
		for k, d := range ds {
			here[k] = d.CDF(x)
			all *= 1 - here[k]
		}
		cdf[i] = 1 - all
		for k := range ds {
			// The others' chance to be above, halfway through the stretch.
			if left := 2 - here[k] - prev[k]; left > 0 {
				share[k] += (here[k] - prev[k]) * (was + all) / left
			}
		}
		prev, here, was = here, prev, all
	}
	return distOfCDF(xs, cdf), share
}

// distances returns all finite quantiles of some distributions, in order.
func distances(ds ...Dist) []float64 {
	xs := make([]float64, 0, len(ds)*len(Levels))
	for _, d := range ds {
		for _, x := range d.X {
			if !math.IsInf(x, 1) {
				xs = append(xs, x)
			}
		}
	}
	slices.Sort(xs)
	return slices.Compact(xs)
}

// distOfCDF returns the distribution whose distribution function runs straight
// through the points, clamped to them.
func distOfCDF(xs, cdf []float64) Dist {
	return DistOf(func(p float64) float64 {
		switch k := sort.SearchFloat64s(cdf, p); {
		case k == len(cdf):
			return xs[k-1]
		case k == 0 || cdf[k] == p:
			return xs[k]
		default:
			return xs[k-1] + (xs[k]-xs[k-1])*(p-cdf[k-1])/(cdf[k]-cdf[k-1])
		}
	})
}

// explain fills in what dominates the uncertainty of the axle's limiting part
// and what one more inspection now would do to it. The model is linearised at
// the most likely rate and the median distance.
func (m *Full) explain(f *fitter, h *vehicleHistory, o *outlook, km Dist, af *AxleForecast) {
	b := &af.Basis
	if !o.prior.banded {
		j := af.Limiting
		for i := range af.Positions {
			if af.Positions[i].Pos == o.pos[0] {
				j -= i
				break
			}
		}
		b.PeerRate = rate(o.prior.mean) * o.places[j].f
		if b.PeerRate > 0 {
			b.RateRatio = af.Positions[af.Limiting].RatePer10000 / b.PeerRate
		}
	}
	j := slices.Index(o.pos, af.Positions[af.Limiting].Pos)
	at := max(o.each[j].Quantile(.5), o.now.at)
	total := f.variance(o, j, at, variant{})
	gauge := f.variance(o, j, at, variant{exact: true})
	start := f.variance(o, j, at, variant{exact: true, fitted: true})
	after := f.variance(o, j, at, variant{visit: true})
	lo, hi := af.Crossing.Day.Quantile(.1), af.Crossing.Day.Quantile(.9)
	if math.IsInf(hi, 1) || !(hi > lo) || !(total > 0) {
		return
	}
	b.Width80Days = hi - lo
	usage := 0.0
	if perDay := h.usage.KmPerDay(); perDay > 0 {
		known := (km.Quantile(.9) - km.Quantile(.1)) / perDay
		usage = max(0, min(1, 1-known*known/(b.Width80Days*b.Width80Days)))
	}
	clip := func(x float64) float64 { return max(0, min(1, x)) }
	b.ShareUsage = usage
	b.ShareGauge = (1 - usage) * clip((total-gauge)/total)
	b.ShareStart = (1 - usage) * clip((gauge-start)/total)
	b.ShareWear = 1 - b.ShareUsage - b.ShareGauge - b.ShareStart
	mid, ratio := km.Quantile(.5), math.Sqrt(clip(after/total))
	d := h.usage.Days(km.Map(func(x float64) float64 { return mid + ratio*(x-mid) }))
	if w := d.Quantile(.9) - d.Quantile(.1); !math.IsInf(w, 0) && !math.IsNaN(w) {
		b.Width80IfMeasured = min(w, b.Width80Days)
	}
}

// variant is a what-if of the readings behind a forecast.
type variant struct {
	exact  bool // gauges and visits without error
	fitted bool // starting thickness known exactly
	visit  bool // one more inspection now, of all places ever read
}

// variance returns the variance of the value of live place j at distance at,
// given the readings in use, linearised in theta.
func (f *fitter) variance(o *outlook, j int, at float64, v variant) float64 {
	const tiny = 1e-3
	a := o.axleLife
	n := *a.noise
	a.noise = &n
	rows := f.whatIf[:0]
	var read [maxPlaces]bool
	for _, u := range o.inUse {
		r := a.rows[u]
		if r.place < a.live {
			read[r.place] = true
		}
		rows = append(rows, r)
	}
	a.visits = append(slices.Clone(a.visits), o.now.at, at)
	if v.visit {
		any := read != [maxPlaces]bool{}
		for k := range a.live {
			if read[k] || !any {
				rows = append(rows, row{place: k, visit: len(a.visits) - 2, sd: n.Gauge, n: 1})
			}
		}
	}
	if v.exact {
		n.Visit = 0
		for i := range rows {
			rows[i].sd = tiny
		}
	}
	if v.fitted {
		a.births = slices.Clone(a.births)
		for i := range a.births {
			a.births[i].common, a.births[i].own, a.births[i].gap = tiny, tiny, 0
		}
	}
	rows = append(rows, row{place: j, visit: len(a.visits) - 1, sd: tiny, n: 1})
	f.whatIf, a.rows = rows, rows
	f.open(&a)
	f.use = f.use[:0]
	for i := range rows {
		f.use = append(f.use, i)
	}
	_, slope := f.residual(o.theta)
	f.chol = f.covariance(f.chol, o.theta)
	m := len(rows)
	for i := range m {
		for k := range i + 1 {
			f.chol[i*m+k] += a.vari * slope[i] * slope[k]
		}
	}
	if _, ok := cholFactor(f.chol, m); !ok {
		return 0
	}
	last := f.chol[m*m-1] // what is left of the last row's variance, as an sd
	return max(0, last*last-tiny*tiny-n.Visit*n.Visit)
}
