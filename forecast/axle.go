package forecast

import (
	"math"
	"slices"
)

// The life of one part set on an axle, given theta, the log of its wear rate
// r = exp(theta) in mm per 1000 km, is Gaussian. The value of place j at
// distance s since it was fitted, in units of 1000 km, is
//
//	h_j(s) = h0_j - r (f_j s + I(s) + I_side(s) + I_j(s) + d_side s + e_j s) - r^2 A q_j(s)
//
// with integrated Ornstein-Uhlenbeck drift I, lasting differences between
// sides (d) and places (e), and wear that gathers or loses pace (A),
// q_j(s) = (f_j s)^2 / (2 (new - limit)). A reading is h_j(s) plus the error
// of its visit and that of the gauge. Values are in the sense that falls with
// wear: a drum's diameter enters negated.

// Noise holds the fleet's spreads: sds unless said otherwise. Rates are
// relative to the part set's own.
type Noise struct {
	Gauge      float64 `json:"gauge"`       // mm, one reading, where depot and gauge are not known
	Visit      float64 `json:"visit"`       // mm, shared by the readings of one visit
	Start      float64 `json:"start"`       // mm, new value shared by a set
	StartPlace float64 `json:"start_place"` // mm, new value of one place
	Side       float64 `json:"side"`        // lasting rate of a side
	Place      float64 `json:"place"`       // lasting rate of a place
	InnerOuter float64 `json:"inner_outer"` // log-rate of inner faces; outer ones have its negative (not an sd)
	Drift      float64 `json:"drift"`       // rate that comes and goes, whole axle
	DriftSide  float64 `json:"drift_side"`
	DriftPlace float64 `json:"drift_place"`
	DriftDays  float64 `json:"drift_days"` // correlation length of drift, days
	Accel      float64 `json:"accel"`      // mean of A
	AccelSD    float64 `json:"accel_sd"`
}

// birth is one fitting: of the whole set, or of what was renewed alone.
type birth struct {
	day    Day
	known  bool    // declared
	at     float64 // 1000 km on the axle's own scale
	gap    float64 // fitted somewhere in a stretch of this length around at
	mean   float64 // value when fitted, mm
	common float64 // its sd, shared by what was fitted
	own    float64 // its sd, per place
}

// place is a position as the model sees it.
type place struct {
	born  int     // index of its birth
	side  int     // places with the same number other than 0 share a side
	f     float64 // pace relative to the set's
	limit float64
	span  float64 // new - limit
	// A dragging caliper multiplies the pace by drag from onset on.
	onset, drag float64
}

// worn is f_j s, in 1000 km: distance since fitting times the place's pace.
func (p *place) worn(at, born float64) float64 {
	s := at - born
	if p.drag > 0 && at > p.onset {
		s += (p.drag - 1) * (at - p.onset)
	}
	return p.f * s
}

// row is one reading as the model sees it.
type row struct {
	place int
	visit int // index of the visit; rows are in order of visit
	y     float64
	sd    float64
	n     int // readings it stands for

}

// axleLife is one part set with what is known of it.
type axleLife struct {
	noise  *Noise
	length float64 // correlation length of drift, 1000 km
	births []birth
	places []place
	live   int       // places on the axle now; they come first, at most maxPlaces
	visits []float64 // where each visit took place, 1000 km, ascending
	rows   []row
	mean   float64 // prior of theta
	vari   float64
}

// shared returns the variance of the relative rate that places j and k
// share for good, and of the drift they share.
func (a *axleLife) shared(j, k int) (lasting, drift float64) {
	n := a.noise
	drift = n.Drift * n.Drift
	if j == k {
		return n.Side*n.Side + n.Place*n.Place, drift + n.DriftSide*n.DriftSide + n.DriftPlace*n.DriftPlace
	}
	if s := a.places[j].side; s != 0 && s == a.places[k].side {
		return n.Side * n.Side, drift + n.DriftSide*n.DriftSide
	}
	return 0, drift
}

