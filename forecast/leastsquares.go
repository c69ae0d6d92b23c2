package forecast

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
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

// Regression is a multiple regression fitted by least squares.
type Regression struct {
	Coef []float64
	Cov  *mat.SymDense // covariance of Coef
	SD   float64       // residual standard deviation, of a point of weight 1
	DF   float64       // degrees of freedom: n-p
	RSS  float64       // weighted residual sum of squares
}

// Regress fits y = X b, X having a row per point and a column per
// coefficient, with weights w (nil: all 1), by Householder QR of X with its
// columns scaled to a length near 1 (Golub and Van Loan, from memory). Two
// steps of Björck's refinement, of coefficients and residuals together and
// with sums in twice the precision, win back the digits that an
// ill-conditioned X or large residuals cost.
func Regress(x *mat.Dense, y, w []float64) (*Regression, error) {
	n, p := x.Dims()
	if n != len(y) || w != nil && n != len(w) {
		return nil, fmt.Errorf("regression: %d rows, %d values, %d weights", n, len(y), len(w))
	}
	if n < p {
		return nil, fmt.Errorf("regression: %d points for %d coefficients", n, p)
	}
	// a and b are X and y times the roots of the weights; the column scales
	// are powers of 2, so that scaling rounds nothing.
	a, b := mat.NewDense(n, p, nil), make([]float64, n)
	for i := range n {
		root := math.Sqrt(weight(w, i))
		b[i] = root * y[i]
		for j := range p {
			a.Set(i, j, root*x.At(i, j))
		}
	}
	scale := make([]float64, p)
	for j := range p {
		norm := mat.Norm(a.ColView(j), 2)
		if !(norm > 0) || math.IsInf(norm, 0) {
			return nil, fmt.Errorf("regression: column %d is zero or not finite", j)
		}
		_, exp := math.Frexp(norm)
		scale[j] = math.Ldexp(1, exp)
		for i := range n {
			a.Set(i, j, a.At(i, j)/scale[j])
		}
	}
	var qr mat.QR
	qr.Factorize(a)
	upper, err := triangle(&qr, p)
	if err != nil {
		return nil, err
	}

	// The augmented system: resid + a coef = b, a' resid = 0.
	coef, resid := make([]float64, p), make([]float64, n)
	f, g := mat.NewVecDense(n, nil), mat.NewVecDense(p, nil)
	for range 3 {
		for i := range n {
			var s sum
			s.add(b[i])
			s.add(-resid[i])
			for j, c := range coef {
				s.addProduct(-c, a.At(i, j))
			}
			f.SetVec(i, s.value())
		}
		for j := range p {
			var s sum
			for i, r := range resid {
				s.addProduct(-r, a.At(i, j))
			}
			g.SetVec(j, s.value())
		}
		// step = a^+ f - R^-1 R^-T g. The rank is known to be full.
		var step, h mat.VecDense
		_ = qr.SolveVecTo(&step, false, f)
		_ = h.SolveVec(upper.T(), g)
		_ = h.SolveVec(upper, &h)
		step.SubVec(&step, &h)
		for j := range coef {
			coef[j] += step.AtVec(j)
		}
		for i := range resid {
			resid[i] += f.AtVec(i) - mat.Dot(a.RowView(i), &step)
		}
	}

	r := &Regression{Coef: coef, DF: float64(n - p)}
	var rss sum
	for _, e := range resid {
		rss.addProduct(e, e)
	}
	r.RSS = rss.value()
	if r.DF > 0 {
		r.SD = math.Sqrt(r.RSS / r.DF)
	}
	for j := range coef {
		coef[j] /= scale[j]
	}
	r.Cov = covariance(upper, scale, r.SD)
	return r, nil
}

// triangle returns R of the factorisation. It refuses one that is singular to
// working precision.
func triangle(qr *mat.QR, p int) (*mat.TriDense, error) {
	if cond := qr.Cond(); !(cond < 1/epsilon) {
		return nil, fmt.Errorf("regression: columns depend on each other (condition %.2g)", cond)
	}
	var full mat.Dense
	qr.RTo(&full)
	upper := mat.NewTriDense(p, mat.Upper, nil)
	for i := range p {
		for j := i; j < p; j++ {
			upper.SetTri(i, j, full.At(i, j))
		}
	}
	return upper, nil
}

// epsilon is the spacing of float64 at 1.
const epsilon = 0x1p-52

// covariance returns sd^2 (X'X)^-1 = sd^2 D R^-1 R^-T D with D the inverse
// column scales.
func covariance(upper *mat.TriDense, scale []float64, sd float64) *mat.SymDense {
	p := len(scale)
	var inv mat.TriDense
	_ = inv.InverseTri(upper) // its condition has been judged
	cov := mat.NewSymDense(p, nil)
	for i := range p {
		for j := i; j < p; j++ {
			var s sum
			for k := j; k < p; k++ {
				s.addProduct(inv.At(i, k), inv.At(j, k))
			}
			cov.SetSym(i, j, sd/scale[i]*s.value()*sd/scale[j])
		}
	}
	return cov
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
