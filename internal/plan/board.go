package plan

import (
	"math"
	"slices"
)

// board is a plan being worked on: the picks of each vehicle and what they take
// of the slots.
type board struct {
	in    *instance
	picks [][]pick
	use   []load
	here  [][]int32 // by slot, vehicles with a pick there
	guide *prices   // what cheapest reckons with on top; nil = nothing
	pick  chooser
	exact diver
}

// load is what is taken of a slot.
type load struct{ minutes, visits int }

func newBoard(in *instance) *board {
	return &board{
		in:    in,
		picks: make([][]pick, len(in.veh)),
		use:   make([]load, len(in.cap)),
		here:  make([][]int32, len(in.cap)),
	}
}

// overtime is what m minutes of a slot cost beyond its normal hours.
func (in *instance) overtime(slot int32, m int) float64 {
	return in.rate * float64(max(0, m-in.cap[slot].normal))
}

func (b *board) option(v int, p pick) *option { return &b.in.veh[v].options[p.group][p.option] }

// put carries out picks for vehicle v, which must have none.
func (b *board) put(v int, picks []pick) {
	b.picks[v] = append(b.picks[v][:0], picks...)
	for _, p := range picks {
		if o := b.option(v, p); o.slot >= 0 {
			b.add(o)
			b.here[o.slot] = append(b.here[o.slot], int32(v))
		}
	}
}

func (b *board) add(o *option) {
	b.use[o.slot].minutes += int(o.min)
	b.use[o.slot].visits += int(o.visit)
}

func (b *board) drop(o *option) {
	b.use[o.slot].minutes -= int(o.min)
	b.use[o.slot].visits -= int(o.visit)
}

// take undoes put.
func (b *board) take(v int) {
	for _, p := range b.picks[v] {
		o := b.option(v, p)
		if o.slot < 0 {
			continue
		}
		b.drop(o)
		h := b.here[o.slot]
		k := slices.Index(h, int32(v))
		h[k] = h[len(h)-1]
		b.here[o.slot] = h[:len(h)-1]
	}
	b.picks[v] = b.picks[v][:0]
}

// fits says whether o can be added.
func (b *board) fits(o *option) bool {
	if o.slot < 0 {
		return true
	}
	u, c := &b.use[o.slot], &b.in.cap[o.slot]
	return u.minutes+int(o.min) <= c.normal+c.over && u.visits+int(o.visit) <= c.visits
}

// added is what o costs on top of what is there, overtime included.
func (b *board) added(o *option) float64 {
	if o.slot < 0 {
		return o.cost
	}
	u := b.use[o.slot].minutes
	return o.cost + b.in.overtime(o.slot, u+int(o.min)) - b.in.overtime(o.slot, u)
}

// cheapest returns the best way to do v with what is left, and its cost; v must
// not be on the board. The picks are good until the next call.
func (b *board) cheapest(v int) (float64, []pick) {
	w := &b.in.veh[v]
	b.least(v)
	x := b.pick.share(w.shape)
	picks := b.pick.walk(w.shape)
	if len(picks) > 1 && !b.pick.apart(w, picks) {
		return b.exact.one(b, v)
	}
	return x, picks
}

// least finds the best option that fits for each group of v.
func (b *board) least(v int) {
	w, c := &b.in.veh[v], &b.pick
	c.fit(w.shape)
	for g, opts := range w.options {
		last := len(opts) - 1
		best, choice := opts[last].cost, last
		for k := range opts[:last] {
			o := &opts[k]
			if o.cost >= best {
				break
			}
			u, room := &b.use[o.slot], &b.in.cap[o.slot]
			m := u.minutes + int(o.min)
			if m > room.normal+room.over || u.visits+int(o.visit) > room.visits {
				continue
			}
			x := o.cost
			if m > room.normal {
				x += b.in.rate * float64(m-max(room.normal, u.minutes))
			}
			if b.guide != nil {
				x += float64(o.min)*b.guide.minute[o.slot] + float64(o.visit)*b.guide.visit[o.slot]
			}
			if x < best {
				best, choice = x, k
			}
		}
		c.best[g], c.at[g] = best, choice
	}
}

// lift takes v off and returns what that saves; its picks are copied to keep.
func (b *board) lift(v int, keep []pick) (float64, []pick) {
	keep = append(keep[:0], b.picks[v]...)
	b.take(v)
	return b.cost(v, keep), keep
}

// cost is what picks of v would cost on top of what is there.
func (b *board) cost(v int, picks []pick) float64 {
	x := 0.
	for _, p := range picks {
		x += b.added(b.option(v, p))
	}
	return x
}

// total is the cost of everything on the board.
func (b *board) total() float64 {
	x := 0.
	for v := range b.picks {
		for _, p := range b.picks[v] {
			x += b.option(v, p).cost
		}
	}
	for i := range b.use {
		x += b.in.overtime(int32(i), b.use[i].minutes)
	}
	return x
}

// idle is what it costs to leave all jobs of v.
func (in *instance) idle(v int) float64 {
	opts := in.veh[v].options
	if len(opts) == 0 {
		return 0
	}
	x := math.Inf(1)
	for g, mask := range in.veh[v].shape.groups {
		if mask == uint32(1)<<len(in.veh[v].jobs)-1 {
			x = opts[g][len(opts[g])-1].cost
		}
	}
	return x
}

// save copies the plan to keep.
func (b *board) save(keep [][]pick) [][]pick { return copyPicks(keep, b.picks) }

// copyPicks copies a plan to keep, which may be nil.
func copyPicks(keep, picks [][]pick) [][]pick {
	if keep == nil {
		keep = make([][]pick, len(picks))
	}
	for v, p := range picks {
		keep[v] = append(keep[v][:0], p...)
	}
	return keep
}

// restore puts a saved plan back.
func (b *board) restore(keep [][]pick) {
	for v := range b.picks {
		b.take(v)
	}
	for v, p := range keep {
		b.put(v, p)
	}
}