// fitter holds the arrays for one axle life at a time. Its results are
// overwritten by the next use.
type fitter struct {
	pencil
	life *axleLife

	// Of all rows, in plain form: the covariance is fixed + r^2 wear +
	// r^4 AccelSD^2 q q', the residual at r is e0 + r fs + r^2 Accel q.
	fixed, wear []float64 // lower triangles
	e0, fs, q   []float64

	use []int // rows in use; the arrays below are theirs

	rotated []lanes // e0, fs and q as the pencil works on them
	white   []lanes // residual and q, whitened at the present theta
	res     []float64
	slope   []float64

	runs  []running // of theta's nodes
	drift []float64 // driftIntegral between births and visits
	grid  grid

	inUse, rest, some []int
	looks             []look
	chol, inv, ce, cc []float64

	ahead  ahead
	seen   []sight
	points []point
	order  []int // of points, by distance

	xs, ys, slopes []float64

	covers []lanes // of rows to be predicted with those in use
	whatIf []row
}

// since is the distance from a row's fitting to its visit.
func (a *axleLife) since(r *row) float64 {
	return a.visits[r.visit] - a.births[a.places[r.place].born].at
}

// open works out the covariances of all rows of a life. take comes next.
func (f *fitter) open(a *axleLife) {
	f.life = a
	n := len(a.rows)
	f.fixed, f.wear = grow(f.fixed, n*n), grow(f.wear, n*n)
	f.means()
	f.tabulate(a)
	nb := len(a.births)
	m := nb + len(a.visits)
	vv := a.noise.Visit * a.noise.Visit
	for i := range a.rows {
		r := &a.rows[i]
		p := &a.places[r.place]
		b := &a.births[p.born]
		si, ti := a.since(r), nb+r.visit
		for k := range i + 1 {
			r2 := &a.rows[k]
			p2 := &a.places[r2.place]
			lasting, drift := a.shared(r.place, r2.place)
			tk := nb + r2.visit
			cov := f.drift[ti*m+p2.born] + f.drift[tk*m+p.born] - f.drift[ti*m+tk] - f.drift[p.born*m+p2.born]
			fixed, wear := 0.0, drift*cov+lasting*si*a.since(r2)
			if p.born == p2.born {
				fixed += b.common * b.common
				wear += b.gap * b.gap / 12
			}
			if r.place == r2.place {
				fixed += b.own * b.own
			}
			if r.visit == r2.visit {
				fixed += vv
			}
			if i == k {
				fixed += r.sd * r.sd
			}
			f.fixed[i*n+k], f.wear[i*n+k] = fixed, wear
		}
	}
}

// means works out how the residuals of all rows of the life follow theta.
func (f *fitter) means() {
	a, n := f.life, len(f.life.rows)
	f.e0, f.fs, f.q = grow(f.e0, n), grow(f.fs, n), grow(f.q, n)
	for i := range a.rows {
		r := &a.rows[i]
		p := &a.places[r.place]
		b := &a.births[p.born]
		w := p.worn(a.visits[r.visit], b.at)
		f.e0[i], f.fs[i], f.q[i] = r.y-b.mean, w, w*w/(2*p.span)
	}
}

// repace is open and take again for places that only go at another pace: their
// covariances stay, which are most of the work.
func (f *fitter) repace() {
	f.means()
	f.ahead.from, f.ahead.to = math.Inf(1), math.Inf(-1) // stale
	for i, u := range f.use {
		f.rotated[i] = lanes{f.e0[u], f.fs[u], f.q[u]}
	}
	f.rotate(f.rotated)
}

// take prepares the pencil for some of the rows, given in order.
func (f *fitter) take(use []int) {
	f.use = append(f.use[:0], use...)
	f.ahead.from, f.ahead.to = math.Inf(1), math.Inf(-1) // stale
	n, all := len(use), len(f.e0)
	f.reset(n)
	f.rotated, f.white = growLanes(f.rotated, n), growLanes(f.white, n)
	for i, u := range use {
		f.rotated[i] = lanes{f.e0[u], f.fs[u], f.q[u]}
		for k, v := range use[:i+1] {
			f.l[i*n+k], f.b[i*n+k] = f.fixed[u*all+v], f.wear[u*all+v]
		}
	}
	if !f.reduce() {
		// Every row carries its gauge's variance on the diagonal.
		panic("forecast: covariance of readings is not positive definite")
	}
	f.rotate(f.rotated)
}

// tabulate fills drift with driftIntegral between all births and visits.
func (f *fitter) tabulate(a *axleLife) {
	nb := len(a.births)
	m := nb + len(a.visits)
	f.drift = grow(f.drift, m*m)
	at := func(i int) float64 {
		if i < nb {
			return a.births[i].at
		}
		return a.visits[i-nb]
	}
	for i := range m {
		f.drift[i*m+i] = 0
		for k := range i {
			g := driftIntegral(at(i)-at(k), a.length)
			f.drift[i*m+k], f.drift[k*m+i] = g, g
		}
	}
}

