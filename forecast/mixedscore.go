package forecast

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// mixedSums holds the sums over groups from which likelihood, score and
// information of the variance components (sigma^2, G.AA, G.AB, G.BB) follow.
// With Z = (1 x), S = Z'Z, V = sigma^2 I + Z G Z' of a group and
// K = (sigma^2 I + G S)^-1, everything is 2x2:
//
//	Z'V^-1 = K'Z'   T = Z'V^-1 Z = S K   Z'V^-2 Z = S K^2   Z'V^-3 Z = S K^3
type mixedSums struct {
	model  Mixed
	n      float64 // points
	spread Sym2    // mean Z'Z of a group
	beta   []float64

	cells []cellSums
	xvx   *mat.SymDense // X'V^-1 X
	phi   *mat.SymDense // its inverse
	chol  mat.Cholesky

	logV, quad, logX float64
	grad             [4]float64    // score
	expected         [4][4]float64 // information
	observed         [4][4]float64
}

// cellSums are sums over the groups of one cell.
type cellSums struct {
	a, b float64       // its line at beta
	phi  Sym2          // A Phi A'
	t    Sym2          // sum of T
	u    [2]float64    // sum of Z'V^-1 r
	c    [4]Sym2       // sum of Z'V^-1 V_k V^-1 Z
	h    [4][2]float64 // sum of Z'V^-1 V_k V^-1 r
}

func newMixedSums(m Mixed, p int) *mixedSums {
	return &mixedSums{
		model: m,
		beta:  make([]float64, p),
		cells: make([]cellSums, len(m.Cells)),
		xvx:   mat.NewSymDense(p, nil),
		phi:   mat.NewSymDense(p, nil),
	}
}

// algebra is K, T and determinant of one group.
type algebra struct {
	k11, k12, k21, k22 float64
	t                  Sym2
	det                float64 // |sigma^2 I + G S|
}

// groupAlgebra takes the determinant of G apart: near a bound it would cancel.
func groupAlgebra(g *Group, s2 float64, c Sym2, detG float64) algebra {
	a, b := g.W, g.W*g.X
	d := b*g.X + g.XX
	detS := g.W * g.XX
	det := s2*(s2+c.AA*a+2*c.AB*b+c.BB*d) + detG*detS
	f := 1 / det
	return algebra{
		k11: f * (s2 + c.AB*b + c.BB*d),
		k12: -f * (c.AA*b + c.AB*d),
		k21: -f * (c.AB*a + c.BB*b),
		k22: f * (s2 + c.AA*a + c.AB*b),
		t: Sym2{
			AA: f * (a*s2 + c.BB*detS),
			AB: f * (b*s2 - c.AB*detS),
			BB: f * (d*s2 + c.AA*detS),
		},
		det: det,
	}
}

// residual returns Z'r of the points about the line a + b x.
func (g *Group) residual(a, b float64) (z1, z2 float64) {
	z1 = g.W * (g.Y - a - b*g.X)
	return z1, z1*g.X + g.XY - b*g.XX
}

// project returns u = Z'V^-1 r = K'z.
func (k *algebra) project(z1, z2 float64) (u1, u2 float64) {
	return k.k11*z1 + k.k21*z2, k.k12*z1 + k.k22*z2
}

// line returns a cell's line at beta.
func (w *mixedSums) line(cell int) (a, b float64) {
	return w.cells[cell].a, w.cells[cell].b
}

// setLines works out the lines of all cells.
func (w *mixedSums) setLines() {
	for i := range w.cells {
		c := &w.cells[i]
		c.a, c.b = 0, 0
		for j, x := range w.beta {
			c.a += w.model.Cells[i].Intercept[j] * x
			c.b += w.model.Cells[i].Slope[j] * x
		}
	}
}

// leastSquares sets beta without random effects.
func (w *mixedSums) leastSquares(groups []Group) {
	clear(w.beta)
	w.setLines()
	w.fixedEffects(groups, 1, Sym2{}, 0)
}

