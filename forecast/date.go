package forecast

import (
	"math"
	"sort"

	"gonum.org/v1/gonum/integrate/quad"
)

const (
	// horizonDays is how far ahead a date is given: 20 years.
	horizonDays = 20 * 365.25
	// reachSteps days, each 8 % further than the one before.
	reachSteps = 112
	// reachNodes of the usage law: with fewer, the steps between them show
	// where a limit is known better than the distance driven.
	reachNodes = 15
)

// DayWithin returns the whole day that day lies on, and false when it is not
// known or lies further from asOf than a date is given: 20 years.
func DayWithin(day float64, asOf Day) (Day, bool) {
	if math.IsNaN(day) || math.Abs(day-float64(asOf)) > horizonDays {
		return 0, false
	}
	return Day(math.Floor(day)), true
}

// hermiteZ and hermiteW are the Gauss-Hermite rule for the standard normal law.
var hermiteZ, hermiteW = hermite(reachNodes)

// hermite returns nodes, ascending, and weights of the n-point rule; both
// halves mirror each other.
func hermite(n int) (z, w []float64) {
	z, w = make([]float64, n), make([]float64, n)
	quad.Hermite{}.FixedLocations(z, w, math.Inf(-1), math.Inf(1))
	for i := range z {
		// gonum's rule is for the weight exp(-x²).
		w[i] /= math.Sqrt(math.Pi)
		z[i] *= math.Sqrt2
	}
	return z, w
}

// reachTable holds the continuous total at days after the last reading (rows)
// for the nodes of the usage law (columns). It serves all positions of a
// vehicle.
type reachTable struct {
	days [reachSteps]float64
	km   [reachSteps][reachNodes]float64
}

func newReachTable(last Odometer, law distanceLaw) *reachTable {
	const first, mid = 2., reachNodes / 2
	t := new(reachTable)
	ratio := math.Pow(horizonDays/first, 1./(reachSteps-1))
	day := first
	for i := range t.days {
		t.days[i] = day
		mu, sd := law.logKm(last.Day, 0, day)
		median := math.Exp(mu)
		row := &t.km[i]
		row[mid] = last.Km + median
		for g := range mid {
			f := math.Exp(sd * hermiteZ[reachNodes-1-g])
			row[g], row[reachNodes-1-g] = last.Km+median/f, last.Km+median*f
		}
		if i > 0 {
			for g := range row {
				row[g] = max(row[g], t.km[i-1][g]) // a total never falls
			}
		}
		day *= ratio
	}
	return t
}

// Days returns the distribution of the day on which the continuous total
// reaches a limit that is itself uncertain:
//
//	F(t) = sum over g of w_g F_km(last + exp(mu_t + sd_t z_g))
//
// after the last reading, and the track's own day before it. Beyond 20 years
// quantiles are +Inf.
func (u Usage) Days(km Dist) Dist {
	if !u.Known() || !km.Known() {
		return Dist{}
	}
	x := make([]float64, len(Levels))
	last, reach := u.track.Last, u.reach()
	p := 0
	for ; p < len(Levels) && km.X[p] <= last.Km; p++ {
		x[p] = u.track.Day(km.X[p])
	}
	day0, f0 := 0., km.CDF(last.Km)
	// There is nothing to sum up to the day by which even the node that drives most
	// reaches the first quantile: that saves two days in five.
	first := sort.Search(reachSteps, func(i int) bool { return reach.km[i][reachNodes-1] >= km.X[0] })
	if first > 0 {
		day0 = reach.days[first-1]
	}
	pieces := km.pieces()
	var passed [reachNodes]int    // per node, how many quantiles its total has passed
	started := reachNodes         // from this node on some: they are in order of distance
	done, over := reachNodes, 0.0 // and from this one on all, with their weights
	for i := first; i < reachSteps && p < len(Levels); i++ {
		day := reach.days[i]
		totals := &reach.km[i]
		for done > 0 && totals[done-1] >= pieces[len(pieces)-1].x {
			done--
			over += hermiteW[done]
		}
		f := over
		for started > 0 && totals[started-1] >= pieces[0].x {
			started--
		}
		for g := started; g < done; g++ {
			total, k := totals[g], passed[g]
			for k < len(pieces) && pieces[k].x <= total {
				k++
			}
			passed[g] = k
			f += hermiteW[g] * (pieces[k-1].level + pieces[k-1].slope*(total-pieces[k-1].x))
		}
		for p < len(Levels) && f >= Levels[p] {
			d := day
			if f > f0 {
				d = day0 + (day-day0)*max(0, Levels[p]-f0)/(f-f0)
			}
			x[p] = float64(last.Day) + d
			p++
		}
		day0, f0 = day, f
	}
	for ; p < len(Levels); p++ {
		x[p] = math.Inf(1)
	}
	for i := 1; i < len(x); i++ {
		x[i] = max(x[i], x[i-1])
	}
	return Dist{x}
}
