package plan

import (
	"cmp"
	"math"
	"slices"
)

// slight is the difference below which costs count as equal.
const slight = 1e-9

// diver finds the cheapest way to put a few vehicles on a board together, by
// going through all choices that can still be better.
type diver struct {
	b     *board
	set   []dived
	best  float64
	found bool
	nodes int  // left to look at
	cut   bool // they ran out
	rest  []float64

	// at, where given, prices the capacities: a second bound, which looks
	// ahead at what the vehicles to come will have to share.
	at     *prices
	priced []float64

	alone [1]int
	picks []pick
}

// dived is a vehicle of the set.
type dived struct {
	v      int
	low    []float64 // by state, least cost of what is not covered yet
	priced []float64 // the same at the prices
	least  []float64 // by group, of its options that fit
	open   [][]int32 // by group, the options that fit and may be of a better way; the last is not in it
	cur    []pick
	days   []int32 // of cur
	best   []pick
	key    int // how many choices it has
}

// ample is a number of nodes that one vehicle alone does not reach but by
// design.
const ample = 1_000_000

// one is board.cheapest where the best options of two groups fall on one day.
func (d *diver) one(b *board, v int) (float64, []pick) {
	d.alone[0] = v
	d.begin(b, d.alone[:], math.Inf(1), ample)
	d.dive(0, 0, 0, 0)
	d.picks = append(d.picks[:0], d.set[0].best...)
	return d.best, d.picks
}

// begin gets ready for the vehicles of set, none of which is on the board.
func (d *diver) begin(b *board, set []int, best float64, nodes int) {
	d.b, d.best, d.nodes, d.found, d.cut, d.at = b, best, nodes, false, false, nil
	for len(d.set) < len(set) {
		d.set = append(d.set, dived{})
	}
	d.set = d.set[:len(set)]
	for i, v := range set {
		s := &d.set[i]
		s.v = v
		s.cur, s.days = s.cur[:0], s.days[:0]
		b.least(v)
		b.pick.share(b.in.veh[v].shape)
		s.low, s.least = append(s.low[:0], b.pick.value...), append(s.least[:0], b.pick.best...)
	}
	d.sum()
	for i := range d.set {
		d.narrow(&d.set[i], best-d.rest[0])
	}
}

// narrow lists the options of s that fit now and cost no more than spare above
// the least of their group: only they can be of a better way.
func (d *diver) narrow(s *dived, spare float64) {
	for len(s.open) < len(s.least) {
		s.open = append(s.open, nil)
	}
	s.open = s.open[:len(s.least)]
	s.key = 0
	for g, opts := range d.b.in.veh[s.v].options {
		s.open[g] = s.open[g][:0]
		for k := range opts[:len(opts)-1] {
			if opts[k].cost >= s.least[g]+spare {
				break
			}
			if d.b.fits(&opts[k]) {
				s.open[g] = append(s.open[g], int32(k))
			}
		}
		s.key += len(s.open[g])
	}
}

// sum adds up the least costs of the vehicles from each one on.
func (d *diver) sum() {
	d.rest, d.priced = append(d.rest[:0], 0), append(d.priced[:0], 0)
	for i := len(d.set) - 1; i >= 0; i-- {
		s := &d.set[i]
		d.rest = append(d.rest, d.rest[len(d.rest)-1]+s.low[0])
		if d.at != nil {
			d.priced = append(d.priced, d.priced[len(d.priced)-1]+s.priced[0])
		}
	}
	slices.Reverse(d.rest)
	slices.Reverse(d.priced)
}

// dive goes on with vehicle i in a state. The choices so far cost cost; at the
// prices they cost priced, less what the capacities are worth.
func (d *diver) dive(i, at int, cost, priced float64) {
	if i == len(d.set) {
		if cost < d.best-slight {
			d.best, d.found = cost, true
			for k := range d.set {
				d.set[k].best = append(d.set[k].best[:0], d.set[k].cur...)
			}
		}
		return
	}
	s := &d.set[i]
	w := &d.b.in.veh[s.v]
	if at == len(w.shape.states)-1 {
		d.dive(i+1, 0, cost, priced)
		return
	}
	for _, st := range w.shape.states[at].next {
		opts := w.options[st.group]
		after := s.low[st.state] + d.rest[i+1]
		last := len(opts) - 1
		for _, k := range s.open[st.group] {
			if cost+opts[k].cost+after >= d.best-slight {
				break
			}
			d.step(i, st, int(k), cost, priced)
		}
		if cost+opts[last].cost+after < d.best-slight {
			d.step(i, st, last, cost, priced)
		}
	}
}

// step takes option k and dives on.
func (d *diver) step(i int, st step, k int, cost, priced float64) {
	s := &d.set[i]
	o := &d.b.in.veh[s.v].options[st.group][k]
	if !d.b.fits(o) || o.slot >= 0 && slices.Contains(s.days, o.day) {
		return
	}
	cost += d.b.added(o)
	if cost+s.low[st.state]+d.rest[i+1] >= d.best-slight {
		return
	}
	if d.at != nil {
		priced += d.at.of(o)
		if priced+s.priced[st.state]+d.priced[i+1] >= d.best-slight {
			return
		}
	}
	if d.nodes--; d.nodes < 0 {
		d.cut = true
		return
	}
	if o.slot >= 0 {
		d.b.add(o)
	}
	s.cur, s.days = append(s.cur, pick{st.group, k}), append(s.days, o.day)
	d.dive(i, st.state, cost, priced)
	s.cur, s.days = s.cur[:len(s.cur)-1], s.days[:len(s.days)-1]
	if o.slot >= 0 {
		d.b.drop(o)
	}
}

// repack looks for the cheapest way to do the vehicles of set, all of which are
// on the board, everything else staying. It changes the board when there is a
// better one.
func (d *diver) repack(b *board, set []int, keep [][]pick, nodes int) {
	old := 0.
	for i, v := range set {
		var x float64
		x, keep[i] = b.lift(v, keep[i])
		old += x
	}
	d.begin(b, set, old, nodes)
	if d.rest[0] < old-slight {
		d.fewestFirst()
		d.dive(0, 0, 0, 0)
	}
	if d.found {
		for i := range d.set {
			b.put(d.set[i].v, d.set[i].best)
		}
		return
	}
	for i, v := range set {
		b.put(v, keep[i])
	}
}

// fewestFirst puts those vehicles first that have the fewest choices.
func (d *diver) fewestFirst() {
	slices.SortStableFunc(d.set, func(a, b dived) int { return cmp.Compare(a.key, b.key) })
	d.sum()
}

// all looks for the cheapest plan of all, given one that costs best. It
// returns false where the nodes did not suffice to be sure. The board must be
// empty; the plan is put on it when a better one is found.
func (d *diver) all(b *board, live []int, best float64, at *prices, nodes int) bool {
	d.begin(b, live, best, nodes)
	d.at = at
	worth := 0.
	for i, c := range b.in.cap {
		m := at.minute[i]
		worth += m*float64(c.normal) + max(0, m-b.in.rate)*float64(c.over) + at.visit[i]*float64(c.visits)
	}
	for i := range d.set {
		s := &d.set[i]
		b.pick.priced(&b.in.veh[s.v], at)
		s.priced = append(s.priced[:0], b.pick.value...)
	}
	d.fewestFirst()
	d.dive(0, 0, 0, -worth)
	if d.found {
		for i := range d.set {
			b.put(d.set[i].v, d.set[i].best)
		}
	}
	return !d.cut
}
