package plan

import (
	"cmp"
	"container/heap"
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
	b.fill(rest)
}

// fill puts the vehicles of rest on the board. What is put there makes nothing
// cheaper for the others: what is cheapest for one stays so until the room it takes
// there is gone, or costs more.
func (b *board) fill(rest []int) {
	left := make(waiters, len(rest))
	at := make([][]wanted, len(b.in.cap)) // by slot, who wants to go there, or did
	look := func(w *waiter) {
		var picks []pick
		w.cost, picks = b.cheapest(w.v)
		w.picks = append(w.picks[:0], picks...)
		w.looks++
		for _, p := range picks {
			if o := b.option(w.v, p); o.slot >= 0 {
				at[o.slot] = append(at[o.slot], wanted{w, w.looks, o})
			}
		}
	}
	for k, v := range rest {
		left[k] = &waiter{v: v, turn: k, heap: k}
		look(left[k])
		left[k].first = left[k].cost
	}
	heap.Init(&left)
	for len(left) > 0 {
		next := heap.Pop(&left).(*waiter)
		b.put(next.v, next.picks)
		for _, p := range next.picks {
			s := b.option(next.v, p).slot
			if s < 0 {
				continue
			}
			here := at[s]
			at[s] = nil
			for _, x := range here {
				switch w := x.by; {
				case w.heap < 0 || x.look < w.looks: // is on the board, or wants something else
				case b.fits(x.option) && b.use[s].minutes+int(x.option.min) <= b.in.cap[s].normal:
					at[s] = append(at[s], x)
				default:
					look(w)
					heap.Fix(&left, w.heap)
				}
			}
		}
	}
}

// waiter is a vehicle that is not on the board yet.
type waiter struct {
	v, turn     int
	first, cost float64 // on the board as it was at first, and as it is
	picks       []pick  // that cost so
	looks       int     // how often they were looked for
	heap        int     // where it is in waiters; -1 = on the board
}

// wanted is one of the picks that a waiter came to when it looked for the nth time.
type wanted struct {
	by     *waiter
	look   int
	option *option
}

// waiters are a heap: the one first that lost most by waiting, and of several the
// one whose turn it is.
type waiters []*waiter

func (ws waiters) Len() int { return len(ws) }

func (ws waiters) Less(i, j int) bool {
	x, y := ws[i].cost-ws[i].first, ws[j].cost-ws[j].first
	return x > y || x == y && ws[i].turn < ws[j].turn
}

func (ws waiters) Swap(i, j int) {
	ws[i], ws[j] = ws[j], ws[i]
	ws[i].heap, ws[j].heap = i, j
}

func (ws *waiters) Push(x any) { *ws = append(*ws, x.(*waiter)) }

func (ws *waiters) Pop() any {
	last := len(*ws) - 1
	w := (*ws)[last]
	w.heap, *ws = -1, (*ws)[:last]
	return w
}

// sweep moves each vehicle to where it is cheapest given the others, until none
// moves or it is over.
func (b *board) sweep(over func() bool) {
	var keep []pick
	for moved := true; moved; {
		moved = false
		for v := range b.in.veh {
			if v%looksUp == 0 && over() {
				return
			}
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
