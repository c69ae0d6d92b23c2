package forecast

import (
	"math"
	"sort"
)

// Levels are the probabilities at which a Dist keeps its quantiles: dense
// enough in the lower tail, where bookings are decided, for linear
// interpolation between them.
var Levels = levels[:]

var levels = [...]float64{
	.001, .0025, .005, .01, .015, .02, .025, .03, .04, .05, .06, .08, .10,
	.15, .20, .25, .30, .40, .50, .60, .70, .75, .80, .85, .90, .95, .975, .99, .999,
}

// Dist is a distribution on the line, given by its quantiles. X is ascending;
// +Inf stands for "not within the horizon". The zero Dist is "not known".
type Dist struct {
	X []float64 // quantiles at Levels
}

// Known says whether there is a distribution at all.
func (d Dist) Known() bool { return len(d.X) == len(Levels) }

// Quantile returns the p-quantile, linear between Levels and clamped to the
// outermost ones. It is NaN for an unknown distribution.
func (d Dist) Quantile(p float64) float64 {
	if !d.Known() || math.IsNaN(p) {
		return math.NaN()
	}
	return interpolate(Levels, d.X, p)
}

// CDF returns P(X <= x), linear between the kept quantiles; 0 below and 1
// above them. It is NaN for an unknown distribution.
func (d Dist) CDF(x float64) float64 {
	switch {
	case !d.Known() || math.IsNaN(x):
		return math.NaN()
	case x < d.X[0]:
		return 0
	case x >= d.X[len(d.X)-1]:
		return 1
	}
	// The last kept quantile at or below x; a flat run (an atom) counts whole.
	i := sort.Search(len(d.X), func(i int) bool { return d.X[i] > x }) - 1
	lo, hi := d.X[i], d.X[i+1]
	if math.IsInf(hi, 1) {
		return Levels[i]
	}
	return Levels[i] + (Levels[i+1]-Levels[i])*(x-lo)/(hi-lo)
}

// piece is where a distribution function that is linear between the kept quantiles
// stands at one of them, and how it goes on.
type piece struct{ x, level, slope float64 }

// pieces returns them in order: after the last one the function is 1 at once.
func (d Dist) pieces() (out [len(levels)]piece) {
	for i, x := range d.X {
		out[i] = piece{x: x, level: levels[i]}
		if i+1 == len(levels) {
			out[i].level = 1
		} else if !math.IsInf(d.X[i+1], 1) {
			out[i].slope = (levels[i+1] - levels[i]) / (d.X[i+1] - x)
		}
	}
	return out
}

// Map returns the distribution of f(X) for a non-decreasing f.
func (d Dist) Map(f func(float64) float64) Dist {
	if !d.Known() {
		return d
	}
	x := make([]float64, len(d.X))
	for i, v := range d.X {
		x[i] = f(v)
	}
	return Dist{x}
}

// DistOf returns the distribution whose quantile function is q.
func DistOf(q func(p float64) float64) Dist {
	x := make([]float64, len(Levels))
	for i, p := range Levels {
		x[i] = q(p)
		if i > 0 && !(x[i] >= x[i-1]) {
			x[i] = x[i-1]
		}
	}
	return Dist{x}
}

// interpolate reads y at x from the points (xs, ys), xs ascending, clamped at
// both ends. Infinite ys count from their own point on.
func interpolate(xs, ys []float64, x float64) float64 {
	i := sort.SearchFloat64s(xs, x)
	switch {
	case i == 0:
		return ys[0]
	case i == len(xs):
		return ys[len(ys)-1]
	case xs[i] == x:
		return ys[i]
	}
	lo, hi := ys[i-1], ys[i]
	if math.IsInf(hi, 1) {
		return hi
	}
	return lo + (hi-lo)*(x-xs[i-1])/(xs[i]-xs[i-1])
}

// lastDayBelow returns the last whole day d with P(X <= d) < p.
func lastDayBelow(d Dist, p float64) (Day, bool) {
	q := d.Quantile(p)
	if math.IsNaN(q) || math.IsInf(q, 1) || q > math.MaxInt32 {
		return 0, false
	}
	return Day(math.Ceil(q) - 1), true
}
