package forecast

import (
	"cmp"
	"errors"
	"fmt"
	"iter"
	"math"
	"runtime"
	"slices"
	"sync"
)

// Backtest replays history: on each day of a grid, models that know only what
// was known then forecast every axle, and what came true scores them. All
// models meet the same cases.
type Backtest struct {
	// AsOf are the days to forecast from.
	AsOf []Day
	// Train returns the models as they would have been on a day. It is called
	// once for each day of AsOf, in order.
	Train func(asOf Day) ([]Model, error)
	// Truth returns what came true of a vehicle, and false to leave it out;
	// nil takes ObservedTruth up to the last of AsOf plus ten years.
	Truth func(v *Vehicle) (Truth, bool)
	// Risk is the accepted chance behind the book-by dates; 0 = .05.
	Risk float64
	// Along also follows whole lives, by forecasts after the fitting and at every
	// inspection.
	Along bool
	// Readings also scores the thickness forecast for a later reading.
	Readings bool
	// Workers to share the vehicles; 0 = one per processor. The scores do not
	// depend on it by a bit.
	Workers int
}

const (
	defaultRisk = .05
	// batch is the number of vehicles in work at a time.
	batch = 256
)

// Run scores the models on the vehicles, which it takes once and in order.
func (b Backtest) Run(vehicles iter.Seq[*Vehicle]) (*Scores, error) {
	if len(b.AsOf) == 0 || b.Train == nil {
		return nil, errors.New("backtest: no day to forecast from or no models")
	}
	b.AsOf = slices.Compact(slices.Sorted(slices.Values(b.AsOf)))
	if b.Risk == 0 {
		b.Risk = defaultRisk
	}
	if b.Workers <= 0 {
		b.Workers = runtime.GOMAXPROCS(0)
	}
	if b.Truth == nil {
		until := b.AsOf[len(b.AsOf)-1] + 3653
		b.Truth = func(v *Vehicle) (Truth, bool) { return ObservedTruth(v, until), true }
	}
	models := make([][]Model, len(b.AsOf))
	for i, d := range b.AsOf {
		ms, err := b.Train(d)
		if err != nil {
			return nil, fmt.Errorf("backtest: train on day %d: %w", d, err)
		}
		models[i] = ms
	}
	// Each vehicle is scored by itself and the sums are joined in the order of
	// vehicles, so that rounding is the same whoever did the work.
	all := new(Scores)
	var vs []*Vehicle
	flush := func() {
		parts := make([]*Scores, len(vs))
		next := make(chan int)
		var wg sync.WaitGroup
		for range min(b.Workers, len(vs)) {
			wg.Go(func() {
				for i := range next {
					parts[i] = b.vehicle(vs[i], models)
				}
			})
		}
		for i := range vs {
			next <- i
		}
		close(next)
		wg.Wait()
		for _, p := range parts {
			all.Merge(p)
		}
		vs = vs[:0]
	}
	for v := range vehicles {
		if vs = append(vs, v); len(vs) == batch {
			flush()
		}
	}
	flush()
	return all, nil
}

// replay is the backtest of one vehicle.
type replay struct {
	*Backtest
	v      *Vehicle
	truth  Truth
	scores Scores
	lives  map[lifeKey]*liferecord
}

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

// vehicle replays one vehicle over all days.
func (b *Backtest) vehicle(v *Vehicle, models [][]Model) *Scores {
	truth, ok := b.Truth(v)
	if !ok {
		return new(Scores)
	}
	truth.Lives = slices.Clone(truth.Lives)
	for i := range truth.Lives {
		truth.Lives[i].path = truth.Path
	}
	r := &replay{Backtest: b, v: v, truth: truth, lives: make(map[lifeKey]*liferecord)}
	days := slices.Clone(b.AsOf)
	var visits []Day
	if b.Along {
		visits = r.visitDays()
		days = slices.Compact(slices.Sorted(slices.Values(append(days, visits...))))
	}
	grid := -1 // last day of AsOf not after day
	for _, day := range days {
		for grid+1 < len(b.AsOf) && b.AsOf[grid+1] <= day {
			grid++
		}
		if grid < 0 {
			continue
		}
		onGrid := b.AsOf[grid] == day
		_, atVisit := slices.BinarySearch(visits, day)
		r.day(day, models[grid], onGrid, atVisit)
	}
	r.closeLives()
	return &r.scores
}

