package forecast

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"sort"
)

// Costs of the chain of odometer readings that is kept, in units of one
// reading set aside. All are judgement, tuned on simulated odometers.
const (
	// shiftCost is the cost of a new level: three readings have to agree
	// before a changed cluster is believed.
	shiftCost = 2.5
	// freshCost is its cost when the new level starts near zero, as a new
	// cluster does: two readings are enough.
	freshCost = 1.8
	// blankCost is its cost when it moreover lies below a twentieth of the old
	// one, which no single wrong or lost digit explains: one reading is enough,
	// until a later one goes on from the old level.
	blankCost  = .9
	blankShare = 20
	// sprintCost is the cost of one long trip: dearer than setting one
	// reading aside, cheaper than believing in a swap.
	sprintCost = 1.2
	// milesCost and milesMore are the costs of the first and of each further
	// reading of a run taken as miles.
	milesCost = 1.1
	milesMore = .02
	// milesFit weighs how closely the first of them has to fit: a new level at
	// 62 % of the old one must not pass for miles.
	milesFit = 20
	// unevenCost breaks ties in favour of the chain nearer to the median rate.
	unevenCost = .2
	// lookBack is the number of readings in a row that can be set aside.
	lookBack = 6
)

const (
	minTopKmPerDay = 120.0  // what any vehicle may drive in a day, day after day
	topOverMedian  = 3.5    // the same as a multiple of the vehicle's median
	mostKmPerDay   = 2000.0 // what none may: two drivers, day and night at 85 km/h
	slackKm        = 300.0  // one day's trip, whatever the gap
	sprintKm       = 2500.0 // a trip of some days
	maxOdometerKm  = 5e6    // beyond any road vehicle
	kmPerMile      = 1.609344
	recentDays     = 180 // what "recent rate" looks back on
	// assumedKmPerDay stands in where one reading is all there is: about
	// 22,000 km a year, between a private car and a delivery van.
	assumedKmPerDay = 60.0
)

// CleanOdometer builds the track of readings in any order. It finds the
// cheapest chain of readings with 0 <= dkm <= top*ddays + slack, in which a
// reading set aside, a long trip, a run of miles and a new level each have
// their price, by dynamic programming over the last few readings. It is linear
// in the number of readings and tolerates anything. Declared swaps are known
// shifts of the level: the total goes on across them.
func CleanOdometer(rs []Odometer, declared ...DeclaredSwap) Track {
	var t Track
	levels := t.levels(declared)
	shown := rs
	for _, l := range levels {
		shown = append(slices.Clip(shown), Odometer{l.Day, l.Old}, Odometer{l.Day, l.New})
	}
	return t.clean(t.plausible(shown, levels))
}

// swapLevel is what the dashboard shows from a declared swap on.
type swapLevel struct {
	DeclaredSwap
	shift float64 // continuous total less what is shown
}

// levels returns the declared swaps that can be meant, in order of day, the
// last one of a day.
func (t *Track) levels(declared []DeclaredSwap) []swapLevel {
	var out []swapLevel
	var shift float64
	sorted := slices.Clone(declared)
	slices.SortStableFunc(sorted, func(a, b DeclaredSwap) int { return cmp.Compare(a.Day, b.Day) })
	for i, d := range sorted {
		if !meant(d.Old) || !meant(d.New) || i+1 < len(sorted) && sorted[i+1].Day == d.Day {
			continue
		}
		shift += d.Old - d.New
		out = append(out, swapLevel{d, shift})
		t.Swaps = append(t.Swaps, Swap{After: d.Day, Before: d.Day, From: d.Old, To: d.New, Declared: true})
	}
	return out
}

// shiftOf returns the shift of a value shown on day d. On the day of a swap it
// is that of the cluster whose value is nearer.
func shiftOf(levels []swapLevel, d Day, km float64) float64 {
	var shift float64
	for _, l := range levels {
		if l.Day > d || l.Day == d && math.Abs(km-l.Old) <= math.Abs(km-l.New) {
			break
		}
		shift = l.shift
	}
	return shift
}

// meant says whether a value is a distance at all.
func meant(km float64) bool { return km >= 0 && km <= maxOdometerKm }

// odoReading is a reading with the shift of its declared level.
type odoReading struct {
	Odometer
	shift float64
}

// total is the reading on the scale that goes on across declared swaps.
func (r odoReading) total() float64 { return r.Km + r.shift }

