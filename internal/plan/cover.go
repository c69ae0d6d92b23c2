package plan

import (
	"cmp"
	"slices"
)

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
	slots  [][]entry // by slot, what may go there, shortest first
	most   []int     // by slot, how many vehicles fit
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
	c.most = make([]int, len(c.slots))
	for s, es := range c.slots {
		slices.SortFunc(es, func(a, b entry) int {
			if a.min != b.min {
				return cmp.Compare(a.min, b.min)
			}
			return cmp.Compare(a.group, b.group)
		})
		c.most[s] = c.fit(s)
	}
	c.worth, c.counts = make([]float64, groups), make([]float64, jobs)
	return c
}

// fit bounds how many vehicles a slot can take.
func (c *cover) fit(s int) int {
	es, room := c.slots[s], c.in.cap[s]
	n := len(es)
	if n > 0 && es[0].min > 0 {
		n = min(n, (room.normal+room.over)/c.unit/int(es[0].min))
	}
	if !slices.ContainsFunc(es, func(e entry) bool { return e.visit == 0 }) {
		n = min(n, room.visits)
	}
	return n
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
	k.reset(c.most[s])
	for i := range c.slots[s] {
		e := &c.slots[s][i]
		if x := e.cost - c.worth[e.group]; x < 0 {
			k.offer(thing{x, e.min, e.visit, e.veh, int32(i)})
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
