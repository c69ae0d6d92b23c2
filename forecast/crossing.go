package forecast

import "math"

// maxPlaces bounds the positions of one part set: two sides, two faces.
const maxPlaces = 4

// point is what the fitted life says of one distance.
type point struct {
	at    float64            // 1000 km on the axle's scale
	above float64            // chance that every place is above its limit
	each  [maxPlaces]float64 // chance per place
	mean  [maxPlaces]float64 // expected value per place, mm
	sq    [maxPlaces]float64 // expected square of it
	given []given            // the chances at each node of theta

	// plain: the mean and sq of each place are all that is wanted.
	plain bool

	zAbove float64            // normal deviates of 1 - above
	z      [maxPlaces]float64 // and of 1 - each
}

// given are above and each of a point at one theta.
type given struct {
	above float64
	each  [maxPlaces]float64
}

// ahead is how the values of the places at some distance S hang together with
// the rows in use. The covariance of place j's value at S with the readings is
//
//	still_j + r^2 (move_j + exp(-(S-S0)/ell) fade_j + (S-a_j) last_j) + r^4 AccelSD^2 q_j(S) q
//
// with S0 the last visit, a_j the place's fitting, and vectors that do not
// depend on S as long as S >= S0. Before that, each S has a move of its own.
type ahead struct {
	from, to                float64 // the distances it holds for
	still, move, fade, last []lanes // a lane for each place
	v                       [3][]lanes
	node                    []node
	loading                 orthant
}

// node is what all distances share at one theta: the inner products, in the
// metric of the readings' covariance, of the places' terms, and theirs with the
// residual.
type node struct {
	w, r, r2, kappa float64
	gram            [maxPlaces][maxPlaces]gram // of a place and those up to it
	with            [maxPlaces][terms]float64
}

// terms are still + r^2 move, fade and last of a place, and q, which is the same for
// all.
const terms = 4

const bendTerm = terms - 1

// gram holds the inner products of the terms of one place with those of another.
type gram [terms][terms]float64

func (f *fitter) lastVisit() float64 {
	if len(f.use) == 0 {
		return math.Inf(-1)
	}
	r := f.life.rows[f.use[len(f.use)-1]]
	return f.life.visits[r.visit]
}

// prepareFor fills f.ahead unless it holds for distance s.
func (f *fitter) prepareFor(s float64) {
	if s < f.ahead.from || s > f.ahead.to {
		f.prepare(s)
	}
}

// prepare fills f.ahead for all distances from the last visit on, or for s
// alone when it lies before.
func (f *fitter) prepare(s float64) {
	a, h, n := f.life, &f.ahead, len(f.use)
	s0, ell := f.lastVisit(), a.length
	h.from, h.to = s0, math.Inf(1)
	if s < s0 {
		h.from, h.to = s, s
	}
	for _, v := range [...]*[]lanes{&h.still, &h.move, &h.fade, &h.last, &h.v[0], &h.v[1], &h.v[2]} {
		*v = growLanes(*v, n)
		clear(*v)
	}
	faded := 0.0
	for i, u := range f.use {
		r := &a.rows[u]
		p := &a.places[r.place]
		at, start := a.visits[r.visit], a.births[p.born].at
		if s >= s0 && !f.likeLast(i) {
			faded = math.Exp(-(s0-start)/ell) - math.Exp(-(s0-at)/ell)
		}
		for j := range a.live {
			b := a.places[j].born
			born := &a.births[b]
			lasting, drift := a.shared(j, r.place)
			var still, move, fade float64
			if p.born == b {
				still = born.common * born.common
				move = born.gap * born.gap / 12
			}
			if r.place == j {
				still += born.own * born.own
			}
			if s >= s0 {
				move += drift * (ell*(at-start) + f.drifted(r.visit, b) - f.driftedBetween(b, p.born))
				fade = drift * ell * ell * faded
			} else {
				move += drift * driftCov(born.at, s, start, at, ell)
			}
			h.still[i][j], h.move[i][j], h.fade[i][j] = still, move, fade
			h.last[i][j] = lasting * (at - start)
		}
	}
	f.rotate(h.still)
	f.rotate(h.move)
	f.rotate(h.fade)
	f.rotate(h.last)
	g := &f.grid
	if cap(h.node) < len(g.theta) {
		h.node = make([]node, len(g.theta))
	}
	h.node = h.node[:len(g.theta)]
	for k, theta := range g.theta {
		f.project(&h.node[k], theta)
		h.node[k].w = g.w[k]
	}
	h.loading.begun = false
}

