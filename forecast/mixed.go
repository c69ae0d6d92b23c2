package forecast

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
)

// Group is all that a mixed model needs of one group's points. Cell says which
// fixed effects it has.
type Group struct {
	Moments
	Cell int
}

// Centred returns the moments with the level taken out: what the points say of
// the slope alone, whatever their intercept is. One point less remains.
func (m Moments) Centred() Moments {
	m.W, m.N = 0, max(m.N-1, 0)
	return m
}

// Structure says which effects differ from group to group.
type Structure int

const (
	InterceptSlope Structure = iota // intercept and slope, correlated
	Uncorrelated                    // intercept and slope, not correlated
	InterceptOnly
	SlopeOnly
)

// Cell gives the line of a group without random effects: its intercept is
// Intercept.beta and its slope Slope.beta.
type Cell struct{ Intercept, Slope []float64 }

// PlainCells is the model with one intercept and one slope for all groups.
var PlainCells = []Cell{{Intercept: []float64{1, 0}, Slope: []float64{0, 1}}}

// Mixed describes a linear mixed model of straight lines in groups,
//
//	y = (a + u) + (b + v) x + e,  (u, v) ~ N(0, G) by group,  e ~ N(0, Sigma2)
//
// with a and b linear in the fixed effects beta.
type Mixed struct {
	Cells     []Cell
	Structure Structure
	ML        bool // maximum likelihood instead of REML
}

// Sym2 is a symmetric 2x2 matrix of an intercept (A) and a slope (B).
type Sym2 struct{ AA, AB, BB float64 }

func (s Sym2) det() float64 { return max(s.AA*s.BB-s.AB*s.AB, 0) }

// MixedFit is a fitted mixed model.
type MixedFit struct {
	Mixed
	Beta    []float64
	BetaCov [][]float64 // (X'V^-1 X)^-1
	G       Sym2
	Sigma2  float64
	// SE of Sigma2, G.AA, G.AB, G.BB from the observed information; 0 where a
	// component is not estimated or Bound.
	SE         [4]float64
	LogREML    float64 // restricted log likelihood, constants included
	LogML      float64
	Groups     int
	Points     float64
	Iterations int
	Bound      bool // G is singular: a variance is 0 or a correlation 1
	// Decrement is the squared Newton step left over, in standard errors.
	Decrement float64
}

var errMixed = errors.New("mixed model")

const (
	maxIterations = 100
	// trusted is the squared Newton step, in standard errors, below which the
	// likelihood's own rounding may exceed the gain, so that steps are taken
	// without looking at it.
	trusted = 1e-8
	// settled is where the estimates agree to all digits that can be had;
	// enough is what still counts as converged.
	settled, enough = 1e-25, 1e-12
	// singular is the share of a variance below which it counts as none.
	singular = 1e-10
)

// Fit estimates the model by REML (or ML): Newton's method on the analytic
// score, with the eigenvalues of the observed information made positive where
// they are not. G = L L' with L = (l11 0; l21 l22), so that a variance that
// vanishes or a correlation of 1 needs no bound: l22, or l11 too, is 0 there.
// A step is two passes over the groups with 2x2 algebra in closed form and
// allocates nothing that grows with them. The same groups in the same order
// give the same bits.
func (m Mixed) Fit(groups []Group) (*MixedFit, error) {
	w, err := m.workspace(groups)
	if err != nil {
		return nil, err
	}
	p := m.start(w, groups)
	free := m.free()
	f := &MixedFit{Mixed: m, Groups: len(groups), Decrement: math.Inf(1)}
	w.evaluate(p, groups)
	for ; f.Iterations < maxIterations; f.Iterations++ {
		if free[2] {
			p = p.pivot(w.spread)
		}
		step, decrement, newton := w.step(p, free)
		if newton && decrement < enough && (decrement <= settled || decrement >= f.Decrement) {
			f.Decrement = min(decrement, f.Decrement)
			break
		}
		f.Decrement = decrement
		if !newton {
			f.Decrement = math.Inf(1)
		}
		before, old := w.loglik(), p
		for t := 1.0; ; t /= 2 {
			for k := range p.v {
				p.v[k] = old.v[k] + t*step[k]
			}
			// A residual variance that dives would take the rest with it.
			p.v[0] = max(p.v[0], old.v[0]/16)
			w.evaluate(p, groups)
			if ll := w.loglik(); newton && decrement < trusted && !math.IsNaN(ll) || ll >= before {
				break
			}
			if t < 1e-12 {
				return nil, fmt.Errorf("%w: no ascent after %d steps", errMixed, f.Iterations)
			}
		}
	}
	if !(f.Decrement < enough) {
		return nil, fmt.Errorf("%w: not converged after %d steps: the groups may not tell the variance components apart", errMixed, f.Iterations)
	}
	w.finish(f, p, free)
	return f, nil
}

