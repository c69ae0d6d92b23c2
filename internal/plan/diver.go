package plan

import (
	"math"
	"slices"
)

// slight is the difference below which costs count as equal.
const slight = 1e-9

// diver finds the cheapest way to put a few vehicles on a board together, by
// going through all choices that can still be better.
type diver struct {
	b       *board
	set     []dived
	best    float64
	nodes   int // left to look at
	found   bool
	cut     bool // nodes ran out
	rest    []float64
	oneSet  [1]int
	onePick []pick
}

// dived is a vehicle of the set.
type dived struct {
	v    int
	low  []float64 // by state, least cost of what is not covered yet
	cur  []pick
	days []int32
	best []pick
	key  float64
}

// ample is a number of nodes that one vehicle alone does not reach but by
// design.
const ample = 1_000_000

// one is board.cheapest where the best options of two groups fall on one day.
func (d *diver) one(b *board, v int) (float64, []pick) {
	d.oneSet[0] = v
	d.begin(b, d.oneSet[:], math.Inf(1), ample)
	d.dive(0, 0, 0)
	d.onePick = append(d.onePick[:0], d.set[0].best...)
	return d.best, d.onePick
}

// begin gets ready for the vehicles of set, none of which is on the board.
func (d *diver) begin(b *board, set []int, best float64, nodes int) {
	d.b, d.best, d.nodes, d.found, d.cut = b, best, nodes, false, false
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
		s.low = append(s.low[:0], b.pick.value...)
	}
	d.sum()
}

// sum adds up the least costs of the vehicles from each one on.
func (d *diver) sum() {
	d.rest = append(d.rest[:0], 0)
	for i := len(d.set) - 1; i >= 0; i-- {
		d.rest = append(d.rest, d.rest[len(d.rest)-1]+d.set[i].low[0])
	}
	slices.Reverse(d.rest)
}

// least is a lower bound of what the set costs.
func (d *diver) least() float64 { return d.rest[0] }

// dive goes on with vehicle i in a state, the choices so far costing cost.
func (d *diver) dive(i, at int, cost float64) {
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
		d.dive(i+1, 0, cost)
		return
	}
	for _, st := range w.shape.states[at].next {
		opts := w.options[st.group]
		after := s.low[st.state] + d.rest[i+1]
		last := len(opts) - 1
		for k := range opts[:last] {
			if cost+opts[k].cost+after >= d.best-slight {
				break
			}
			d.step(i, st, k, cost)
		}
		if cost+opts[last].cost+after < d.best-slight {
			d.step(i, st, last, cost)
		}
	}
}

// step takes option k and dives on.
func (d *diver) step(i int, st step, k int, cost float64) {
	s := &d.set[i]
	o := &d.b.in.veh[s.v].options[st.group][k]
	if o.slot < 0 {
		s.cur = append(s.cur, pick{st.group, k})
		d.dive(i, st.state, cost+o.cost)
		s.cur = s.cur[:len(s.cur)-1]
		return
	}
	if !d.b.fits(o) || slices.Contains(s.days, o.day) {
		return
	}
	x := cost + d.b.added(o)
	if x+s.low[st.state]+d.rest[i+1] >= d.best-slight {
		return
	}
	if d.nodes--; d.nodes < 0 {
		d.cut = true
		return
	}
	d.b.add(o)
	s.cur, s.days = append(s.cur, pick{st.group, k}), append(s.days, o.day)
	d.dive(i, st.state, x)
	s.cur, s.days = s.cur[:len(s.cur)-1], s.days[:len(s.days)-1]
	d.b.drop(o)
}

// repack looks for the cheapest way to do the vehicles of set, all of which are
// on the board, everything else staying; it changes the board when there is a
// better one and returns what it saves.
func (d *diver) repack(b *board, set []int, keep [][]pick, nodes int) float64 {
	old := 0.
	for i, v := range set {
		var x float64
		x, keep[i] = b.lift(v, keep[i])
		old += x
	}
	d.begin(b, set, old, nodes)
	if d.least() < old-slight {
		// First the vehicles that have least choice.
		spare := old - d.least()
		for i := range d.set {
			d.set[i].key = d.choices(&d.set[i], spare)
		}
		slices.SortStableFunc(d.set, func(a, b dived) int { return compare(a.key, b.key) })
		d.sum()
		d.dive(0, 0, 0)
	}
	if !d.found {
		for i, v := range set {
			b.put(v, keep[i])
		}
		return 0
	}
	for i := range d.set {
		b.put(d.set[i].v, d.set[i].best)
	}
	return old - d.best
}

// choices counts the options of s that cost no more than spare above its least.
func (d *diver) choices(s *dived, spare float64) float64 {
	n := 0
	w := &d.b.in.veh[s.v]
	for _, opts := range w.options {
		for k := range opts {
			if opts[k].cost > s.low[0]+spare {
				break
			}
			n++
		}
	}
	return float64(n)
}