// visitDays returns the days on which a workshop would plan: of inspection, and
// the one after a recorded fitting, ascending.
func (r *replay) visitDays() []Day {
	var out []Day
	for _, l := range r.truth.Lives {
		if l.Declared {
			out = append(out, l.Fitted+1)
		}
	}
	for i := range r.v.Axles {
		for _, x := range r.v.Axles[i].Readings {
			out = append(out, x.Day)
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// day forecasts from one day with all models and scores the answers.
func (r *replay) day(asOf Day, models []Model, onGrid, atVisit bool) {
	var cases []axleCase
	// Forecasts are on the scale of the last odometer reading that makes sense:
	// a cluster changed since then cannot be known.
	shift := r.truth.shift(asOf)
	if t := trackOf(r.v, asOf); t.Known() {
		shift = r.truth.shift(t.Last.Day)
	}
	for i := range r.v.Axles {
		if c, ok := r.axleCase(&r.v.Axles[i], asOf, shift); ok {
			cases = append(cases, c)
		}
	}
	if len(cases) == 0 {
		return
	}
	for m, model := range models {
		fs := model.Forecast(r.v, asOf, Options{Paths: r.Readings && onGrid})
		for i := range cases {
			c := &cases[i]
			k := slices.IndexFunc(fs, func(f AxleForecast) bool { return f.Axle == c.axle.Number })
			var f AxleForecast
			if k >= 0 {
				f = fs[k]
			}
			if onGrid && c.known() {
				r.scores.Add(c.outcome(r.v, model.Name(), asOf, &f))
				r.scoreDecision(c, model.Name(), asOf, &f)
			}
			if onGrid && r.Readings {
				r.scoreReadings(c, model.Name(), asOf, &f)
			}
			if atVisit && c.known() {
				r.follow(c, m, model.Name(), asOf, &f)
			}
		}
	}
}

// axleCase is what came true of the axle as it stood on one day.
type axleCase struct {
	axle     *Axle
	main     *Life // of the pads or linings
	readings int   // inspections of main
	nowKm    float64
	// The first of the axle's parts to reach its limit; km on the dashboard.
	crossKm, crossDay float64
	first             Position
	shift             float64
}

// known says whether it is known when the axle reached its limit.
func (c *axleCase) known() bool { return finite(c.crossKm) && finite(c.crossDay) && finite(c.nowKm) }

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

// axleCase returns the case of an axle on a day. Parts changed off the record
// since the last inspection cannot be known to any model and are left out.
func (r *replay) axleCase(a *Axle, asOf Day, shift float64) (axleCase, bool) {
	c := axleCase{axle: a, crossKm: math.NaN(), crossDay: math.NaN(), shift: shift}
	lives := r.truth.on(a.Number, asOf)
	for _, l := range lives {
		if (l.Part == Pad || l.Part == Lining) && (c.main == nil || l.Fitted > c.main.Fitted) {
			c.main = l
		}
		if !(l.CrossDay >= c.crossDay) && !math.IsNaN(l.CrossDay) {
			c.crossKm, c.crossDay, c.first = l.CrossKm-c.shift, l.CrossDay, l.First
		}
	}
	if c.main == nil {
		return c, false
	}
	c.nowKm = c.main.kmOn(float64(asOf)) - c.shift
	last, days := Day(math.MinInt32), []Day(nil)
	for _, x := range a.Readings {
		if x.Pos.Part != c.main.Part || x.Day > asOf {
			continue
		}
		last = max(last, x.Day)
		if x.Day > c.main.Fitted {
			days = append(days, x.Day)
		}
	}
	slices.Sort(days)
	c.readings = len(slices.Compact(days))
	offRecord := !c.main.Declared && c.readings == 0 && last > math.MinInt32
	return c, !offRecord
}

func (c *axleCase) outcome(v *Vehicle, model string, asOf Day, f *AxleForecast) Outcome {
	o := Outcome{
		Model: model, Class: v.Class, Depot: v.Depot, Readings: c.readings, AsOf: asOf,
		Crossing: f.Crossing, NowKm: c.nowKm, TrueKm: c.crossKm, TrueDay: c.crossDay, Km10: c.main.Km10,
	}
	// Twenty years at the pace up to the true crossing.
	days := max(1, math.Abs(c.crossDay-float64(asOf)))
	o.HorizonKm = max(1000, horizonDays*math.Abs(c.crossKm-c.nowKm)/days)
	if f.Limiting >= 0 && f.Limiting < len(f.Positions) {
		o.FirstRight = f.Positions[f.Limiting].Pos.overlaps(c.first)
	}
	return o
}

// scoreDecision carries the book-by date out as it stands.
func (r *replay) scoreDecision(c *axleCase, model string, asOf Day, f *AxleForecast) {
	if c.crossDay <= float64(asOf) || !f.Crossing.Day.Known() {
		return
	}
	end := c.main.booked(bookBy(f.Crossing, r.Risk), float64(asOf), c.crossDay)
	r.scores.each(model, r.v.Class, r.v.Depot, c.readings, func(g *groupScores) {
		g.booking.addDecision(end.passed, end.wasted)
	})
}

// bookBy is Crossing.BookBy with +Inf for what lies beyond the horizon.
func bookBy(c Crossing, risk float64) float64 {
	if d, ok := c.BookBy(risk); ok {
		return float64(d)
	}
	return math.Inf(1)
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
	d := decision{day: asOf, crossDay: c.crossDay}
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
		ends := l.replan(rec.decisions)
		r.scores.each(rec.model, r.v.Class, r.v.Depot, -1, func(g *groupScores) {
			g.booking.addLife(PlanRisks[:], ends)
			g.lives.add(rec.points, l.CrossKm-l.FittedKm)
		})
		if done == l {
			continue
		}
		done = l
		crossDay := rec.decisions[len(rec.decisions)-1].crossDay
		if ends := l.threshold(r.visits(l), crossDay); ends != nil {
			r.scores.each(ThresholdRule, r.v.Class, r.v.Depot, -1, func(g *groupScores) {
				g.booking.addLife(thresholdShares, ends)
			})
		}
	}
}

// visits returns the inspections of a life with the smallest share of usable
// lining read at each.
func (r *replay) visits(l *Life) []visit {
	var out []visit
	for i := range r.v.Axles {
		a := &r.v.Axles[i]
		spec := a.Specs[l.Part]
		if a.Number != l.Axle || !(spec.Span() > 0) {
			continue
		}
		for _, x := range a.Readings {
			if x.Pos.Part == l.Part && !x.Tripped && x.Day > l.Fitted && x.Day < l.Removed {
				out = append(out, visit{x.Day, 1 - spec.Wear(x.MM)/spec.Span()})
			}
		}
	}
	slices.SortFunc(out, func(a, b visit) int { return cmp.Or(cmp.Compare(a.day, b.day), cmp.Compare(a.left, b.left)) })
	return slices.CompactFunc(out, func(a, b visit) bool { return a.day == b.day })
}
