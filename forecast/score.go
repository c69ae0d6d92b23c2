package forecast

import (
	"cmp"
	"math"
	"slices"
)

// Outcome is one forecast of an axle beside what came true.
type Outcome struct {
	Model    string
	Class    string
	Depot    string
	Readings int // inspections of the parts now on the axle, up to AsOf
	AsOf     Day
	// Crossing is the forecast; unknown where the model gave none.
	Crossing Crossing
	NowKm    float64 // odometer on AsOf; open ends are cut HorizonKm beyond it
	// Horizon is 20 years' distance in km.
	HorizonKm float64
	TrueKm    float64 // odometer at which the limit was reached
	TrueDay   float64
	// Km10 is the distance that wears 10 mm at the rate of the axle's group,
	// which makes classes comparable; 0 = not known.
	Km10 float64
	// FirstRight says that the position named as limiting was the first.
	FirstRight bool
}

// ReliabilityLevels are the probabilities at which Scores counts how often the
// truth lay below the forecast's quantile.
var ReliabilityLevels = [...]float64{.025, .05, .1, .2, .25, .3, .4, .5, .6, .7, .75, .8, .9, .95, .975}

// Score sums up forecasts of one quantity. Shares are of N; errors, widths and
// scores are in the quantity's unit. Of an empty Score everything is 0.
type Score struct {
	N           int
	MAE         float64 // mean absolute error of the median
	MedianAE    float64
	Bias        float64 // mean of forecast median less truth
	CRPS        float64
	Width80     float64 // mean width of the 80 % interval
	IS50        float64 // mean interval scores
	IS80        float64
	IS95        float64
	Cover50     float64
	Cover80     float64
	Cover95     float64
	Below05     float64 // share of truths below the 5 % quantile
	Reliability [len(ReliabilityLevels)]float64
}

// tally holds the sums behind a Score.
type tally struct {
	crps, bias, width80, is50, is80, is95 float64
	in50, in80, in95, below05             int
	below                                 [len(ReliabilityLevels)]int
	abs                                   []float64
}

// add scores d, all finite, against x; both are divided by unit.
func (t *tally) add(d Dist, x, unit float64) {
	mid := d.Quantile(.5)
	t.abs = append(t.abs, math.Abs(mid-x)/unit)
	t.bias += (mid - x) / unit
	t.crps += d.CRPS(x) / unit
	lo, hi := d.Interval(.8)
	t.width80 += (hi - lo) / unit
	t.is50 += d.IntervalScore(.5, x) / unit
	t.is80 += d.IntervalScore(.8, x) / unit
	t.is95 += d.IntervalScore(.95, x) / unit
	inside := func(level float64) int {
		if lo, hi := d.Interval(level); lo <= x && x <= hi {
			return 1
		}
		return 0
	}
	t.in50 += inside(.5)
	t.in80 += inside(.8)
	t.in95 += inside(.95)
	if x < d.Quantile(.05) {
		t.below05++
	}
	for i, p := range ReliabilityLevels {
		if x <= d.Quantile(p) {
			t.below[i]++
		}
	}
}

func (t *tally) merge(o *tally) {
	t.crps += o.crps
	t.bias += o.bias
	t.width80 += o.width80
	t.is50 += o.is50
	t.is80 += o.is80
	t.is95 += o.is95
	t.in50 += o.in50
	t.in80 += o.in80
	t.in95 += o.in95
	t.below05 += o.below05
	for i := range t.below {
		t.below[i] += o.below[i]
	}
	t.abs = append(t.abs, o.abs...)
}

func (t *tally) score() Score {
	n := len(t.abs)
	if n == 0 {
		return Score{}
	}
	f := 1 / float64(n)
	s := Score{
		N: n, Bias: t.bias * f, CRPS: t.crps * f, Width80: t.width80 * f,
		IS50: t.is50 * f, IS80: t.is80 * f, IS95: t.is95 * f,
		Cover50: float64(t.in50) * f, Cover80: float64(t.in80) * f, Cover95: float64(t.in95) * f,
		Below05: float64(t.below05) * f,
	}
	for _, e := range t.abs {
		s.MAE += e * f
	}
	sorted := slices.Sorted(slices.Values(t.abs))
	s.MedianAE = (sorted[(n-1)/2] + sorted[n/2]) / 2
	for i, k := range t.below {
		s.Reliability[i] = float64(k) * f
	}
	return s
}

// ScoreGroup names the cases that are summed up together.
type ScoreGroup struct {
	Model string
	By    string // "all", "readings", "class" or "depot"
	Value string
}

// Scores gathers outcomes and adds up. It is a value to merge: the sums of two
// halves of a fleet are those of the whole but for the last bits, which follow
// the order of merging. The zero Scores is ready to use.
type Scores struct {
	groups map[ScoreGroup]*groupScores
	found  detections
	risk   float64 // accepted chance behind the bookings; 0 = defaultRisk
}