// fixedEffects improves beta by generalised least squares on the residuals of
// the present one, and sets Phi.
func (w *mixedSums) fixedEffects(groups []Group, s2 float64, g Sym2, detG float64) {
	for i := range w.cells {
		c := &w.cells[i]
		c.t, c.u = Sym2{}, [2]float64{}
	}
	logDet, logS2 := 0.0, math.Log(s2)
	for i := range groups {
		gr := &groups[i]
		c := &w.cells[gr.Cell]
		k := groupAlgebra(gr, s2, g, detG)
		u1, u2 := k.project(gr.residual(c.a, c.b))
		c.t.AA += k.t.AA
		c.t.AB += k.t.AB
		c.t.BB += k.t.BB
		c.u[0] += u1
		c.u[1] += u2
		logDet += math.Log(k.det)
	}
	w.logV = logDet + (w.n-2*float64(len(groups)))*logS2

	p := len(w.beta)
	rhs := mat.NewVecDense(p, nil)
	w.xvx.Zero()
	for i := range w.cells {
		c, m := &w.cells[i], &w.model.Cells[i]
		for j := range p {
			x, y := m.Intercept[j], m.Slope[j]
			rhs.SetVec(j, rhs.AtVec(j)+x*c.u[0]+y*c.u[1])
			for l := j; l < p; l++ {
				v := c.t.form(x, y, m.Intercept[l], m.Slope[l])
				w.xvx.SetSym(j, l, w.xvx.At(j, l)+v)
			}
		}
	}
	if !w.chol.Factorize(w.xvx) {
		w.logX = math.NaN() // fixed effects that the groups do not tell apart
		return
	}
	w.logX = w.chol.LogDet()
	_ = w.chol.InverseTo(w.phi)
	_ = w.chol.SolveVecTo(rhs, rhs)
	for j := range w.beta {
		w.beta[j] += rhs.AtVec(j)
	}
	w.setLines()
	for i := range w.cells {
		c, m := &w.cells[i], &w.model.Cells[i]
		c.phi = Sym2{}
		for j := range p {
			for l := range p {
				v := w.phi.At(j, l)
				c.phi.AA += m.Intercept[j] * v * m.Intercept[l]
				c.phi.AB += m.Intercept[j] * v * m.Slope[l]
				c.phi.BB += m.Slope[j] * v * m.Slope[l]
			}
		}
	}
}

// form returns (x y) S (z w)'.
func (s Sym2) form(x, y, z, w float64) float64 {
	return x*(s.AA*z+s.AB*w) + y*(s.AB*z+s.BB*w)
}

// evaluate works out likelihood, score and information at p.
func (w *mixedSums) evaluate(p params, groups []Group) {
	s2, g, detG := p.v[0], p.g(), p.det()
	w.fixedEffects(groups, s2, g, detG)
	for i := range w.cells {
		c := &w.cells[i]
		c.c, c.h = [4]Sym2{}, [4][2]float64{}
	}
	var acc groupSums
	for i := range groups {
		acc.add(&groups[i], &w.cells[groups[i].Cell], s2, g, detG)
	}
	w.quad = acc.quad
	w.information(&acc)
}

// groupSums are the scalar sums over all groups; of the pairs only k <= l.
type groupSums struct {
	quad  float64       // r'V^-1 r
	form  [4]float64    // r'V^-1 V_k V^-1 r
	trace [4]float64    // tr V^-1 V_k
	pair  [4][4]float64 // tr V^-1 V_k V^-1 V_l
	fixed [4][4]float64 // tr Phi X'V^-1 V_k V^-1 V_l V^-1 X
	inner [4][4]float64 // r'V^-1 V_k V^-1 V_l V^-1 r
}

