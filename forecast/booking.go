package forecast

import (
	"math"
	"sort"
)

// PlanRisks are the accepted chances at which bookings are played through.
var PlanRisks = [...]float64{.0025, .005, .01, .02, .03, .05, .08, .1, .15, .2, .25, .3, .4, .5}

// BookingScore says what booking on the book-by date would have cost. Wasted is
// the share of the usable lining thrown away, 0 where the limit was passed;
// usable is what wears until the axle's first part reaches its limit.
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
	// AtRisk is Replanned at the accepted chance of the backtest: what that
	// chance of each date comes to per life. Of ThresholdRule it is that at a
	// tenth of the lining left, an old rule of thumb.
	AtRisk PlanPoint
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

func (t *decisionTally) score(risk float64) BookingScore {
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
	if len(t.levels) == len(thresholdShares) {
		risk = ruleOfThumb
	}
	s.AtRisk = atLevel(s.Replanned, risk)
	s.At5 = tuned(s.Replanned, .05)
	return s
}

// ruleOfThumb is the share of lining left at which many workshops replace;
// common practice, no source.
const ruleOfThumb = .1

// atLevel interpolates the points, whose levels ascend, to a level between them.
func atLevel(points []PlanPoint, level float64) PlanPoint {
	i := sort.Search(len(points), func(i int) bool { return points[i].Level >= level })
	switch i {
	case 0:
		return points[0]
	case len(points):
		return points[i-1]
	}
	return points[i-1].towards(points[i], (level-points[i-1].Level)/(points[i].Level-points[i-1].Level))
}

// towards returns the point at a share of the way to q.
func (p PlanPoint) towards(q PlanPoint, share float64) PlanPoint {
	return PlanPoint{
		p.Level + share*(q.Level-p.Level),
		p.Passed + share*(q.Passed-p.Passed),
		p.Wasted + share*(q.Wasted-p.Wasted),
	}
}

// tuned interpolates the points to a share passed. A level is bolder where more
// lives pass, whichever way it counts.
func tuned(points []PlanPoint, passed float64) PlanPoint {
	for i := 1; i < len(points); i++ {
		a, b := points[i-1], points[i]
		if (a.Passed-passed)*(b.Passed-passed) <= 0 && a.Passed != b.Passed {
			return a.towards(b, (passed-a.Passed)/(b.Passed-a.Passed))
		}
	}
	return PlanPoint{}
}

// lifeEnd is how a life ends under a policy.
type lifeEnd struct {
	passed bool
	wasted float64
}

// left returns the share of a life up to crossKm that is left on a day, taking
// wear for proportional to distance.
func (l *Life) left(day, crossKm float64) float64 {
	return min(max((crossKm-l.kmOn(day))/(crossKm-l.FittedKm), 0), 1)
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

// decision is a forecast made on one day of a life, beside the true day and
// total at which the axle's first part reached its limit.
type decision struct {
	day               Day
	bookBy            [len(PlanRisks)]float64 // days; +Inf beyond the horizon
	crossDay, crossKm float64
}

// booked carries a booking for a day out, not before the decision. What is left
// of the axle's usable life then is wasted: of lining that would have outlasted
// a rotor no more than that.
func (d *decision) booked(l *Life, day float64) lifeEnd {
	day = max(day, float64(d.day))
	if d.crossDay <= day {
		return lifeEnd{passed: true}
	}
	return lifeEnd{wasted: l.left(day, d.crossKm)}
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
			ends[i] = d.booked(l, d.bookBy[i])
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

// threshold plays the rule through at the inspections of a life, last being any
// decision about it. Where the inspections to come are not known they go on at
// the mean interval and read the truth.
func (l *Life) threshold(visits []visit, last decision, known bool) []lifeEnd {
	ends := make([]lifeEnd, len(thresholdShares))
	if len(visits) == 0 && !known {
		return nil
	}
	at := func(day float64) lifeEnd {
		last.day = Day(math.Ceil(day))
		return last.booked(l, day)
	}
	for i, share := range thresholdShares {
		done := false
		for _, v := range visits {
			if v.left <= share || float64(v.day) >= last.crossDay {
				ends[i], done = at(float64(v.day)), true
				break
			}
		}
		if !done && known {
			ends[i], done = lifeEnd{passed: true}, true
		}
		if done {
			continue
		}
		end := visits[len(visits)-1].day
		gap := max(7, daysBetween(l.Fitted, end)/float64(len(visits)))
		for day := float64(end) + gap; !done; day += gap {
			if l.left(day, last.crossKm) <= share || day >= last.crossDay {
				ends[i], done = at(day), true
			}
		}
	}
	return ends
}