type groupScores struct {
	km, rel, day tally
	cases        int
	unanswered   int
	firstRight   int
	booking      decisionTally
	lives        lifeTally
	readings     readingTally
}

func (s *Scores) group(g ScoreGroup) *groupScores {
	if s.groups == nil {
		s.groups = make(map[ScoreGroup]*groupScores)
	}
	t := s.groups[g]
	if t == nil {
		t = new(groupScores)
		s.groups[g] = t
	}
	return t
}

// each calls f with every group that a case of this kind belongs to; readings
// below 0 belong to no bucket.
func (s *Scores) each(model, class, depot string, readings int, f func(*groupScores)) {
	f(s.group(ScoreGroup{model, "all", ""}))
	f(s.group(ScoreGroup{model, "class", class}))
	f(s.group(ScoreGroup{model, "depot", depot}))
	if readings >= 0 {
		f(s.group(ScoreGroup{model, "readings", ReadingsBucket(readings)}))
	}
	if readings >= 1 {
		f(s.group(ScoreGroup{model, "readings", AnyReadings}))
	}
}

// AnyReadings is the bucket of all axles inspected at least once.
const AnyReadings = "1+"

// ReadingsBucket names the bucket of a number of inspections.
func ReadingsBucket(n int) string {
	switch {
	case n <= 0:
		return "0"
	case n == 1:
		return "1"
	case n == 2:
		return "2"
	case n <= 4:
		return "3-4"
	}
	return "5+"
}

// Add scores one outcome.
func (s *Scores) Add(o Outcome) {
	s.each(o.Model, o.Class, o.Depot, o.Readings, func(g *groupScores) {
		g.cases++
		if !o.Crossing.Km.Known() || !o.Crossing.Day.Known() {
			g.unanswered++
			return
		}
		if o.FirstRight {
			g.firstRight++
		}
		// Both ends are cut alike for all models.
		far := o.NowKm + o.HorizonKm
		km := o.Crossing.Km.Clamp(o.NowKm-o.HorizonKm, far)
		g.km.add(km, min(o.TrueKm, far), 1)
		if o.Km10 > 0 {
			g.rel.add(km, min(o.TrueKm, far), o.Km10/100)
		}
		late := float64(o.AsOf) + horizonDays
		g.day.add(o.Crossing.Day.Clamp(float64(o.AsOf)-horizonDays, late), min(o.TrueDay, late), 1)
	})
}

// Merge adds the outcomes gathered in o.
func (s *Scores) Merge(o *Scores) {
	s.risk = max(s.risk, o.risk)
	if s.found == nil {
		s.found = make(detections)
	}
	s.found.merge(o.found)
	for _, g := range o.sorted() {
		t, u := s.group(g), o.groups[g]
		t.km.merge(&u.km)
		t.rel.merge(&u.rel)
		t.day.merge(&u.day)
		t.cases += u.cases
		t.unanswered += u.unanswered
		t.firstRight += u.firstRight
		t.booking.merge(&u.booking)
		t.lives.merge(&u.lives)
		t.readings.merge(&u.readings)
	}
}

func (s *Scores) sorted() []ScoreGroup {
	out := make([]ScoreGroup, 0, len(s.groups))
	for g := range s.groups {
		out = append(out, g)
	}
	slices.SortFunc(out, func(a, b ScoreGroup) int {
		return cmp.Or(cmp.Compare(a.By, b.By), cmp.Compare(a.Value, b.Value), cmp.Compare(a.Model, b.Model))
	})
	return out
}

// ScoreRow is one line of the table of scores.
type ScoreRow struct {
	ScoreGroup
	Cases      int
	Unanswered int   // cases without a forecast
	Km         Score // km
	Relative   Score // % of the km that wear 10 mm at the group's rate
	Day        Score // days
	// FirstRight is the share of answers that named the right position.
	FirstRight float64
	Booking    BookingScore
	Lives      LifeScore
	Readings   ReadingScore
}

// Rows returns the table: all cases first, then by class, depot and number of
// readings, each by value and model.
func (s *Scores) Rows() []ScoreRow {
	rows := make([]ScoreRow, 0, len(s.groups))
	for _, g := range s.sorted() {
		row, _ := s.Row(g)
		rows = append(rows, row)
	}
	return rows
}

// Row returns the line of one group, and false when it has no case.
func (s *Scores) Row(g ScoreGroup) (ScoreRow, bool) {
	t := s.groups[g]
	if t == nil {
		return ScoreRow{ScoreGroup: g}, false
	}
	row := ScoreRow{
		ScoreGroup: g, Cases: t.cases, Unanswered: t.unanswered,
		Km: t.km.score(), Relative: t.rel.score(), Day: t.day.score(),
		Booking: t.booking.score(cmp.Or(s.risk, defaultRisk)), Lives: t.lives.score(), Readings: t.readings.score(),
	}
	if n := t.cases - t.unanswered; n > 0 {
		row.FirstRight = float64(t.firstRight) / float64(n)
	}
	return row, true
}