// project works out a node.
func (f *fitter) project(d *node, theta float64) {
	h, np := &f.ahead, min(f.life.live, maxPlaces)
	eq, shrink := f.turn(theta)
	r := math.Exp(theta)
	d.r, d.r2, d.kappa = r, r*r, f.kappa(r)
	for i := range h.v[0] {
		v, still, move := &h.v[0][i], &h.still[i], &h.move[i]
		for j := range v {
			v[j] = still[j] + d.r2*move[j]
		}
	}
	f.whiten(h.v[0], h.v[0])
	f.whiten(h.v[1], h.fade)
	f.whiten(h.v[2], h.last)
	qs := products(f.white, bendLane, f.white)
	var vq [maxPlaces][terms]float64
	for x, v := range h.v {
		q, e := products(f.white, bendLane, v), products(f.white, residualLane, v)
		for j := range np {
			vq[j][x], d.with[j][x] = q[j], e[j]
			for y, u := range h.v[:x+1] {
				g := products(v, j, u)
				for k := range j + 1 {
					d.gram[j][k][x][y] = g[k]
				}
				for k := j; k < np; k++ {
					d.gram[k][j][y][x] = g[k]
				}
			}
		}
	}
	for j := range np {
		vq[j][bendTerm], d.with[j][bendTerm] = qs[bendLane], qs[residualLane]
		for k := range j + 1 {
			g := &d.gram[j][k]
			for x := range bendTerm {
				g[x][bendTerm], g[bendTerm][x] = vq[j][x], vq[k][x]
			}
			g[bendTerm][bendTerm] = qs[bendLane]
			for x := range g {
				for y := range g[x] {
					g[x][y] -= shrink * vq[j][x] * vq[k][y]
				}
			}
		}
		for x := range d.with[j] {
			d.with[j][x] -= shrink * vq[j][x] * eq
		}
	}
}

// look fills p for the distance p.at, averaged over the posterior. p.at must
// not lie before the last fitting.
func (f *fitter) look(p *point) {
	a, h := f.life, &f.ahead
	f.prepareFor(p.at)
	np := min(a.live, maxPlaces)
	var m moment
	f.moments(&m, p.at)
	p.above, p.each, p.mean, p.sq = 0, [maxPlaces]float64{}, [maxPlaces]float64{}, [maxPlaces]float64{}
	if cap(p.given) < len(h.node) {
		p.given = make([]given, len(h.node))
	}
	p.given = p.given[:len(h.node)]
	var z, inv [maxPlaces]float64
	var cov [maxPlaces][maxPlaces]float64
	for i := range h.node {
		d := &h.node[i]
		var c [maxPlaces][terms]float64
		var q [maxPlaces]float64
		g := &p.given[i]
		least := math.Inf(1)
		for j := range np {
			q[j] = bend(d.r, m.worn[j], m.span[j])
			c[j] = [terms]float64{1, d.r2 * m.fade, d.r2 * m.since[j], d.kappa * q[j]}
			w := &d.with[j]
			mean := m.new[j] - d.r*m.worn[j] - d.r2*a.noise.Accel*q[j] +
				w[0] + c[j][1]*w[1] + c[j][2]*w[2] + c[j][3]*w[3]
			vari := m.still[j][j] + d.r2*m.wear[j][j] + c[j][3]*q[j] - d.gram[j][j].own(&c[j])
			if vari < minVar {
				vari = minVar
			}
			cov[j][j] = vari
			inv[j] = 1 / math.Sqrt(vari)
			z[j] = (mean - m.limit[j]) * inv[j]
			if z[j] < least {
				least = z[j]
			}
			p.mean[j] += d.w * mean
			p.sq[j] += d.w * (mean*mean + vari)
			if p.plain {
				continue
			}
			g.each[j] = phi(z[j])
			p.each[j] += d.w * g.each[j]
		}
		if p.plain {
			continue
		}
		switch {
		case np == 1:
			g.above = g.each[0]
		case least > certain:
			// Between the likeliest place alone and all of them apart.
			below, worst := 0.0, 0.0
			for _, above := range g.each[:np] {
				below += 1 - above
				worst = max(worst, 1-above)
			}
			g.above = 1 - (worst+below)/2
		case least < -certain:
			g.above = phi(least) / 2
		default:
			for j := range np {
				for k := range j {
					cov[j][k] = m.still[j][k] + d.r2*m.wear[j][k] + c[j][3]*q[k] - d.gram[j][k].form(&c[j], &c[k])
				}
			}
			g.above = h.loading.above(np, &z, &cov, &inv)
		}
		p.above += d.w * g.above
	}
}

