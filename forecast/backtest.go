package forecast

import (
	"errors"
	"fmt"
	"iter"
	"math"
	"slices"
	"sort"
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
	// inspection of the axle: beyond the removal of the parts and the end of the
	// records where the truth knows what would have been read.
	Along bool
	// Readings also scores the thickness forecast for a later reading.
	Readings bool
	// Workers to share the vehicles; 0 = one per processor. The scores do not
	// depend on it by a bit.
	Workers int
}

const defaultRisk = .05

// Run scores the models on the vehicles, which it takes once and in order.
func (b Backtest) Run(vehicles iter.Seq[*Vehicle]) (*Scores, error) {
	if len(b.AsOf) == 0 || b.Train == nil {
		return nil, errors.New("backtest: no day to forecast from or no models")
	}
	b.AsOf = slices.Compact(slices.Sorted(slices.Values(b.AsOf)))
	if b.Risk == 0 {
		b.Risk = defaultRisk
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
	all := &Scores{risk: b.Risk}
	eachInOrder(vehicles, b.Workers,
		func(v *Vehicle) *Scores { return b.vehicle(v, models) },
		func(_ *Vehicle, s *Scores) { all.Merge(s) })
	return all, nil
}

// replay is the backtest of one vehicle.
type replay struct {
	*Backtest
	v      *Vehicle
	truth  Truth
	scores Scores
	lives  map[lifeKey]*liferecord
	visits [][]Day // per axle, when lives are followed
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
	r.scores.found = make(detections)
	days := slices.Clone(b.AsOf)
	if b.Along {
		r.visits = make([][]Day, len(v.Axles))
		for i := range v.Axles {
			r.visits[i] = r.visitDays(&v.Axles[i])
			days = append(days, r.visits[i]...)
		}
		slices.Sort(days)
		days = slices.Compact(days)
	}
	for _, day := range days {
		if grid := b.grid(day); grid >= 0 {
			r.day(day, models[grid], b.AsOf[grid] == day)
		}
	}
	if truth.Faults != nil {
		r.scoreDrags(models)
	}
	if b.Along {
		r.goOn(models)
	}
	r.closeLives()
	return &r.scores
}

// grid returns the index of the last of AsOf not after a day; -1 for none.
func (b *Backtest) grid(day Day) int {
	return sort.Search(len(b.AsOf), func(i int) bool { return b.AsOf[i] > day }) - 1
}

// visitDays returns the days on which a workshop would plan for an axle: of
// inspection, and the one after a recorded fitting, ascending.
func (r *replay) visitDays(a *Axle) []Day {
	var out []Day
	for _, l := range r.truth.Lives {
		if l.Declared && l.Axle == a.Number {
			out = append(out, l.Fitted+1)
		}
	}
	for _, x := range a.Readings {
		out = append(out, x.Day)
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// shift returns total less dashboard at the last odometer reading that makes
// sense: forecasts are on its scale, since a cluster changed after it cannot be
// known.
func (r *replay) shift(v *Vehicle, asOf Day) float64 {
	if t := trackOf(v, asOf); t.Known() {
		return r.truth.shift(t.Last.Day)
	}
	return r.truth.shift(asOf)
}

// day forecasts from one day with all models and scores the answers.
func (r *replay) day(asOf Day, models []Model, onGrid bool) {
	var cases []axleCase
	shift := r.shift(r.v, asOf)
	for i := range r.v.Axles {
		if c, ok := r.axleCase(&r.v.Axles[i], asOf, shift); ok {
			if r.visits != nil {
				_, c.planned = slices.BinarySearch(r.visits[i], asOf)
			}
			cases = append(cases, c)
		}
	}
	last := asOf == r.AsOf[len(r.AsOf)-1] && r.truth.Faults != nil
	if last {
		r.scoreOdometer(asOf)
	}
	if len(cases) == 0 && !last {
		return
	}
	for m, model := range models {
		fs := model.Forecast(r.v, asOf, Options{Paths: r.Readings && onGrid})
		if last {
			for i := range r.v.Axles {
				f := ofAxle(fs, r.v.Axles[i].Number)
				r.scoreChanges(&r.v.Axles[i], model.Name(), asOf, &f)
			}
		}
		for i := range cases {
			c := &cases[i]
			f := ofAxle(fs, c.axle.Number)
			if onGrid && c.known() {
				r.scores.Add(c.outcome(r.v, model.Name(), asOf, &f))
				r.scoreDecision(c, model.Name(), asOf, &f)
			}
			if onGrid && r.truth.Faults != nil {
				r.scoreFlags(c, model.Name(), asOf, &f)
			}
			if onGrid && r.Readings {
				r.scoreReadings(c, model.Name(), asOf, &f)
			}
			if c.planned && c.known() {
				r.follow(c, m, model.Name(), asOf, &f)
			}
		}
	}
}

// ofAxle returns the forecast of an axle; one that knows nothing for none.
func ofAxle(fs []AxleForecast, number int) AxleForecast {
	for i := range fs {
		if fs[i].Axle == number {
			return fs[i]
		}
	}
	return AxleForecast{}
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
	planned           bool // the workshop plans for the axle on that day
}

// known says whether it is known when the axle reached its limit.
func (c *axleCase) known() bool { return finite(c.crossKm) && finite(c.crossDay) && finite(c.nowKm) }

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

// axleCase returns the case of an axle on a day. Parts changed off the record
// since the last inspection cannot be known to any model and are left out.
func (r *replay) axleCase(a *Axle, asOf Day, shift float64) (axleCase, bool) {
	c := caseOf(a, r.truth.on(a.Number, asOf), asOf, shift)
	if c.main == nil {
		return c, false
	}
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

// caseOf returns the case of an axle on a day, with these lives on it.
func caseOf(a *Axle, lives []*Life, asOf Day, shift float64) axleCase {
	c := axleCase{axle: a, crossKm: math.NaN(), crossDay: math.NaN(), shift: shift}
	for _, l := range lives {
		if (l.Part == Pad || l.Part == Lining) && (c.main == nil || l.Fitted > c.main.Fitted) {
			c.main = l
		}
		if !(l.CrossDay >= c.crossDay) && !math.IsNaN(l.CrossDay) {
			c.crossKm, c.crossDay, c.first = l.CrossKm-c.shift, l.CrossDay, l.First
		}
	}
	if c.main != nil {
		c.nowKm = c.main.kmOn(float64(asOf)) - c.shift
	}
	return c
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
	d := decision{day: asOf, crossDay: c.crossDay, crossKm: c.crossKm + c.shift}
	end := d.booked(c.main, bookBy(f.Crossing, r.Risk))
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
