package forecast

import (
	"math"
	"slices"
	"sort"
)

// Track is a vehicle's odometer made continuous: readings that cannot be meant
// are set aside, and the total goes on where a changed cluster starts anew.
// The zero Track knows nothing.
type Track struct {
	Dropped []DroppedOdometer // readings set aside or converted, in order of day
	Swaps   []Swap
	Last    Odometer // last reading kept, on the continuous scale
	N       int      // readings kept

	days  []Day     // ascending, one knot a day
	km    []float64 // continuous total at days, non-decreasing
	shift []float64 // continuous total less what the dashboard showed

	top    float64 // greatest km/day held possible
	mean   float64 // km/day over the whole track
	recent float64 // km/day of the last months
}

// DroppedOdometer is an odometer reading that was not taken as it stands.
type DroppedOdometer struct {
	Odometer Odometer
	Flaw     Flaw
	Why      string // in words
}

// Flaw is what is wrong with an odometer reading.
type Flaw int

const (
	NoOdometer   Flaw = iota // not a distance at all
	InMiles                  // converted and kept
	BelowEarlier             // it ran back
	AboveLater               // the later ones are lower
	TooFar                   // more than the vehicle drives in the time
)

// Swap is a change of the instrument cluster, or a run-back: between two days
// the dashboard went on from another value.
type Swap struct {
	After, Before Day
	From, To      float64 // shown on these days, km
	Declared      bool    // somebody wrote it down
}

// DeclaredSwap is a change of the instrument cluster that was written down.
type DeclaredSwap struct {
	Day      Day
	Old, New float64 // shown on that day by the old cluster and by the new one, km
}

// WithRate returns the track with another km/day for the time outside its
// readings, where it holds one reading only; otherwise the track itself.
func (t Track) WithRate(kmPerDay float64) Track {
	if len(t.days) == 1 && kmPerDay >= 0 {
		t.mean, t.recent = kmPerDay, kmPerDay
	}
	return t
}

// Known says whether there is any reading to go by.
func (t Track) Known() bool { return len(t.days) > 0 }

// Km returns the continuous total on day d, linear between readings. After the
// last one it goes on at the recent rate, before the first one back at the mean
// rate, down to 0. It is NaN when nothing is known.
func (t Track) Km(d Day) float64 { return t.kmAt(float64(d)) }

func (t Track) kmAt(d float64) float64 {
	n := len(t.days)
	if n == 0 || math.IsNaN(d) {
		return math.NaN()
	}
	i := sort.Search(n, func(i int) bool { return float64(t.days[i]) > d })
	switch i {
	case 0:
		return max(0, t.km[0]-t.mean*(float64(t.days[0])-d))
	case n:
		return t.km[n-1] + t.recent*(d-float64(t.days[n-1]))
	}
	from := float64(t.days[i-1])
	return t.km[i-1] + (t.km[i]-t.km[i-1])*(d-from)/(float64(t.days[i])-from)
}

// Day returns the day, with its fraction, on which the total reached km: between
// readings, or before the first one at the mean rate. It is NaN when it has not
// been reached at the last reading.
func (t Track) Day(km float64) float64 {
	n := len(t.days)
	i := sort.Search(n, func(i int) bool { return t.km[i] >= km })
	switch {
	case i == n || math.IsNaN(km):
		return math.NaN()
	case i == 0 && t.mean > 0:
		return float64(t.days[0]) - (t.km[0]-km)/t.mean
	case i == 0:
		return float64(t.days[0])
	}
	from := float64(t.days[i-1])
	return from + (float64(t.days[i])-from)*(km-t.km[i-1])/(t.km[i]-t.km[i-1])
}

// Reach returns the greatest total held possible on a day on or after the last
// reading. It rises by so many km with each day.
func (t Track) Reach(d Day) float64 {
	return t.Last.Km + t.top*max(0, daysBetween(t.Last.Day, d)) + slackKm
}

