package plan

import (
	"math"
	"slices"
)

// trader shares the visits of two slots out anew, in the best way there is: a
// knapsack problem, for what the first does not take the other must. Full days
// leave no gap through which vehicles could move one by one; this finds the
// exchanges between them.
type trader struct {
	b     *board
	seat  [][]int32 // by group, over all vehicles: by way and day, which option it is; -1 = none
	group []int     // by vehicle, number of its first group
	ways  [][]int32 // by vehicle, the shops it may go to
	items []traded
	value []float64 // by minutes and bays taken of the first slot
	first []bool    // by visit, minutes and bays: goes to the first slot
	left  int       // work that may still be done, in states looked at
}

// traded is a visit that may be at either slot.
type traded struct {
	v, pick int
	at      [2]int32 // options
	cost    [2]float64
	min     int
	visit   int
}

func newTrader(b *board) *trader {
	t := &trader{b: b, group: make([]int, len(b.in.veh)), ways: make([][]int32, len(b.in.veh))}
	for i := range b.in.veh {
		v := &b.in.veh[i]
		for _, w := range v.src.Shops {
			t.ways[i] = append(t.ways[i], int32(b.in.shopAt[w.Shop]))
		}
		t.group[i] = len(t.seat)
		for _, opts := range v.options {
			at := make([]int32, len(v.src.Shops)*b.in.days)
			for k := range at {
				at[k] = -1
			}
			for k := range opts[:len(opts)-1] {
				at[t.seatOf(i, opts[k].slot)] = int32(k)
			}
			t.seat = append(t.seat, at)
		}
	}
	return t
}

// seatOf is where the options of vehicle v at a slot stand in seat; -1 where it
// does not go.
func (t *trader) seatOf(v int, slot int32) int {
	days := int32(t.b.in.days)
	w := slices.Index(t.ways[v], slot/days)
	if w < 0 {
		return -1
	}
	return w*int(days) + int(slot%days)
}

// collect lists the visits at slot s[side] that may go to the other as well.
func (t *trader) collect(s [2]int32, side int) {
	b := t.b
	for _, v32 := range b.here[s[side]] {
		v := int(v32)
		at := t.seatOf(v, s[1-side])
		if at < 0 {
			continue
		}
		k := 0
		for b.option(v, b.picks[v][k]).slot != s[side] {
			k++
		}
		p := b.picks[v][k]
		other := t.seat[t.group[v]+p.group][at]
		if other < 0 {
			continue
		}
		o, q := b.option(v, p), &b.in.veh[v].options[p.group][other]
		if o.min != q.min || o.visit != q.visit {
			continue
		}
		// Not where it comes on that day for something else.
		if len(b.picks[v]) > 1 && slices.ContainsFunc(b.picks[v], func(x pick) bool { y := b.option(v, x); return x != p && y.slot >= 0 && y.day == q.day }) {
			continue
		}
		x := traded{v: v, pick: k, min: int(o.min), visit: int(o.visit)}
		x.at[side], x.at[1-side] = int32(p.option), other
		x.cost[side], x.cost[1-side] = o.cost, q.cost
		t.items = append(t.items, x)
	}
}