// add puts in one group. The derivatives of V are V_0 = I and V_k = Z E_k Z'.
func (s *groupSums) add(gr *Group, c *cellSums, s2 float64, g Sym2, detG float64) {
	k := groupAlgebra(gr, s2, g, detG)
	z1, z2 := gr.residual(c.a, c.b)
	u1, u2 := k.project(z1, z2)
	d := gr.Y - c.a - c.b*gr.X
	rr := gr.W*d*d + gr.YY + c.b*(c.b*gr.XX-2*gr.XY)

	// v = G u; e = V^-1 r = (r - Z v) / sigma^2.
	v1, v2 := g.AA*u1+g.AB*u2, g.AB*u1+g.BB*u2
	zv := z1*v1 + z2*v2
	l := v1 + v2*gr.X
	ee := (rr - 2*zv + gr.W*l*l + gr.XX*v2*v2) / (s2 * s2)
	ku1, ku2 := k.project(u1, u2)
	s.quad += (rr - zv) / s2
	s.form[0] += ee
	s.form[1] += u1 * u1
	s.form[2] += 2 * u1 * u2
	s.form[3] += u2 * u2

	t := k.t
	rest := (gr.N - 2) / s2
	s.trace[0] += rest + k.k11 + k.k22
	s.trace[1] += t.AA
	s.trace[2] += 2 * t.AB
	s.trace[3] += t.BB

	// T2 = T K and T3 = T2 K, symmetric.
	t2 := Sym2{t.AA*k.k11 + t.AB*k.k21, t.AA*k.k12 + t.AB*k.k22, t.AB*k.k12 + t.BB*k.k22}
	t3 := Sym2{t2.AA*k.k11 + t2.AB*k.k21, t2.AA*k.k12 + t2.AB*k.k22, t2.AB*k.k12 + t2.BB*k.k22}
	aa, ab, bb := t.AA*t.AA, t.AA*t.AB, t.AB*t.AB
	ac, bc, cc := t.AA*t.BB, t.AB*t.BB, t.BB*t.BB
	s.pair[0][0] += rest/s2 + k.k11*k.k11 + 2*k.k12*k.k21 + k.k22*k.k22
	s.pair[0][1] += t2.AA
	s.pair[0][2] += 2 * t2.AB
	s.pair[0][3] += t2.BB
	s.pair[1][1] += aa
	s.pair[1][2] += 2 * ab
	s.pair[1][3] += bb
	s.pair[2][2] += 2 * (bb + ac)
	s.pair[2][3] += 2 * bc
	s.pair[3][3] += cc

	// m = T Phi, w = T Phi T, y = T Phi T2.
	m11, m12 := t.AA*c.phi.AA+t.AB*c.phi.AB, t.AA*c.phi.AB+t.AB*c.phi.BB
	m21, m22 := t.AB*c.phi.AA+t.BB*c.phi.AB, t.AB*c.phi.AB+t.BB*c.phi.BB
	w11, w12, w22 := m11*t.AA+m12*t.AB, m11*t.AB+m12*t.BB, m21*t.AB+m22*t.BB
	s.fixed[0][0] += c.phi.AA*t3.AA + 2*c.phi.AB*t3.AB + c.phi.BB*t3.BB
	s.fixed[0][1] += m11*t2.AA + m12*t2.AB
	s.fixed[0][2] += m11*t2.AB + m12*t2.BB + m21*t2.AA + m22*t2.AB
	s.fixed[0][3] += m21*t2.AB + m22*t2.BB
	s.fixed[1][1] += w11 * t.AA
	s.fixed[1][2] += w12*t.AA + w11*t.AB
	s.fixed[1][3] += w12 * t.AB
	s.fixed[2][2] += 2*w12*t.AB + w11*t.BB + w22*t.AA
	s.fixed[2][3] += w12*t.BB + w22*t.AB
	s.fixed[3][3] += w22 * t.BB

	// T E_k u of k = 1, 2, 3.
	e1, f1 := t.AA*u1, t.AB*u1
	e2, f2 := t.AA*u2+t.AB*u1, t.AB*u2+t.BB*u1
	e3, f3 := t.AB*u2, t.BB*u2
	s.inner[0][0] += (ee - v1*ku1 - v2*ku2) / s2
	s.inner[0][1] += ku1 * u1
	s.inner[0][2] += ku1*u2 + ku2*u1
	s.inner[0][3] += ku2 * u2
	s.inner[1][1] += u1 * e1
	s.inner[1][2] += u1 * e2
	s.inner[1][3] += u1 * e3
	s.inner[2][2] += u2*e2 + u1*f2
	s.inner[2][3] += u2*e3 + u1*f3
	s.inner[3][3] += u2 * f3

	c.c[0].add(t2)
	c.c[1].add(Sym2{aa, ab, bb})
	c.c[2].add(Sym2{2 * ab, ac + bb, 2 * bc})
	c.c[3].add(Sym2{bb, bc, cc})
	c.h[0][0] += ku1
	c.h[0][1] += ku2
	c.h[1][0] += e1
	c.h[1][1] += f1
	c.h[2][0] += e2
	c.h[2][1] += f2
	c.h[3][0] += e3
	c.h[3][1] += f3
}

func (s *Sym2) add(o Sym2) {
	s.AA += o.AA
	s.AB += o.AB
	s.BB += o.BB
}

