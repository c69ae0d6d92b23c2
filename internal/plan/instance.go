package plan

import (
	"cmp"
	"math"
	"slices"
)

// instance is a Problem worked out: sorted by key, slots numbered, fixed jobs
// taken off the capacities, the cost of every choice known.
type instance struct {
	p      *Problem // a sorted copy
	days   int
	shopAt map[int64]int
	cap    []capacity // by slot
	fixed  []Use      // by slot, what fixed jobs take
	veh    []vehicle
	rate   float64 // overtime, a minute
	shapes map[int]*shape
}

// capacity is what is left of a slot beside fixed jobs, in minutes.
type capacity struct {
	normal, over int
	visits       int
}

// vehicle holds the choices for one vehicle.
type vehicle struct {
	src     *Vehicle
	jobs    []*Job // not fixed, by axle
	costs   []jobCost
	shape   *shape
	options [][]option // by group of the shape
}

// option is one way to do the jobs of a group together. Slot -1 leaves them.
type option struct {
	cost  float64 // without overtime
	slot  int32
	day   int32 // -1 where slot is
	min   int32 // minutes
	visit int32 // 1 when it takes a bay
}

// compile works p out. p must be valid.
func compile(p *Problem) *instance {
	q := *p
	q.Shops = slices.Clone(p.Shops)
	slices.SortFunc(q.Shops, func(a, b Shop) int { return cmp.Compare(a.ID, b.ID) })
	q.Vehicles = slices.Clone(p.Vehicles)
	slices.SortFunc(q.Vehicles, func(a, b Vehicle) int { return cmp.Compare(a.ID, b.ID) })
	q.Risk = p.accepted()
	if q.Rates == (Rates{}) {
		q.Rates = DefaultRates
	}
	in := &instance{
		p: &q, days: q.Days,
		shopAt: make(map[int64]int),
		cap:    make([]capacity, len(q.Shops)*q.Days),
		fixed:  make([]Use, len(q.Shops)*q.Days),
		rate:   q.Rates.Overtime / 60,
		shapes: make(map[int]*shape),
	}
	for i, s := range q.Shops {
		in.shopAt[s.ID] = i
		for d, c := range s.Days {
			// Down, so that no more is booked than there is.
			normal := int(math.Floor(c.Hours*60 + 1e-6))
			in.cap[i*q.Days+d] = capacity{normal, int(math.Floor((c.Hours+c.Overtime)*60+1e-6)) - normal, c.Visits}
		}
	}
	in.veh = make([]vehicle, len(q.Vehicles))
	for i := range q.Vehicles {
		in.takeFixed(&q.Vehicles[i])
	}
	for i := range in.cap {
		in.settle(i)
	}
	for i := range in.veh {
		in.prepare(&in.veh[i], &q.Vehicles[i])
	}
	return in
}

// visitMinutes is how long jobs take together: what they have in common is done
// once, at its longest.
func visitMinutes(jobs []*Job) int {
	sum, setUp := 0., 0.
	for _, j := range jobs {
		sum += j.Hours - j.SetUp
		setUp = max(setUp, j.SetUp)
	}
	return minutes(sum + setUp)
}

// fixedAt returns the fixed jobs of v by slot, in order of date and shop: sums
// over them come out the same each time.
func fixedAt(v *Vehicle) []place {
	var out []place
	for k := range v.Jobs {
		j := &v.Jobs[k]
		if j.Fixed == nil {
			continue
		}
		i := slices.IndexFunc(out, func(p place) bool { return p.slot == *j.Fixed })
		if i < 0 {
			i = len(out)
			out = append(out, place{slot: *j.Fixed})
		}
		out[i].fixed = append(out[i].fixed, j)
	}
	slices.SortFunc(out, func(a, b place) int {
		return cmp.Or(cmp.Compare(a.slot.Date, b.slot.Date), cmp.Compare(a.slot.Shop, b.slot.Shop))
	})
	return out
}

// joins says whether v comes to the slot anyway.
func (v *Vehicle) joins(s Slot) bool { return slices.Contains(v.Joins, s) }

// takeFixed takes the fixed jobs of v off the capacities; what they lack is
// left negative for settle.
func (in *instance) takeFixed(v *Vehicle) {
	for _, at := range fixedAt(v) {
		s, jobs := at.slot, at.fixed
		i := in.slotIndex(s)
		if i < 0 {
			continue
		}
		in.cap[i].normal -= visitMinutes(jobs)
		in.fixed[i].Hours += float64(visitMinutes(jobs)) / 60
		if !v.joins(s) {
			in.cap[i].visits--
			in.fixed[i].Visits++
		}
	}
}