// trade changes the board where that costs less, and says so.
func (t *trader) trade(s [2]int32) bool {
	b := t.b
	t.items = t.items[:0]
	t.collect(s, 0)
	mine := len(t.items)
	t.collect(s, 1)
	if len(t.items) == 0 {
		return false
	}
	// No way saves more than the visits that would be cheaper at the other slot
	// and all overtime.
	unit, total, visits, now, most := 0, 0, 0, 0., 0.
	var fixed [2]load
	for i := range 2 {
		fixed[i] = b.use[s[i]]
		now += b.in.overtime(s[i], fixed[i].minutes)
	}
	most = now
	for i := range t.items {
		x := &t.items[i]
		side := 0
		if i >= mine {
			side = 1
		}
		unit = gcd(unit, x.min)
		total, visits = total+x.min, visits+x.visit
		now += x.cost[side]
		most += max(0, x.cost[side]-x.cost[1-side])
		fixed[side].minutes -= x.min
		fixed[side].visits -= x.visit
	}
	if most < slight {
		return false
	}
	unit = max(1, unit)
	room := func(i int) (minutes, visits int) {
		c := &b.in.cap[s[i]]
		return c.normal + c.over - fixed[i].minutes, c.visits - fixed[i].visits
	}
	m0, v0 := room(0)
	m1, v1 := room(1)
	m0, v0 = min(m0, total)/unit, min(v0, visits)
	w := m0 + 1
	states := w * (v0 + 1)
	if t.left -= states * len(t.items); t.left < 0 {
		return false
	}
	if cap(t.value) < states {
		t.value = make([]float64, states)
	}
	if cap(t.first) < states*len(t.items) {
		t.first = make([]bool, states*len(t.items))
	}
	value, first := t.value[:states], t.first[:states*len(t.items)]
	for i := range value {
		value[i] = math.Inf(1)
	}
	value[0] = 0
	reach, high := 0, 0
	for i := range t.items {
		x := &t.items[i]
		m := x.min / unit
		reach, high = min(m0, reach+m), min(v0, high+x.visit)
		to := first[i*states : (i+1)*states]
		for v := high; v >= 0; v-- {
			for j := reach; j >= 0; j-- {
				at := v*w + j
				best, one := value[at]+x.cost[1], false
				if v >= x.visit && j >= m {
					if y := value[at-x.visit*w-m] + x.cost[0]; y < best {
						best, one = y, true
					}
				}
				value[at], to[at] = best, one
			}
		}
	}
	best, at := now-slight, -1
	// What the first does not take must fit into the other.
	for v := max(0, visits-v1); v <= high; v++ {
		for j := max(0, (total-m1+unit-1)/unit); j <= reach; j++ {
			y := value[v*w+j]
			if y >= best {
				continue
			}
			y += b.in.overtime(s[0], fixed[0].minutes+j*unit) + b.in.overtime(s[1], fixed[1].minutes+total-j*unit)
			if y < best {
				best, at = y, v*w+j
			}
		}
	}
	if at < 0 {
		return false
	}
	for i := len(t.items) - 1; i >= 0; i-- {
		x := &t.items[i]
		if first[i*states+at] {
			at -= x.visit*w + x.min/unit
			t.move(x, s, i >= mine, 0)
		} else {
			t.move(x, s, i < mine, 1)
		}
	}
	return true
}

// move puts a visit at slot s[side] where away says that it was at the other.
func (t *trader) move(x *traded, s [2]int32, away bool, side int) {
	if !away {
		return
	}
	b := t.b
	p := &b.picks[x.v][x.pick]
	b.drop(b.option(x.v, *p))
	h := b.here[s[1-side]]
	k := slices.Index(h, int32(x.v))
	h[k] = h[len(h)-1]
	b.here[s[1-side]] = h[:len(h)-1]
	p.option = int(x.at[side])
	b.add(b.option(x.v, *p))
	b.here[s[side]] = append(b.here[s[side]], int32(x.v))
}

// tradeWork bounds the work of settle, in states looked at for each vehicle:
// days of many hours, told apart by the minute, are only traded in part.
// Judgement: ten times what a day of 15 hours needs.
const tradeWork = 300_000

// settle trades between all slots, from the one numbered from on, until nothing
// is to be won between any two.
func (t *trader) settle(from, vehicles int, over func() bool) {
	n := len(t.b.in.cap)
	t.left = tradeWork * vehicles
	moved, next := make([]bool, n), make([]bool, n)
	for i := range moved {
		moved[i] = len(t.b.here[i]) > 0
	}
	for again := true; again && t.left > 0; {
		again = false
		clear(next)
		for i := range n {
			if over() {
				return
			}
			for k := i + 1; k < n && t.left > 0; k++ {
				a, b := (from+i)%n, (from+k)%n
				if (moved[a] || moved[b] || next[a] || next[b]) && t.trade([2]int32{int32(a), int32(b)}) {
					next[a], next[b], again = true, true, true
				}
			}
		}
		moved, next = next, moved
	}
}
