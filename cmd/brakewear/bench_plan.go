package main

import (
	"cmp"
	"fmt"
	"io"
	"maps"
	"math"
	"slices"
	"text/tabwriter"
	"time"

	"brakewear/forecast"
	"brakewear/internal/demo"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/plan"
)

type benchPlanCmd struct {
	Jobs   int     `help:"How many axles are due within the days." default:"1000"`
	Days   int     `help:"How many days are planned." default:"60"`
	Shops  int     `help:"How many workshops." default:"5"`
	Load   float64 `help:"Work that is due over the hours there are." default:"0.7"`
	Seed   uint64  `help:"The same seed gives the same fleet." default:"1"`
	Weekly bool    `help:"Plan anew every week, with what is known then, and carry out that week."`
	Format string  `help:"How to print: table or json." default:"table" enum:"table,json"`
}

func (c benchPlanCmd) Help() string {
	return `Plans the due axles of an invented fleet, whose truth is known, beside simple ways to fill
the same calendar from the same forecasts. "Past limit" and "wasted" are what would have come
true; the gap is the most that the proposal's cost can be from the best there is. A tight
half year: --days 182 --load 1.1. With --weekly it is planned every week from the readings
made until then, 60 days ahead; the next ten days stay as they were planned. Examples:
  brakewear bench plan --jobs 1000
  brakewear bench plan --days 182 --load 1.1 --weekly`
}

// planBench is what one way of planning came to.
type planBench struct {
	Way       string  `json:"way"`
	Booked    int     `json:"booked"`   // axles
	Unplaced  int     `json:"unplaced"` // due and without a place
	Visits    int     `json:"visits"`
	Overtime  float64 `json:"overtime_hours"`
	PastLimit int     `json:"past_limit"` // axles past their limit when done, or left past it
	Crossing  int     `json:"crossing"`   // axles that reach their limit within the days
	WastedMM  float64 `json:"wasted_mm"`  // per axle booked
	Cost      float64 `json:"cost"`
	Bound     float64 `json:"bound,omitempty"`
	Gap       float64 `json:"gap,omitempty"`
	Seconds   float64 `json:"seconds"`
}

// planTruth is what comes true of an axle: the day it reaches its limit, and the
// lining it has per day until then.
type planTruth struct {
	cross float64 // +Inf: not within the years known
	left  float64 // mm on the day of planning
}

func (c benchPlanCmd) Run(e *env) error {
	if c.Jobs < 1 || c.Days < 7 || c.Shops < 1 || !(c.Load > 0) {
		return fleet.Invalidf("want at least 1 job, 7 days, 1 workshop and a load above 0")
	}
	f, err := c.fleet()
	if err != nil {
		return err
	}
	if c.Weekly {
		return c.roll(e, f)
	}
	p, truth := f.problem, f.truth
	var results []planBench
	start := e.now()
	var best *plan.Plan
	err = e.during("planning", func() error {
		best, err = plan.Solve(e.ctx, p, plan.Options{})
		return err
	})
	if err != nil {
		return err
	}
	results = append(results, judgePlan("proposal", p, best, truth, e.now().Sub(start)))
	for _, rule := range plan.Rules {
		start := e.now()
		packed, err := plan.Pack(p, rule)
		if err != nil {
			return err
		}
		results = append(results, judgePlan(string(rule), p, packed, truth, e.now().Sub(start)))
	}
	if c.Format == "json" {
		return e.printJSON(results)
	}
	fmt.Fprintf(e.stdout, "%d invented vehicles, %d axles due within %d days, %d workshops, work over hours %g\n",
		len(p.Vehicles), c.Jobs, c.Days, c.Shops, c.Load)
	return planTable(e.stdout, results)
}

// Durations and capacities of the benchmark: common practice, no source.
const (
	benchSetUp    = .75 // hours a visit
	benchAxle     = 1.5 // hours an axle beside that
	benchOvertime = 1   // hours a day
	benchVisit    = 2.5 // hours that a bay is taken
)

