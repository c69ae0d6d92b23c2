package forecast

import (
	"math"
	"slices"
)

// Judgements about mistyped readings.
const (
	// typoShare is the share of readings taken to be mistyped before they are
	// looked at, and typoRange the span in mm over which a mistyped value falls
	// evenly. From memory: both were set on simulated fleets.
	typoShare = 0.03
	typoRange = 30.0
	// mostTypos caps the share of readings set aside: beyond it the readings
	// are not a part set's with mistakes, but something else.
	mostTypos = 0.4
	// suspects is how many readings are tried without in one round.
	suspects = 4
	// leniency, in log density, is how much likelier a reading may look in the
	// screen, which linearises, and still be tried properly.
	leniency = 3.0
)

// typoLogOdds is the log density of a reading given all others below which it
// is mistyped more likely than not.
var typoLogOdds = math.Log(typoShare/typoRange) - math.Log(1-typoShare)

// settle fits the open life to some of its rows but those that are mistyped by
// the evidence, and returns the latter, in order.
func (f *fitter) settle(rows []int) (aside []int) {
	use := append(f.inUse[:0], rows...)
	f.take(use)
	evidence := f.posterior().evidence
	most := max(1, int(mostTypos*float64(len(rows))))
	for len(aside) < most && len(use) > 0 {
		worst, density := -1, typoLogOdds
		found := f.suspicious()
		for _, s := range found {
			f.rest = without(f.rest, use, s.row)
			f.take(f.rest)
			if d := evidence - f.posterior().evidence; d < density {
				worst, density = s.row, d
			}
		}
		if worst >= 0 {
			aside = append(aside, worst)
			f.rest = without(f.rest, use, worst)
			use = append(use[:0], f.rest...)
			evidence -= density
		}
		if len(found) > 0 {
			f.take(use)
			f.posterior()
		}
		if worst < 0 {
			break
		}
	}
	f.inUse = use
	slices.Sort(aside)
	return aside
}

// without writes use less one row to to.
func without(to, use []int, row int) []int {
	to = to[:0]
	for _, u := range use {
		if u != row {
			to = append(to, u)
		}
	}
	return to
}

// look is a reading and its log density given all others.
type look struct {
	row     int
	density float64
}

// suspicious returns the readings in use that fit the others worst, at most
// suspects of them, worst first. Each is judged given all others with theta
// marginalised, not at its most likely value: a single visit's rate bends to
// the mistyped reading. For that the model is linearised twice, around the
// prior and around the posterior, and the harsher judgement counts.
func (f *fitter) suspicious() []look {
	f.looks = f.looks[:0]
	for _, u := range f.use {
		f.looks = append(f.looks, look{row: u})
	}
	for _, theta := range [...]float64{f.life.mean, f.grid.mean} {
		f.leaveOneOut(theta)
	}
	slices.SortFunc(f.looks, func(a, b look) int {
		switch {
		case a.density < b.density:
			return -1
		case a.density > b.density:
			return 1
		}
		return a.row - b.row
	})
	n := 0
	for n < min(suspects, len(f.looks)) && f.looks[n].density < typoLogOdds+leniency {
		n++
	}
	return f.looks[:n]
}

// leaveOneOut lowers looks to the log density of each reading in use given the
// others, with the mean linearised in theta around a value.
func (f *fitter) leaveOneOut(theta float64) {
	n := len(f.use)
	e, slope := f.residual(theta)
	f.chol = f.covariance(f.chol, theta)
	for i := range n {
		for k := range i + 1 {
			f.chol[i*n+k] += f.life.vari * slope[i] * slope[k]
		}
		// The prior's mean is where theta is expected, not where we stand.
		e[i] -= slope[i] * (f.life.mean - theta)
	}
	if _, ok := cholFactor(f.chol, n); !ok {
		return
	}
	f.inv = grow(f.inv, n*n)
	invertLower(f.inv, f.chol, n)
	forward(f.chol, n, e)
	// Column i of L^-1 gives the i-th element of C^-1 e and of C^-1's diagonal.
	f.ce, f.cc = grow(f.ce, n), grow(f.cc, n)
	clear(f.ce)
	clear(f.cc)
	for k := range n {
		for i, x := range f.inv[k*n : k*n+k+1] {
			f.ce[i] += x * e[k]
			f.cc[i] += x * x
		}
	}
	for i := range n {
		ce, cc := f.ce[i], f.cc[i]
		f.looks[i].density = min(f.looks[i].density, 0.5*(math.Log(cc/(2*math.Pi))-ce*ce/cc))
	}
}

// residual returns the rows' residuals at theta and the slopes of their means,
// in arrays that its next use overwrites.
func (f *fitter) residual(theta float64) (e, slope []float64) {
	r := math.Exp(theta)
	f.res, f.slope = grow(f.res, len(f.use)), grow(f.slope, len(f.use))
	e, slope = f.res, f.slope
	for i, u := range f.use {
		wear, bend := r*f.fs[u], r*r*f.life.noise.Accel*f.q[u]
		e[i], slope[i] = f.e0[u]+wear+bend, -(wear + 2*bend)
	}
	return e, slope
}

// covariance writes the covariance of the rows in use at theta to c.
func (f *fitter) covariance(c []float64, theta float64) []float64 {
	n, all := len(f.use), len(f.e0)
	c = grow(c, n*n)
	r := math.Exp(theta)
	r2, kappa := r*r, f.kappa(r)
	for i, u := range f.use {
		for k, v := range f.use[:i+1] {
			c[i*n+k] = f.fixed[u*all+v] + r2*f.wear[u*all+v] + kappa*f.q[u]*f.q[v]
		}
	}
	return c
}

// invertLower writes the inverse of the lower triangular l to inv, row by row.
func invertLower(inv, l []float64, n int) {
	for i := range n {
		row := inv[i*n : i*n+i+1]
		clear(row)
		k := 0
		for ; k+2 <= i; k += 2 { // two rows at a time: half as often to and from memory
			x0, x1 := l[i*n+k], l[i*n+k+1]
			y0, y1 := inv[k*n:][:k+1], inv[(k+1)*n:][:k+2]
			for j, y := range y0 {
				row[j] = row[j] - x0*y - x1*y1[j]
			}
			row[k+1] -= x1 * y1[k+1]
		}
		for ; k < i; k++ {
			x := l[i*n+k]
			for j, y := range inv[k*n : k*n+k+1] {
				row[j] -= x * y
			}
		}
		d := 1 / l[i*n+i]
		for j := range row[:i] {
			row[j] *= d
		}
		row[i] = d
	}
}
