package forecast

import (
	"math"
	"sync"
)

// Usage is the forecast of the distance one vehicle drives. It goes on from
// the last odometer reading, so that what has been driven since is uncertain
// as well. The zero Usage knows nothing.
type Usage struct {
	AsOf  Day
	NowKm float64 // continuous total on AsOf, median
	// Intervals is the number of stretches between readings that it was
	// learned from: 0 means that the rate is borrowed.
	Intervals int

	track Track
	law   distanceLaw
	reach func() *reachTable // worked out once, if dates are asked for
}

// distanceLaw gives the log-normal law of the km driven between a and b days
// after the last reading.
type distanceLaw interface {
	logKm(from Day, a, b float64) (mu, sd float64)
}

// Known says whether there is an odometer to count from.
func (u Usage) Known() bool { return u.law != nil }

// LogKm returns mean and standard deviation of the log of the km driven in so
// many days from AsOf on. It is NaN for an unknown usage.
func (u Usage) LogKm(days float64) (mu, sd float64) {
	if !u.Known() || !(days > 0) {
		return math.NaN(), math.NaN()
	}
	since := max(0, daysBetween(u.track.Last.Day, u.AsOf))
	return u.law.logKm(u.track.Last.Day, since, since+days)
}

// KmPerDay returns the median km/day of the year from AsOf on.
func (u Usage) KmPerDay() float64 {
	mu, _ := u.LogKm(365)
	return math.Exp(mu) / 365
}

// newUsage anchors a law at the track's last reading.
func newUsage(t Track, asOf Day, intervals int, law distanceLaw) Usage {
	if !t.Known() {
		return Usage{AsOf: asOf, NowKm: math.NaN()}
	}
	u := Usage{AsOf: asOf, Intervals: intervals, track: t, law: law, NowKm: t.Km(asOf)}
	if since := daysBetween(t.Last.Day, asOf); since > 0 {
		mu, _ := law.logKm(t.Last.Day, 0, since)
		u.NowKm = t.Last.Km + math.Exp(mu)
	}
	last := t.Last
	u.reach = sync.OnceValue(func() *reachTable { return newReachTable(last, law) })
	return u
}

const (
	// minKmPerDay keeps the log of a standing vehicle's distance finite. At
	// this rate 20 years make 150 km.
	minKmPerDay = .02
	// driftSpread is the relative spread of a month's distance that is
	// assumed where readings are too few to tell (our simulation: about .3),
	// and driftPrior the number of intervals that it counts for.
	driftSpread = .35
	driftPrior  = 3
	// manyIntervals is where the readings speak for themselves.
	manyIntervals = 10
)

// drift is Brownian motion with drift, its drift learned over span days.
type drift struct {
	rate   float64 // km/day
	sigma2 float64 // km²/day
	span   float64 // days
}

// driftOf estimates the drift from irregular readings: rate = sum dy / sum dt,
// sigma2 = sum (dy - rate dt)²/dt / (k-1) over k intervals; NaN where k is too
// small.
func driftOf(t Track) (d drift, k int) {
	k = len(t.days) - 1
	if k < 1 {
		return drift{rate: math.NaN(), sigma2: math.NaN()}, 0
	}
	d.span = daysBetween(t.days[0], t.days[k])
	d.rate = (t.km[k] - t.km[0]) / d.span
	var ss float64
	for i := range k {
		dt := daysBetween(t.days[i], t.days[i+1])
		e := t.km[i+1] - t.km[i] - d.rate*dt
		ss += e * e / dt
	}
	d.sigma2 = math.NaN()
	if k > 1 {
		d.sigma2 = ss / float64(k-1)
	}
	return d, k
}

// SimpleUsage forecasts from the vehicle's own mean km/day and the spread of its
// readings around it: km in h days has mean rate h and variance
// sigma2 (h + h²/span). Few readings borrow their spread from a default.
func SimpleUsage(t Track, asOf Day) Usage {
	d, k := driftOf(t)
	if k < 1 {
		// One reading: the assumed rate, known to a factor of about two.
		d = drift{rate: t.recent, span: 30}
		d.sigma2 = .25 * d.rate * d.rate * d.span
	}
	d.rate = max(d.rate, minKmPerDay)
	assumed := driftSpread * driftSpread * d.rate * d.rate * 30
	if k >= 1 && k < manyIntervals {
		ss := 0.
		if k > 1 {
			ss = float64(k-1) * d.sigma2
		}
		d.sigma2 = (ss + driftPrior*assumed) / (float64(k-1) + driftPrior)
	}
	return newUsage(t, asOf, k, d)
}

// logKm fits a log-normal to the mean and variance.
func (d drift) logKm(_ Day, a, b float64) (mu, sd float64) {
	h := b - a
	mean := d.rate * h
	v := d.sigma2 * (h + h*h/d.span) / (mean * mean)
	v = math.Log1p(v)
	return math.Log(mean) - v/2, math.Sqrt(v)
}
