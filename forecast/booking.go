package forecast

import (
	"math"
	"sort"
)

// PlanRisks are the accepted chances at which bookings are played through.
var PlanRisks = [...]float64{.0025, .005, .01, .02, .03, .05, .08, .1, .15, .2, .25, .3, .4, .5}

// BookingScore says what booking on the book-by date would have cost. Wasted is
// the share of the usable lining thrown away, 0 where the limit was passed.
type BookingScore struct {
	// Per decision: each forecast's book-by date carried out as it stands, for
	// axles not past their limit on the forecast's day.
	Decisions int
	Passed    float64 // share past the limit on the day booked
	Wasted    float64
	// Per life of a part: the date is planned anew at every inspection and
	// carried out when it comes before the next one.
	Lives     int
	Replanned []PlanPoint
	// At5 is Replanned at that level at which 5 % of the lives pass their
	// limit; its Level is 0 where no level comes down to 5 %.
	At5 PlanPoint
}

// PlanPoint is the outcome of one level of caution.
type PlanPoint struct {
	Level  float64 // accepted chance; for ThresholdRule the share of lining left
	Passed float64
	Wasted float64
}

// decisionTally holds the sums behind a BookingScore. Its levels are those of
// PlanRisks or, for the threshold rule, of thresholdShares.
type decisionTally struct {
	n, passed int
	wasted    float64

	lives       int
	levels      []float64
	livesPassed []int
	livesWasted []float64
}

func (t *decisionTally) addDecision(passed bool, wasted float64) {
	t.n++
	if passed {
		t.passed++
		return
	}
	t.wasted += wasted
}

// addLife counts one life played through at all levels.
func (t *decisionTally) addLife(levels []float64, ends []lifeEnd) {
	if t.levels == nil {
		t.levels = levels
		t.livesPassed = make([]int, len(levels))
		t.livesWasted = make([]float64, len(levels))
	}
	t.lives++
	for i, e := range ends {
		if e.passed {
			t.livesPassed[i]++
		} else {
			t.livesWasted[i] += e.wasted
		}
	}
}

func (t *decisionTally) merge(o *decisionTally) {
	t.n += o.n
	t.passed += o.passed
	t.wasted += o.wasted
	if o.levels == nil {
		return
	}
	if t.levels == nil {
		t.levels = o.levels
		t.livesPassed = make([]int, len(o.levels))
		t.livesWasted = make([]float64, len(o.levels))
	}
	t.lives += o.lives
	for i := range o.levels {
		t.livesPassed[i] += o.livesPassed[i]
		t.livesWasted[i] += o.livesWasted[i]
	}
}

func (t *decisionTally) score() BookingScore {
	var s BookingScore
	if s.Decisions = t.n; t.n > 0 {
		s.Passed = float64(t.passed) / float64(t.n)
		s.Wasted = t.wasted / float64(t.n)
	}
	if s.Lives = t.lives; t.lives == 0 {
		return s
	}
	for i, level := range t.levels {
		s.Replanned = append(s.Replanned, PlanPoint{
			level, float64(t.livesPassed[i]) / float64(t.lives), t.livesWasted[i] / float64(t.lives),
		})
	}
	s.At5 = tuned(s.Replanned, .05)
	return s
}

// tuned interpolates the points to a share passed. A level is bolder where more
// lives pass, whichever way it counts.
func tuned(points []PlanPoint, passed float64) PlanPoint {
	for i := 1; i < len(points); i++ {
		a, b := points[i-1], points[i]
		if (a.Passed-passed)*(b.Passed-passed) <= 0 && a.Passed != b.Passed {
			f := (passed - a.Passed) / (b.Passed - a.Passed)
			return PlanPoint{a.Level + f*(b.Level-a.Level), passed, a.Wasted + f*(b.Wasted-a.Wasted)}
		}
	}
	return PlanPoint{}
}

