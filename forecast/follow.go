package forecast

import (
	"cmp"
	"slices"
)

// lifeKey tells lives and models apart while a vehicle is replayed.
type lifeKey struct {
	life  *Life
	model int
}

type liferecord struct {
	model     string
	decisions []decision
	points    []lifePoint
}

// follow notes a forecast along a life.
func (r *replay) follow(c *axleCase, m int, model string, asOf Day, f *AxleForecast) {
	if !f.Crossing.Day.Known() || !f.Crossing.Km.Known() {
		return
	}
	k := lifeKey{c.main, m}
	rec := r.lives[k]
	if rec == nil {
		if c.crossDay <= float64(asOf) {
			return // past the limit before anybody could plan
		}
		rec = &liferecord{model: model}
		r.lives[k] = rec
	}
	d := decision{day: asOf, crossDay: c.crossDay, crossKm: c.crossKm + c.shift}
	for i, risk := range PlanRisks {
		d.bookBy[i] = bookBy(f.Crossing, risk)
	}
	rec.decisions = append(rec.decisions, d)
	// Along a life only forecasts before its end mean anything.
	if c.crossDay <= float64(asOf) {
		return
	}
	fitted := c.main.FittedKm - c.shift
	used := c.nowKm - fitted
	rec.points = append(rec.points, lifePoint{
		Prognosis: Prognosis{At: used, Remaining: f.Crossing.Km.Quantile(.5) - c.nowKm},
		end:       f.Crossing.Km.Map(func(x float64) float64 { return x - fitted }),
	})
}

// goOn follows lives on from their removal, or from the end of the records, by
// the inspections that would have come. The workshop took parts off by rules of
// its own; a policy that takes its place would have gone on inspecting them.
func (r *replay) goOn(models [][]Model) {
	for i := range r.truth.Lives {
		l := &r.truth.Lives[i]
		if l.Part != Pad && l.Part != Lining || l.Removed < r.AsOf[0] {
			continue
		}
		n := slices.IndexFunc(r.v.Axles, func(a Axle) bool { return a.Number == l.Axle })
		if n < 0 {
			continue
		}
		v := r.leftOn(l, n)
		a := &v.Axles[n]
		days := make([]Day, 0, len(l.ToCome))
		for _, x := range a.Readings {
			if x.Day >= l.Removed || l.Removed == NotRemoved && len(l.ToCome) > 0 && x.Day >= l.ToCome[0].Day {
				days = append(days, x.Day)
			}
		}
		slices.Sort(days)
		for _, day := range slices.Compact(days) {
			grid := r.grid(day)
			if grid < 0 {
				continue
			}
			c := caseOf(a, r.truth.on(l.Axle, min(day, l.Removed-1)), day, r.shift(v, day))
			if c.main != l || !c.known() {
				continue
			}
			for m, model := range models[grid] {
				f := ofAxle(model.Forecast(v, day, Options{}), l.Axle)
				r.follow(&c, m, model.Name(), day, &f)
			}
		}
	}
}

// leftOn returns the vehicle as it would have been had the parts on axle n
// stayed on at the removal of life l.
func (r *replay) leftOn(l *Life, n int) *Vehicle {
	v := *r.v
	v.Odometer = slices.Concat(v.Odometer, r.truth.OdometerToCome)
	v.Axles = slices.Clone(v.Axles)
	a := &v.Axles[n]
	// On the day of removal the old parts or the new ones may have been read.
	var gone []float64
	spec := a.Specs[l.Part]
	for _, x := range a.Readings {
		if x.Day == l.Removed && x.Pos.Part == l.Part {
			gone = append(gone, spec.Wear(x.MM)/spec.Span())
		}
	}
	slices.Sort(gone)
	last := l.Removed - 1
	if k := len(gone); k > 0 && gone[k/2] > .5 {
		last = l.Removed
	}
	a.Readings = slices.DeleteFunc(slices.Clone(a.Readings), func(x Reading) bool { return x.Day > last })
	for _, x := range l.ToCome {
		x.Depot = v.Depot
		a.Readings = append(a.Readings, x)
	}
	a.Fitments = slices.DeleteFunc(slices.Clone(a.Fitments), func(x Fitment) bool { return x.Day >= l.Removed })
	return &v
}

// closeLives scores what was noted along lives, in a fixed order.
func (r *replay) closeLives() {
	keys := make([]lifeKey, 0, len(r.lives))
	for k := range r.lives {
		keys = append(keys, k)
	}
	slices.SortFunc(keys, func(a, b lifeKey) int {
		return cmp.Or(
			cmp.Compare(a.life.Axle, b.life.Axle), cmp.Compare(a.life.Part, b.life.Part),
			cmp.Compare(a.life.Fitted, b.life.Fitted), cmp.Compare(a.model, b.model))
	})
	var done *Life
	for _, k := range keys {
		rec, l := r.lives[k], k.life
		last := rec.decisions[len(rec.decisions)-1]
		ends := l.replan(rec.decisions)
		r.scores.each(rec.model, r.v.Class, r.v.Depot, -1, func(g *groupScores) {
			g.booking.addLife(PlanRisks[:], ends)
			g.lives.add(rec.points, last.crossKm-l.FittedKm)
		})
		if done == l {
			continue
		}
		done = l
		if ends := l.threshold(r.inspections(l), last, r.truth.GoesOn); ends != nil {
			r.scores.each(ThresholdRule, r.v.Class, r.v.Depot, -1, func(g *groupScores) {
				g.booking.addLife(thresholdShares, ends)
			})
		}
	}
}

// inspections returns those of a life from the first day of the grid on, with
// the smallest share of what may wear that was read at each of any part of the
// axle: on a sensor's signal, what is left where it trips.
func (r *replay) inspections(l *Life) []visit {
	n := slices.IndexFunc(r.v.Axles, func(a Axle) bool { return a.Number == l.Axle })
	if n < 0 {
		return nil
	}
	a := &r.leftOn(l, n).Axles[n]
	var out []visit
	for _, x := range a.Readings {
		spec := a.Specs[x.Pos.Part]
		if x.Day > l.Fitted && x.Day >= r.AsOf[0] && spec.Span() > 0 {
			out = append(out, visit{x.Day, 1 - spec.Wear(x.MM)/spec.Span()})
		}
	}
	slices.SortFunc(out, func(a, b visit) int { return cmp.Or(cmp.Compare(a.day, b.day), cmp.Compare(a.left, b.left)) })
	return slices.CompactFunc(out, func(a, b visit) bool { return a.day == b.day })
}