// Reading maps a value read off the dashboard on day d to the continuous scale:
// the same value unless the cluster was changed before. A value that the track
// does not allow on that day gives way to the track's own.
func (t Track) Reading(km float64, d Day) float64 {
	n := len(t.days)
	if n == 0 {
		return km
	}
	if math.IsNaN(km) {
		return t.Km(d)
	}
	i := sort.Search(n, func(i int) bool { return t.days[i] > d })
	lo, hi := t.bounds(i, d)
	at := t.Km(d)
	best := math.NaN()
	first := max(i-1, 0)
	if first > 0 && t.days[first] == d {
		first-- // the level may have changed on the day itself
	}
	for _, unit := range [2]float64{1, kmPerMile} {
		// Between two levels the day of the swap is not known: either may hold.
		for _, shift := range t.shift[first:min(i+1, n)] {
			v := km*unit + shift
			if v >= lo-slackKm && v <= hi+slackKm && !(math.Abs(v-at) >= math.Abs(best-at)) {
				best = v
			}
		}
		if !math.IsNaN(best) || !t.miles() {
			break // nobody has been seen to write miles
		}
	}
	if math.IsNaN(best) {
		return at
	}
	return best
}

// miles says whether some reading was taken as miles.
func (t *Track) miles() bool {
	return slices.ContainsFunc(t.Dropped, func(d DroppedOdometer) bool { return d.Flaw == InMiles })
}

// bounds are the totals possible on day d, after i knots.
func (t *Track) bounds(i int, d Day) (lo, hi float64) {
	hi = math.Inf(1)
	if i > 0 {
		lo = t.km[i-1]
		hi = lo + t.top*daysBetween(t.days[i-1], d) + slackKm + sprintKm
	}
	if i < len(t.days) {
		hi = min(hi, t.km[i])
	}
	return lo, hi
}

// Allows says whether the dashboard may have shown km on day d, for all that
// is known.
func (t Track) Allows(km float64, d Day) bool {
	n := len(t.days)
	if n == 0 {
		return meant(km)
	}
	i := sort.Search(n, func(i int) bool { return t.days[i] > d })
	lo, hi := t.bounds(i, d)
	for _, j := range [2]int{max(i-1, 0), min(i, n-1)} {
		if v := km + t.shift[j]; v >= lo && v <= hi {
			return true
		}
	}
	return false
}

// Display maps a continuous total to what the present dashboard shows.
func (t Track) Display(km float64) float64 {
	if n := len(t.shift); n > 0 {
		return km - t.shift[n-1]
	}
	return km
}

// Shown returns what the dashboard showed on day d; NaN when nothing is known.
func (t Track) Shown(d Day) float64 {
	n := len(t.days)
	if n == 0 {
		return math.NaN()
	}
	i := sort.Search(n, func(i int) bool { return t.days[i] > d })
	return t.Km(d) - t.shift[max(i-1, 0)]
}

// trackOf returns the track of v as known on day asOf, from the odometer values
// read by themselves, beside a thickness or at a fitting.
func trackOf(v *Vehicle, asOf Day) Track {
	var swaps []DeclaredSwap
	for _, s := range v.Swaps {
		if s.Day <= asOf {
			swaps = append(swaps, s)
		}
	}
	return CleanOdometer(odometerOf(v, asOf), swaps...)
}

// odometerOf returns those values, in no order and some of them twice.
func odometerOf(v *Vehicle, asOf Day) []Odometer {
	n := len(v.Odometer)
	for i := range v.Axles {
		n += len(v.Axles[i].Readings) + len(v.Axles[i].Fitments)
	}
	rs := make([]Odometer, 0, n)
	var last Odometer
	add := func(d Day, km float64) {
		o := Odometer{d, km}
		// Positions of one visit share their odometer value.
		if d <= asOf && !math.IsNaN(km) && (len(rs) == 0 || o != last) {
			rs = append(rs, o)
			last = o
		}
	}
	for _, o := range v.Odometer {
		add(o.Day, o.Km)
	}
	for i := range v.Axles {
		for j := range v.Axles[i].Readings {
			r := &v.Axles[i].Readings[j]
			add(r.Day, r.Km)
		}
		for _, f := range v.Axles[i].Fitments {
			add(f.Day, f.Km)
		}
	}
	return rs
}