// clean is CleanOdometer for plausible readings.
func (t Track) clean(rs []odoReading) Track {
	if len(rs) == 0 {
		return t
	}
	median := medianRate(rs)
	t.top = min(max(minTopKmPerDay, topOverMedian*median), mostKmPerDay)
	t.lay(rs, cheapestChain(rs, stepPrice{median, t.top}))
	slices.SortStableFunc(t.Dropped, func(a, b DroppedOdometer) int {
		return cmp.Compare(a.Odometer.Day, b.Odometer.Day)
	})
	slices.SortStableFunc(t.Swaps, func(a, b Swap) int { return cmp.Compare(a.Before, b.Before) })
	return t
}

// plausible returns the readings that are distances at all, in order of day and
// total and each once.
func (t *Track) plausible(rs []Odometer, levels []swapLevel) []odoReading {
	out := make([]odoReading, 0, len(rs))
	for _, r := range rs {
		if !meant(r.Km) {
			t.Dropped = append(t.Dropped, DroppedOdometer{r, NoOdometer, "not an odometer value"})
			continue
		}
		out = append(out, odoReading{r, shiftOf(levels, r.Day, r.Km)})
	}
	order := func(a, b odoReading) int {
		return cmp.Or(cmp.Compare(a.Day, b.Day), cmp.Compare(a.total(), b.total()), cmp.Compare(a.shift, b.shift))
	}
	if !slices.IsSortedFunc(out, order) {
		slices.SortFunc(out, order)
	}
	return slices.Compact(out)
}

// medianRate returns the median km/day between readings that follow one
// another, of those that rise and may be; 0 where there are none.
func medianRate(rs []odoReading) float64 {
	rates := make([]float64, 0, len(rs))
	for i := 1; i < len(rs); i++ {
		days := daysBetween(rs[i-1].Day, rs[i].Day)
		if dkm := rs[i].total() - rs[i-1].total(); days > 0 && dkm > 0 && dkm <= mostKmPerDay*days {
			rates = append(rates, dkm/days)
		}
	}
	if len(rates) == 0 {
		return 0
	}
	slices.Sort(rates)
	return rates[len(rates)/2]
}

func daysBetween(a, b Day) float64 { return float64(b) - float64(a) }

// link is one reading of the chain.
type link struct {
	i     int  // index of the reading
	miles bool // taken as miles
	shift bool // starts a new level
}

// cheapestChain returns the readings to keep, in order.
func cheapestChain(rs []odoReading, price stepPrice) []link {
	// Two states a reading: kept as km, kept as miles.
	type state struct {
		cost  float64
		from  int // index of the state before, -1 for none
		shift bool
	}
	unit := [2]float64{1, kmPerMile}
	states := make([]state, 2*len(rs))
	best, end := math.Inf(1), 0
	for i, r := range rs {
		for u := range unit {
			to := state{cost: float64(i), from: -1} // all before set aside
			if u == 1 {
				to.cost += milesCost
			}
			value := r.Km * unit[u] // shown
			total := value + r.shift
			for j := i - 1; j >= 0 && j >= i-1-lookBack; j-- {
				days := daysBetween(rs[j].Day, r.Day)
				skipped := float64(i - j - 1)
				for w := range unit {
					cost, shift := price.of(total-rs[j].Km*unit[w]-rs[j].shift, days, value)
					if u == 1 && shift {
						continue // miles are believed only where they fit
					}
					if u == 1 && w == 0 {
						cost = milesCost + milesFit*cost
					} else if u == 1 {
						cost += milesMore
					}
					if cost += states[2*j+w].cost + skipped; cost < to.cost {
						to = state{cost, 2*j + w, shift}
					}
				}
			}
			states[2*i+u] = to
			// On a tie the later reading ends the chain.
			if c := to.cost + float64(len(rs)-1-i); c <= best {
				best, end = c, 2*i+u
			}
		}
	}
	var chain []link
	for at := end; at >= 0; at = states[at].from {
		chain = append(chain, link{at / 2, at%2 == 1, states[at].shift})
	}
	slices.Reverse(chain)
	return unmile(rs, chain)
}

// unmile takes a run of miles that lasts to the end for a new level, unless the
// distance driven since is nearer to that before when it is counted in miles.
func unmile(rs []odoReading, chain []link) []link {
	k := len(chain)
	for k > 0 && chain[k-1].miles {
		k--
	}
	if k < 2 || k == len(chain) {
		return chain
	}
	rate := func(ls []link) float64 {
		a, b := rs[ls[0].i], rs[ls[len(ls)-1].i]
		return (b.total() - a.total()) / daysBetween(a.Day, b.Day)
	}
	if since, before := rate(chain[k:]), rate(chain[:k]); since*math.Sqrt(kmPerMile) > before {
		for i := range chain[k:] {
			chain[k+i].miles = false
		}
		chain[k].shift = true
	}
	return chain
}