// workspace checks the groups against the model and sets up the sums.
func (m Mixed) workspace(groups []Group) (*mixedSums, error) {
	if len(m.Cells) == 0 {
		return nil, fmt.Errorf("%w: no cells", errMixed)
	}
	p := len(m.Cells[0].Intercept)
	w := newMixedSums(m, p)
	informed, n := 0, 0.0
	for i := range groups {
		g := &groups[i]
		if g.Cell < 0 || g.Cell >= len(m.Cells) {
			return nil, fmt.Errorf("%w: group %d: no cell %d", errMixed, i, g.Cell)
		}
		if v := g.N + g.W + g.X + g.Y + g.XX + g.XY + g.YY; math.IsNaN(v) || math.IsInf(v, 0) {
			return nil, fmt.Errorf("%w: group %d: not finite", errMixed, i)
		}
		n += g.N
		if g.N > 0 {
			informed++
		}
		w.spread.add(Sym2{g.W, g.W * g.X, g.W*g.X*g.X + g.XX})
	}
	if informed < 2 || n <= float64(p) {
		return nil, fmt.Errorf("%w: %d groups with %g points are too few", errMixed, informed, n)
	}
	w.n = n
	w.spread.AA /= float64(len(groups))
	w.spread.BB /= float64(len(groups))
	return w, nil
}

// free says which parameters the structure has.
func (m Mixed) free() [4]bool {
	switch m.Structure {
	case Uncorrelated:
		return [4]bool{true, true, false, true}
	case InterceptOnly:
		return [4]bool{true, true, false, false}
	case SlopeOnly:
		return [4]bool{true, false, false, true}
	}
	return [4]bool{true, true, true, true}
}

// params are sigma^2, l11, l21, l22. slopeFirst turns the roles of intercept
// and slope in L round.
type params struct {
	v          [4]float64
	slopeFirst bool
}

func (p params) g() Sym2 {
	first, cov, second := p.v[1]*p.v[1], p.v[1]*p.v[2], p.v[2]*p.v[2]+p.v[3]*p.v[3]
	if p.slopeFirst {
		return Sym2{AA: second, AB: cov, BB: first}
	}
	return Sym2{AA: first, AB: cov, BB: second}
}

// det returns the determinant of G.
func (p params) det() float64 { return p.v[1] * p.v[1] * p.v[3] * p.v[3] }

// pivot puts the larger effect first where the other one has become small: L
// would lose its second row's direction.
func (p params) pivot(spread Sym2) params {
	g := p.g()
	a, b := g.AA*spread.AA, g.BB*spread.BB
	if p.slopeFirst {
		a, b = b, a
	}
	if 4*a >= b {
		return p
	}
	first := math.Hypot(p.v[2], p.v[3])
	return params{
		v:          [4]float64{p.v[0], first, g.AB / first, math.Abs(p.v[1]*p.v[3]) / first},
		slopeFirst: !p.slopeFirst,
	}
}

// start returns moment estimates: residual variance from within the groups,
// variances of level and slope from between them. It leaves least-squares
// fixed effects in w.
func (m Mixed) start(w *mixedSums, groups []Group) params {
	w.leastSquares(groups)
	var within, df, level, levelW, slope, slopeW float64
	for i := range groups {
		g := &groups[i]
		a, b := w.line(g.Cell)
		rank := 0.0
		if g.W > 0 {
			rank++
			d := g.Y - a - b*g.X
			level += g.W * d * d
			levelW += g.W
		}
		rss := g.YY
		if g.XX > 0 {
			rank++
			rss -= g.XY / g.XX * g.XY
			d := g.XY/g.XX - b
			slope += g.XX * d * d
			slopeW += g.XX
		}
		within += max(rss, 0)
		df += max(g.N-rank, 0)
	}
	total := 1.0
	if s := (level + slope + within) / w.n; s > 0 {
		total = s
	}
	p := params{v: [4]float64{total / 2}}
	if df > 0 && within > 0 {
		p.v[0] = within / df
	}
	p.v[0] = max(p.v[0], 1e-8*total)
	free := m.free()
	if free[1] && levelW > 0 {
		p.v[1] = math.Sqrt(max(level/levelW-p.v[0]*float64(len(groups))/levelW, .1*level/levelW))
	}
	if free[3] && slopeW > 0 {
		p.v[3] = math.Sqrt(max(slope/slopeW-p.v[0]*float64(len(groups))/slopeW, .1*slope/slopeW))
	}
	return p
}

