package plan

import (
	"cmp"
	"math"
	"slices"
)

// knapsack picks things, at most one of each class, that fit into minutes and
// bays, at least cost.
type knapsack struct {
	things []thing
	taken  []int32 // names of the things picked

	most      int
	front     []thing   // the cheapest offered, of different classes, cheapest first
	old, next []float64 // by bays and minutes
	from      []int16   // by class, bays and minutes: thing of the class taken, from 1
	ends      []int     // of classes, in things
}

type thing struct {
	cost       float64 // below 0
	min, visit int32
	class      int32
	name       int32
}

// reset empties k for a sack that holds most things at most.
func (k *knapsack) reset(most int) {
	k.most, k.things, k.taken, k.front = most, k.things[:0], k.taken[:0], k.front[:0]
}

// offer puts t in, shorter things first, unless it cannot be needed: when there
// are as many as fit that are no longer, take no more bays, cost no more and
// are of different classes, one of them is free to take t's place in any choice.
func (k *knapsack) offer(t thing) {
	if t.visit != 0 && len(k.front) == k.most && t.cost >= k.front[k.most-1].cost {
		return
	}
	k.things = append(k.things, t)
	at := -1
	for i := range k.front {
		if k.front[i].class == t.class {
			if k.front[i].cost <= t.cost {
				return
			}
			at = i
			break
		}
	}
	switch {
	case at >= 0:
	case len(k.front) < k.most:
		at = len(k.front)
		k.front = append(k.front, t)
	case k.most > 0 && t.cost < k.front[k.most-1].cost:
		at = k.most - 1
	default:
		return
	}
	for ; at > 0 && t.cost < k.front[at-1].cost; at-- {
		k.front[at] = k.front[at-1]
	}
	k.front[at] = t
}

// solve returns the least cost of a choice with extra put on its minutes.
func (k *knapsack) solve(minutes, visits int, extra func(int) float64) float64 {
	slices.SortFunc(k.things, func(a, b thing) int {
		if a.class != b.class {
			return cmp.Compare(a.class, b.class)
		}
		return cmp.Compare(a.name, b.name)
	})
	k.ends = k.ends[:0]
	for i := range k.things {
		if i+1 == len(k.things) || k.things[i+1].class != k.things[i].class {
			k.ends = append(k.ends, i+1)
		}
	}
	visits = min(visits, len(k.ends))
	w := minutes + 1
	states := w * (visits + 1)
	k.grow(states)
	for i := range k.old {
		k.old[i] = math.Inf(1)
	}
	k.old[0] = 0
	start, reach, high := 0, 0, 0 // most minutes and bays reached
	for class, end := range k.ends {
		copy(k.next, k.old)
		from := k.from[class*states : (class+1)*states]
		longest, bays := 0, 0
		for n := start; n < end; n++ {
			t := &k.things[n]
			m, v := int(t.min), int(t.visit)
			longest, bays = max(longest, m), max(bays, v)
			to := min(reach, minutes-m) + 1
			for b := 0; b <= high && b+v <= visits && to > 0; b++ {
				old := k.old[b*w : b*w+to]
				i := (b+v)*w + m
				next, from := k.next[i:i+to], from[i:i+to]
				for j, x := range old {
					if x += t.cost; x < next[j] {
						next[j] = x
						from[j] = int16(n - start + 1)
					}
				}
			}
		}
		k.old, k.next = k.next, k.old
		reach, high = min(minutes, reach+longest), min(visits, high+bays)
		start = end
	}
	best, at := 0., -1
	for m := 0; m <= reach; m++ {
		x := extra(m)
		for b := 0; b <= high; b++ {
			if y := k.old[b*w+m] + x; y < best {
				best, at = y, b*w+m
			}
		}
	}
	k.trace(at, w, states)
	return best
}

// trace notes what was taken to get to a state.
func (k *knapsack) trace(at, w, states int) {
	for class := len(k.ends) - 1; class >= 0 && at >= 0; class-- {
		n := int(k.from[class*states+at])
		if n == 0 {
			continue
		}
		start := 0
		if class > 0 {
			start = k.ends[class-1]
		}
		t := &k.things[start+n-1]
		k.taken = append(k.taken, t.name)
		at -= int(t.visit)*w + int(t.min)
	}
}

func (k *knapsack) grow(states int) {
	if cap(k.old) < states || cap(k.next) < states {
		k.old, k.next = make([]float64, states), make([]float64, states)
	}
	k.old, k.next = k.old[:states], k.next[:states]
	if n := states * len(k.ends); cap(k.from) < n {
		k.from = make([]int16, n)
	} else {
		k.from = k.from[:n]
		clear(k.from)
	}
}
