package plan

import (
	"cmp"
	"math"

	"brakewear/forecast"
)

// Outlook works a job's chances out from the forecast of its axle for the days
// of p: Past, Wasted, After and Usable. It returns false where the forecast
// gives no date. A limit measured as reached counts as passed for sure.
func (j *Job) Outlook(f *forecast.AxleForecast, p *Problem) bool {
	if f.Limiting < 0 || !f.Crossing.Day.Known() {
		return false
	}
	place := &f.Positions[f.Limiting]
	left := math.Abs(place.ThicknessMM - place.Spec.Limit)
	usable := math.Abs(place.Spec.New - place.Spec.Limit)
	if math.IsNaN(left) || !(usable > 0) {
		return false
	}
	j.Axle, j.Usable, j.After = f.Axle, usable, 0
	j.Past, j.Wasted = make([]float64, p.Days), make([]float64, p.Days)
	if f.Has(forecast.PastLimit) {
		for d := range j.Past {
			j.Past[d] = 1
		}
		return true
	}
	left = min(left, usable)
	at := float64(f.AsOf)
	for d := range j.Past {
		day := float64(p.Start) + float64(d)
		j.Past[d] = f.Crossing.Day.CDF(day)
		j.Wasted[d] = Wasted(f.Crossing.Day, at, left, day)
	}
	if d, ok := f.Crossing.BookBy(p.accepted()); ok {
		j.After = Wasted(f.Crossing.Day, at, left, max(at, float64(d)))
	}
	return true
}

// accepted is p.Risk or what stands in for it.
func (p *Problem) accepted() float64 { return cmp.Or(p.Risk, DefaultRisk) }

// Wasted returns the lining expected to be thrown away, in mm, when it is
// changed on day, left being what it has above its limit on day now and limit
// the day on which it reaches it. Worn evenly from now to T, a lining changed
// on t < T has left·(T-t)/(T-now) to go:
//
//	left · E[ max(0, T-t) / (T-now) ]
//
// over the quantiles of T; a limit reached before now leaves nothing.
func Wasted(limit forecast.Dist, now, left, day float64) float64 {
	share := func(t float64) float64 {
		switch {
		case t <= day || t <= now:
			return 0
		case math.IsInf(t, 1) || day <= now:
			return 1
		}
		return (t - day) / (t - now)
	}
	// The quantile function is linear between the kept levels and flat beyond.
	ps, x := forecast.Levels, limit.X
	sum := ps[0]*share(x[0]) + (1-ps[len(ps)-1])*share(x[len(x)-1])
	for i := 1; i < len(ps); i++ {
		sum += (ps[i] - ps[i-1]) * (share(x[i-1]) + share(x[i])) / 2
	}
	return left * sum
}
