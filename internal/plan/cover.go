package plan

import "math"

// cover relaxes that each job is done once: with u the price of a job, each
// slot fills itself with the jobs worth most there, and
//
//	L = Σ_jobs u + Σ_slot min_{fits} Σ (cost - Σ u) + overtime
//	  + Σ_v min(0, min_g cost of leaving g - Σ u)
//
// Filling a slot is a knapsack problem, solved exactly over minutes and bays
// with at most one visit of a vehicle. It knows that visits are whole, which
// pricing the capacities does not: where they are tight, L is the higher bound.
type cover struct {
	in     *instance
	unit   int       // minutes counted as one
	slots  [][]entry // by slot, what may go there, by vehicle
	first  []int     // by vehicle, number of its first job
	group  []int     // by vehicle, number of its first group
	worth  []float64 // by group, the prices of its jobs
	counts []float64 // by job, how often it is done
	sack   knapsack
}

// entry is an option seen from its slot.
type entry struct {
	cost  float64
	veh   int32
	group int32 // number over all vehicles
	min   int32 // in units
	visit int32
}

// coverUnits bounds the minutes of a slot counted apart: where a day has more
// units, a unit is longer, and visits are rounded down to whole ones.
const coverUnits = 96

func newCover(in *instance) *cover {
	c := &cover{in: in, slots: make([][]entry, len(in.cap)), first: make([]int, len(in.veh)), group: make([]int, len(in.veh))}
	longest, jobs, groups := 0, 0, 0
	for i := range in.veh {
		for _, opts := range in.veh[i].options {
			for _, o := range opts[:len(opts)-1] {
				c.unit = gcd(c.unit, int(o.min))
			}
		}
	}
	for _, k := range in.cap {
		longest = max(longest, k.normal+k.over)
	}
	c.unit = max(1, c.unit, (longest+coverUnits-1)/coverUnits)
	for i := range in.veh {
		v := &in.veh[i]
		c.first[i], c.group[i] = jobs, groups
		for g, opts := range v.options {
			for _, o := range opts[:len(opts)-1] {
				c.slots[o.slot] = append(c.slots[o.slot],
					entry{o.cost, int32(i), int32(groups + g), o.min / int32(c.unit), o.visit})
			}
		}
		jobs += len(v.jobs)
		groups += len(v.options)
	}
	c.worth, c.counts = make([]float64, groups), make([]float64, jobs)
	return c
}

func gcd(a, b int) int {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}

// start returns multipliers that give about the bound of prices p: each job is
// worth its share of what its vehicle costs at p.
func (c *cover) start(p *prices) []float64 {
	u := make([]float64, len(c.counts))
	var pick chooser
	for i := range c.in.veh {
		v := &c.in.veh[i]
		if len(v.jobs) == 0 {
			continue
		}
		total, _ := pick.priced(v, p)
		share(u[c.first[i]:c.first[i]+len(v.jobs)], v.shape, pick.best, total)
	}
	return u
}

// share splits total over u so that no group is worth more than its best: by
// turns taking off what is too much and handing out what is missing.
func share(u []float64, s *shape, best []float64, total float64) {
	n := float64(len(u))
	for j := range u {
		u[j] = total / n
	}
	if len(u) == 1 {
		return
	}
	const rounds = 100 // enough for all but odd cases, which only start lower
	for range rounds {
		for g, mask := range s.groups {
			sum, k := 0., 0.
			for j := range u {
				if mask&(1<<j) != 0 {
					sum += u[j]
					k++
				}
			}
			if sum > best[g] {
				for j := range u {
					if mask&(1<<j) != 0 {
						u[j] -= (sum - best[g]) / k
					}
				}
			}
		}
		missing := total
		for _, x := range u {
			missing -= x
		}
		if missing < 1e-9 {
			return
		}
		for j := range u {
			u[j] += missing / n
		}
	}
}

func (c *cover) evaluate(u, g []float64) float64 {
	bound := 0.
	clear(c.counts)
	for i := range c.in.veh {
		v := &c.in.veh[i]
		mine := u[c.first[i] : c.first[i]+len(v.jobs)]
		for _, x := range mine {
			bound += x
		}
		least, at := 0., -1
		for k, mask := range v.shape.groups {
			sum := 0.
			for j, x := range mine {
				if mask&(1<<j) != 0 {
					sum += x
				}
			}
			c.worth[c.group[i]+k] = sum
			opts := v.options[k]
			if x := opts[len(opts)-1].cost - sum; x < least {
				least, at = x, k
			}
		}
		if at >= 0 {
			bound += least
			c.count(i, at)
		}
	}
	for s := range c.slots {
		bound += c.fill(s)
	}
	for j, n := range c.counts {
		g[j] = 1 - n
	}
	return bound
}

