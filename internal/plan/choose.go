package plan

import "math"

// pick is one group of a vehicle's jobs done by one option.
type pick struct {
	group, option int
}

// chooser finds the best way to share a vehicle's jobs out, given the best
// option of each group. It keeps its scratch space.
type chooser struct {
	best  []float64 // by group
	at    []int     // by group: the option
	value []float64 // by state: cost of what is not covered yet
	via   []int     // by state: index of the step taken
	picks []pick
	days  []int32
}

func (c *chooser) fit(s *shape) {
	if cap(c.best) < len(s.groups) {
		c.best, c.at = make([]float64, len(s.groups)), make([]int, len(s.groups))
	}
	if cap(c.value) < len(s.states) {
		c.value, c.via = make([]float64, len(s.states)), make([]int, len(s.states))
	}
	c.best, c.at = c.best[:len(s.groups)], c.at[:len(s.groups)]
	c.value, c.via = c.value[:len(s.states)], c.via[:len(s.states)]
}

// share works the states out from the end; c.best is filled in. Ties go to the
// step listed first.
func (c *chooser) share(s *shape) float64 {
	last := len(s.states) - 1
	c.value[last] = 0
	for i := last - 1; i >= 0; i-- {
		c.value[i] = math.Inf(1)
		for k, st := range s.states[i].next {
			if x := c.best[st.group] + c.value[st.state]; x < c.value[i] {
				c.value[i], c.via[i] = x, k
			}
		}
	}
	return c.value[0]
}

// walk returns the picks of the best way; they are good until the next one.
func (c *chooser) walk(s *shape) []pick {
	c.picks = c.picks[:0]
	for i := 0; i < len(s.states)-1; {
		st := s.states[i].next[c.via[i]]
		c.picks = append(c.picks, pick{st.group, c.at[st.group]})
		i = st.state
	}
	return c.picks
}

// priced returns the cheapest way to do v when each minute
// and bay is paid for as well, and the least cost of it. It does not mind two
// visits on one day.
func (c *chooser) priced(v *vehicle, at *prices) (float64, []pick) {
	c.fit(v.shape)
	for g, opts := range v.options {
		// Leaving the jobs stands last and is free of prices.
		last := len(opts) - 1
		best, choice := opts[last].cost, last
		for k := range opts[:last] {
			o := &opts[k]
			if o.cost >= best {
				break
			}
			x := o.cost + float64(o.min)*at.minute[o.slot]
			if o.visit != 0 {
				x += at.visit[o.slot]
			}
			if x < best {
				best, choice = x, k
			}
		}
		c.best[g], c.at[g] = best, choice
	}
	x := c.share(v.shape)
	return x, c.walk(v.shape)
}

// apart says whether no two picks of v fall on one day.
func (c *chooser) apart(v *vehicle, picks []pick) bool {
	c.days = c.days[:0]
	for _, p := range picks {
		d := v.options[p.group][p.option].day
		if d < 0 {
			continue
		}
		for _, had := range c.days {
			if had == d {
				return false
			}
		}
		c.days = append(c.days, d)
	}
	return true
}
