package forecast

import "math"

// Trend is a straight line y = A + B (x - X0) whose A and B are estimates with
// this covariance.
type Trend struct {
	X0, A, B      float64
	VAA, VAB, VBB float64
}

// At returns the line's value at x and its standard error.
func (t Trend) At(x float64) (y, se float64) {
	u := x - t.X0
	return t.A + t.B*u, math.Sqrt(math.Max(t.VAA+u*(2*t.VAB+u*t.VBB), 0))
}

// from returns the same line told from another place.
func (t Trend) from(x0 float64) Trend {
	u := x0 - t.X0
	return Trend{
		X0: x0, A: t.A + u*t.B, B: t.B,
		VAA: t.VAA + u*(2*t.VAB+u*t.VBB), VAB: t.VAB + u*t.VBB, VBB: t.VBB,
	}
}

// Inverse returns where the line meets y0, and the standard error of that
// place by the delta method; with extra > 0, that of a single reading of
// variance extra reaching y0. NaN for a level line.
func (t Trend) Inverse(y0, extra float64) (x, se float64) {
	if t.B == 0 {
		return math.NaN(), math.NaN()
	}
	x = t.X0 + (y0-t.A)/t.B
	_, se = t.At(x)
	return x, math.Hypot(se, math.Sqrt(extra)) / math.Abs(t.B)
}

// SetKind is the shape of a Fieller set.
type SetKind int

const (
	Interval   SetKind = iota // Lo <= x <= Hi
	Complement                // x <= Lo or x >= Hi: the slope may be zero
	Everywhere                // every x
)

// Set is a confidence set for the place where a line meets a value.
type Set struct {
	Kind   SetKind
	Lo, Hi float64
}

// Fieller returns the set of all x at which y0 lies within q standard errors
// of the line: exact where the delta method is not. extra is the variance of
// a single reading, when its place and not the line's is meant. (Fieller 1954,
// from memory.)
func (t Trend) Fieller(y0, q, extra float64) Set {
	a, lo, hi, ok := t.roots(y0, q, extra)
	switch {
	case a > 0:
		return Set{Interval, lo, hi}
	case ok:
		return Set{Complement, lo, hi}
	}
	return Set{Kind: Everywhere, Lo: math.Inf(-1), Hi: math.Inf(1)}
}

// roots solves (y0 - y(x))^2 = q^2 (se(x)^2 + extra) for x, ascending. a is
// the leading coefficient B^2 - q^2 VBB; ok is false without real roots.
func (t Trend) roots(y0, q, extra float64) (a, lo, hi float64, ok bool) {
	d, q2 := y0-t.A, q*q
	vaa := t.VAA + extra
	a = t.B*t.B - q2*t.VBB
	b := -(d*t.B + q2*t.VAB) // half the linear coefficient
	c := d*d - q2*vaa
	// b^2 - a c, multiplied out: nothing large cancels.
	disc := q2 * (d*(d*t.VBB+2*t.B*t.VAB) + t.B*t.B*vaa + q2*(t.VAB*t.VAB-t.VBB*vaa))
	if disc < 0 {
		if a <= 0 {
			return a, 0, 0, false
		}
		disc = 0 // an interval always has its ends: rounding
	}
	r := -(b + math.Copysign(math.Sqrt(disc), b))
	switch {
	case r == 0: // b = disc = 0: both roots at X0
		return a, t.X0, t.X0, a != 0
	case a == 0: // one end has gone to infinity
		if b > 0 {
			return a, t.X0 + c/r, math.Inf(1), true
		}
		return a, math.Inf(-1), t.X0 + c/r, true
	}
	lo, hi = r/a, c/r
	if lo > hi {
		lo, hi = hi, lo
	}
	return a, t.X0 + lo, t.X0 + hi, true
}

// Reach returns the first x at or after start at which the line lies at least
// q standard errors above y0 (below it for a negative q); +Inf if it never
// does. With q the p-quantile of the pivot (y(x) - line)/se(x) this is the
// p-quantile of the place where a rising line reaches y0.
func (t Trend) Reach(y0, q, start float64) float64 {
	y, se := t.At(start)
	if y-y0 >= q*se {
		return start
	}
	if q == 0 || t.VAA == 0 && t.VBB == 0 {
		if t.B > 0 {
			return t.X0 + (y0-t.A)/t.B
		}
		return math.Inf(1)
	}
	_, lo, hi, ok := t.roots(y0, q, 0)
	if !ok {
		return math.Inf(1)
	}
	slack := 1e-9 * (math.Abs(t.A) + math.Abs(y0)) // rounding of a root's own value
	for _, x := range [2]float64{lo, hi} {
		y, _ := t.At(x)
		if x > start && !math.IsInf(x, 1) && math.Copysign(1, q)*(y-y0) >= -slack {
			return x
		}
	}
	return math.Inf(1)
}
