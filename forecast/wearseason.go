package forecast

import (
	"math"
	"sort"
)

// yearDays is the mean length of a year, so that the season keeps its place in
// the calendar over decades.
const yearDays = 365.25

// WearSeason is the season of wear: a km driven on day d wears as much as
//
//	1 + Cos cos(2 pi d / 365.25) + Sin sin(2 pi d / 365.25)
//
// km of the year's mean. d counts from 1 January.
type WearSeason struct {
	Cos, Sin float64
}

// weight returns the integral of the season from day a to day b.
func (w WearSeason) weight(a, b float64) float64 {
	if w == (WearSeason{}) {
		return b - a
	}
	return w.integral(b) - w.integral(a)
}

func (w WearSeason) integral(d float64) float64 {
	sum, _, _ := w.at(d)
	return sum
}

// at returns the integral of the season up to day d, the season on it and by how much
// that rises in a day.
func (w WearSeason) at(d float64) (integral, pace, rise float64) {
	const omega = 2 * math.Pi / yearDays
	// Whole years are dropped to keep the sine's argument small; math.Mod would be
	// exact, at three times the cost of the sine.
	sin, cos := math.Sincos(omega * (d - yearDays*math.Floor(d/yearDays)))
	x := w.Cos*sin - w.Sin*cos
	return d + x/omega, 1 + w.Cos*cos + w.Sin*sin, -x * omega
}

// Real returns the km driven from day from on until they wear as much as eff km
// of the year's mean, at a constant km/day. |Cos| + |Sin| must be below 1.
func (w WearSeason) Real(eff float64, from Day, kmPerDay float64) float64 {
	return w.real(eff, float64(from), w.integral(float64(from)), kmPerDay)
}

// real is Real with the integral up to day from known.
func (w WearSeason) real(eff, from, start, kmPerDay float64) float64 {
	if w == (WearSeason{}) || !(kmPerDay > 0) || math.IsInf(eff, 0) || math.IsNaN(eff) {
		return eff
	}
	return kmPerDay * w.days(eff/kmPerDay, from, start)
}

// days returns how many days from a day on, with the integral up to it known, wear as
// much as so many of the year's mean.
func (w WearSeason) days(even, from, start float64) float64 {
	days := even
	// Halley's method, Newton's with a bend, on a function that strays from the identity
	// by a few days only: from a step of 0.003 days on, the next would be below 1e-11.
	for range 8 {
		here, pace, rise := w.at(from + days)
		step := (here - start - even) / pace
		step /= 1 - max(-.5, min(.5, step*rise/(2*pace)))
		days -= step
		if math.Abs(step) < .003 {
			break
		}
	}
	return days
}

// Effective returns the inverse of Real: the km of the year's mean that wear as
// much as km driven from day from on.
func (w WearSeason) Effective(km float64, from Day, kmPerDay float64) float64 {
	if w == (WearSeason{}) || !(kmPerDay > 0) || math.IsInf(km, 0) || math.IsNaN(km) {
		return km
	}
	return kmPerDay * w.weight(float64(from), float64(from)+km/kmPerDay)
}

// EffectiveTrack is a track with its distance weighted by the season of wear:
//
//	s(d) = integral up to d of (1 + Cos cos + Sin sin) dkm
//
// counted from the track's first reading.
type EffectiveTrack struct {
	track  Track
	season WearSeason
	s      []float64 // at the track's knots
}

// Effective weighs the track's distance by the season of wear.
func (t Track) Effective(w WearSeason) EffectiveTrack {
	e := EffectiveTrack{track: t, season: w}
	if w == (WearSeason{}) || !t.Known() {
		return e
	}
	e.s = make([]float64, len(t.days))
	before := w.integral(float64(t.days[0]))
	for i := 1; i < len(t.days); i++ {
		here := w.integral(float64(t.days[i]))
		rate := (t.km[i] - t.km[i-1]) / daysBetween(t.days[i-1], t.days[i])
		e.s[i] = e.s[i-1] + rate*(here-before)
		before = here
	}
	return e
}

// At returns s on day d, in km; NaN when the track knows nothing.
func (e EffectiveTrack) At(d Day) float64 {
	t := &e.track
	if !t.Known() {
		return math.NaN()
	}
	if e.s == nil {
		return t.Km(d) - t.km[0]
	}
	n := len(t.days)
	i := max(1, sort.Search(n, func(i int) bool { return t.days[i] > d })) - 1
	if t.days[i] == d {
		return e.s[i]
	}
	knot := float64(t.days[i])
	return e.s[i] + (t.Km(d)-t.km[i])*e.season.weight(knot, float64(d))/(float64(d)-knot)
}