// information joins the sums:
//
//	score_k = -1/2 tr(P V_k) + 1/2 y'P V_k P y
//	expected_kl = 1/2 tr(P V_k P V_l)
//	observed_kl = y'P V_k P V_l P y - expected_kl
//
// with P = V^-1 - V^-1 X Phi X'V^-1; maximum likelihood has V^-1 for P in the
// traces.
func (w *mixedSums) information(s *groupSums) {
	p := len(w.beta)
	var b [4]*mat.Dense // Phi X'V^-1 V_k V^-1 X
	var h [4]*mat.VecDense
	for k := range b {
		x := mat.NewDense(p, p, nil)
		h[k] = mat.NewVecDense(p, nil)
		for i := range w.cells {
			c, m := &w.cells[i], &w.model.Cells[i]
			for j := range p {
				h[k].SetVec(j, h[k].AtVec(j)+m.Intercept[j]*c.h[k][0]+m.Slope[j]*c.h[k][1])
				for l := range p {
					x.Set(j, l, x.At(j, l)+c.c[k].form(m.Intercept[j], m.Slope[j], m.Intercept[l], m.Slope[l]))
				}
			}
		}
		b[k] = mat.NewDense(p, p, nil)
		b[k].Mul(w.phi, x)
	}
	var prod mat.Dense
	for k := range b {
		tr := s.trace[k]
		if !w.model.ML {
			tr -= mat.Trace(b[k])
		}
		w.grad[k] = (s.form[k] - tr) / 2
		for l := k; l < 4; l++ {
			e := s.pair[k][l]
			if !w.model.ML {
				prod.Mul(b[k], b[l])
				e += mat.Trace(&prod) - 2*s.fixed[k][l]
			}
			inner := s.inner[k][l] - mat.Inner(h[k], w.phi, h[l])
			w.expected[k][l], w.expected[l][k] = e/2, e/2
			w.observed[k][l], w.observed[l][k] = inner-e/2, inner-e/2
		}
	}
}

// loglik returns the log likelihood that is maximised; NaN where the fixed
// effects cannot be told apart.
func (w *mixedSums) loglik() float64 {
	if w.model.ML {
		return w.logML()
	}
	return w.logREML()
}

func (w *mixedSums) logML() float64 {
	return -(w.logV + w.quad + w.n*math.Log(2*math.Pi)) / 2
}

func (w *mixedSums) logREML() float64 {
	return -(w.logV + w.logX + w.quad + (w.n-float64(len(w.beta)))*math.Log(2*math.Pi)) / 2
}

// step returns the step of the free parameters and its squared length in
// standard errors: Newton's where the observed information is positive
// definite, else a direction of ascent.
func (w *mixedSums) step(p params, free [4]bool) (step [4]float64, decrement float64, newton bool) {
	order := [4]int{0, 1, 2, 3}
	if p.slopeFirst {
		order = [4]int{0, 3, 2, 1}
	}
	l11, l21, l22 := p.v[1], p.v[2], p.v[3]
	// Derivatives of the components (rows) by the parameters.
	jacobian := [4][4]float64{
		{1, 0, 0, 0},
		{0, 2 * l11, 0, 0},
		{0, l21, l11, 0},
		{0, 0, 2 * l21, 2 * l22},
	}
	var grad, score [4]float64
	var observed, expected [4][4]float64
	for a, o := range order {
		grad[a] = w.grad[o]
		for k := range score {
			score[k] += jacobian[a][k] * grad[a]
			for l := range score {
				for b, q := range order {
					observed[k][l] += jacobian[a][k] * w.observed[o][q] * jacobian[b][l]
					expected[k][l] += jacobian[a][k] * w.expected[o][q] * jacobian[b][l]
				}
			}
		}
	}
	// The parameters' own curvature: - sum of score_k d2 theta_k.
	for _, h := range [2]*[4][4]float64{&observed, &expected} {
		h[1][1] -= 2 * grad[1]
		h[1][2] -= grad[2]
		h[2][1] -= grad[2]
		h[2][2] -= 2 * grad[3]
		h[3][3] -= 2 * grad[3]
	}
	if step, newton = solveActive(observed, score, free); !newton {
		step = ascent(observed, expected, score, free)
	}
	for k := range step {
		decrement += step[k] * score[k]
	}
	return step, decrement, newton
}

// finish writes the estimates at p.
func (w *mixedSums) finish(f *MixedFit, p params, free [4]bool) {
	f.Sigma2, f.G = p.v[0], p.g()
	f.Points = w.n
	f.LogML, f.LogREML = w.logML(), w.logREML()
	f.Bound = free[1] && f.G.AA*w.spread.AA <= singular*f.Sigma2 ||
		free[3] && f.G.BB*w.spread.BB <= singular*f.Sigma2 ||
		free[2] && p.det() <= singular*f.G.AA*f.G.BB
	f.Beta = append([]float64(nil), w.beta...)
	f.BetaCov = make([][]float64, len(f.Beta))
	for i := range f.BetaCov {
		f.BetaCov[i] = mat.Row(nil, i, w.phi)
	}
	// Standard errors need the inverse of the information, a column at a time.
	for k := range f.SE {
		if !free[k] || f.Bound {
			continue
		}
		var unit [4]float64
		unit[k] = 1
		if x, ok := solveActive(w.observed, unit, free); ok {
			f.SE[k] = math.Sqrt(max(x[k], 0))
		}
	}
}
