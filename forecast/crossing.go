package forecast

import "math"

// maxPlaces bounds the positions of one part set: two sides, two faces.
const maxPlaces = 4

// steps holds distances and what the fitted life says of each.
type steps struct {
	at    []float64 // 1000 km, ascending, none before the last fitting
	above []float64 // chance that every place is above its limit
	each  []float64 // chance per place, [step*maxPlaces + place]
	mean  []float64 // expected value per place, mm
	sq    []float64 // expected square of it
	first [maxPlaces]float64
	// first is the share of the fall of above over the steps that is due to
	// each place.
}

func (s *steps) reset(at []float64) {
	s.at = append(s.at[:0], at...)
	n := len(at)
	s.above, s.each = grow(s.above, n), grow(s.each, n*maxPlaces)
	s.mean, s.sq = grow(s.mean, n*maxPlaces), grow(s.sq, n*maxPlaces)
	clear(s.above)
	clear(s.each)
	clear(s.mean)
	clear(s.sq)
	s.first = [maxPlaces]float64{}
}

// ahead is how the values of the places at some distance S hang together with
// the rows in use. The covariance of place j's value at S with the readings is
//
//	still_j + r^2 (move_j + exp(-(S-S0)/ell) fade_j + (S-a_j) last_j) + r^4 AccelSD^2 q_j(S) q
//
// with S0 the last visit, a_j the place's fitting, and vectors that do not
// depend on S as long as S >= S0. Before that, each S has a move of its own.
type ahead struct {
	still, move, fade, last [maxPlaces][]float64 // rotated
	v                       [3*maxPlaces + 1][]float64
	gram                    [3*maxPlaces + 1][3*maxPlaces + 1]float64
	with                    [3*maxPlaces + 1]float64 // products with the residual
}

// moment is what the places' values at one distance have in common for all
// theta.
type moment struct {
	fade  float64
	since [maxPlaces]float64
	worn  [maxPlaces]float64
	q     [maxPlaces]float64
	wear  [maxPlaces][maxPlaces]float64 // prior covariance over r^2
}

// prepare fills f.ahead for distances from S0 on, or for S alone when it lies
// before S0.
func (f *fitter) prepare(s float64) {
	a, h, n := f.life, &f.ahead, len(f.use)
	s0 := f.lastVisit()
	ell := a.length
	for j := range a.places {
		for _, v := range []*[]float64{&h.still[j], &h.move[j], &h.fade[j], &h.last[j]} {
			*v = grow(*v, n)
		}
		born := &a.births[a.places[j].born]
		for i, u := range f.use {
			r := &a.rows[u]
			p := &a.places[r.place]
			lasting, drift := a.shared(j, r.place)
			at, start := a.visits[r.visit], a.births[p.born].at
			var still, move, fade float64
			if p.born == a.places[j].born {
				still = born.common * born.common
				move = born.gap * born.gap / 12
			}
			if r.place == j {
				still += born.own * born.own
			}
			if s >= s0 {
				move += drift * (ell*(at-start) + driftIntegral(at-born.at, ell) - driftIntegral(born.at-start, ell))
				fade = drift * ell * ell * (math.Exp(-(s0-start)/ell) - math.Exp(-(s0-at)/ell))
			} else {
				move += drift * driftCov(born.at, s, start, at, ell)
			}
			h.still[j][i], h.move[j][i], h.fade[j][i] = still, move, fade
			h.last[j][i] = lasting * (at - start)
		}
		f.rotate(h.still[j])
		f.rotate(h.move[j])
		f.rotate(h.fade[j])
		f.rotate(h.last[j])
	}
	for k := range h.v {
		h.v[k] = grow(h.v[k], n)
	}
}

func (f *fitter) lastVisit() float64 {
	if len(f.use) == 0 {
		return math.Inf(-1)
	}
	r := f.life.rows[f.use[len(f.use)-1]]
	return f.life.visits[r.visit]
}

// moments fills m for distance s.
func (f *fitter) moments(m *moment, s float64) {
	a := f.life
	m.fade = math.Exp(-(s - f.lastVisit()) / a.length)
	for j := range a.places {
		p := &a.places[j]
		b := &a.births[p.born]
		m.since[j] = s - b.at
		m.worn[j] = p.worn(s, b.at)
		m.q[j] = m.worn[j] * m.worn[j] / (2 * p.span)
		for k := range j + 1 {
			bk := &a.births[a.places[k].born]
			lasting, drift := a.shared(j, k)
			w := lasting*m.since[j]*m.since[k] + drift*driftCov(b.at, s, bk.at, s, a.length)
			if a.places[k].born == p.born {
				w += b.gap * b.gap / 12
			}
			m.wear[j][k] = w
		}
	}
}

