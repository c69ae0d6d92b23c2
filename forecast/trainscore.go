package forecast

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// The variances learned besides the gauges', in the order of variances().
const noiseParts = 9

// variances lists the sds of n whose squares are learned.
func (n *Noise) variances() [noiseParts]*float64 {
	return [noiseParts]*float64{
		&n.Visit, &n.Start, &n.StartPlace, &n.Side, &n.Place,
		&n.Drift, &n.DriftSide, &n.DriftPlace, &n.AccelSD,
	}
}

// structure returns what one unit of each variance adds to the covariance of
// rows i and k at rate r: the derivatives of the covariance.
func (f *fitter) structure(l *noiseLife, i, k int, r float64) (b [noiseParts]float64) {
	x, y := &l.rows[i], &l.rows[k]
	p, q := &l.places[x.place], &l.places[y.place]
	samePlace := x.place == y.place
	sameSide := samePlace || p.side != 0 && p.side == q.side
	if x.visit == y.visit {
		b[0] = 1
	}
	if p.born == q.born && l.standard[p.born] {
		b[1] = 1
		if samePlace {
			b[2] = 1
		}
	}
	nb := len(l.births)
	m := nb + len(l.visits)
	s, t := nb+x.visit, nb+y.visit
	drift := r * r * (f.drift[s*m+q.born] + f.drift[t*m+p.born] - f.drift[s*m+t] - f.drift[p.born*m+q.born])
	lasting := r * r * l.since(x) * l.since(y)
	b[5] = drift
	if sameSide {
		b[3], b[6] = lasting, drift
	}
	if samePlace {
		b[4], b[7] = lasting, drift
	}
	b[8] = r * r * r * r * f.q[i] * f.q[k]
	return b
}

// lifeScore is what one life says of the parameters: gradients and expected
// information of the likelihood, theta integrated out linearly.
type lifeScore struct {
	n      int
	misfit float64
	g      [noiseParts]float64
	h      [noiseParts][noiseParts]float64

	depots         []int     // its depots, in noiseFit.gauge
	gaugeG, gaugeH []float64 // of their variances
	// Normal equations of the fixed effects, those of its depots last.
	a, b []float64
}

// score works out what a life says. With C the covariance of its readings,
// their residual e at the most likely rate and a = C^-1 e: gradients of a
// variance with structure B are (a'B a - tr(C^-1 B))/2, information of two
// tr(C^-1 B C^-1 B')/2.
func (f *fitter) score(l *noiseLife) lifeScore {
	f.open(&l.axleLife)
	f.take(l.use)
	theta := f.posterior().mean
	n := len(f.use)
	r := math.Exp(theta)
	e, slope := f.residual(theta)
	e, slope = slices.Clone(e[:n]), slices.Clone(slope[:n])
	c := slices.Clone(f.covariance(nil, theta))
	for i := range n {
		for k := range i + 1 {
			c[i*n+k] += thetaVar * slope[i] * slope[k]
		}
	}
	out := lifeScore{n: n}
	if _, ok := cholFactor(c, n); !ok {
		return lifeScore{}
	}
	inv := inverse(c, n)
	a := make([]float64, n)
	for i := range a {
		a[i] = dot(inv[i*n:i*n+n], e)
	}
	out.misfit = dot(a, e) / float64(n)

	b := make([][noiseParts]float64, n*n)
	for i, u := range f.use {
		for k, v := range f.use[:i+1] {
			b[i*n+k] = f.structure(l, max(u, v), min(u, v), r)
			b[k*n+i] = b[i*n+k]
		}
	}
	var w [noiseParts][]float64
	for p := range w {
		w[p] = make([]float64, n*n)
		for i := range n {
			for k := range n {
				x := b[i*n+k][p]
				if x == 0 {
					continue
				}
				out.g[p] += x * (a[i]*a[k] - inv[i*n+k]) / 2
				for j := range n {
					w[p][j*n+k] += inv[j*n+i] * x
				}
			}
		}
		for o := range p + 1 {
			s := 0.0
			for i := range n {
				for k := range n {
					s += w[p][i*n+k] * w[o][k*n+i]
				}
			}
			out.h[p][o] = s / 2
		}
	}
	f.scoreGauges(l, &out, a, inv)
	f.scoreFixed(l, &out, a, inv, r)
	return out
}

