package forecast

import (
	"math"
	"slices"
	"sort"
)

// A path's points are enough for a smooth band: what is behind bends between the
// visits, what lies ahead hardly.
const (
	stepsBehind = 24
	stepsAhead  = 12
)

// paths samples each live place from its fitting to a little past the limit.
func (f *fitter) paths(s *set, h *vehicleHistory, o *outlook) [][]PathPoint {
	born := math.Inf(-1) // the model looks at all places at once
	for _, p := range s.places[:s.live] {
		born = max(born, s.births[p.born].at)
	}
	// One sweep serves all places: as far as the last of them goes, with a step
	// at the end of each.
	ends := make([]float64, s.live)
	for j := range ends {
		ends[j] = max(o.each[j].Quantile(.75), o.now.at)
	}
	steps := slices.Clone(ends)
	for k := range stepsBehind {
		steps = append(steps, born+(o.now.at-born)*float64(k)/(stepsBehind-1))
	}
	for last, k := slices.Max(ends), 1; k < stepsAhead; k++ {
		steps = append(steps, o.now.at+(last-o.now.at)*float64(k)/stepsAhead)
	}
	slices.Sort(steps)
	out := make([][]PathPoint, s.live)
	for j := range out {
		out[j] = make([]PathPoint, 0, len(steps))
	}
	steps = slices.Compact(steps)
	behind := sort.SearchFloat64s(steps, f.lastVisit())
	f.seen = slices.Grow(f.seen[:0], len(steps))[:len(steps)]
	for i, at := range steps {
		f.seen[i] = sight{point: point{at: at, plain: true}}
	}
	whole := f.grid
	thin := whole.thin()
	f.grid.theta, f.grid.w = thin.theta, thin.w
	// What lies ahead first, by the nodes that are prepared.
	f.prepareFor(o.now.at)
	f.ahead.keep(&thin)
	for i := range f.seen[behind:] {
		f.look(&f.seen[behind+i].point)
	}
	f.lookBack(f.seen[:behind])
	f.grid = whole
	f.ahead.from, f.ahead.to = math.Inf(1), math.Inf(-1) // stale
	for i := range f.seen {
		p := &f.seen[i]
		km := h.track.Display(h.km(p.at))
		for j := range out {
			if p.at > ends[j] {
				continue
			}
			sd := math.Sqrt(max(0, p.sq[j]-p.mean[j]*p.mean[j]))
			a, b := s.value(p.mean[j]-z80*sd), s.value(p.mean[j]+z80*sd)
			out[j] = append(out[j], PathPoint{Km: km, Mid: s.value(p.mean[j]), Lo: min(a, b), Hi: max(a, b)})
		}
	}
	return out
}

// thinned are some of a grid's nodes.
type thinned struct {
	node     []int // which
	theta, w []float64
}

// keep leaves some of the nodes.
func (h *ahead) keep(t *thinned) {
	for i, k := range t.node {
		h.node[i] = h.node[k]
		h.node[i].w = t.w[i]
	}
	h.node = h.node[:len(t.node)]
}

// thin returns as many of the posterior's nodes as a band on a plot needs.
func (g *grid) thin() thinned {
	const (
		widest = 1.7  // sds between nodes, enough for one hump
		off    = 0.02 // sds that mean and sd may be off; humps apart need more nodes
	)
	stride := 1
	if n := len(g.theta); n > 1 {
		stride = max(1, int(widest*g.sd*float64(n-1)/(g.theta[n-1]-g.theta[0])))
	}
	for ; stride > 1; stride-- {
		if t, mean, sd := g.every(stride); math.Abs(mean-g.mean) <= off*g.sd && math.Abs(sd-g.sd) <= off*g.sd {
			return t
		}
	}
	t, _, _ := g.every(1)
	return t
}

// every returns each so many of the nodes, the likeliest among them, but those that
// hardly count, and the mean and sd by them.
func (g *grid) every(stride int) (t thinned, mean, sd float64) {
	const least = 1e-3 // of the largest weight
	most := 0
	for i, x := range g.w {
		if x > g.w[most] {
			most = i
		}
	}
	n := len(g.w)/stride + 1
	t = thinned{make([]int, 0, n), make([]float64, 0, n), make([]float64, 0, n)}
	sum := 0.0
	for i := most % stride; i < len(g.w); i += stride {
		if x := g.w[i]; x >= least*g.w[most] {
			t.node, t.theta, t.w = append(t.node, i), append(t.theta, g.theta[i]), append(t.w, x)
			sum += x
		}
	}
	for i := range t.w {
		t.w[i] /= sum
		mean += t.w[i] * t.theta[i]
	}
	for i, x := range t.theta {
		sd += t.w[i] * (x - mean) * (x - mean)
	}
	return t, mean, math.Sqrt(sd)
}