// planFleet is an invented fleet to be planned.
type planFleet struct {
	problem  *plan.Problem // as on the first day
	truth    map[plan.JobKey]*planTruth
	model    forecast.Model
	vehicles map[int64]*forecast.Vehicle // of the problem, with the readings to come
	hours    float64                     // a shop's, on a day of the week
}

// fleet forecasts an invented fleet and makes the axles that are due, and the
// others of their vehicles, into a problem.
func (c benchPlanCmd) fleet() (*planFleet, error) {
	start := benchUntil + 1
	p := &plan.Problem{Start: start, Days: c.Days}
	truth := map[plan.JobKey]*planTruth{}
	out := &planFleet{problem: p, truth: truth, vehicles: map[int64]*forecast.Vehicle{}}
	var work float64
	due := 0
	// Vehicles until there are enough jobs; the model learns from all of them.
	for vehicles := max(200, 3*c.Jobs); ; vehicles *= 2 {
		p.Vehicles, work, due = nil, 0, 0
		clear(truth)
		clear(out.vehicles)
		opt := demo.Options{Vehicles: vehicles, Seed: c.Seed, Until: benchUntil, ToCome: c.Weekly}
		all := slices.Collect(demo.Generate(opt))
		var vs []*forecast.Vehicle
		for _, v := range all {
			h := benchHistory(v)
			vs = append(vs, pipeline.VehicleOf(&h))
		}
		m, err := pipeline.TrainModel(pipeline.DefaultModel, slices.Values(vs), forecast.Day(benchUntil))
		if err != nil {
			return nil, err
		}
		out.model = m
		shopOf := map[string]int64{}
		for i, v := range all {
			if due >= c.Jobs {
				break
			}
			if shopOf[v.Depot] == 0 {
				shopOf[v.Depot] = int64(len(shopOf)%c.Shops) + 1
			}
			pv := plan.Vehicle{ID: int64(i + 1), Shops: []plan.Way{{Shop: shopOf[v.Depot]}}}
			any := false
			for _, f := range m.Forecast(vs[i], forecast.Day(benchUntil), forecast.Options{}) {
				t := truthOf(v, f.Axle)
				j, ok := benchJob(&f, p)
				if t == nil || !ok {
					continue
				}
				pv.Jobs = append(pv.Jobs, j)
				truth[plan.JobKey{Vehicle: pv.ID, Axle: f.Axle}] = t
				if j.Past[c.Days-1] >= plan.DefaultRisk {
					any, due, work = true, due+1, work+j.Hours
				}
			}
			if any {
				p.Vehicles = append(p.Vehicles, pv)
				out.vehicles[pv.ID] = vs[i]
				if c.Weekly {
					h := benchToCome(v)
					out.vehicles[pv.ID] = pipeline.VehicleOf(&h)
				}
			}
		}
		if due >= c.Jobs || vehicles > 100*c.Jobs {
			break
		}
	}
	open := 0
	for d := range c.Days {
		if (start + fleet.Date(d)).Weekday() < 5 {
			open++
		}
	}
	out.hours = math.Ceil(4*work/c.Load/float64(open*c.Shops)) / 4
	p.Shops = out.shops(c.Shops, start, c.Days)
	return out, nil
}

// shops are n workshops open from Monday to Friday.
func (f *planFleet) shops(n int, start fleet.Date, days int) (shops []plan.Shop) {
	for s := range n {
		shop := plan.Shop{ID: int64(s + 1), Days: make([]plan.Capacity, days)}
		for d := range shop.Days {
			if (start + fleet.Date(d)).Weekday() < 5 {
				shop.Days[d] = plan.Capacity{Hours: f.hours, Overtime: benchOvertime, Visits: int(math.Ceil(f.hours / benchVisit))}
			}
		}
		shops = append(shops, shop)
	}
	return shops
}

// benchJob is the work on an axle of which something is known.
func benchJob(f *forecast.AxleForecast, p *plan.Problem) (plan.Job, bool) {
	j := plan.Job{Hours: benchSetUp + benchAxle, SetUp: benchSetUp}
	if f.Axle == 1 {
		j.Weight = plan.DefaultSteerWeight
	}
	return j, !f.Has(forecast.NoReadings) && j.Outlook(f, p)
}

