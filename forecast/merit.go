package forecast

import "math"

// Figures of merit of one forecast against what came true. Sources: Gneiting
// and Raftery, Strictly Proper Scoring Rules, Prediction, and Estimation, JASA
// 102(477), 2007 (pinball loss, CRPS, interval score); Saxena et al., Metrics
// for Evaluating Performance of Prognostic Techniques, PHM 2008, and Metrics
// for Offline Evaluation of Prognostic Performance, IJPHM 1, 2010 (alpha-lambda
// accuracy, prognostic horizon, relative accuracy).

// CRPS returns the continuous ranked probability score
//
//	integral of (F(y) - [y >= x])² dy
//
// of the piecewise linear F of d, in the unit of x. Lower is better; of a
// certain forecast it is the absolute error. It is +Inf where d or x is not
// bounded and NaN for an unknown d; see Clamp.
func (d Dist) CRPS(x float64) float64 {
	if !d.Known() || math.IsNaN(x) {
		return math.NaN()
	}
	n := len(d.X) - 1
	if math.IsInf(d.X[n], 1) || math.IsInf(d.X[0], -1) || math.IsInf(x, 0) {
		return math.Inf(1)
	}
	sum := max(0, d.X[0]-x) + max(0, x-d.X[n])
	for i := range n {
		lo, hi := d.X[i], d.X[i+1]
		if lo == hi {
			continue
		}
		p, q := Levels[i], Levels[i+1]
		switch {
		case x <= lo:
			sum += (hi - lo) * meanSquare(1-p, 1-q)
		case x >= hi:
			sum += (hi - lo) * meanSquare(p, q)
		default:
			at := p + (q-p)*(x-lo)/(hi-lo)
			sum += (x-lo)*meanSquare(p, at) + (hi-x)*meanSquare(1-at, 1-q)
		}
	}
	return sum
}

// meanSquare is the mean of the square of a line from a to b.
func meanSquare(a, b float64) float64 { return (a*a + a*b + b*b) / 3 }

// Clamp returns d with all quantiles moved into lo..hi, so that scores of
// forecasts with an open end stay finite.
func (d Dist) Clamp(lo, hi float64) Dist {
	return d.Map(func(x float64) float64 { return min(max(x, lo), hi) })
}

// Interval returns the central interval that holds X with probability level.
func (d Dist) Interval(level float64) (lo, hi float64) {
	return d.Quantile((1 - level) / 2), d.Quantile((1 + level) / 2)
}

// IntervalScore returns the score of the central interval of probability
// level, with a = 1 - level:
//
//	(hi - lo) + 2/a (lo - x)+ + 2/a (x - hi)+
func (d Dist) IntervalScore(level, x float64) float64 {
	lo, hi := d.Interval(level)
	return (hi - lo) + 2/(1-level)*(max(0, lo-x)+max(0, x-hi))
}

// RelativeAccuracy is 1 - |error| / true remaining life; negative where the
// forecast is off by more than what remains.
func RelativeAccuracy(remaining, truth float64) float64 {
	return 1 - math.Abs(remaining-truth)/truth
}

// InCone says whether a point forecast of the remaining life lies within alpha
// of the truth, relative to it (alpha-lambda accuracy).
func InCone(remaining, truth, alpha float64) bool {
	return math.Abs(remaining-truth) <= alpha*truth
}

// ConeMass returns the probability that d, a distribution of the end of life on
// the scale of now, puts inside that cone. The beta form of alpha-lambda
// accuracy asks that it is at least beta, usually .5.
func ConeMass(d Dist, now, truth, alpha float64) float64 {
	return d.CDF(now+(1+alpha)*truth) - d.CDF(now+(1-alpha)*truth)
}

// Prognosis is one of a series of forecasts along a life.
type Prognosis struct {
	At        float64 // used so far
	Remaining float64 // forecast, median
}

// PrognosticHorizon returns the share of a life that was left when forecasts
// of its end came within alpha of the life and stayed so: (life - t) / life
// with t the first such time. Series in order; 0 when the last one is off.
func PrognosticHorizon(series []Prognosis, life, alpha float64) float64 {
	horizon := 0.
	for i := len(series) - 1; i >= 0; i-- {
		p := series[i]
		if !(math.Abs(p.At+p.Remaining-life) <= alpha*life) {
			break
		}
		horizon = (life - p.At) / life
	}
	return max(0, horizon)
}