// Lanes of fitter.white.
const residualLane, bendLane = 0, 1

// drifted is the driftIntegral between a visit and a birth, driftedBetween that between
// two births.
func (f *fitter) drifted(visit, born int) float64 {
	nb := len(f.life.births)
	return f.drift[(nb+visit)*(nb+len(f.life.visits))+born]
}

func (f *fitter) driftedBetween(born, other int) float64 {
	return f.drift[born*(len(f.life.births)+len(f.life.visits))+other]
}

// likeLast says whether row i of those in use is of the same visit as the one before,
// and of a place fitted with its place. Rows are in order of visit: most are.
func (f *fitter) likeLast(i int) bool {
	if i == 0 {
		return false
	}
	a := f.life
	r, last := &a.rows[f.use[i]], &a.rows[f.use[i-1]]
	return r.visit == last.visit && a.places[r.place].born == a.places[last.place].born
}

// turn takes the pencil to theta and leaves the whitened residual e and q in white. It
// returns e'q, and the factor of (x'q)(y'q) by which kappa q q' lessens x'y.
func (f *fitter) turn(theta float64) (eq, shrink float64) {
	r := math.Exp(theta)
	f.at(r * r)
	ra := r * r * f.life.noise.Accel
	for i := range f.rotated {
		x := &f.rotated[i]
		f.white[i] = lanes{residualLane: x[0] + r*x[1] + ra*x[2], bendLane: x[2]}
	}
	f.whiten(f.white, f.white)
	with := products(f.white, bendLane, f.white)
	kappa := f.kappa(r)
	return with[residualLane], kappa / (1 + kappa*with[bendLane])
}

// running is how far the log density has come at one theta.
type running struct {
	r, accel, c float64 // rate, r^2 Accel, r^2
	e, q        float64 // of the row before, cleared of those before it
	low, below  float64 // what it takes off the next row, and off its variance
	ee, eq, qq  float64
	prod        float64 // of the variances, but for what is in logDet
	logDet      float64
}

// logLiks writes to out the log densities of the rows in use at theta, theta+step, …,
// one for each of out. It takes all thetas from row to row together, in half the time: at a
// single one each row waits for the division of the row before.
func (f *fitter) logLiks(out []float64, theta, step float64) {
	nz := f.life.noise
	f.runs = slices.Grow(f.runs[:0], len(out))[:len(out)]
	runs, rest := f.runs, f.logDet+float64(f.n)*math.Log(2*math.Pi)
	r, ratio := math.Exp(theta), math.Exp(step)
	for i := range runs {
		runs[i] = running{r: r, accel: r * r * nz.Accel, c: r * r, prod: 1, logDet: rest}
		r *= ratio
	}
	rotated, d, e := f.rotated[:f.n], f.d[:f.n], f.e[:f.n]
	for i := range rotated {
		re, rf, rq, d, e := rotated[i][0], rotated[i][1], rotated[i][2], d[i], e[i]
		for k := range runs {
			x := &runs[k]
			vari := 1 + x.c*d - x.below
			if vari < least {
				vari = least
			}
			inv := 1 / vari
			xe := re + x.r*rf + x.accel*rq - x.low*x.e
			xq := rq - x.low*x.q
			x.e, x.q = xe, xq
			qi := xq * inv
			x.ee += xe * xe * inv
			x.eq += xe * qi
			x.qq += xq * qi
			off := x.c * e
			x.low = off * inv
			x.below = off * x.low
			x.prod *= vari
			if x.prod > 1e100 { // no variance is below 1 but by rounding
				x.logDet += math.Log(x.prod)
				x.prod = 1
			}
		}
	}
	for i := range runs {
		x := &runs[i]
		k := f.kappa(x.r)
		bent := 1 + k*x.qq
		out[i] = -0.5 * (x.ee - k*x.eq*x.eq/bent + x.logDet + math.Log(x.prod*bent))
	}
}

// kappa is the factor of q q' in the covariance: r^4 AccelSD^2.
func (f *fitter) kappa(r float64) float64 {
	a := f.life.noise.AccelSD * r * r
	return a * a
}
