package forecast

import (
	"math"
	"slices"
)

// Judgements about changes of parts that nobody recorded; set on simulated
// fleets, from memory.
const (
	// changeShare is the share of visits before which it happened, for a part
	// worn to about half. It rises as the part gets thinner: a factor of
	// changeAtLimit - changeSlope * remaining fraction, within bounds.
	changeShare                   = 0.03
	changeAtLimit, changeSlope    = 2.2, 2.6
	changeRarest, changeLikeliest = 0.05, 2.5
	// changeSure is the chance from which a change is believed: a missed one
	// shows at the next visit, a false one throws readings away.
	changeSure = 0.7
	// A visit whose readings fell by fallMM and fallShare of the wear expected
	// speaks for itself.
	fallMM, fallShare = 0.2, 0.25
	// mostNew bounds the readings of a visit that are weighed: 2^mostNew
	// subsets of them may be mistyped.
	mostNew = 4
)

// gapParts are where between two visits a change that nobody recorded may have
// taken place, as shares of the distance between them, with their weights:
// most often soon after the first, at which the parts were seen to be due.
// Judgement.
var gapParts = [...]struct{ from, to, weight float64 }{
	{0, 0.06, 0.35}, {0.06, 0.24, 0.2}, {0.24, 0.46, 0.15}, {0.46, 0.74, 0.15}, {0.74, 1, 0.15},
}

// gapMean is the mean of gapParts.
const gapMean = 0.3165

// Likely returns the day on which the change is most to be expected: parts are
// renewed sooner after the visit that found them due than before the next.
func (c *Change) Likely() Day { return c.After + Day(gapMean*float64(c.Before-c.After)) }

// gapMoments returns mean and variance of where the change took place, given
// the log likelihoods of gapParts, if any.
func gapMoments(gap [2]float64, logLik []float64) (at, vari float64) {
	var sum, mean, square, most float64
	most = math.Inf(-1)
	for _, l := range logLik {
		most = max(most, l)
	}
	d := gap[1] - gap[0]
	for i, p := range gapParts {
		w := p.weight
		if logLik != nil {
			w *= math.Exp(logLik[i] - most)
		}
		x, width := gap[0]+d*(p.from+p.to)/2, d*(p.to-p.from)
		sum += w
		mean += w * x
		square += w * (x*x + width*width/12)
	}
	mean /= sum
	return mean, max(0, square/sum-mean*mean)
}

// dateChange finds where between two visits the unrecorded change that s began
// with took place, by the evidence of the rows in use.
func (f *fitter) dateChange(s *set) {
	if s.change == nil || !(s.gap[1] > s.gap[0]) {
		return
	}
	rows := slices.Clone(f.use)
	b := &s.births[s.gapBirth]
	d := s.gap[1] - s.gap[0]
	var logLik [len(gapParts)]float64
	for i, p := range gapParts {
		b.at, b.gap = s.gap[0]+d*(p.from+p.to)/2, d*(p.to-p.from)
		f.open(f.life)
		f.take(rows)
		logLik[i] = f.posterior().evidence
	}
	at, v := gapMoments(s.gap, logLik[:])
	b.at, b.gap = at, math.Sqrt(12*v)
	f.open(f.life)
	f.take(rows)
	f.posterior()
}

// changed returns the chance that the last visit of s, its rows from row on,
// found other parts than the visits before, when nobody recorded a change in
// between. The readings are scored under both hypotheses by the mixture over
// all subsets of them that may be mistyped.
func (c *cutter) changed(s *set, row int) float64 {
	visit := len(s.visits) - 1
	if visit == 0 || s.wore(row) {
		return 0
	}
	var old, fresh []int
	for i := range s.rows {
		p := s.rows[i].place
		switch b := &s.births[s.places[p].born]; {
		case slices.Contains(s.trips, i):
		case i < row:
			old = append(old, i)
		case b.known && b.day >= s.days[visit-1]:
			return 0 // declared since
		case len(fresh) < mostNew:
			fresh = append(fresh, i)
		}
	}
	if len(old) == 0 || len(fresh) == 0 {
		return 0
	}
	return c.memory.changed(s, row, func() float64 { return c.weighChange(s, old, fresh) })
}

// weighChange works the chance out of the rows before and those of the visit.
func (c *cutter) weighChange(s *set, old, fresh []int) float64 {
	f, visit := c.fit, len(s.visits)-1
	f.open(&s.axleLife)
	f.settle(old)
	same := f.predict(fresh)

	gap := max(0, s.visits[visit]-s.visits[visit-1])
	fitted, spread := gapMoments([2]float64{0, gap}, nil)
	r := math.Exp(f.grid.mean)
	other := forecastOf(len(fresh))
	n := c.noise
	remaining := 0.0
	for i, u := range fresh {
		a := &s.rows[u]
		p := &s.places[a.place]
		other.mean[i] = c.spec.sense(c.spec.New) - r*p.f*(gap-fitted)
		for k, w := range fresh[:i+1] {
			v := n.Start*n.Start + n.Visit*n.Visit + r*r*spread
			if s.rows[w].place == a.place {
				v += n.StartPlace * n.StartPlace
			}
			if i == k {
				v += a.sd * a.sd
			}
			other.cov[i][k], other.cov[k][i] = v, v
		}
		remaining += (same.mean[i] - p.limit) / p.span / float64(len(fresh))
	}
	var y [mostNew]float64
	for i, u := range fresh {
		y[i] = s.rows[u].y
	}
	share := changeShare * max(changeRarest, min(changeLikeliest, changeAtLimit-changeSlope*remaining))
	logOdds := math.Log(share/(1-share)) + other.logDensity(y[:len(fresh)]) - same.logDensity(y[:len(fresh)])
	return 1 / (1 + math.Exp(-logOdds))
}