// stepPrice prices steps between two readings of the chain.
type stepPrice struct {
	median, top float64 // km/day
}

// of prices the step of dkm in so many days to value, and says whether it is a
// new level.
func (p stepPrice) of(dkm, days, value float64) (cost float64, shift bool) {
	reach := p.top*days + slackKm
	switch {
	case dkm < 0 && value <= reach:
		if value >= 1 && value*blankShare < value-dkm { // 0 is what people enter for "not read"
			return blankCost, true
		}
		return freshCost, true
	case dkm < 0 || dkm > reach+sprintKm:
		return shiftCost, true
	case dkm > reach:
		return sprintCost, false
	}
	off := (dkm - p.median*days) / reach
	return unevenCost * off * off, false
}

// lay turns the chain into the continuous total.
func (t *Track) lay(rs []odoReading, chain []link) {
	n := len(chain)
	t.N = n
	t.days = make([]Day, 0, n)
	t.km = make([]float64, 0, n)
	t.shift = make([]float64, 0, n)
	var shift float64
	next := 0
	for k, l := range chain {
		for ; next < l.i; next++ {
			t.Dropped = append(t.Dropped, dropped(rs, chain, k, next))
		}
		next = l.i + 1
		r := rs[l.i]
		value := r.Km
		if l.miles {
			value *= kmPerMile
			t.Dropped = append(t.Dropped, DroppedOdometer{r.Odometer, InMiles, fmt.Sprintf("looks like miles: counted as %.0f km", value)})
		}
		if l.shift {
			before := rs[chain[k-1].i]
			rate := t.rateOver(recentDays)
			if math.IsNaN(rate) {
				rate = rateAfter(rs, chain[k:])
			}
			total := t.km[len(t.km)-1] + rate*daysBetween(before.Day, r.Day)
			shift = total - value - r.shift
			t.Swaps = append(t.Swaps, Swap{After: before.Day, Before: r.Day, From: before.Km, To: r.Km})
		}
		// Of two values on one day the later, higher one stands.
		total := value + r.shift + shift
		if m := len(t.days); m > 0 && t.days[m-1] == r.Day {
			t.km[m-1], t.shift[m-1] = max(t.km[m-1], total), r.shift+shift
			continue
		}
		t.days = append(t.days, r.Day)
		t.km = append(t.km, total)
		t.shift = append(t.shift, r.shift+shift)
	}
	for ; next < len(rs); next++ {
		t.Dropped = append(t.Dropped, dropped(rs, chain, n, next))
	}
	last := len(t.days) - 1
	t.Last = Odometer{t.days[last], t.km[last]}
	t.mean = t.rateOver(math.Inf(1))
	t.recent = t.rateOver(recentDays)
	if math.IsNaN(t.mean) {
		t.mean, t.recent = assumedKmPerDay, assumedKmPerDay
	}
}

// dropped says what is wrong with reading i, set aside before link k.
func dropped(rs []odoReading, chain []link, k, i int) DroppedOdometer {
	if k > 0 && rs[i].total() < rs[chain[k-1].i].total() {
		return DroppedOdometer{rs[i].Odometer, BelowEarlier, "below an earlier reading"}
	}
	if k < len(chain) && rs[i].total() > rs[chain[k].i].total() {
		return DroppedOdometer{rs[i].Odometer, AboveLater, "above a later reading"}
	}
	return DroppedOdometer{rs[i].Odometer, TooFar, "further than the vehicle drives in that time"}
}

// rateOver returns the km/day of the last knots that span at least so many
// days, or of all where they span less; NaN where there is only one.
func (t *Track) rateOver(days float64) float64 {
	n := len(t.days)
	if n < 2 {
		return math.NaN()
	}
	last := t.days[n-1]
	i := sort.Search(n, func(i int) bool { return daysBetween(t.days[i], last) < days }) - 1
	i = min(max(i, 0), n-2)
	return (t.km[n-1] - t.km[i]) / daysBetween(t.days[i], last)
}

// rateAfter returns the km/day of the level that starts a chain.
func rateAfter(rs []odoReading, chain []link) float64 {
	first, last := rs[chain[0].i], rs[chain[0].i]
	for _, l := range chain[1:] {
		if l.shift || l.miles {
			break
		}
		last = rs[l.i]
	}
	if days := daysBetween(first.Day, last.Day); days > 0 {
		return max(0, (last.total()-first.total())/days)
	}
	return assumedKmPerDay
}