// wasted is the lining thrown away when it is changed on a day, in mm.
func (t *planTruth) wasted(day float64) float64 {
	switch {
	case t.cross <= day:
		return 0
	case math.IsInf(t.cross, 1):
		return t.left
	}
	return t.left * (t.cross - day) / (t.cross - float64(benchUntil))
}

// truthOf returns what comes true of the pads or linings now on an axle; nil where
// there are none.
func truthOf(v *demo.Vehicle, axle int) *planTruth {
	var on *demo.Life
	for i := range v.Truth.Lives {
		l := &v.Truth.Lives[i]
		if l.Axle == axle && (l.Part == fleet.Pad || l.Part == fleet.Lining) && !l.Removed.Known {
			on = l
		}
	}
	if on == nil {
		return nil
	}
	t := &planTruth{cross: math.Inf(1), left: on.New - on.Limit}
	if on.Crossing.Known {
		t.cross = float64(on.Crossing.Date)
		if days := t.cross - float64(on.Fitted.Date); days > 0 {
			t.left *= max(0, min(1, (t.cross-float64(benchUntil))/days))
		}
	}
	return t
}

// judgePlan holds a plan against the truth.
func judgePlan(way string, p *plan.Problem, got *plan.Plan, truth map[plan.JobKey]*planTruth, took time.Duration) planBench {
	r := planBench{
		Way: way, Unplaced: len(got.Unplaced), Visits: got.Cost.VisitCount, Overtime: got.Cost.OvertimeHours,
		Cost: got.Cost.Total, Bound: got.Bound, Gap: got.Gap, Seconds: took.Seconds(),
	}
	if got.Bound == 0 {
		r.Gap = 0 // no bound was worked out
	}
	end := float64(p.Start) + float64(p.Days)
	done := map[plan.JobKey]float64{}
	for _, v := range got.Visits {
		for _, j := range v.Jobs {
			done[plan.JobKey{Vehicle: v.Vehicle, Axle: j.Axle}] = float64(v.Date)
		}
	}
	for _, k := range inOrder(truth) { // sums of them come out the same to the last bit
		t := truth[k]
		if t.cross < end {
			r.Crossing++
		}
		day, booked := done[k]
		switch {
		case booked && t.cross <= day, !booked && t.cross < end:
			r.PastLimit++
		}
		if !booked {
			continue
		}
		r.Booked++
		r.WastedMM += t.wasted(day)
	}
	if r.Booked > 0 {
		r.WastedMM /= float64(r.Booked)
	}
	return r
}

func planTable(w io.Writer, results []planBench) error {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(t, "way\tbooked\tunplaced\tvisits\tovertime h\tpast limit\tof crossing\twasted mm each\tcost\tbound\tgap\tseconds\t")
	for _, r := range results {
		bound, gap := "–", "–"
		if r.Bound != 0 {
			bound, gap = fmt.Sprintf("%.1f", r.Bound), fmt.Sprintf("%.2f %%", 100*r.Gap)
		}
		fmt.Fprintf(t, "%s\t%d\t%d\t%d\t%.0f\t%d\t%.1f %%\t%.2f\t%.1f\t%s\t%s\t%.2f\t\n",
			r.Way, r.Booked, r.Unplaced, r.Visits, r.Overtime, r.PastLimit, 100*float64(r.PastLimit)/float64(max(1, r.Crossing)), r.WastedMM, r.Cost, bound, gap, r.Seconds)
	}
	return t.Flush()
}

// inOrder returns the keys of what is true of axles, by vehicle and axle.
func inOrder(truth map[plan.JobKey]*planTruth) []plan.JobKey {
	return slices.SortedFunc(maps.Keys(truth), func(a, b plan.JobKey) int {
		return cmp.Or(cmp.Compare(a.Vehicle, b.Vehicle), cmp.Compare(a.Axle, b.Axle))
	})
}