// fixed returns a cell's line and its covariance.
func (f *MixedFit) fixed(cell int) (a, b float64, cov Sym2) {
	c := f.Cells[cell]
	for i, x := range f.Beta {
		a += c.Intercept[i] * x
		b += c.Slope[i] * x
		for j := range f.Beta {
			v := f.BetaCov[i][j]
			cov.AA += c.Intercept[i] * v * c.Intercept[j]
			cov.AB += c.Intercept[i] * v * c.Slope[j]
			cov.BB += c.Slope[i] * v * c.Slope[j]
		}
	}
	return a, b, cov
}

// posterior updates a line known a priori as t (X0 must be 0) by the points of
// m, each of variance sigma2.
func posterior(t Trend, m Moments, sigma2 float64) Trend {
	prior := Sym2{t.VAA, t.VAB, t.VBB}
	g := Group{Moments: m}
	k := groupAlgebra(&g, sigma2, prior, prior.det())
	u1, u2 := k.project(g.residual(t.A, t.B))
	// Prior covariance times sigma^2 K, K = (sigma^2 I + G S)^-1, is G - G T G
	// without its cancellation.
	return Trend{
		A:   t.A + prior.AA*u1 + prior.AB*u2,
		B:   t.B + prior.AB*u1 + prior.BB*u2,
		VAA: sigma2 * (k.k11*prior.AA + k.k12*prior.AB),
		VAB: sigma2 * (k.k11*prior.AB + k.k12*prior.BB),
		VBB: sigma2 * (k.k21*prior.AB + k.k22*prior.BB),
	}
}

// solveActive solves H x = b for the rows and columns that are active; false when
// H is not positive definite there.
func solveActive(h [4][4]float64, b [4]float64, active [4]bool) (x [4]float64, ok bool) {
	var idx []int
	var scale [4]float64
	for k, a := range active {
		if a {
			if !(h[k][k] > 0) {
				return x, false
			}
			scale[k] = 1 / math.Sqrt(h[k][k])
			idx = append(idx, k)
		}
	}
	if len(idx) == 0 {
		return x, true
	}
	s := mat.NewSymDense(len(idx), nil)
	v := mat.NewVecDense(len(idx), nil)
	for i, k := range idx {
		v.SetVec(i, b[k]*scale[k])
		for j, l := range idx[:i+1] {
			s.SetSym(i, j, h[k][l]*scale[k]*scale[l])
		}
	}
	var c mat.Cholesky
	if !c.Factorize(s) || c.Cond() > 1e12 {
		return x, false
	}
	if err := c.SolveVecTo(v, v); err != nil {
		return x, false
	}
	for i, k := range idx {
		x[k] = v.AtVec(i) * scale[k]
	}
	return x, true
}

// ascent returns a step uphill where H is not positive definite: H scaled by
// the size of its rows, with its eigenvalues made positive.
func ascent(h, size [4][4]float64, score [4]float64, active [4]bool) (step [4]float64) {
	const flat = 1e-4 // least eigenvalue, judged by trial
	var idx []int
	for k, a := range active {
		if a {
			idx = append(idx, k)
		}
	}
	n := len(idx)
	scale := make([]float64, n)
	for i, k := range idx {
		scale[i] = 1 / math.Sqrt(max(math.Abs(size[k][k]), math.Abs(h[k][k]), math.SmallestNonzeroFloat32))
	}
	s := mat.NewSymDense(n, nil)
	for i, k := range idx {
		for j, l := range idx[:i+1] {
			s.SetSym(i, j, h[k][l]*scale[i]*scale[j])
		}
	}
	var eig mat.EigenSym
	if !eig.Factorize(s, true) {
		return step
	}
	var vectors mat.Dense
	eig.VectorsTo(&vectors)
	for c, value := range eig.Values(nil) {
		along := 0.0
		for i, k := range idx {
			along += vectors.At(i, c) * scale[i] * score[k]
		}
		along /= max(math.Abs(value), flat)
		for i, k := range idx {
			step[k] += vectors.At(i, c) * scale[i] * along
		}
	}
	return step
}

// Distance returns the squared distance of a group's points from the fixed
// effects' line, in the variances the model expects of them: about g.N.
func (f *MixedFit) Distance(g Group) float64 {
	a, b, _ := f.fixed(g.Cell)
	k := groupAlgebra(&g, f.Sigma2, f.G, f.G.det())
	z1, z2 := g.residual(a, b)
	u1, u2 := k.project(z1, z2)
	d := g.Y - a - b*g.X
	rr := g.W*d*d + g.YY + b*(b*g.XX-2*g.XY)
	return (rr - z1*(f.G.AA*u1+f.G.AB*u2) - z2*(f.G.AB*u1+f.G.BB*u2)) / f.Sigma2
}
