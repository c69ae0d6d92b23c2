package forecast

import (
	"math"
	"sync"

	"gonum.org/v1/gonum/stat/distuv"
)

// TailMap widens the model's own chances to what came true: with F the
// model's distribution function,
//
//	F_cal(x) = T_nu( probit(F(x)) / c ),
//
// T_nu being Student's t with Nu degrees of freedom and c a factor by how much
// is known: the more is, the more what the model leaves out (calipers that will
// drag, drivers yet to come) weighs.
type TailMap struct {
	Nu   float64 `json:"nu"`
	None float64 `json:"none"` // c with no reading in use
	Some float64 `json:"some"` // with one or two visits
	Many float64 `json:"many"` // with more
}

// levels returns the normal deviates of F at which F_cal reaches Levels.
func (t TailMap) levels(c float64) []float64 {
	z := make([]float64, len(Levels))
	d := distuv.StudentsT{Sigma: 1, Nu: t.Nu}
	for i, p := range Levels {
		if t.Nu > 0 {
			z[i] = c * d.Quantile(p)
		} else {
			z[i] = c * probit(p)
		}
	}
	return z
}

// tailLevels saves levels that take longer to work out than all the rest.
var tailLevels sync.Map // tailKey -> []float64

type tailKey struct{ nu, c float64 }

// at returns the levels for a forecast from the readings of so many visits.
func (t TailMap) at(visits int) []float64 {
	key := tailKey{t.Nu, t.None}
	switch {
	case visits > 2:
		key.c = t.Many
	case visits > 0:
		key.c = t.Some
	}
	if z, ok := tailLevels.Load(key); ok {
		return z.([]float64)
	}
	z := t.levels(key.c)
	tailLevels.Store(key, z)
	return z
}

const (
	// farthest normal deviate that the distances looked at reach.
	farthest = 5.1
	// possible: the limit may have been passed before the last visit when the
	// deviate there is above its negative.
	possible = 4.0
	// jointGap and eachGap are the widest gaps in normal deviates between
	// distances looked at, for the axle and for a single place. Between them
	// the distance is a smooth function of the deviate: cubics do.
	jointGap, eachGap = 0.9, 2.5
	// mostPoints bounds the distances looked at, pastPoints those before the
	// last visit.
	mostPoints, pastPoints = 48, 9
)

// crossed is where a life's places reach their limits.
type crossed struct {
	first [maxPlaces]float64 // chance of each place to be the first
	joint []float64          // quantiles of the first, 1000 km on the axle's scale
	each  [maxPlaces][]float64
}

// cross works out the quantiles whose normal deviates are zs.
func (f *fitter) cross(zs []float64, out *crossed) {
	born := math.Inf(-1)
	for _, p := range f.life.places[:f.life.live] {
		born = max(born, f.life.births[p.born].at)
	}
	f.explore(born)
	f.shares(out)
	np := f.life.live
	out.joint = f.invert(grow(out.joint, len(zs)), zs, -1)
	for j := range np {
		if np == 1 {
			out.each[j] = append(out.each[j][:0], out.joint...)
			break
		}
		out.each[j] = f.invert(grow(out.each[j], len(zs)), zs, j)
	}
}

// pointAt looks at one more distance, kept in order of distance.
func (f *fitter) pointAt(s float64) *point {
	n := len(f.order)
	if n == cap(f.points) {
		// Room for all from the start: the points must not move.
		f.points = make([]point, mostPoints)
	}
	p := &f.points[n]
	p.at = s
	f.look(p)
	i := n
	f.order = append(f.order, n)
	for ; i > 0 && f.points[f.order[i-1]].at > s; i-- {
		f.order[i] = f.order[i-1]
	}
	f.order[i] = n
	for j := range f.life.live {
		p.z[j] = deviate(p.each[j])
	}
	p.zAbove = deviate(p.above)
	return p
}

// deviate is the normal deviate of the chance 1 - above, kept in bounds.
func deviate(above float64) float64 {
	const tiny = 1e-9
	return -probit(max(tiny, min(1-tiny, above)))
}

// explore looks at distances until they follow the fall of all chances from 1
// to 0 closely: first those from the last visit on, then, where the limit may
// have been passed before it, some back to the fitting. Each of the latter
// costs as much as all of the former.
func (f *fitter) explore(born float64) {
	f.order = f.order[:0]
	np := f.life.live
	start := max(born, f.lastVisit())
	first := f.pointAt(start)
	past := first.zAbove > -possible && start > born
	// How far the slowest place may get, at the expected rate.
	r := math.Exp(f.grid.mean)
	far := 0.0
	for j := range np {
		pl := &f.life.places[j]
		far = max(far, max(first.mean[j]-pl.limit, 0.05*pl.span)/(r*pl.f))
	}
	for reachTo, tries := 1.5*far, 0; tries < 10; tries++ {
		p := f.pointAt(start + reachTo)
		least := p.zAbove
		for j := range np {
			least = min(least, p.z[j])
		}
		if least >= farthest {
			break
		}
		reachTo *= 1.6
	}
	f.refine(mostPoints - pastPoints)
	if past {
		f.pointAt(born)
		f.refine(min(mostPoints, len(f.order)+pastPoints-1))
	}
}