// moment is what the places' values at one distance have in common for all
// theta; their prior covariance is still + r^2 wear + r^4 AccelSD^2 q q'.
type moment struct {
	new, limit  [maxPlaces]float64 // values
	span        [maxPlaces]float64
	fade        float64
	since       [maxPlaces]float64
	worn        [maxPlaces]float64
	still, wear [maxPlaces][maxPlaces]float64
}

// moments fills m for distance s.
func (f *fitter) moments(m *moment, s float64) {
	a := f.life
	m.fade = math.Exp(-(s - f.lastVisit()) / a.length)
	own := 0.0 // variance of the drift of a place fitted with the last one
	for j := range a.live {
		p := &a.places[j]
		b := &a.births[p.born]
		m.new[j], m.limit[j], m.span[j] = b.mean, p.limit, p.span
		m.since[j] = s - b.at
		m.worn[j] = p.worn(s, b.at)
		if j == 0 || p.born != a.places[j-1].born {
			own = 2 * driftIntegral(s-b.at, a.length)
		}
		for k := range j + 1 {
			bk := &a.births[a.places[k].born]
			lasting, drift := a.shared(j, k)
			var cov float64
			if bk.at == b.at {
				cov = own
			} else {
				cov = driftCov(b.at, s, bk.at, s, a.length)
			}
			still, wear := 0.0, lasting*m.since[j]*m.since[k]+drift*cov
			if a.places[k].born == p.born {
				still = b.common * b.common
				wear += b.gap * b.gap / 12
			}
			if j == k {
				still += b.own * b.own
			}
			m.still[j][k], m.wear[j][k] = still, wear
		}
	}
}

// bend is q over distances yet to come, at rate r. Once bendUntil spans are
// worn it goes on along its tangent: the parabola of a part whose wear loses
// pace would otherwise turn and give back what was worn.
func bend(r, worn, span float64) float64 {
	const bendUntil = 3
	if gone := r * worn; gone > bendUntil*span {
		return bendUntil * (gone - bendUntil*span/2) / (r * r)
	}
	return worn * worn / (2 * span)
}

// minVar keeps a value's variance, mm^2, off zero: a hundredth of a
// micrometre.
const minVar = 1e-10

// form is c' G o for the factors c and o of two places' terms, of which the first are
// 1.
func (b *gram) form(c, o *[terms]float64) float64 {
	return b[0][0] + b[0][1]*o[1] + b[0][2]*o[2] + b[0][3]*o[3] +
		c[1]*(b[1][0]+b[1][1]*o[1]+b[1][2]*o[2]+b[1][3]*o[3]) +
		c[2]*(b[2][0]+b[2][1]*o[1]+b[2][2]*o[2]+b[2][3]*o[3]) +
		c[3]*(b[3][0]+b[3][1]*o[1]+b[3][2]*o[2]+b[3][3]*o[3])
}

// own is form of a place with itself.
func (b *gram) own(c *[terms]float64) float64 {
	return b[0][0] +
		c[1]*(2*b[1][0]+b[1][1]*c[1]) +
		c[2]*(2*(b[2][0]+b[2][1]*c[1])+b[2][2]*c[2]) +
		c[3]*(2*(b[3][0]+b[3][1]*c[1]+b[3][2]*c[2])+b[3][3]*c[3])
}

// orthant gives the chance that jointly normal values all exceed their
// limits, with correlations taken as products of loadings on one factor
// (Dunnett & Sobel 1955, from memory). It starts each fit of the loadings
// where the last one ended.
type orthant struct {
	l     [maxPlaces]float64
	begun bool
}