// wore says whether the readings from row on fell since the last ones at the
// same places by so much that no change is in question.
func (s *set) wore(row int) bool {
	falls := make([]float64, 0, len(s.rows)-row)
	want := 0.0
	r := math.Exp(s.mean)
	for i := row; i < len(s.rows); i++ {
		for k := row - 1; k >= 0; k-- {
			if s.rows[k].place == s.rows[i].place {
				falls = append(falls, s.rows[k].y-s.rows[i].y)
				want += r * s.places[s.rows[i].place].f * (s.visits[s.rows[i].visit] - s.visits[s.rows[k].visit])
				break
			}
		}
	}
	if len(falls) == 0 {
		return false
	}
	want /= float64(len(falls))
	slices.Sort(falls)
	n := len(falls)
	return (falls[(n-1)/2]+falls[n/2])/2 >= fallMM+fallShare*want
}

// expected is a joint normal forecast of a few readings.
type expected struct {
	n    int
	mean [mostNew]float64
	cov  [mostNew][mostNew]float64
}

func forecastOf(n int) *expected { return &expected{n: n} }

// predict forecasts rows not in use from those in use, averaged over theta by
// their moments.
func (f *fitter) predict(rows []int) *expected {
	a, all, n := f.life, len(f.e0), len(f.use)
	out := forecastOf(len(rows))
	at := func(i, k int) int { return max(i, k)*all + min(i, k) }
	f.covers = growLanes(f.covers, 3*n)
	fixed, wear, v := f.covers[:n], f.covers[n:2*n], f.covers[2*n:] // a lane for each row
	clear(f.covers)
	for i, u := range rows {
		for k, w := range f.use {
			fixed[k][i], wear[k][i] = f.fixed[at(u, w)], f.wear[at(u, w)]
		}
	}
	f.rotate(fixed)
	f.rotate(wear)
	var square [mostNew][mostNew]float64
	for k, theta := range f.grid.theta {
		w := f.grid.w[k]
		eq, shrink := f.turn(theta)
		r := math.Exp(theta)
		kappa := f.kappa(r)
		var mean [mostNew]float64
		var bent lanes
		for i, u := range rows {
			bent[i] = kappa * f.q[u]
		}
		for x := range v {
			q := f.rotated[x][2]
			for i := range v[x] {
				v[x][i] = fixed[x][i] + r*r*wear[x][i] + bent[i]*q
			}
		}
		f.whiten(v, v)
		ve, vq := products(f.white, residualLane, v), products(f.white, bendLane, v)
		for i, u := range rows {
			born := a.births[a.places[a.rows[u].place].born].mean
			mean[i] = born - r*f.fs[u] - r*r*a.noise.Accel*f.q[u] + ve[i] - shrink*vq[i]*eq
			vv := products(v, i, v)
			out.mean[i] += w * mean[i]
			for j, o := range rows[:i+1] {
				c := f.fixed[at(u, o)] + r*r*f.wear[at(u, o)] + kappa*f.q[u]*f.q[o] -
					vv[j] + shrink*vq[i]*vq[j]
				out.cov[i][j] += w * c
				square[i][j] += w * mean[i] * mean[j]
			}
		}
	}
	for i := range rows {
		for j := range i + 1 {
			out.cov[i][j] += square[i][j] - out.mean[i]*out.mean[j]
			out.cov[j][i] = out.cov[i][j]
		}
	}
	return out
}

// logDensity is the log density of readings, each of which may be mistyped.
func (e *expected) logDensity(y []float64) float64 {
	var terms [1 << mostNew]float64
	most := math.Inf(-1)
	for good := range 1 << e.n {
		var c [mostNew * mostNew]float64
		var d [mostNew]float64
		m := 0
		t := 0.0
		var pick [mostNew]int
		for i := range e.n {
			if good>>i&1 == 0 {
				t += math.Log(typoShare / typoRange)
				continue
			}
			t += math.Log(1 - typoShare)
			pick[m], d[m] = i, y[i]-e.mean[i]
			m++
		}
		for i := range m {
			for k := range i + 1 {
				c[i*m+k] = e.cov[pick[i]][pick[k]]
			}
		}
		logDet, ok := cholFactor(c[:m*m], m)
		if !ok {
			t = math.Inf(-1)
		}
		forward(c[:m*m], m, d[:m])
		t -= 0.5 * (logDet + dot(d[:m], d[:m]) + float64(m)*math.Log(2*math.Pi))
		terms[good] = t
		most = max(most, t)
	}
	sum := 0.0
	for _, t := range terms[:1<<e.n] {
		sum += math.Exp(t - most)
	}
	return most + math.Log(sum)
}
