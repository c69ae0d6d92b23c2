package forecast

import (
	"fmt"
	"math"
)

// Moments are what a straight line needs of its points: weighted sums about
// their means. They add up, so points can be summed apart and merged.
type Moments struct {
	N  float64 // points
	W  float64 // sum of weights; N when all weigh 1
	X  float64 // weighted mean of x
	Y  float64 // weighted mean of y
	XX float64 // sum of w (x-X)^2
	XY float64 // sum of w (x-X)(y-Y)
	YY float64 // sum of w (y-Y)^2
}

// Add puts in one point of weight 1.
func (m *Moments) Add(x, y float64) { *m = m.Merge(Moments{N: 1, W: 1, X: x, Y: y}) }

// Merge returns the moments of the points of both: commutative, and
// associative up to rounding (Chan, Golub and LeVeque 1983, from memory).
func (m Moments) Merge(o Moments) Moments {
	switch {
	case o.W == 0:
		m.N += o.N
		return m
	case m.W == 0:
		o.N += m.N
		return o
	}
	w := m.W + o.W
	dx, dy := o.X-m.X, o.Y-m.Y
	f := m.W * o.W / w
	return Moments{
		N: m.N + o.N, W: w,
		X:  (m.W*m.X + o.W*o.X) / w,
		Y:  (m.W*m.Y + o.W*o.Y) / w,
		XX: m.XX + o.XX + f*dx*dx,
		XY: m.XY + o.XY + f*dx*dy,
		YY: m.YY + o.YY + f*dy*dy,
	}
}

// MomentsOf returns the moments of points (x, y) with weights w; nil w weighs
// all 1. The sums are compensated: about 16 digits whatever the offset.
func MomentsOf(x, y, w []float64) Moments {
	var sw, sx, sy, sxx, sxy, syy sum
	for i := range x {
		wi := weight(w, i)
		sw.add(wi)
		sx.addProduct(wi, x[i])
		sy.addProduct(wi, y[i])
	}
	m := Moments{N: float64(len(x)), W: sw.value()}
	if m.W == 0 {
		return m
	}
	m.X, m.Y = sx.value()/m.W, sy.value()/m.W
	for i := range x {
		wi, dx, dy := weight(w, i), x[i]-m.X, y[i]-m.Y
		sxx.addProduct(wi*dx, dx)
		sxy.addProduct(wi*dx, dy)
		syy.addProduct(wi*dy, dy)
	}
	m.XX, m.XY, m.YY = sxx.value(), sxy.value(), syy.value()
	return m
}

func weight(w []float64, i int) float64 {
	if w == nil {
		return 1
	}
	return w[i]
}

// LineFit is a straight line fitted by least squares, with the covariance of
// its estimates. A reading of weight w has variance SD^2/w.
type LineFit struct {
	Trend
	Moments
	SD float64 // residual standard deviation, of a point of weight 1
	DF float64 // degrees of freedom: N-2
}

// FitLine fits y = a + b x by (weighted) least squares in closed form. It
// needs two points that differ in x; of two points SD is 0.
func FitLine(x, y, w []float64) (LineFit, error) {
	m := MomentsOf(x, y, w)
	f, err := m.Fit()
	if err != nil {
		return f, err
	}
	// YY - b XY loses the digits that r^2 has nines; the residuals keep them.
	var rss sum
	for i := range x {
		r := (y[i] - m.Y) - f.B*(x[i]-m.X)
		rss.addProduct(weight(w, i)*r, r)
	}
	return m.fit(rss.value()), nil
}

// Fit fits the line from the moments alone.
func (m Moments) Fit() (LineFit, error) {
	if m.N < 2 || !(m.XX > 0) {
		return LineFit{}, fmt.Errorf("straight line: need 2 points at different places, have %g points", m.N)
	}
	return m.fit(m.YY - m.XY/m.XX*m.XY), nil
}

// fit returns the line with this residual sum of squares.
func (m Moments) fit(rss float64) LineFit {
	f := LineFit{Moments: m, DF: m.N - 2}
	if f.DF > 0 {
		f.SD = math.Sqrt(math.Max(rss, 0) / f.DF)
	}
	f.Trend = m.trend(f.SD)
	return f
}

// trend returns the least-squares line with the covariance that a known
// residual sd gives it. About the mean of x its estimates do not correlate.
func (m Moments) trend(sd float64) Trend {
	v := sd * sd
	return Trend{X0: m.X, A: m.Y, B: m.XY / m.XX, VAA: v / m.W, VBB: v / m.XX}
}

// sum is a sum in twice the working precision (Neumaier 1974; products split
// by fused multiply-add: Ogita, Rump and Oishi 2005; both from memory).
type sum struct{ hi, lo float64 }

func (s *sum) add(x float64) {
	t := s.hi + x
	if math.Abs(s.hi) >= math.Abs(x) {
		s.lo += (s.hi - t) + x
	} else {
		s.lo += (x - t) + s.hi
	}
	s.hi = t
}

func (s *sum) addProduct(x, y float64) {
	p := x * y
	s.add(p)
	s.lo += math.FMA(x, y, -p)
}

func (s *sum) value() float64 { return s.hi + s.lo }