const (
	// certain: with all places so many sds above their limits, or one below,
	// nothing is worth integrating over: what is left is below 1e-4.
	certain = 4.0
	// Sweeps of the fit of the loadings: the first time, and from a fit nearby.
	firstSweeps, nextSweeps = 8, 2
	// From these slopes in u on, the coarser rule misses the step: loadings of
	// about 0.80, 0.94 and 0.98.
	sloping, steep, steeper = 1.7, 3.0, 5.0
	// surely: so many sds from its limit, with the factor given, a place is past it or
	// not but for 1e-9.
	surely = 6.0
	// maxLoading keeps the part of its own of each place off zero.
	maxLoading = 0.995
)

// above takes the limits' deviates z, the values' covariances (lower triangle)
// and the inverses of their sds. It is for two places or more.
func (o *orthant) above(n int, z *[maxPlaces]float64, cov *[maxPlaces][maxPlaces]float64, inv *[maxPlaces]float64) float64 {
	n = min(n, maxPlaces) // for the compiler: no index is beyond
	o.fit(n, z, cov, inv)
	var at, by [maxPlaces]float64
	most, m := 0.0, 0
	// Up to none some place is sure to be past its limit, from all on none is: only
	// between them is there anything to work out, for about half of the nodes.
	none, all := math.Inf(-1), math.Inf(-1)
	for j := range n {
		if z[j] > certain {
			continue
		}
		s := 1 / math.Sqrt(1-o.l[j]*o.l[j])
		at[m], by[m] = z[j]*s, o.l[j]*s
		if by[m] > 0 {
			slope := 1 / by[m]
			none, all = max(none, (-surely-at[m])*slope), max(all, (surely-at[m])*slope)
		} else {
			all = math.Inf(1)
		}
		most = max(most, s)
		m++
	}
	rule := ruleFor(most)
	total := 0.0
	for i := range rule {
		node := &rule[i]
		if node.u < none {
			continue
		}
		if node.u >= all {
			total += node.rest
			break
		}
		p := node.w
		for j := range m {
			p *= phi(at[j] + by[j]*node.u)
		}
		total += p
	}
	return min(1, total)
}

// ruleFor is the rule that does not miss the steepest of the places' steps.
func ruleFor(slope float64) []normalNode {
	switch {
	case slope > steeper:
		return eighths
	case slope > steep:
		return quarters
	case slope > sloping:
		return coarse
	}
	return hermite12
}

// fit finds loadings whose products come nearest the correlations, by least
// squares in one of them at a time. Places near their limits count most: a
// correlation matters by the joint density at both limits.
func (o *orthant) fit(n int, z *[maxPlaces]float64, cov *[maxPlaces][maxPlaces]float64, inv *[maxPlaces]float64) {
	if n == 2 {
		c := max(-maxLoading, min(maxLoading, cov[1][0]*inv[1]*inv[0]))
		o.l[0] = math.Sqrt(math.Abs(c))
		o.l[1] = math.Copysign(o.l[0], c)
		return
	}
	n = min(n, maxPlaces)
	var weight [maxPlaces]float64
	for j := range n {
		w := 1 / (1 + z[j]*z[j]/2)
		weight[j] = w * w
	}
	var rho [maxPlaces][maxPlaces]float64 // times the weight of the second place
	for j := range n {
		for k := range j {
			c := cov[j][k] * inv[j] * inv[k]
			rho[j][k], rho[k][j] = weight[k]*c, weight[j]*c
		}
	}
	sweeps := nextSweeps
	if !o.begun {
		sweeps = firstSweeps
		for j := range n {
			o.l[j] = 0.5
		}
		o.begun = true
	}
	l := o.l
	var square [maxPlaces]float64 // of the loadings, times the weights
	for j := range n {
		square[j] = weight[j] * l[j] * l[j]
	}
	for range sweeps {
		for j := range n {
			var up, down float64
			for k := range n {
				if k != j {
					up += rho[j][k] * l[k]
					down += square[k]
				}
			}
			if down > 1e-12 {
				l[j] = max(-maxLoading, min(maxLoading, up/down))
				square[j] = weight[j] * l[j] * l[j]
			}
		}
	}
	o.l = l
}