// look fills out for the distances in out.at, averaged over the posterior.
func (f *fitter) look(out *steps) {
	s0 := f.lastVisit()
	f.moment = growMoments(f.moment, len(out.at))
	for i, s := range out.at {
		f.moments(&f.moment[i], s)
	}
	for i := 0; i < len(out.at); {
		end := i + 1
		if out.at[i] >= s0 {
			end = len(out.at)
		}
		f.prepare(out.at[i])
		for k, theta := range f.grid.theta {
			if w := f.grid.w[k]; w > 0 {
				f.lookGiven(theta, w, out, i, end)
			}
		}
		i = end
	}
}

func growMoments(m []moment, n int) []moment {
	if cap(m) < n {
		return make([]moment, n)
	}
	return m[:n]
}

// project works out the inner products that every distance shares at theta.
func (f *fitter) project(theta float64) {
	a, h, n := f.life, &f.ahead, len(f.use)
	np := len(a.places)
	f.logLik(theta)
	r := math.Exp(theta)
	kappa := f.kappa(r)
	for j := range np {
		for i := range f.res {
			f.res[i] = h.still[j][i] + r*r*h.move[j][i]
		}
		f.whiten(h.v[3*j], f.res)
		f.whiten(h.v[3*j+1], h.fade[j])
		f.whiten(h.v[3*j+2], h.last[j])
	}
	last := 3 * np
	copy(h.v[last], f.zq)
	shrink := 0.0
	if n > 0 {
		shrink = kappa / (1 + kappa*dot(f.zq, f.zq))
	}
	eq := dot(f.ze[:n], f.zq)
	var vq [3*maxPlaces + 1]float64
	for i := range last + 1 {
		vq[i] = dot(h.v[i], f.zq)
		h.with[i] = dot(h.v[i], f.ze) - shrink*vq[i]*eq
	}
	for i := range last + 1 {
		for k := range i + 1 {
			g := dot(h.v[i], h.v[k]) - shrink*vq[i]*vq[k]
			h.gram[i][k], h.gram[k][i] = g, g
		}
	}
}

// lookGiven adds to steps from i to end what holds at theta, times w.
func (f *fitter) lookGiven(theta, w float64, out *steps, i, end int) {
	a, h := f.life, &f.ahead
	np := len(a.places)
	f.project(theta)
	r := math.Exp(theta)
	r2, kappa := r*r, f.kappa(r)
	var z [maxPlaces]float64
	var cov [maxPlaces][maxPlaces]float64
	var load orthant
	var before, above [maxPlaces]float64
	wasAll := 0.0
	for ; i < end; i++ {
		m := &f.moment[i]
		var c [maxPlaces][4]float64
		for j := range np {
			c[j] = [4]float64{1, r2 * m.fade, r2 * m.since[j], kappa * m.q[j]}
		}
		for j := range np {
			for k := range j + 1 {
				cov[j][k] = r2*m.wear[j][k] + kappa*m.q[j]*m.q[k] - h.form(j, &c[j], k, &c[k], np)
			}
		}
		for j := range np {
			p := &a.places[j]
			b := &a.births[p.born]
			for k := range j + 1 {
				if a.places[k].born == p.born {
					cov[j][k] += b.common * b.common
				}
			}
			cov[j][j] += b.own * b.own
			mean := b.mean - r*m.worn[j] - r2*a.noise.Accel*m.q[j] +
				c[j][0]*h.with[3*j] + c[j][1]*h.with[3*j+1] + c[j][2]*h.with[3*j+2] + c[j][3]*h.with[3*np]
			vari := max(cov[j][j], minVar)
			cov[j][j] = vari
			z[j] = (mean - p.limit) / math.Sqrt(vari)
			out.mean[i*maxPlaces+j] += w * mean
			out.sq[i*maxPlaces+j] += w * (mean*mean + vari)
			above[j] = phi(z[j])
			out.each[i*maxPlaces+j] += w * above[j]
		}
		all := load.above(np, &z, &cov)
		out.above[i] += w * all
		if i > 0 {
			for j := range np {
				if above[j] > 0 && before[j] > above[j] {
					out.first[j] += w * (before[j] - above[j]) / (before[j] + above[j]) * (wasAll + all)
				}
			}
		}
		before, wasAll = above, all
	}
}

