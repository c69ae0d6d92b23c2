package forecast

import (
	"math"
	"slices"
)

// Rotors and drums wear with what rubs on them: the log-rate of a rotor is the
// pads' less about ln 10. A guess: no published ratio was found.
const (
	discRatio   = -2.302585092994046 // ln 0.1
	discRatioSD = 0.5
)

// rubs is the part that wears against p, or "".
func (p Part) rubs() Part {
	switch p {
	case Rotor:
		return Pad
	case Drum:
		return Lining
	}
	return ""
}

// discPrior is the prior of a rotor's or drum's theta, given what is known of
// the part that wears against it on the same axle.
func (r *Rates) discPrior(mean, vari float64) prior {
	p := prior{mean: mean + discRatio, group: discRatioSD * discRatioSD, fleet: vari}
	p.total = p.group + p.fleet + r.Set*r.Set
	return p
}

// givenDisc is given for a rotor or drum: its axle's earlier ones tell how it
// wears; nothing else does.
func (r *Rates) givenDisc(p prior, axle int, part Part, all []Message) (mean, vari float64) {
	up, w := p.mean/(p.group+p.fleet), 1/(p.group+p.fleet)
	for _, m := range all {
		if m.Axle == axle && m.Part == part {
			v := m.Var + r.Set*r.Set
			up += m.Mean / v
			w += 1 / v
		}
	}
	return up / w, 1/w + r.Set*r.Set
}

// discRenewed is the chance that a rotor or drum was renewed with the pads or
// linings now on without a record, before anything is known of its wear.
// Judgement: about twice the share of unrecorded changes, since these parts are
// written down less carefully.
const discRenewed = 0.1

// leftOn takes into account that a rotor or drum was on at the axle's last
// inspection, though nobody measured it since the pads or linings rub, by its
// outlook, now on it were fitted: it cannot have been past its limit to the
// eye. Either it wears more slowly than thought, or it was renewed with them.
func (m *Full) leftOn(f *fitter, h *vehicleHistory, o *outlook, rub *outlook, opt Options) {
	n := len(rub.visits)
	if n == 0 {
		return
	}
	seen := rub.visits[n-1]
	for _, r := range o.rows {
		if o.visits[r.visit] >= seen || r.y <= o.places[r.place].limit {
			return // measured then, or found worn out: that stands
		}
	}
	gone := o.joint.CDF(seen)
	o.condition(h, seen)
	fitted, last := math.Inf(-1), math.Inf(-1)
	for _, p := range rub.places[:rub.live] {
		fitted = max(fitted, rub.births[p.born].at)
	}
	for _, p := range o.places[:o.live] {
		last = max(last, o.births[p.born].at)
	}
	if k := len(o.visits); k > 0 {
		last = max(last, o.visits[k-1])
	}
	renewed := discRenewed / (discRenewed + (1-discRenewed)*(1-gone))
	if fitted <= last || renewed < 2*discRenewed {
		return
	}
	// A new one as of the fitting of what rubs on it.
	s := *o.set
	s.births = []birth{{
		at: fitted, day: rub.birth0().day,
		mean: s.spec.sense(s.spec.New), common: s.noise.Start, own: s.noise.StartPlace,
	}}
	s.places = append([]place(nil), s.places[:s.live]...)
	for j := range s.places {
		s.places[j].born = 0
	}
	s.rows, s.visits, s.days, s.readings, s.trips, s.aside = nil, nil, nil, nil, nil, nil
	fresh := m.look(f, h, &s, opt)
	fresh.prior = o.prior
	fresh.condition(h, seen) // it was left on as well
	joint, each := mix(fresh.joint, o.joint, renewed), make([]Dist, o.live)
	for j := range each {
		each[j] = mix(fresh.each[j], o.each[j], renewed)
	}
	if renewed > 0.5 {
		*o = fresh
		o.offRecord = renewed
	}
	o.joint, o.each = joint, each
}

// leftGone is the chance to have been past its limit from which on what was left on is shown as
// one that was not: below, its mean says about the same.
const leftGone = 0.1

// condition conditions the outlook on the limit not being reached before s.
func (o *outlook) condition(h *vehicleHistory, s float64) {
	o.joint = o.joint.beyond(s)
	for j := range o.each {
		gone := o.each[j].CDF(s)
		o.each[j] = o.each[j].beyond(s)
		if gone > leftGone && gone <= doubtful {
			o.straighten(h, j)
		}
	}
}

// straighten shows live place j, conditioned, on a straight line from where it was last known
// to the median of where it reaches its limit.
func (o *outlook) straighten(h *vehicleHistory, j int) {
	p := &o.places[j]
	from, y := o.births[p.born].at, o.births[p.born].mean
	for _, u := range o.inUse {
		if r := &o.rows[u]; r.place == j {
			from, y = o.visits[r.visit], r.y
		}
	}
	if !(y > p.limit) || !(o.each[j].Quantile(.1) > from) {
		return // no line leads there
	}
	slope := func(q float64) float64 { return (y - p.limit) / (o.each[j].Quantile(q) - from) }
	now := y - slope(.5)*(o.now.at-from)
	if !(now > o.now.mean[j]) {
		return
	}
	o.now.mean[j], o.slope[j] = now, slope(.5)
	if o.path == nil {
		return
	}
	km := func(s float64) float64 { return h.track.Display(h.km(s)) }
	path := slices.DeleteFunc(o.path[j], func(x PathPoint) bool { return x.Km >= km(from) })
	end := max(o.each[j].Quantile(.75), o.now.at)
	for k := range stepsAhead + 1 {
		s := from + (end-from)*float64(k)/stepsAhead
		at := func(q float64) float64 { return o.value(y - slope(q)*(s-from)) }
		path = append(path, PathPoint{Km: km(s), Mid: at(.5), Lo: min(at(.1), at(.9)), Hi: max(at(.1), at(.9))})
	}
	o.path[j] = path
}

// mix is the mixture of two distributions, the first with weight w.
func mix(a, b Dist, w float64) Dist {
	xs := distances(a, b)
	cdf := make([]float64, len(xs))
	for i, x := range xs {
		cdf[i] = w*a.CDF(x) + (1-w)*b.CDF(x)
	}
	return distOfCDF(xs, cdf)
}

// doubtful is the chance of the contrary from which on a condition is doubted instead.
const doubtful = 0.99

// beyond is the distribution of X given that X > x, or d where that is doubtful.
func (d Dist) beyond(x float64) Dist {
	f := d.CDF(x)
	if !(f > 0) || f > doubtful {
		return d
	}
	return DistOf(func(p float64) float64 { return math.Max(x, d.Quantile(f+p*(1-f))) })
}
