package main

import (
	"cmp"
	"fmt"
	"io"
	"math"
	"slices"
	"text/tabwriter"
	"time"

	"brakewear/forecast"
	"brakewear/internal/demo"
	"brakewear/internal/fleet"
	"brakewear/internal/plan"
	"brakewear/internal/store"
)

// How a plan is rolled: as the program's own proposals are.
const (
	rollDays   = 60 // planned ahead
	rollFrozen = 10 // left as planned the week before
)

// rolled is what a way of planning came to when it was made anew every week.
type rolled struct {
	Way       string  `json:"way"`
	Done      int     `json:"done"` // axles
	Visits    int     `json:"visits"`
	Overtime  float64 `json:"overtime_hours"`
	PastLimit int     `json:"past_limit"` // axles past their limit when done, or left past it
	PastDays  float64 `json:"past_days"`  // that those spent past it, on the road or not
	Crossing  int     `json:"crossing"`   // axles that reach their limit within the days
	WastedMM  float64 `json:"wasted_mm"`  // per axle done
	WidestGap float64 `json:"widest_gap,omitempty"`
	Seconds   float64 `json:"seconds"` // of planning, all weeks

	solve func(*plan.Problem) (*plan.Plan, error)
	slot  map[plan.JobKey]plan.Slot // planned, from the day that is reached on
	done  map[plan.JobKey]fleet.Date
}

// roll plans every week with what is known then and carries out the days until
// the next, by each way for itself.
func (c benchPlanCmd) roll(e *env, f *planFleet) error {
	ways := []*rolled{{Way: "proposal", solve: func(p *plan.Problem) (*plan.Plan, error) {
		return plan.Solve(e.ctx, p, plan.Options{})
	}}}
	for _, rule := range plan.Rules {
		ways = append(ways, &rolled{Way: string(rule), solve: func(p *plan.Problem) (*plan.Plan, error) { return plan.Pack(p, rule) }})
	}
	for _, w := range ways {
		w.slot, w.done = map[plan.JobKey]plan.Slot{}, map[plan.JobKey]fleet.Date{}
	}
	start := f.problem.Start
	end := start + fleet.Date(c.Days)
	for at := start; at < end; at += 7 {
		p := f.week(c.Shops, at)
		for _, w := range ways {
			if err := w.week(p, min(at+7, end), e.now); err != nil {
				return err
			}
		}
	}
	for _, w := range ways {
		w.judge(f.truth, end)
	}
	if c.Format == "json" {
		return e.printJSON(ways)
	}
	fmt.Fprintf(e.stdout, "%d invented vehicles, %d axles due within %d days, %d workshops, work over hours %g, planned every week\n",
		len(f.problem.Vehicles), c.Jobs, c.Days, c.Shops, c.Load)
	return rollTable(e.stdout, ways)
}

// week is the problem on the morning of a day, whatever was done before.
func (f *planFleet) week(shops int, start fleet.Date) *plan.Problem {
	p := &plan.Problem{Start: start, Days: rollDays, Shops: f.shops(shops, start, rollDays)}
	for _, v := range f.problem.Vehicles {
		pv := plan.Vehicle{ID: v.ID, Shops: v.Shops}
		for _, x := range f.model.Forecast(f.vehicles[v.ID], forecast.Day(start-1), forecast.Options{}) {
			if f.truth[plan.JobKey{Vehicle: v.ID, Axle: x.Axle}] == nil {
				continue
			}
			if j, ok := benchJob(&x, p); ok {
				pv.Jobs = append(pv.Jobs, j)
			}
		}
		p.Vehicles = append(p.Vehicles, pv)
	}
	return p
}

// week plans and carries out the days before until.
func (w *rolled) week(all *plan.Problem, until fleet.Date, now func() time.Time) error {
	p := *all
	p.Vehicles = nil
	for _, v := range all.Vehicles {
		jobs := v.Jobs
		v.Jobs = nil
		wanted := false
		for _, j := range jobs {
			k := plan.JobKey{Vehicle: v.ID, Axle: j.Axle}
			if _, ok := w.done[k]; ok {
				continue
			}
			if s, ok := w.slot[k]; ok {
				if s.Date < p.Start+rollFrozen {
					j.Fixed = &s
				} else {
					j.Previous = &s
				}
			}
			wanted = wanted || j.Fixed != nil || j.Past[p.Days-1] >= plan.DefaultRisk
			v.Jobs = append(v.Jobs, j)
		}
		if wanted {
			p.Vehicles = append(p.Vehicles, v)
		}
	}
	began := now()
	got, err := w.solve(&p)
	if err != nil {
		return err
	}
	w.Seconds += now().Sub(began).Seconds()
	if got.Bound > 0 {
		w.WidestGap = max(w.WidestGap, got.Gap)
	}
	clear(w.slot)
	for _, v := range got.Visits {
		for _, j := range v.Jobs {
			k := plan.JobKey{Vehicle: v.Vehicle, Axle: j.Axle}
			if v.Date < until {
				w.done[k] = v.Date
			} else {
				w.slot[k] = v.Slot
			}
		}
		if v.Date < until {
			w.Visits++
		}
	}
	for _, u := range got.Used {
		if u.Date < until {
			w.Overtime += u.Overtime
		}
	}
	return nil
}

// judge holds what was done until end against the truth.
func (w *rolled) judge(truth map[plan.JobKey]*planTruth, end fleet.Date) {
	w.Done = len(w.done)
	for _, k := range inOrder(truth) { // sums of them come out the same to the last bit
		t := truth[k]
		if t.cross < float64(end) {
			w.Crossing++
		}
		day, ok := w.done[k]
		if !ok {
			day = end
		}
		if past := float64(day) - t.cross; past >= 0 && (ok || past > 0) {
			w.PastLimit++
			// Some were past it long before the first day.
			w.PastDays += min(past, float64(day-benchUntil))
		} else if ok {
			w.WastedMM += t.wasted(float64(day))
		}
	}
	if w.Done > 0 {
		w.WastedMM /= float64(w.Done)
	}
}

// benchToCome is what is known of a vehicle and what will be read after the
// records while its parts stay on; the models look no further than their day.
func benchToCome(v *demo.Vehicle) store.History {
	h := benchHistory(v)
	h.Odometers = slices.Concat(h.Odometers, v.Truth.OdometerToCome)
	h.Readings = slices.Clone(h.Readings)
	for i := range v.Truth.Lives {
		if l := &v.Truth.Lives[i]; !l.Removed.Known {
			h.Readings = append(h.Readings, l.ToCome...)
		}
	}
	slices.SortStableFunc(h.Readings, func(a, b fleet.Reading) int { return cmp.Compare(a.Date, b.Date) })
	return h
}

func rollTable(w io.Writer, ways []*rolled) error {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(t, "way\tdone\tvisits\tovertime h\tpast limit\tof crossing\tdays past\twasted mm each\twidest gap\tseconds\t")
	for _, r := range ways {
		gap := "–"
		if r.WidestGap > 0 {
			gap = fmt.Sprintf("%.2f %%", 100*r.WidestGap)
		}
		fmt.Fprintf(t, "%s\t%d\t%d\t%.0f\t%d\t%.1f %%\t%.0f\t%.2f\t%s\t%.2f\t\n",
			r.Way, r.Done, r.Visits, r.Overtime, r.PastLimit, 100*float64(r.PastLimit)/float64(max(1, r.Crossing)), math.Round(r.PastDays), r.WastedMM, gap, r.Seconds)
	}
	return t.Flush()
}
