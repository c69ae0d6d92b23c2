package plan

import "math"

// relaxation is a Lagrangian relaxation of an instance: constraints are priced
// by multipliers x instead of kept. At every x it is a lower bound.
type relaxation interface {
	// evaluate returns the bound at x and sets g to its slope there.
	evaluate(x, g []float64) float64
}

// The volume algorithm (Barahona and Anbil 2000, from memory). Its numbers are
// judgement, found on invented problems.
const (
	volumeStep  = .1  // first step, as a share of the way to the target
	volumeUp    = 1.1 // after a step that rose, along the mean slope
	volumeDown  = .66 // after volumeRed steps that did not rise
	volumeRed   = 20
	volumeMean  = .1 // weight of the newest slope in the mean
	volumeLeast = 1e-5
	// volumeReach is how far above the bound the target is looked for at
	// most: a bad plan must not make for wild steps.
	volumeReach = .05
)

// ascent climbs a relaxation: it steps from the best multipliers along the mean
// of the slopes met so far.
type ascent struct {
	r     relaxation
	floor float64   // of the multipliers
	x     []float64 // the best so far
	bound float64   // there

	mean, try, g []float64
	step         float64
}

// newAscent starts at x, which it keeps.
func newAscent(r relaxation, x []float64, floor float64) *ascent {
	a := &ascent{r: r, floor: floor, x: x, step: volumeStep,
		mean: make([]float64, len(x)), try: make([]float64, len(x)), g: make([]float64, len(x))}
	a.bound = r.evaluate(x, a.mean)
	return a
}

// rise takes n steps, fewer where there is nothing more to win or over says so.
// target is the cost of a plan known.
func (a *ascent) rise(over func() bool, n int, target float64) {
	red := 0
	for range n {
		if over() {
			return
		}
		norm := 0.
		for i, m := range a.mean {
			if m < 0 && a.x[i] <= a.floor {
				continue
			}
			norm += m * m
		}
		reach := min(target-a.bound, volumeReach*math.Abs(a.bound))
		if norm < 1e-12 || reach <= 1e-9*math.Abs(a.bound) {
			return
		}
		size := a.step * reach / norm
		for i, m := range a.mean {
			a.try[i] = max(a.floor, a.x[i]+size*m)
		}
		bound := a.r.evaluate(a.try, a.g)
		along := 0.
		for i, g := range a.g {
			along += g * a.mean[i]
			a.mean[i] += volumeMean * (g - a.mean[i])
		}
		if bound > a.bound {
			a.bound, red = bound, 0
			a.x, a.try = a.try, a.x
			if along > 0 {
				a.step = min(2, a.step*volumeUp)
			}
		} else if red++; red == volumeRed {
			red = 0
			a.step = max(volumeLeast, a.step*volumeDown)
		}
	}
}
