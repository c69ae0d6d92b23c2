package forecast

import (
	"math"
	"slices"
)

// set is one part set of an axle, from its fitting to its removal, with its
// readings in the model's terms.
type set struct {
	axleLife
	part Part
	axle int        // index in the vehicle
	spec Spec       //
	pos  []Position // of the live places, which come first in places
	days []Day      // of the visits

	readings []*Reading // of the rows, by their id
	trips    []int      // rows that are a sensor's signal, not in use until judged
	aside    []int      // rows set aside
	change   *Change    // the unrecorded change it began with
	gap      [2]float64 // and where that lies, 1000 km
	gapBirth int        // index of that fitting
	renewed  []incarnation
}

// incarnation is one part at a place: the one after so many renewals.
type incarnation struct{ place, renewed int }

// axleHistory is what is known of one kind of part on one axle.
type axleHistory struct {
	sets    []set // in order of fitting; the last one is on the axle now
	fitted  bool  // some fitting was declared
	changes []Change
	odd     []Reading // of places that the part does not have
}

// cutter cuts the history of one kind of part on one axle into sets.
type cutter struct {
	params *Params
	fit    *fitter
	memory *Memory
	noise  *Noise
	part   Part
	axle   int
	spec   Spec
	length float64 // correlation length of drift, 1000 km
	prior  prior
	// dist gives the effective distance in 1000 km on a day with the track's
	// total known to be km, or NaN.
	dist  func(d Day, km float64) float64
	start Day // first day anything is known of the vehicle
	// kept says whether, by somebody's word, no part was changed between two days.
	kept func(p Part, after, before Day) bool

	pos     []Position
	renewal [][]renewal // per place
}

// boundary is a renewal of all places within a few days: a new set begins. It
// counts the renewals of each place before and after.
type boundary struct{ before, after []int }

// sameJob is how many days apart places may be renewed and still make one set.
const sameJob = 7

// boundaries finds the renewals of whole sets.
func (c *cutter) boundaries() []boundary {
	var out []boundary
	next := make([]int, len(c.pos)) // renewals passed per place
	for {
		first := Day(math.MaxInt32)
		for k, rs := range c.renewal {
			if next[k] < len(rs) {
				first = min(first, rs[next[k]].since)
			}
		}
		if first == math.MaxInt32 {
			return out
		}
		before, all := slices.Clone(next), true
		for k, rs := range c.renewal {
			for next[k] < len(rs) && rs[next[k]].since-first <= sameJob {
				next[k]++
			}
			all = all && next[k] > before[k]
		}
		if all {
			out = append(out, boundary{before, slices.Clone(next)})
		}
	}
}

// cut returns the history of the part.
func (c *cutter) cut(readings placesFound, fitments []Fitment) axleHistory {
	c.pos = placesOf(c.part, readings)
	c.renewal = make([][]renewal, len(c.pos))
	for k, p := range c.pos {
		c.renewal[k] = renewals(p, fitments)
	}
	h := axleHistory{fitted: len(fitments) > 0}
	rest := c.collect(&h, readings)
	bounds := c.boundaries()
	h.sets = make([]set, 0, len(bounds)+1)
	for i := 0; i <= len(bounds); i++ {
		mine, live := rest, make([]int, len(c.pos)) // live: renewals of each place at the end
		for k := range live {
			live[k] = len(c.renewal[k])
		}
		if i < len(bounds) {
			live = bounds[i].before
			mine, rest = until(rest, live)
			if len(mine) == 0 {
				continue // fitted and taken off without a reading: it teaches nothing
			}
		}
		c.split(&h, live, thin(mine, live))
	}
	return h
}

// until parts items, in their order, into those of parts renewed up to so many times,
// by place, and those of later parts.
func until(items []item, live []int) (mine, rest []item) {
	n := 0
	for i := range items {
		if items[i].renewed <= live[items[i].place] {
			n++
		}
	}
	mine, rest = make([]item, 0, n), items[:0]
	for i := range items {
		if items[i].renewed <= live[items[i].place] {
			mine = append(mine, items[i])
		} else {
			rest = append(rest, items[i])
		}
	}
	return mine, rest
}

// split turns the readings between two declared renewals into sets, cut where
// the evidence is for a change that nobody recorded.
func (c *cutter) split(h *axleHistory, live []int, items []item) {
	var change *Change
	var gap [2]float64
	s := c.begin(live, items, change, gap)
	for i := 0; i < len(items); {
		end := i + 1
		for end < len(items) && items[end].Day == items[i].Day {
			end++
		}
		before := len(s.rows)
		c.add(&s, items[i:end])
		if chance := c.changed(&s, before); chance > changeSure && !c.kept(c.part, s.days[len(s.days)-2], items[i].Day) {
			last := s.visits[len(s.visits)-2]
			change = &Change{Part: c.part, After: s.days[len(s.days)-2], Before: items[i].Day, Chance: chance}
			gap = [2]float64{last, max(last, items[i].s)}
			s.drop(before)
			h.sets, h.changes = append(h.sets, s), append(h.changes, *change)
			s = c.begin(live, items[i:], change, gap)
			c.add(&s, items[i:end])
		}
		i = end
	}
	h.sets = append(h.sets, s)
}