// lifeEnd is how a life ends under a policy.
type lifeEnd struct {
	passed bool
	wasted float64
}

// booked carries a booking out on a day, not before now.
func (l *Life) booked(day, now, crossDay float64) lifeEnd {
	day = max(day, now)
	if crossDay <= day {
		return lifeEnd{passed: true}
	}
	return lifeEnd{wasted: l.left(day)}
}

// left returns the share of the usable lining that is left on a day, taking
// wear for proportional to distance.
func (l *Life) left(day float64) float64 {
	return min(max((l.CrossKm-l.kmOn(day))/(l.CrossKm-l.FittedKm), 0), 1)
}

// kmOn returns the true total on a day, linear between what is known.
func (l *Life) kmOn(day float64) float64 {
	from, to := Odometer{l.Fitted, l.FittedKm}, math.Inf(1)
	toKm := math.NaN()
	add := func(d, km float64) {
		switch {
		case math.IsNaN(d) || math.IsNaN(km):
		case d <= day && d >= float64(from.Day):
			from = Odometer{Day(d), km}
		case d > day && d < to:
			to, toKm = d, km
		}
	}
	if n := len(l.path); n > 0 {
		i := sort.Search(n, func(i int) bool { return float64(l.path[i].Day) > day })
		if i > 0 {
			add(float64(l.path[i-1].Day), l.path[i-1].Km)
		}
		if i < n {
			add(float64(l.path[i].Day), l.path[i].Km)
		}
	} else if l.Removed != NotRemoved {
		add(float64(l.Removed), l.RemovedKm)
	}
	add(l.CrossDay, l.CrossKm)
	if math.IsInf(to, 1) {
		// Past all that is known: on at the pace so far.
		if from.Day == l.Fitted {
			return from.Km
		}
		pace := (from.Km - l.FittedKm) / daysBetween(l.Fitted, from.Day)
		return from.Km + pace*(day-float64(from.Day))
	}
	if math.IsInf(toKm, 1) {
		return math.NaN()
	}
	return from.Km + (toKm-from.Km)*(day-float64(from.Day))/(to-float64(from.Day))
}

// decision is a forecast made on one day of a life, beside the true day on
// which the axle's first part reached its limit.
type decision struct {
	day      Day
	bookBy   [len(PlanRisks)]float64 // days; +Inf beyond the horizon
	crossDay float64
}

// replan plays the life through at every level: the last decision before a
// booking falls due is carried out. The life goes on past its true removal, since
// the policy takes the workshop's place.
func (l *Life) replan(ds []decision) []lifeEnd {
	ends := make([]lifeEnd, len(PlanRisks))
	for i := range PlanRisks {
		for k := range ds {
			d := &ds[k]
			if k < len(ds)-1 && d.bookBy[i] >= float64(ds[k+1].day) && d.crossDay > float64(ds[k+1].day) {
				continue // planned anew first
			}
			ends[i] = l.booked(d.bookBy[i], float64(d.day), d.crossDay)
			break
		}
	}
	return ends
}

// thresholdShares are the shares of usable lining left at which the threshold
// rule replaces parts.
var thresholdShares = []float64{.02, .05, .1, .15, .2, .25, .3, .35, .4, .45, .5, .55, .6, .65, .7, .75, .8, .85, .9}

// ThresholdRule is the name under which the oldest policy is scored: replace at
// an inspection when the thinnest reading is within a share of the limit.
const ThresholdRule = "threshold"

// visit is an inspection of a part: the smallest share of usable lining read.
type visit struct {
	day  Day
	left float64
}

