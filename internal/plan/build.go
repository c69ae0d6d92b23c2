package plan

import (
	"cmp"
	"slices"
)

// repair turns relaxed choices into a plan on an empty board: vehicles keep
// theirs while they fit, the dearest to leave first, and the others get the
// cheapest that is left, the one first that loses most by waiting.
func (b *board) repair(want [][]pick) {
	var order, rest []int
	for v := range want {
		if len(want[v]) > 0 {
			order = append(order, v)
		}
	}
	slices.SortStableFunc(order, func(x, y int) int { return cmp.Compare(b.in.idle(y), b.in.idle(x)) })
	for _, v := range order {
		ok := b.pick.apart(&b.in.veh[v], want[v])
		for _, p := range want[v] {
			ok = ok && b.fits(b.option(v, p))
		}
		if ok {
			b.put(v, want[v])
		} else {
			rest = append(rest, v)
		}
	}
	first := make([]float64, len(b.in.veh))
	for _, v := range rest {
		first[v], _ = b.cheapest(v)
	}
	for len(rest) > 0 {
		at, most := 0, -1.
		for k, v := range rest {
			if x, _ := b.cheapest(v); x-first[v] > most {
				at, most = k, x-first[v]
			}
		}
		_, picks := b.cheapest(rest[at])
		b.put(rest[at], picks)
		rest = slices.Delete(rest, at, at+1)
	}
}

// sweep moves each vehicle to where it is cheapest given the others, until none
// moves.
func (b *board) sweep() {
	var keep []pick
	for moved := true; moved; {
		moved = false
		for v := range b.in.veh {
			if len(b.in.veh[v].jobs) == 0 {
				continue
			}
			var old float64
			old, keep = b.lift(v, keep)
			x, picks := b.cheapest(v)
			if x < old-slight {
				moved = true
				b.put(v, picks)
			} else {
				b.put(v, keep)
			}
		}
	}
}