// inverse returns the full inverse of a matrix with Cholesky factor c.
func inverse(c []float64, n int) []float64 {
	low, inv := make([]float64, n*n), make([]float64, n*n)
	invertLower(low, c, n)
	for i := range n {
		for j := range i + 1 {
			s := 0.0
			for k := i; k < n; k++ {
				s += low[k*n+i] * low[k*n+j]
			}
			inv[i*n+j], inv[j*n+i] = s, s
		}
	}
	return inv
}

func (f *fitter) scoreGauges(l *noiseLife, out *lifeScore, a, inv []float64) {
	n := out.n
	for i, u := range f.use {
		d := slices.Index(out.depots, l.index[u])
		if d < 0 {
			d = len(out.depots)
			out.depots = append(out.depots, l.index[u])
			out.gaugeG, out.gaugeH = append(out.gaugeG, 0), append(out.gaugeH, 0)
		}
		out.gaugeG[d] += l.joined[u] * (a[i]*a[i] - inv[i*n+i]) / 2
		for k, v := range f.use {
			if l.index[v] == l.index[u] {
				out.gaugeH[d] += l.joined[u] * l.joined[v] * inv[i*n+k] * inv[i*n+k] / 2
			}
		}
	}
}

// scoreFixed fills the normal equations of the fixed effects.
func (f *fitter) scoreFixed(l *noiseLife, out *lifeScore, a, inv []float64, r float64) {
	n, p := out.n, fixedEffects+len(out.depots)
	x := make([]float64, n*p)
	for i, u := range f.use {
		row := &l.rows[u]
		pl := &l.places[row.place]
		to, from := l.visitAt[row.visit], l.birthAt[pl.born]
		own := x[i*p : i*p+p]
		own[innerEffect] = -l.face[row.place] * (r*f.fs[u] + 2*r*r*l.noise.Accel*f.q[u])
		own[accelEffect] = -r * r * f.q[u]
		own[cosEffect] = -r * pl.f * (to[1] - from[1])
		own[sinEffect] = -r * pl.f * (to[2] - from[2])
		own[fixedEffects+slices.Index(out.depots, l.index[u])] = 1
	}
	out.a, out.b = make([]float64, p*p), make([]float64, p)
	for i := range n {
		for k := range n {
			for u := range p {
				y := x[i*p+u] * inv[i*n+k]
				for v := range p {
					out.a[u*p+v] += y * x[k*p+v]
				}
			}
		}
		for u := range p {
			out.b[u] += x[i*p+u] * a[i]
		}
	}
}

// fit learns from the sample: Fisher scoring of the variances, least squares
// of the fixed effects, in turn.
func (n *noiseFit) fit() (c Convergence, lives, left int) {
	sample := n.sample()
	if len(sample) < leastNoiseLives {
		return Convergence{}, len(sample), 0
	}
	before := defaultNoise(Pad)
	for it := range noiseIterations {
		scores := make([]lifeScore, 0, len(sample))
		eachInOrder(slices.Values(sample), 0, func(l *noiseLife) lifeScore {
			f := fitters.Get().(*fitter)
			defer fitters.Put(f)
			n.dress(l)
			return f.score(l)
		}, func(_ *noiseLife, s lifeScore) { scores = append(scores, s) })
		good := ordinary(scores)
		lives, left = len(sample), len(sample)-len(good)
		step := n.moveVariances(good, &before)
		n.moveFixed(good, &before)
		c = Convergence{it + 1, step < noiseTolerance, step}
		if c.Converged {
			break
		}
	}
	return c, lives, left
}

// ordinary leaves out the lives that fit far worse than most.
func ordinary(scores []lifeScore) []lifeScore {
	var ratio []float64
	for _, s := range scores {
		if s.n > 0 {
			ratio = append(ratio, s.misfit)
		}
	}
	if len(ratio) == 0 {
		return nil
	}
	slices.Sort(ratio)
	median := ratio[len(ratio)/2]
	return slices.DeleteFunc(scores, func(s lifeScore) bool {
		return s.n == 0 || s.misfit > median*(1+strangeLife*math.Sqrt(2/float64(s.n)))
	})
}