// threshold plays the rule through. After the last inspection on record they
// go on at the mean interval and read the truth.
func (l *Life) threshold(visits []visit, crossDay float64) []lifeEnd {
	ends := make([]lifeEnd, len(thresholdShares))
	if len(visits) == 0 {
		return nil
	}
	last := visits[len(visits)-1].day
	gap := max(7, daysBetween(l.Fitted, last)/float64(len(visits)))
	for i, share := range thresholdShares {
		done := false
		for _, v := range visits {
			if v.left <= share || float64(v.day) >= crossDay {
				ends[i], done = l.booked(float64(v.day), float64(v.day), crossDay), true
				break
			}
		}
		for day := float64(last) + gap; !done; day += gap {
			if l.left(day) <= share || day >= crossDay {
				ends[i], done = l.booked(day, day, crossDay), true
			}
		}
	}
	return ends
}

// Lambdas are the fractions of a life at which accuracy is scored.
var Lambdas = [...]float64{.25, .5, .75}

const (
	lambdaReach  = .1 // how far from lambda a forecast may lie
	coneAlpha    = .2 // half width of the alpha-lambda cone
	coneBeta     = .5 // mass that has to lie in it
	horizonAlpha = .1 // error allowed for the prognostic horizon
)

// LifeScore follows whole lives: forecasts along each, at inspections.
type LifeScore struct {
	N       int                   // lives with three forecasts or more
	Cone    [len(Lambdas)]float64 // share of medians in the cone of 20 %
	Mass    [len(Lambdas)]float64 // share with half the probability in it
	RA      [len(Lambdas)]float64 // mean relative accuracy
	At      [len(Lambdas)]int     // lives with a forecast there
	CRA     float64               // relative accuracy averaged along lives
	Horizon float64               // mean prognostic horizon, alpha = .1
}

type lifeTally struct {
	n          int
	at         [len(Lambdas)]int
	cone, mass [len(Lambdas)]int
	ra         [len(Lambdas)]float64
	cra, ph    float64
}

// lifePoint is one forecast along a life, distances counted from its fitting.
type lifePoint struct {
	Prognosis
	end Dist // of the end of life
}

const minLifePoints = 3

// add scores the forecasts along one life that lasts so many km.
func (t *lifeTally) add(points []lifePoint, life float64) {
	if len(points) < minLifePoints || !(life > 0) {
		return
	}
	t.n++
	series := make([]Prognosis, len(points))
	var cra float64
	for i, p := range points {
		series[i] = p.Prognosis
		// What is negative says no more than "useless".
		cra += max(0, RelativeAccuracy(p.Remaining, life-p.At))
	}
	t.cra += cra / float64(len(points))
	t.ph += PrognosticHorizon(series, life, horizonAlpha)
	for i, lambda := range Lambdas {
		best, reach := -1, lambdaReach
		for k, p := range points {
			if off := math.Abs(p.At/life - lambda); off < reach {
				best, reach = k, off
			}
		}
		if best < 0 {
			continue
		}
		p := points[best]
		truth := life - p.At
		t.at[i]++
		if InCone(p.Remaining, truth, coneAlpha) {
			t.cone[i]++
		}
		if ConeMass(p.end, p.At, truth, coneAlpha) >= coneBeta {
			t.mass[i]++
		}
		t.ra[i] += max(0, RelativeAccuracy(p.Remaining, truth))
	}
}

func (t *lifeTally) merge(o *lifeTally) {
	t.n += o.n
	t.cra += o.cra
	t.ph += o.ph
	for i := range Lambdas {
		t.at[i] += o.at[i]
		t.cone[i] += o.cone[i]
		t.mass[i] += o.mass[i]
		t.ra[i] += o.ra[i]
	}
}

func (t *lifeTally) score() LifeScore {
	s := LifeScore{N: t.n, At: t.at}
	if t.n == 0 {
		return s
	}
	s.CRA, s.Horizon = t.cra/float64(t.n), t.ph/float64(t.n)
	for i, n := range t.at {
		if n > 0 {
			s.Cone[i] = float64(t.cone[i]) / float64(n)
			s.Mass[i] = float64(t.mass[i]) / float64(n)
			s.RA[i] = t.ra[i] / float64(n)
		}
	}
	return s
}