// settle lets a slot's fixed jobs run into overtime, and counts it.
func (in *instance) settle(i int) {
	c, u := &in.cap[i], &in.fixed[i]
	if c.normal < 0 {
		u.Overtime = float64(-c.normal) / 60
		c.over, c.normal = c.over+c.normal, 0
	}
	u.Over = c.over < 0 || c.visits < 0
	c.over, c.visits = max(0, c.over), max(0, c.visits)
}

// prepare lists the choices of a vehicle.
func (in *instance) prepare(v *vehicle, src *Vehicle) {
	v.src = src
	open := in.p.openDays(src)
	for k := range src.Jobs {
		if src.Jobs[k].Fixed == nil {
			v.jobs = append(v.jobs, &src.Jobs[k])
		}
	}
	slices.SortFunc(v.jobs, func(a, b *Job) int { return cmp.Compare(a.Axle, b.Axle) })
	for _, j := range v.jobs {
		v.costs = append(v.costs, in.p.costOf(j, open))
	}
	if len(v.jobs) > allSubsets {
		in.byBookBy(v)
	}
	v.shape = in.shape(len(v.jobs))
	bound := in.bound(src)
	v.options = make([][]option, len(v.shape.groups))
	for g, mask := range v.shape.groups {
		v.options[g] = in.optionsOf(v, mask, bound)
	}
}

// byBookBy sorts the jobs so that those due together stand together.
func (in *instance) byBookBy(v *vehicle) {
	order := make([]int, len(v.jobs))
	for k := range order {
		order[k] = k
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(v.costs[a].bookBy, v.costs[b].bookBy) })
	jobs, costs := make([]*Job, len(order)), make([]jobCost, len(order))
	for to, from := range order {
		jobs[to], costs[to] = v.jobs[from], v.costs[from]
	}
	v.jobs, v.costs = jobs, costs
}

// place is a slot where a vehicle is on a day anyway.
type place struct {
	slot  Slot
	fixed []*Job
}

// bound returns by day where the vehicle is to be anyway. A fixed job comes
// before a planned visit elsewhere.
func (in *instance) bound(src *Vehicle) map[int]place {
	at := make(map[int]place)
	for _, s := range src.Joins {
		d := int(s.Date - in.p.Start)
		if had, ok := at[d]; !ok || s.Shop < had.slot.Shop {
			at[d] = place{slot: s}
		}
	}
	for _, f := range fixedAt(src) {
		at[int(f.slot.Date-in.p.Start)] = f
	}
	return at
}

// optionsOf lists where and when the jobs of mask can be done together, by way
// and day, leaving them last.
func (in *instance) optionsOf(v *vehicle, mask uint32, bound map[int]place) []option {
	r := &in.p.Rates
	var jobs []*Job
	var costs []*jobCost
	none := option{slot: -1, day: -1, cost: r.Visit}
	for k, j := range v.jobs {
		if mask&(1<<k) != 0 {
			jobs, costs = append(jobs, j), append(costs, &v.costs[k])
			none.cost += v.costs[k].none
			if j.Previous != nil {
				none.cost += r.Move
			}
		}
	}
	alone := visitMinutes(jobs)
	var opts []option
	for _, w := range sortedWays(v.src.Shops) {
		shop := in.shopAt[w.Shop]
	day:
		for d := range in.days {
			for _, c := range costs {
				if !c.days[d] {
					continue day
				}
			}
			i := shop*in.days + d
			o := option{slot: int32(i), day: int32(d), min: int32(alone), visit: 1, cost: r.Visit + w.Cost}
			s := in.slot(i)
			if at, ok := bound[d]; ok {
				if at.slot != s {
					continue
				}
				o.visit, o.cost = 0, 0
				if at.fixed != nil {
					o.min = int32(visitMinutes(append(slices.Clip(at.fixed), jobs...)) - visitMinutes(at.fixed))
				}
			}
			c := in.cap[i]
			if int(o.min) > c.normal+c.over || int(o.visit) > c.visits {
				continue
			}
			for k, jc := range costs {
				o.cost += jc.lining[d] + jc.risk[d]
				if p := jobs[k].Previous; p != nil && *p != s {
					o.cost += r.Move
				}
			}
			opts = append(opts, o)
		}
	}
	// Cheapest first: what comes on top is never negative, so a search can stop
	// at the first that costs more than the best found.
	slices.SortFunc(opts, func(a, b option) int {
		if a.cost != b.cost {
			return cmp.Compare(a.cost, b.cost)
		}
		return cmp.Compare(a.slot, b.slot)
	})
	return append(opts, none)
}

func sortedWays(ways []Way) []Way {
	ways = slices.Clone(ways)
	slices.SortStableFunc(ways, func(a, b Way) int { return cmp.Compare(a.Shop, b.Shop) })
	return ways
}
