package forecast

import (
	"math"
	"slices"
)

// Lambdas are the fractions of a life at which accuracy is scored.
var Lambdas = [...]float64{.25, .5, .75}

const (
	lambdaReach  = .1 // how far from lambda a forecast may lie
	coneAlpha    = .2 // half width of the alpha-lambda cone
	coneBeta     = .5 // mass that has to lie in it
	horizonAlpha = .1 // error allowed for the prognostic horizon
)

// LifeScore follows whole lives: forecasts along each, at inspections.
type LifeScore struct {
	N       int                   // lives with three forecasts or more
	Cone    [len(Lambdas)]float64 // share of medians in the cone of 20 %
	Mass    [len(Lambdas)]float64 // share with half the probability in it
	RA      [len(Lambdas)]float64 // mean relative accuracy
	At      [len(Lambdas)]int     // lives with a forecast there
	CRA     float64               // relative accuracy averaged along lives
	Horizon float64               // mean prognostic horizon, alpha = .1
}

type lifeTally struct {
	n          int
	at         [len(Lambdas)]int
	cone, mass [len(Lambdas)]int
	ra         [len(Lambdas)]float64
	cra, ph    float64
}

// lifePoint is one forecast along a life, distances counted from its fitting.
type lifePoint struct {
	Prognosis
	end Dist // of the end of life
}

const minLifePoints = 3

// add scores the forecasts along one life that lasts so many km.
func (t *lifeTally) add(points []lifePoint, life float64) {
	// Where a day's distance is known by interpolation, its forecast may seem to
	// come after the end.
	points = slices.DeleteFunc(slices.Clone(points), func(p lifePoint) bool { return !(p.At < life) })
	if len(points) < minLifePoints {
		return
	}
	t.n++
	series := make([]Prognosis, len(points))
	var cra float64
	for i, p := range points {
		series[i] = p.Prognosis
		// What is negative says no more than "useless".
		cra += max(0, RelativeAccuracy(p.Remaining, life-p.At))
	}
	t.cra += cra / float64(len(points))
	t.ph += PrognosticHorizon(series, life, horizonAlpha)
	for i, lambda := range Lambdas {
		best, reach := -1, lambdaReach
		for k, p := range points {
			if off := math.Abs(p.At/life - lambda); off < reach {
				best, reach = k, off
			}
		}
		if best < 0 {
			continue
		}
		p := points[best]
		truth := life - p.At
		t.at[i]++
		if InCone(p.Remaining, truth, coneAlpha) {
			t.cone[i]++
		}
		if ConeMass(p.end, p.At, truth, coneAlpha) >= coneBeta {
			t.mass[i]++
		}
		t.ra[i] += max(0, RelativeAccuracy(p.Remaining, truth))
	}
}

func (t *lifeTally) merge(o *lifeTally) {
	t.n += o.n
	t.cra += o.cra
	t.ph += o.ph
	for i := range Lambdas {
		t.at[i] += o.at[i]
		t.cone[i] += o.cone[i]
		t.mass[i] += o.mass[i]
		t.ra[i] += o.ra[i]
	}
}

func (t *lifeTally) score() LifeScore {
	s := LifeScore{N: t.n, At: t.at}
	if t.n == 0 {
		return s
	}
	s.CRA, s.Horizon = t.cra/float64(t.n), t.ph/float64(t.n)
	for i, n := range t.at {
		if n > 0 {
			s.Cone[i] = float64(t.cone[i]) / float64(n)
			s.Mass[i] = float64(t.mass[i]) / float64(n)
			s.RA[i] = t.ra[i] / float64(n)
		}
	}
	return s
}
