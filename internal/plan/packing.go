package plan

import (
	"cmp"
	"slices"
)

// Rule is a simple way to fill a calendar, to measure Solve against.
type Rule string

const (
	// FirstCome gives each vehicle, in the order of their numbers, the earliest
	// slot that is free.
	FirstCome Rule = "first come, first served"
	// EarliestDue gives the earliest free slot to the vehicle whose book-by date
	// comes first.
	EarliestDue Rule = "earliest book-by first"
	// LatestSlot gives the vehicle whose book-by date comes first the latest free
	// slot before that date, or the earliest after it.
	LatestSlot Rule = "latest slot before book-by"
)

// Rules are all simple ways there are.
var Rules = []Rule{FirstCome, EarliestDue, LatestSlot}

// Pack fills the calendar by a rule: the jobs of a vehicle that are due within the
// days go together, the others are left. Its plan has no bound.
func Pack(p *Problem, rule Rule) (*Plan, error) {
	if err := p.Validate(); err != nil {
		return nil, err
	}
	in := compile(p)
	b := newBoard(in)
	order := make([]int, len(in.veh))
	for v := range order {
		order[v] = v
	}
	if rule != FirstCome {
		slices.SortStableFunc(order, func(x, y int) int { return cmp.Compare(in.firstDue(x), in.firstDue(y)) })
	}
	for _, v := range order {
		if len(in.veh[v].jobs) > 0 {
			b.put(v, b.packed(v, rule))
		}
	}
	pl := in.result(b, 0)
	pl.Bound, pl.Gap = 0, 0
	return pl, nil
}

// firstDue is the earliest book-by day among the jobs of v that are due.
func (in *instance) firstDue(v int) int {
	first := in.days
	for k := range in.veh[v].costs {
		if c := &in.veh[v].costs[k]; !c.later {
			first = min(first, c.bookBy)
		}
	}
	return first
}

// packed chooses for a vehicle by a rule.
func (b *board) packed(v int, rule Rule) []pick {
	w := &b.in.veh[v]
	due, rest := uint32(0), uint32(0)
	for k := range w.jobs {
		if w.costs[k].later {
			rest |= 1 << k
		} else {
			due |= 1 << k
		}
	}
	var picks []pick
	for _, mask := range [2]uint32{due, rest} {
		if mask == 0 {
			continue
		}
		g := slices.Index(w.shape.groups, mask)
		if g < 0 { // of many axles not every choice is a group: then all together
			g, picks = slices.Index(w.shape.groups, due|rest), nil
			return append(picks, pick{g, b.freeSlot(v, g, rule)})
		}
		if mask == due {
			picks = append(picks, pick{g, b.freeSlot(v, g, rule)})
		} else {
			picks = append(picks, pick{g, len(w.options[g]) - 1})
		}
	}
	return picks
}

// freeSlot returns the option of a group that a rule takes; the last, which leaves
// the jobs, when nothing is free.
func (b *board) freeSlot(v, group int, rule Rule) int {
	opts := b.in.veh[v].options[group]
	by := int32(b.in.firstDue(v))
	best := len(opts) - 1
	better := func(o, than *option) bool {
		if than.slot < 0 {
			return true
		}
		if rule == LatestSlot {
			in, had := o.day <= by, than.day <= by
			switch {
			case in != had:
				return in
			case in:
				return o.day > than.day
			}
		}
		return o.day < than.day
	}
	for k := range opts[:len(opts)-1] {
		if b.fits(&opts[k]) && better(&opts[k], &opts[best]) {
			best = k
		}
	}
	return best
}