// refine halves the widest gap until all are narrow enough or there are most
// points.
func (f *fitter) refine(most int) {
	for len(f.order) < most {
		widest, at := 1.0, 0.0
		for i := 1; i < len(f.order); i++ {
			a, b := &f.points[f.order[i-1]], &f.points[f.order[i]]
			gap := clipped(b.zAbove, a.zAbove) / jointGap
			for j := range f.life.live {
				gap = max(gap, clipped(b.z[j], a.z[j])/eachGap)
			}
			if gap > widest {
				widest, at = gap, (a.at+b.at)/2
			}
		}
		if widest == 1 {
			return
		}
		f.pointAt(at)
	}
}

// clipped is the gap between two deviates within reach.
func clipped(b, a float64) float64 {
	return max(-farthest, min(farthest, b)) - max(-farthest, min(farthest, a))
}

// shares fills out.first with each place's share of the fall of the chance
// that all are above, given theta, over all stretches between points.
func (f *fitter) shares(out *crossed) {
	np := f.life.live
	out.first = [maxPlaces]float64{}
	total := 0.0
	// What is below its limit from the start falls to places by their chances.
	start := &f.points[f.order[0]]
	below := 0.0
	for _, above := range start.each[:np] {
		below += 1 - above
	}
	for j := range np {
		if below > 0 {
			out.first[j] = (1 - start.above) * (1 - start.each[j]) / below
			total += out.first[j]
		}
	}
	for i := 1; i < len(f.order); i++ {
		a, b := &f.points[f.order[i-1]], &f.points[f.order[i]]
		for k := range b.given {
			x, y, w := &a.given[k], &b.given[k], f.grid.w[k]
			for j := range np {
				if fall := x.each[j] - y.each[j]; fall > 0 {
					share := w * fall / (x.each[j] + y.each[j]) * (x.above + y.above)
					out.first[j] += share
					total += share
				}
			}
		}
	}
	for j := range np {
		if total > 0 {
			out.first[j] /= total
		}
	}
}

// invert writes to s the distances at which the deviate of place j, or of the
// first place when j < 0, passes zs: a monotone cubic through the points.
func (f *fitter) invert(s, zs []float64, j int) []float64 {
	x, y := f.xs[:0], f.ys[:0]
	for _, i := range f.order {
		p := &f.points[i]
		z := p.zAbove
		if j >= 0 {
			z = p.z[j]
		}
		if n := len(x); n > 0 && z <= x[n-1]+1e-9 {
			// No fall: of equals the last counts on the way down from certainty,
			// the first once all is over.
			if z < 0 {
				y[n-1] = p.at
			}
			continue
		}
		x, y = append(x, z), append(y, p.at)
	}
	f.xs, f.ys = x, y
	f.slopes = monotoneSlopes(f.slopes, x, y)
	at := 0
	for i, z := range zs {
		for at+2 < len(x) && x[at+1] < z {
			at++
		}
		s[i] = cubicAt(x, y, f.slopes, at, z)
	}
	return s
}

// monotoneSlopes gives slopes at the points that make a cubic through them
// monotone (Fritsch & Butland 1984, from memory).
func monotoneSlopes(d, x, y []float64) []float64 {
	n := len(x)
	d = grow(d, n)
	clear(d)
	for i := 1; i+1 < n; i++ {
		h0, h1 := x[i]-x[i-1], x[i+1]-x[i]
		s0, s1 := (y[i]-y[i-1])/h0, (y[i+1]-y[i])/h1
		if s0*s1 > 0 {
			w0, w1 := 2*h1+h0, h1+2*h0
			d[i] = (w0 + w1) / (w0/s0 + w1/s1)
		}
	}
	if n > 1 {
		d[0] = (y[1] - y[0]) / (x[1] - x[0])
		d[n-1] = (y[n-1] - y[n-2]) / (x[n-1] - x[n-2])
	}
	return d
}

// cubicAt reads the cubic in the cell from point i at z, held constant beyond
// the outermost points.
func cubicAt(x, y, d []float64, i int, z float64) float64 {
	switch {
	case len(x) == 1 || z <= x[0]:
		return y[0]
	case z >= x[len(x)-1]:
		return y[len(x)-1]
	}
	h := x[i+1] - x[i]
	u := (z - x[i]) / h
	v := 1 - u
	return y[i]*v*v*(1+2*u) + y[i+1]*u*u*(1+2*v) + h*u*v*(d[i]*v-d[i+1]*u)
}
