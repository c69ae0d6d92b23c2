package plan

import (
	"cmp"
	"slices"
)

// slotVisit is what a vehicle does at one slot, while a plan is written up.
type slotVisit struct {
	jobs  []*Job
	costs []*jobCost // nil for a fixed job
}

// result writes a board up.
func (in *instance) result(b *board, bound float64) *Plan {
	out := &Plan{Bound: bound}
	w := writer{in: in, b: b, out: out}
	for v := range in.veh {
		w.vehicle(v)
	}
	slices.SortFunc(out.Visits, func(x, y Visit) int {
		if x.Date != y.Date {
			return cmp.Compare(x.Date, y.Date)
		}
		if x.Shop != y.Shop {
			return cmp.Compare(x.Shop, y.Shop)
		}
		return cmp.Compare(x.Vehicle, y.Vehicle)
	})
	w.used()
	c := &out.Cost
	c.Total = b.total()
	if c.Total-bound > slight {
		out.Gap = max(0, (c.Total-bound)/c.Total)
	}
	c.Total += w.stands
	out.Bound += w.stands
	return out
}

// writer writes a plan up.
type writer struct {
	in     *instance
	b      *board
	out    *Plan
	stands float64 // cost of fixed jobs, which no plan changes
}

// vehicle writes up the visits of a vehicle, its fixed ones among them, and the
// jobs that got none.
func (w *writer) vehicle(v int) {
	in, r := w.in, &w.in.p.Rates
	x := &in.veh[v]
	at := map[Slot]*slotVisit{}
	for _, f := range fixedAt(x.src) {
		at[f.slot] = &slotVisit{jobs: f.fixed, costs: make([]*jobCost, len(f.fixed))}
		w.fixed(x.src, f.slot, f.fixed)
	}
	c := &w.out.Cost
	for _, p := range w.b.picks[v] {
		o := w.b.option(v, p)
		mask := x.shape.groups[p.group]
		if o.slot < 0 {
			c.Visits += r.Visit // the visit it will take later
		}
		for k, j := range x.jobs {
			if mask&(1<<k) == 0 {
				continue
			}
			jc := &x.costs[k]
			if o.slot < 0 {
				w.left(x.src, j, jc)
				continue
			}
			s := in.slot(int(o.slot))
			if at[s] == nil {
				at[s] = &slotVisit{}
			}
			at[s].jobs, at[s].costs = append(at[s].jobs, j), append(at[s].costs, jc)
			c.Lining += jc.lining[o.day]
			c.Risk += jc.risk[o.day]
			c.WastedMM += j.Wasted[o.day]
			c.PastLimit += j.Past[o.day]
			if j.Previous != nil && *j.Previous != s {
				c.Moves += r.Move
				c.MoveCount++
			}
			if jc.breach[o.day] {
				c.Breaches++
			}
			if int(o.day) > jc.bookBy {
				w.out.Late = append(w.out.Late, w.trouble(x.src, j, jc, &s))
			}
		}
		if o.slot >= 0 {
			if o.visit != 0 {
				w.visitCost(x.src, in.slot(int(o.slot)).Shop)
			}
		}
	}
	for s, sv := range at {
		w.out.Visits = append(w.out.Visits, w.visit(x.src, s, sv))
	}
}

// visitCost counts what bringing the vehicle in costs, and returns it.
func (w *writer) visitCost(src *Vehicle, shop int64) float64 {
	x := w.in.p.Rates.Visit
	for _, way := range src.Shops {
		if way.Shop == shop {
			x += way.Cost
		}
	}
	w.out.Cost.Visits += x
	w.out.Cost.VisitCount++
	return x
}

// fixed counts what the fixed jobs of a visit cost, as they would if they had
// been placed there. One beyond the days costs as if it were left, one before
// them nothing that is known.
func (w *writer) fixed(src *Vehicle, s Slot, jobs []*Job) {
	c := &w.out.Cost
	d := int(s.Date - w.in.p.Start)
	if d < 0 {
		return
	}
	open := w.in.p.openDays(src)
	for _, j := range jobs {
		jc := w.in.p.costOf(j, open)
		lining, risk, late := jc.noneLining, jc.noneRisk, jc.noneBreach
		if d < w.in.days {
			// Sooner than the vehicle or the parts can be had saves nothing.
			lining, risk, late = jc.lining[d], max(0, jc.risk[d]), jc.breach[d]
			c.WastedMM += j.Wasted[d]
			c.PastLimit += j.Past[d]
		} else if !jc.later {
			c.PastLimit += j.Past[w.in.days-1]
		}
		if late {
			c.Breaches++
		}
		c.Lining += lining
		c.Risk += risk
		w.stands += lining + risk
	}
	if !src.joins(s) {
		w.stands += w.visitCost(src, s.Shop)
	}
}

// left writes up a job that is not booked.
func (w *writer) left(src *Vehicle, j *Job, jc *jobCost) {
	c := &w.out.Cost
	c.Lining += jc.noneLining
	c.Risk += jc.noneRisk
	if j.Previous != nil {
		c.Moves += w.in.p.Rates.Move
		c.MoveCount++
	}
	if jc.later {
		w.out.Later = append(w.out.Later, JobKey{src.ID, j.Axle})
		return
	}
	c.Unplaced += w.in.p.Rates.Unplaced
	c.PastLimit += j.Past[len(j.Past)-1]
	if jc.noneBreach {
		c.Breaches++
	}
	w.out.Unplaced = append(w.out.Unplaced, w.trouble(src, j, jc, nil))
}

func (w *writer) visit(src *Vehicle, s Slot, sv *slotVisit) Visit {
	in := w.in
	v := Visit{Vehicle: src.ID, Slot: s, Hours: float64(visitMinutes(sv.jobs)) / 60, Joined: src.joins(s)}
	d := int(s.Date - in.p.Start)
	for k, j := range sv.jobs {
		day := max(0, min(d, in.days-1))
		v.Jobs = append(v.Jobs, Placement{
			Axle: j.Axle, BookBy: in.bookByDate(j.Past), Past: j.Past[day], WastedMM: j.Wasted[day],
			Fixed: sv.costs[k] == nil, Moved: sv.costs[k] != nil && j.Previous != nil && *j.Previous != s,
		})
	}
	slices.SortFunc(v.Jobs, func(a, b Placement) int { return cmp.Compare(a.Axle, b.Axle) })
	return v
}

// used writes up what the slots give.
func (w *writer) used() {
	in := w.in
	for i := range in.cap {
		u := in.fixed[i]
		l := w.b.use[i]
		extra := float64(max(0, l.minutes-in.cap[i].normal)) / 60
		stands := in.p.Rates.Overtime * u.Overtime
		w.stands += stands
		w.out.Cost.Overtime += in.overtime(int32(i), l.minutes) + stands
		w.out.Cost.OvertimeHours += extra + u.Overtime
		u.Hours += float64(l.minutes) / 60
		u.Overtime += extra
		u.Visits += l.visits
		if u.Hours > 0 || u.Visits > 0 || u.Over {
			u.Slot = in.slot(i)
			w.out.Used = append(w.out.Used, u)
		}
	}
	slices.SortFunc(w.out.Used, func(a, b Use) int {
		if a.Shop != b.Shop {
			return cmp.Compare(a.Shop, b.Shop)
		}
		return cmp.Compare(a.Date, b.Date)
	})
}