// minVar keeps a value's variance, mm^2, off zero: a hundredth of a
// micrometre.
const minVar = 1e-10

// form is c_j' G c_k for the places' parts of the gram matrix.
func (h *ahead) form(j int, cj *[4]float64, k int, ck *[4]float64, np int) float64 {
	q := 3 * np
	s := 0.0
	for x := range 3 {
		row := &h.gram[3*j+x]
		s += cj[x] * (row[3*k]*ck[0] + row[3*k+1]*ck[1] + row[3*k+2]*ck[2] + row[q]*ck[3])
	}
	row := &h.gram[q]
	return s + cj[3]*(row[3*k]*ck[0]+row[3*k+1]*ck[1]+row[3*k+2]*ck[2]+row[q]*ck[3])
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
	// certain: a place so many sds above its limit, or below, is not worth
	// integrating over.
	certain = 6.0
	// Sweeps of the fit of the loadings: the first time, and from a fit nearby.
	firstSweeps, nextSweeps = 8, 2
	// From this slope in u on, 12 nodes miss the step: loadings of about 0.94.
	steep = 3.0
	// maxLoading keeps the part of its own of each place off zero.
	maxLoading = 0.995
)

func (o *orthant) above(n int, z *[maxPlaces]float64, cov *[maxPlaces][maxPlaces]float64) float64 {
	least := math.Inf(1)
	for _, x := range z[:n] {
		least = min(least, x)
	}
	switch {
	case least > certain:
		return 1
	case least < -certain:
		return 0
	case n == 1:
		return phi(z[0])
	}
	o.fit(n, z, cov)
	var at, by [maxPlaces]float64
	most := 0.0
	for j := range n {
		s := 1 / math.Sqrt(1-o.l[j]*o.l[j])
		at[j], by[j] = z[j]*s, o.l[j]*s
		most = max(most, s)
	}
	given := func(u float64) float64 {
		up, down := 1.0, 1.0
		for j := range n {
			up *= phi(at[j] + by[j]*u)
			down *= phi(at[j] - by[j]*u)
		}
		return up + down
	}
	total := 0.0
	if most < steep {
		for _, node := range hermite12 {
			total += node[1] * given(node[0])
		}
		return total
	}
	// The sum over equal steps is as good as exact once they resolve the
	// steepest place.
	h := 1.2 / most
	for u := h / 2; u < certain; u += h {
		total += h * math.Exp(-u*u/2) * given(u)
	}
	return min(1, total/math.Sqrt(2*math.Pi))
}

// fit finds loadings whose products come nearest the correlations, by least
// squares in one of them at a time. Places near their limits count most: a
// correlation matters by the joint density at both limits.
func (o *orthant) fit(n int, z *[maxPlaces]float64, cov *[maxPlaces][maxPlaces]float64) {
	var rho [maxPlaces][maxPlaces]float64
	for j := range n {
		for k := range j {
			c := cov[j][k] / math.Sqrt(cov[j][j]*cov[k][k])
			rho[j][k], rho[k][j] = c, c
		}
	}
	if n == 2 {
		c := max(-maxLoading, min(maxLoading, rho[0][1]))
		o.l[0] = math.Sqrt(math.Abs(c))
		o.l[1] = math.Copysign(o.l[0], c)
		return
	}
	var weight [maxPlaces]float64
	for j := range n {
		w := 1 / (1 + z[j]*z[j]/2)
		weight[j] = w * w
	}
	sweeps := nextSweeps
	if !o.begun {
		sweeps = firstSweeps
		for j := range n {
			o.l[j] = 0.5
		}
		o.begun = true
	}
	for range sweeps {
		for j := range n {
			var up, down float64
			for k := range n {
				if k != j {
					up += weight[k] * rho[j][k] * o.l[k]
					down += weight[k] * o.l[k] * o.l[k]
				}
			}
			if down > 1e-12 {
				o.l[j] = max(-maxLoading, min(maxLoading, up/down))
			}
		}
	}
}
