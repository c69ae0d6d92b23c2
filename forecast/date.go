package forecast

import "math"

const (
	// horizonDays is how far ahead a date is given: 20 years.
	horizonDays = 20 * 365.25
	reachSteps  = 128
)

// Nodes and weights of 9-point Gauss-Hermite quadrature for the standard
// normal law (abscissae times sqrt 2, weights over sqrt pi; checked in the
// tests against the moments of the normal law).
var (
	hermiteZ = [9]float64{
		-4.512745863399783, -3.20542900285647, -2.07684797867783, -1.0232556637891326, 0,
		1.0232556637891326, 2.07684797867783, 3.20542900285647, 4.512745863399783,
	}
	hermiteW = [9]float64{
		2.2345844007746563e-05, 2.789141321231769e-03, 4.991640676521788e-02, 2.4409750289493909e-01,
		4.063492063492064e-01, 2.4409750289493909e-01, 4.991640676521788e-02, 2.789141321231769e-03,
		2.2345844007746563e-05,
	}
)

// reachTable holds the continuous total at days after the last reading (rows,
// geometric) for the nine nodes of the usage law (columns).
type reachTable struct {
	days [reachSteps]float64
	km   [reachSteps][9]float64
}

func newReachTable(last Odometer, law distanceLaw) *reachTable {
	t := new(reachTable)
	ratio := math.Pow(2*horizonDays, 1./(reachSteps-1))
	day := .5
	for i := range t.days {
		t.days[i] = day
		mu, sd := law.logKm(last.Day, 0, day)
		mid, step := last.Km+0, math.Exp(mu)
		for g, z := range hermiteZ {
			km := mid + step*math.Exp(sd*z)
			if i > 0 {
				km = max(km, t.km[i-1][g]) // a total never falls
			}
			t.km[i][g] = km
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
	last := u.track.Last
	p := 0
	for ; p < len(Levels) && km.X[p] <= last.Km; p++ {
		x[p] = u.track.Day(km.X[p])
	}
	day0, f0 := 0., km.CDF(last.Km)
	var at [9]int // per node, the first kept quantile above its total
	for i := 0; i < reachSteps && p < len(Levels); i++ {
		day := u.reach.days[i]
		var f float64
		for g, w := range hermiteW {
			f += w * cdfFrom(km.X, u.reach.km[i][g], &at[g])
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

// cdfFrom is Dist.CDF for values that rise from call to call: it walks on from
// the place it was left at. Above the last quantile it tends to 1 at once.
func cdfFrom(xs []float64, x float64, at *int) float64 {
	i := *at
	for i < len(xs) && xs[i] <= x {
		i++
	}
	*at = i
	switch {
	case i == 0:
		return 0
	case i == len(xs):
		return 1
	case math.IsInf(xs[i], 1):
		return Levels[i-1]
	}
	lo, hi := xs[i-1], xs[i]
	return Levels[i-1] + (Levels[i]-Levels[i-1])*(x-lo)/(hi-lo)
}