// moveVariances takes one step of scoring and returns the largest relative
// change of those that matter.
func (n *noiseFit) moveVariances(scores []lifeScore, before *Noise) (largest float64) {
	var a [noiseParts * noiseParts]float64
	var d [noiseParts]float64
	gaugeG, gaugeH := make([]float64, len(n.gauge)), make([]float64, len(n.gauge))
	for i := range scores {
		s := &scores[i]
		for k := range noiseParts {
			d[k] += s.g[k]
			for o := range k + 1 {
				a[k*noiseParts+o] += s.h[k][o]
			}
		}
		for k, g := range s.depots {
			gaugeG[g] += s.gaugeG[k]
			gaugeH[g] += s.gaugeH[k]
		}
	}
	now, first := n.noise.variances(), before.variances()
	for k := range noiseParts {
		p, p0 := *now[k]**now[k], *first[k]**first[k]
		weight := noiseWeight / (p0 * p0)
		d[k] += weight * (p0 - p)
		a[k*noiseParts+k] += weight
	}
	if _, ok := cholFactor(a[:], noiseParts); ok {
		forward(a[:], noiseParts, d[:])
		backward(a[:], noiseParts, d[:])
		for k := range noiseParts {
			p, p0 := *now[k]**now[k], *first[k]**first[k]
			next := max(leastNoise*p0, stepped(p, d[k]))
			largest = max(largest, math.Abs(next-p)/p0)
			*now[k] = math.Sqrt(next)
		}
	}
	mean, rows := 0.0, 0.0
	for i := range n.gauge {
		g := &n.gauge[i]
		weight := noiseWeight / (g.before * g.before)
		step := (gaugeG[i] + weight*(g.before-g.vari)) / (gaugeH[i] + weight)
		next := max(leastNoise*g.before, stepped(g.vari, step))
		largest = max(largest, math.Abs(next-g.vari)/g.before)
		g.vari = next
		mean += next * float64(g.rows)
		rows += float64(g.rows)
	}
	n.noise.Gauge = math.Sqrt(mean / rows)
	return largest
}

// moveFixed solves the fixed effects for the present variances.
func (n *noiseFit) moveFixed(scores []lifeScore, before *Noise) {
	p := fixedEffects + len(n.gauge)
	a, b := mat.NewSymDense(p, nil), mat.NewVecDense(p, nil)
	lean := func(i int, now, mean, sd float64) {
		a.SetSym(i, i, 1/(sd*sd))
		b.SetVec(i, (mean-now)/(sd*sd))
	}
	lean(innerEffect, n.noise.InnerOuter, before.InnerOuter, innerPriorSD)
	lean(accelEffect, n.noise.Accel, before.Accel, accelPriorSD)
	lean(cosEffect, n.season.Cos, 0, seasonAmpSD)
	lean(sinEffect, n.season.Sin, 0, seasonAmpSD)
	for i, g := range n.gauge {
		lean(fixedEffects+i, g.bias, 0, depotBiasSD)
	}
	for i := range scores {
		s := &scores[i]
		q := len(s.b)
		column := func(k int) int {
			if k < fixedEffects {
				return k
			}
			return fixedEffects + s.depots[k-fixedEffects]
		}
		for u := range q {
			cu := column(u)
			b.SetVec(cu, b.AtVec(cu)+s.b[u])
			for v := range q {
				if cv := column(v); cu <= cv {
					a.SetSym(cu, cv, a.At(cu, cv)+s.a[u*q+v])
				}
			}
		}
	}
	var chol mat.Cholesky
	if !chol.Factorize(a) {
		return
	}
	var x mat.VecDense
	_ = chol.SolveVecTo(&x, b) // ill-conditioned is good enough for a step
	n.noise.InnerOuter += x.AtVec(innerEffect)
	n.noise.Accel += x.AtVec(accelEffect)
	n.season.Cos += x.AtVec(cosEffect)
	n.season.Sin += x.AtVec(sinEffect)
	if amp := math.Hypot(n.season.Cos, n.season.Sin); amp > mostAmplitude {
		n.season.Cos *= mostAmplitude / amp
		n.season.Sin *= mostAmplitude / amp
	}
	for i := range n.gauge {
		n.gauge[i].bias += x.AtVec(fixedEffects + i)
	}
}