// count notes that the jobs of a group of vehicle i are done.
func (c *cover) count(i, group int) {
	mask := c.in.veh[i].shape.groups[group]
	for j := range c.in.veh[i].jobs {
		if mask&(1<<j) != 0 {
			c.counts[c.first[i]+j]++
		}
	}
}

// fill returns the least cost of a slot and counts what it takes.
func (c *cover) fill(s int) float64 {
	k, room := &c.sack, c.in.cap[s]
	k.reset()
	last := int32(-1)
	for i := range c.slots[s] {
		e := &c.slots[s][i]
		if x := e.cost - c.worth[e.group]; x < 0 {
			k.add(x, int(e.min), int(e.visit), i, e.veh == last)
			last = e.veh
		}
	}
	if len(k.things) == 0 {
		return 0
	}
	least := k.solve((room.normal+room.over)/c.unit, room.visits, func(units int) float64 {
		return c.in.rate * float64(max(0, units*c.unit-room.normal))
	})
	for _, i := range k.taken {
		e := &c.slots[s][i]
		c.count(int(e.veh), int(e.group)-c.group[e.veh])
	}
	return least
}

// knapsack picks things, at most one of each class, that fit into minutes and
// bays, at least cost.
type knapsack struct {
	things []thing
	ends   []int // of classes, in things
	taken  []int // names of the things picked

	value []float64 // by bays and minutes, in the class at hand
	from  []int16   // by class, bays and minutes: thing of the class taken, from 1
}

type thing struct {
	cost       float64
	min, visit int
	name       int
}

func (k *knapsack) reset() { k.things, k.ends, k.taken = k.things[:0], k.ends[:0], k.taken[:0] }

// add puts a thing in, to the class of the one before where same.
func (k *knapsack) add(cost float64, min, visit, name int, same bool) {
	k.things = append(k.things, thing{cost, min, visit, name})
	if same && len(k.ends) > 0 {
		k.ends[len(k.ends)-1]++
		return
	}
	k.ends = append(k.ends, len(k.things))
}

// solve returns the least cost of a choice with extra put on its minutes.
func (k *knapsack) solve(minutes, visits int, extra func(int) float64) float64 {
	// Never more bays than there are classes.
	visits = min(visits, len(k.ends))
	w := minutes + 1
	states := w * (visits + 1)
	if cap(k.value) < states {
		k.value = make([]float64, states)
	}
	if cap(k.from) < states*len(k.ends) {
		k.from = make([]int16, states*len(k.ends))
	}
	value, from := k.value[:states], k.from[:states*len(k.ends)]
	for i := range value {
		value[i] = math.Inf(1)
	}
	clear(from)
	value[0] = 0
	start, reach, high := 0, 0, 0 // highest minutes and bays reached
	for class, end := range k.ends {
		longest, bay := 0, 0
		for _, t := range k.things[start:end] {
			longest, bay = max(longest, t.min), max(bay, t.visit)
		}
		reach, high = min(minutes, reach+longest), min(visits, high+bay)
		// Downwards, so that what is read is still that of the class before.
		for b := high; b >= 0; b-- {
			for m := reach; m >= 0; m-- {
				i := b*w + m
				best, at := value[i], int16(0)
				for n := start; n < end; n++ {
					t := &k.things[n]
					if t.min > m || t.visit > b {
						continue
					}
					if x := value[i-t.visit*w-t.min] + t.cost; x < best {
						best, at = x, int16(n-start+1)
					}
				}
				value[i] = best
				from[class*states+i] = at
			}
		}
		start = end
	}
	best, at := 0., -1
	for m := 0; m <= reach; m++ {
		x := extra(m)
		for b := 0; b <= high; b++ {
			if y := value[b*w+m] + x; y < best {
				best, at = y, b*w+m
			}
		}
	}
	for class := len(k.ends) - 1; class >= 0 && at >= 0; class-- {
		n := from[class*states+at]
		if n == 0 {
			continue
		}
		start := 0
		if class > 0 {
			start = k.ends[class-1]
		}
		t := &k.things[start+int(n)-1]
		k.taken = append(k.taken, t.name)
		at -= t.visit*w + t.min
	}
	return best
}