// lookBack fills the mean and sq of distances before the last visit, as look would for
// each of them. Every such distance hangs together with the rows in a way of its own:
// prepare, which works ahead for all distances, costs several times as much.
func (f *fitter) lookBack(seen []sight) {
	a, h, g, n := f.life, &f.ahead, &f.grid, len(f.use)
	h.from, h.to = math.Inf(1), math.Inf(-1) // its vectors are used here
	h.still, h.move, h.v[0] = growLanes(h.still, n), growLanes(h.move, n*len(seen)), growLanes(h.v[0], n)
	for i, u := range f.use {
		r := &a.rows[u]
		h.still[i] = lanes{}
		for j := range a.live {
			b := &a.births[a.places[j].born]
			if a.places[r.place].born == a.places[j].born {
				h.still[i][j] = b.common * b.common
			}
			if r.place == j {
				h.still[i][j] += b.own * b.own
			}
		}
	}
	f.rotate(h.still)
	f.res = grow(f.res, n)
	drifts, v := f.res, h.v[0]
	for d := range seen {
		x := &seen[d]
		move := h.move[d*n:][:n]
		clear(move)
		for j := range a.live {
			pl := &a.places[j]
			b := &a.births[pl.born]
			since := x.at - b.at
			x.worn[j] = pl.worn(x.at, b.at)
			lasting, drift := a.shared(j, j)
			x.still[j] = b.common*b.common + b.own*b.own
			x.wear[j] = lasting*since*since + drift*2*driftIntegral(since, a.length) + b.gap*b.gap/12
			if j == 0 || pl.born != a.places[j-1].born {
				f.driftTo(drifts, pl.born, x.at)
			}
			for i, u := range f.use {
				r := &a.rows[u]
				other := a.places[r.place].born
				lasting, drift := a.shared(j, r.place)
				move[i][j] = drift*drifts[i] + since*lasting*(a.visits[r.visit]-a.births[other].at)
				if other == pl.born {
					move[i][j] += b.gap * b.gap / 12
				}
			}
		}
		f.rotate(move)
	}
	for k, theta := range g.theta {
		eq, shrink := f.turn(theta)
		r := math.Exp(theta)
		r2, kappa := r*r, f.kappa(r)
		for d := range seen {
			x, move := &seen[d], h.move[d*n:][:n]
			var q, bent lanes
			for j := range a.live {
				q[j] = bend(r, x.worn[j], a.places[j].span)
				bent[j] = kappa * q[j]
			}
			for i := range v {
				still, rq := &h.still[i], f.rotated[i][2]
				for j := range still {
					v[i][j] = still[j] + r2*move[i][j] + bent[j]*rq
				}
			}
			f.whiten(v, v)
			ve, vq := products(f.white, residualLane, v), products(f.white, bendLane, v)
			var vv lanes
			for i := range v {
				y := &v[i]
				vv[0] += y[0] * y[0]
				vv[1] += y[1] * y[1]
				vv[2] += y[2] * y[2]
				vv[3] += y[3] * y[3]
			}
			for j := range a.live {
				mean := a.births[a.places[j].born].mean - r*x.worn[j] - r2*a.noise.Accel*q[j] + ve[j] - shrink*vq[j]*eq
				vari := max(minVar, x.still[j]+r2*x.wear[j]+bent[j]*q[j]-vv[j]+shrink*vq[j]*vq[j])
				x.mean[j] += g.w[k] * mean
				x.sq[j] += g.w[k] * (mean*mean + vari)
			}
		}
	}
}

// sight is a distance on a path and, where it is looked back on, what of it holds for
// all theta.
type sight struct {
	point
	worn, still, wear [maxPlaces]float64
}

// driftTo writes to cov the covariances of the rows' drifts with that of a place
// of a birth, up to the distance s.
func (f *fitter) driftTo(cov []float64, born int, s float64) {
	a := f.life
	for i, u := range f.use {
		if f.likeLast(i) {
			cov[i] = cov[i-1]
			continue
		}
		r := &a.rows[u]
		other := a.places[r.place].born
		at, start := a.visits[r.visit], a.births[other].at
		cov[i] = driftIntegral(s-start, a.length) + f.drifted(r.visit, born) -
			driftIntegral(s-at, a.length) - f.driftedBetween(born, other)
	}
}
