package forecast

import (
	"math"
	"sync"

	"gonum.org/v1/gonum/stat/distuv"
)

// Line is the model that a person draws with a ruler: a straight line through
// the readings of one part at one position, and through the value it was
// fitted with where that is on record. It needs two points and borrows
// nothing. With wear y = a + b x fitted to n points,
//
//	P(limit reached by x) = P(T <= (a + b x - span)/se(x))
//
// T being Student's with n-2 degrees of freedom: the distribution whose
// quantiles are the ends of Fieller's sets. What it leaves to a slope of zero
// or less is the chance that the limit is never reached. Two points have no
// residual; the error of a reading is then assumed (defaultGaugeSD, normal).
type Line struct{}

// Name returns "line".
func (Line) Name() string { return "line" }

// Forecast implements Model.
func (m Line) Forecast(v *Vehicle, asOf Day, opt Options) []AxleForecast {
	return forecastStraight(m.Name(), v, asOf, opt, m.fit)
}

const (
	// defaultGaugeSD is the error of one reading in mm where two points are all
	// there is: gauges with steps of 0.1 to 1 mm in many hands. Judgement; no
	// study of repeatability is published.
	defaultGaugeSD = 0.30
	// leastSD keeps readings that happen to lie on a line from claiming to be
	// without error: a vernier caliper's uncertainty in mm (from memory).
	leastSD = 0.05
	// leastKm is the distance that points have to span for a line to mean
	// anything. Judgement: wear over less is below what gauges show.
	leastKm = 500.0
)

func (Line) fit(_ *Axle, s *Series) (fitted, bool) {
	rs := s.measured()
	x, y := make([]float64, 0, len(rs)+1), make([]float64, 0, len(rs)+1)
	if s.Known && !math.IsNaN(s.StartKm) {
		x, y = append(x, s.StartKm), append(y, s.Spec.Wear(s.StartMM))
	}
	for _, r := range rs {
		x, y = append(x, r.Km), append(y, s.Spec.Wear(r.MM))
	}
	if len(x) < 2 || math.IsNaN(s.StartKm) || !(x[len(x)-1]-x[0] >= leastKm) {
		return fitted{}, false
	}
	f, err := FitLine(x, y, nil)
	if err != nil {
		return fitted{}, false
	}
	if f.DF == 0 {
		return fitted{Trend: f.trend(defaultGaugeSD), pivots: normalLevels(), readings: len(rs)}, true
	}
	return fitted{Trend: f.trend(max(f.SD, leastSD)), pivots: studentLevels(int(f.DF)), readings: len(rs)}, true
}

// normalLevels are the standard normal quantiles at Levels.
var normalLevels = sync.OnceValue(func() []float64 { return levelsOf(probit) })

// manyDF is where Student's quantiles equal the normal's to three digits.
const manyDF = 1000

// studentLevels returns Student's quantiles at Levels.
func studentLevels(df int) []float64 {
	if df >= manyDF {
		return normalLevels()
	}
	if q, ok := studentCache.Load(df); ok {
		return q.([]float64)
	}
	q := levelsOf(distuv.StudentsT{Sigma: 1, Nu: float64(df)}.Quantile)
	studentCache.Store(df, q)
	return q
}

// studentCache saves quantiles that take longer to work out than all the rest
// of a line.
var studentCache sync.Map // int -> []float64

func levelsOf(quantile func(float64) float64) []float64 {
	q := make([]float64, len(Levels))
	for i, p := range Levels {
		q[i] = quantile(p)
		if p == .5 {
			q[i] = 0 // the median of the pivot, to the last bit
		}
	}
	return q
}
