package forecast

import (
	"math"
	"sort"
)

// road joins a vehicle's scales of distance: the continuous total in km, the
// effective distance in which wear is even over the year, and the day.
type road struct {
	track    Track
	eff      EffectiveTrack
	season   WearSeason
	usage    Usage
	asOf     Day
	kmPerDay float64 // over the long run
	told     bool    // there is an odometer; else a distance per day is assumed
	lastEff  float64 // effective km at the last odometer reading
	integral float64 // of the season, up to then
}

func (p *Params) road(v *Vehicle, asOf Day) road {
	r := road{track: trackOf(v, asOf), season: p.Season, asOf: asOf}
	if r.told = r.track.Known(); !r.told {
		r.track = CleanOdometer([]Odometer{{Day: firstDay(v, asOf), Km: 0}})
	}
	class := p.Usage.class(UsageClass(v))
	r.track = r.track.WithRate(math.Exp(class.LogKmPerDay))
	r.usage = p.Usage.Forecast(r.track, UsageClass(v), asOf)
	r.eff = r.track.Effective(p.Season)
	r.lastEff, r.integral = r.eff.At(r.track.Last.Day), p.Season.integral(float64(r.track.Last.Day))
	r.kmPerDay = max(r.track.mean, minKmPerDay)
	return r
}

// firstDay is the first day anything is known of v, or asOf.
func firstDay(v *Vehicle, asOf Day) Day {
	first := asOf
	for _, o := range v.Odometer {
		first = min(first, o.Day)
	}
	for i := range v.Axles {
		for j := range v.Axles[i].Readings {
			first = min(first, v.Axles[i].Readings[j].Day)
		}
		for _, f := range v.Axles[i].Fitments {
			first = min(first, f.Day)
		}
	}
	return first
}

// at returns the effective distance in 1000 km on day d, at which the total is
// known to be km, or NaN.
func (r *road) at(d Day, km float64) float64 {
	s := r.eff.At(d)
	if !math.IsNaN(km) {
		s += km - r.track.Km(d)
	}
	return s / 1000
}

// now returns the effective distance on the forecast's day.
func (r *road) now() float64 { return r.at(r.asOf, r.usage.NowKm) }

// km is the inverse of at: the continuous total at an effective distance.
func (r *road) km(s float64) float64 {
	t, eff := &r.track, 1000*s
	last := t.Last
	if eff >= r.lastEff || r.season == (WearSeason{}) {
		return max(0, last.Km+r.season.real(eff-r.lastEff, float64(last.Day), r.integral, max(t.recent, minKmPerDay)))
	}
	if eff <= 0 {
		return max(0, t.km[0]+eff)
	}
	// The first day by whose end the distance is covered, and within it. Between two
	// readings the season says which it is, but for rounding.
	k := min(sort.SearchFloat64s(r.eff.s, eff), len(t.days)-1)
	before, after := t.days[k-1], t.days[k]
	even := (eff - r.eff.s[k-1]) / (t.km[k] - t.km[k-1]) * daysBetween(before, after)
	from := float64(before)
	hi := max(before+1, min(after, before+Day(math.Ceil(r.season.days(even, from, r.season.integral(from))))))
	a, b := r.eff.At(hi-1), r.eff.At(hi)
	for hi-1 > before && a >= eff {
		hi--
		a, b = r.eff.At(hi-1), a
	}
	for hi < after && b < eff {
		hi++
		a, b = b, r.eff.At(hi)
	}
	lo := hi - 1
	if !(b > a) {
		return t.Km(hi)
	}
	return t.Km(lo) + (t.Km(hi)-t.Km(lo))*(eff-a)/(b-a)
}