// begin returns a set that has no readings yet but places for those to come.
// Where a place is renewed within the set it has a part before and a part
// after; the last ones are live and come first. With a change, what was not
// renewed by declaration since is of an unrecorded fitting within gap.
func (c *cutter) begin(live []int, items []item, change *Change, gap [2]float64) set {
	s := set{
		part: c.part, axle: c.axle, spec: c.spec, pos: c.pos,
		change: change, gap: gap,
		axleLife: axleLife{
			noise: c.noise, length: c.length, live: len(c.pos),
			mean: c.prior.mean, vari: c.prior.total,
		},
	}
	s.readings, s.rows = make([]*Reading, 0, len(items)), make([]row, 0, len(items))
	s.places, s.renewed = make([]place, 0, len(live)), make([]incarnation, 0, len(live))
	visits := visitsIn(items)
	s.visits, s.days = make([]float64, 0, visits), make([]Day, 0, visits)
	type fitted struct {
		day Day
		mm  float64
	}
	known := make([]fitted, 0, len(live)) // of births
	add := func(in incarnation) {
		b, key := birth{}, fitted{}
		switch {
		case in.renewed > 0 && (change == nil || c.renewal[in.place][in.renewed-1].since > change.After):
			f := c.renewal[in.place][in.renewed-1].fitted
			key = fitted{f.Day, f.MM}
			b = birth{
				at: c.dist(f.Day, f.Km), day: f.Day, known: true,
				mean: c.spec.sense(f.MM), common: c.noise.Start, own: c.noise.StartPlace,
			}
		case change != nil:
			at, v := gapMoments(gap, nil)
			b = birth{
				at: at, gap: math.Sqrt(12 * v), day: change.Likely(),
				mean: c.spec.sense(c.spec.New), common: c.noise.Start, own: c.noise.StartPlace,
			}
		case len(items) > 0:
			b = c.unknownBirth(items[0].s, items[0].Day)
		default:
			b = c.unknownBirth(c.dist(c.start, math.NaN()), c.start)
		}
		i := slices.Index(known, key)
		if i < 0 {
			i = len(s.births)
			known = append(known, key)
			s.births = append(s.births, b)
			if change != nil && !b.known {
				s.gapBirth = i
			}
		}
		pl := c.noise.place(c.pos[in.place], c.spec)
		pl.born = i
		s.places = append(s.places, pl)
		s.renewed = append(s.renewed, in)
	}
	for k, n := range live {
		add(incarnation{k, n})
	}
	for _, it := range items {
		if in := (incarnation{it.place, it.renewed}); !slices.Contains(s.renewed, in) {
			add(in)
		}
	}
	return s
}

// unknownBirth is the start of a part that nobody saw fitted, where it is
// first heard of: a millimetre above the middle, +-3.5 mm shared and +-0.7 mm
// each for the spans of pads (8 mm and more; from memory, as the independent
// implementation has it), less for thin parts.
func (c *cutter) unknownBirth(at float64, day Day) birth {
	part := min(1, c.spec.Span()/8)
	middle := (c.spec.sense(c.spec.New) + c.spec.sense(c.spec.Limit)) / 2
	return birth{at: at, day: day, mean: middle + part, common: 3.5 * part, own: 0.7 * part}
}

// sensorSD is the spread of the value at which a wear sensor trips, mm.
// Judgement: the depth of its wire.
const sensorSD = 0.2

// add appends the readings of one visit.
func (c *cutter) add(s *set, visit []item) {
	at := visit[0].s
	if n := len(s.visits); n > 0 {
		at = max(at, s.visits[n-1])
	}
	for _, it := range visit {
		pl := slices.Index(s.renewed, incarnation{it.place, it.renewed})
		// Read on the day of fitting: distances differ by less than that day's.
		at = max(at, s.births[s.places[pl].born].at)
		r := row{place: pl, visit: len(s.visits), y: it.y, n: it.merged}
		if r.sd = c.params.gaugeSD(c.part, it.Step, it.Depot); it.merged > 1 {
			r.sd *= math.Sqrt(medianVar / float64(it.merged))
		}
		if c.part.rubs() == "" {
			r.y -= c.params.Depots[it.Depot].Bias
		}
		if it.Tripped {
			r.sd = sensorSD
			s.trips = append(s.trips, len(s.rows))
		}
		s.readings = append(s.readings, it.Reading)
		s.rows = append(s.rows, r)
	}
	s.visits, s.days = append(s.visits, at), append(s.days, visit[0].Day)
}

// drop takes the last visit off again, with its rows from row on.
func (s *set) drop(row int) {
	s.rows = s.rows[:row]
	s.readings = s.readings[:row]
	s.visits, s.days = s.visits[:len(s.visits)-1], s.days[:len(s.days)-1]
	s.trips = slices.DeleteFunc(s.trips, func(i int) bool { return i >= row })
}
