package plan

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os/exec"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

func mustSolve(t testing.TB, p *Problem) *Plan {
	t.Helper()
	got, err := Solve(context.Background(), p, Options{})
	if err != nil {
		t.Fatal(err)
	}
	return got
}

// checkPlan wants the hard rules kept, everything accounted for, and the cost to
// be the sum of its parts and above its bound.
func checkPlan(t faulter, p *Problem, got *Plan) {
	t.Helper()
	hours, visits := map[Slot]int{}, map[Slot]int{}
	seen := map[JobKey]int{}
	day := map[string]bool{}
	for _, v := range got.Visits {
		src := vehicleOf(p, v.Vehicle)
		key := fmt.Sprint(v.Vehicle, v.Date)
		if day[key] {
			t.Errorf("vehicle %d comes twice on %s", v.Vehicle, v.Date)
		}
		day[key] = true
		if !v.Joined {
			visits[v.Slot]++
		}
		var jobs []*Job
		for _, pl := range v.Jobs {
			seen[JobKey{v.Vehicle, pl.Axle}]++
			for k := range src.Jobs {
				j := &src.Jobs[k]
				if j.Axle != pl.Axle {
					continue
				}
				jobs = append(jobs, j)
				if pl.Fixed {
					if j.Fixed == nil || *j.Fixed != v.Slot {
						t.Errorf("vehicle %d axle %d was moved from where it was fixed", v.Vehicle, pl.Axle)
					}
					continue
				}
				if j.Ready != 0 && v.Date < j.Ready {
					t.Errorf("vehicle %d axle %d on %s, its parts come on %s", v.Vehicle, pl.Axle, v.Date, j.Ready)
				}
				if slices.Contains(src.Blocked, v.Date) {
					t.Errorf("vehicle %d on %s, when it cannot be spared", v.Vehicle, v.Date)
				}
				if !slices.ContainsFunc(src.Shops, func(w Way) bool { return w.Shop == v.Shop }) {
					t.Errorf("vehicle %d at shop %d, where it may not go", v.Vehicle, v.Shop)
				}
			}
		}
		hours[v.Slot] += visitMinutes(jobs)
		if want := float64(visitMinutes(jobs)) / 60; math.Abs(v.Hours-want) > 1e-9 {
			t.Errorf("vehicle %d: %g h, want %g", v.Vehicle, v.Hours, want)
		}
	}
	for i := range p.Shops {
		for d, c := range p.Shops[i].Days {
			s := Slot{p.Shops[i].ID, p.Start + dateOf(d)}
			over := slices.ContainsFunc(got.Used, func(u Use) bool { return u.Slot == s && u.Over })
			if !over && (float64(hours[s]) > 60*(c.Hours+c.Overtime)+1e-6 || visits[s] > c.Visits) {
				t.Errorf("shop %d on %s: %d min and %d vehicles in %g h + %g, %d bays", s.Shop, s.Date, hours[s], visits[s], c.Hours, c.Overtime, c.Visits)
			}
		}
	}
	for _, k := range got.Later {
		seen[k]++
	}
	for _, u := range got.Unplaced {
		seen[u.JobKey]++
		if u.Why == "" {
			t.Errorf("%+v is not placed and nobody says why", u.JobKey)
		}
	}
	for i := range p.Vehicles {
		for k := range p.Vehicles[i].Jobs {
			key := JobKey{p.Vehicles[i].ID, p.Vehicles[i].Jobs[k].Axle}
			if seen[key] != 1 {
				t.Errorf("%+v stands %d times in the plan", key, seen[key])
			}
		}
	}
	c := got.Cost
	if sum := c.Lining + c.Risk + c.Visits + c.Overtime + c.Moves + c.Unplaced; math.Abs(sum-c.Total) > 1e-6*max(1, math.Abs(c.Total)) {
		t.Errorf("cost %g, its parts %g: %+v", c.Total, sum, c)
	}
	if got.Bound > c.Total+1e-6 {
		t.Errorf("bound %g above the cost %g", got.Bound, c.Total)
	}
}

func vehicleOf(p *Problem, id int64) *Vehicle {
	for i := range p.Vehicles {
		if p.Vehicles[i].ID == id {
			return &p.Vehicles[i]
		}
	}
	return nil
}

// enumerate returns the least cost of an instance by going through everything.
func enumerate(in *instance) float64 {
	b := newBoard(in)
	best := math.Inf(1)
	var vehicle func(v int, cost float64)
	var state func(v, at int, days []int32, cost float64)
	vehicle = func(v int, cost float64) {
		if v == len(in.veh) {
			for i := range b.use {
				cost += in.overtime(int32(i), b.use[i].minutes)
			}
			best = min(best, cost)
			return
		}
		state(v, 0, nil, cost)
	}
	state = func(v, at int, days []int32, cost float64) {
		s := in.veh[v].shape
		if at == len(s.states)-1 {
			vehicle(v+1, cost)
			return
		}
		for _, st := range s.states[at].next {
			for k := range in.veh[v].options[st.group] {
				o := &in.veh[v].options[st.group][k]
				if o.slot < 0 {
					state(v, st.state, days, cost+o.cost)
					continue
				}
				if !b.fits(o) || slices.Contains(days, o.day) {
					continue
				}
				b.add(o)
				state(v, st.state, append(slices.Clip(days), o.day), cost+o.cost)
				b.drop(o)
			}
		}
	}
	vehicle(0, 0)
	return best
}

// Small problems come out at their optimum, and no plan breaks a rule.
func TestSmallIsOptimal(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := invented(rapid.Uint64().Draw(t, "seed"), rapid.IntRange(1, 5).Draw(t, "jobs"), rapid.IntRange(2, 7).Draw(t, "days"),
			rapid.IntRange(1, 2).Draw(t, "shops"), rapid.Float64Range(.4, 2).Draw(t, "load"))
		got, err := Solve(context.Background(), p, Options{})
		if err != nil {
			t.Fatal(err)
		}
		want := enumerate(compile(p))
		if math.Abs(got.Cost.Total-want) > 1e-6 || math.Abs(got.Bound-got.Cost.Total) > 1e-6 {
			t.Errorf("cost %.9g, bound %.9g; the optimum is %.9g", got.Cost.Total, got.Bound, want)
		}
		checkPlan(t, p, got)
	})
}

// faulter is what checkPlan needs of a test, rapid's too.
type faulter interface {
	Helper()
	Errorf(format string, args ...any)
}

// Middling problems come out at what an independent solver finds.
func TestMiddlingIsOptimal(t *testing.T) {
	t.Parallel()
	if _, err := exec.LookPath("cbc"); err != nil {
		t.Skip("no CBC here: Debian's package coinor-cbc has it, and make test installs it")
	}
	for seed := uint64(1); seed <= 3; seed++ {
		for _, load := range []float64{.6, .9, 1.1} {
			p := invented(seed, 30, 15, 1, load)
			got := mustSolve(t, p)
			checkPlan(t, p, got)
			out := runCBC(t, writeLP(t, compile(p), false), 60)
			var want float64
			found := false
			for line := range strings.Lines(out) {
				if rest, ok := strings.CutPrefix(line, "Objective value:"); ok {
					_, err := fmt.Sscan(rest, &want)
					found = err == nil
				}
			}
			if !found || !strings.Contains(out, "Optimal solution found") {
				t.Fatalf("seed %d, load %g: CBC found no optimum:\n%s", seed, load, out)
			}
			t.Logf("seed %d, load %g: cost %.6f, CBC %.6f, bound %.6f", seed, load, got.Cost.Total, want, got.Bound)
			if math.Abs(got.Cost.Total-want) > 1e-4*want {
				t.Errorf("seed %d, load %g: cost %.6f, CBC's optimum %.6f", seed, load, got.Cost.Total, want)
			}
			if got.Bound > want*(1+1e-6) {
				t.Errorf("seed %d, load %g: bound %.6f above CBC's optimum %.6f", seed, load, got.Bound, want)
			}
		}
	}
}

// The same problem gives the same plan in whatever order its parts stand.
func TestOrderDoesNotMatter(t *testing.T) {
	t.Parallel()
	p := invented(7, 40, 20, 2, .9)
	want := mustSolve(t, p)
	checkPlan(t, p, want)
	q := *p
	q.Vehicles, q.Shops = slices.Clone(p.Vehicles), slices.Clone(p.Shops)
	slices.Reverse(q.Vehicles)
	slices.Reverse(q.Shops)
	if d := cmp.Diff(want, mustSolve(t, &q)); d != "" {
		t.Errorf("want, got:\n%s", d)
	}
}

// What stands stays, and a proposal made again moves nothing.
func TestStaysPut(t *testing.T) {
	t.Parallel()
	p := invented(3, 40, 20, 1, .8)
	first := mustSolve(t, p)
	for i := range p.Vehicles {
		v := &p.Vehicles[i]
		for k := range v.Jobs {
			for _, vis := range first.Visits {
				if vis.Vehicle != v.ID || !slices.ContainsFunc(vis.Jobs, func(pl Placement) bool { return pl.Axle == v.Jobs[k].Axle }) {
					continue
				}
				s := vis.Slot
				if vis.Date < p.Start+7 {
					v.Jobs[k].Fixed = &s // the coming week is left alone
				} else {
					v.Jobs[k].Previous = &s
				}
			}
		}
	}
	again := mustSolve(t, p)
	checkPlan(t, p, again)
	if again.Cost.MoveCount > 0 {
		t.Errorf("%d jobs moved with nothing new", again.Cost.MoveCount)
	}
	// One more vehicle that is due at once moves no more than it must.
	more := invented(99, 1, 20, 1, .8).Vehicles[0]
	more.ID = 9999
	p.Vehicles = append(p.Vehicles, more)
	if got := mustSolve(t, p); got.Cost.MoveCount > 4 {
		t.Errorf("one more vehicle moved %d jobs", got.Cost.MoveCount)
	}
}

// Room for more never costs more.
func TestMoreRoom(t *testing.T) {
	p := invented(5, 8, 10, 1, 1.3)
	tight := mustSolve(t, p).Cost.Total
	for d := range p.Shops[0].Days {
		p.Shops[0].Days[d].Hours += 4
		p.Shops[0].Days[d].Visits++
	}
	if got := mustSolve(t, p).Cost.Total; got > tight+1e-9 {
		t.Errorf("with more room %g, before %g", got, tight)
	}
}

// When no more time is to be spent, the best plan so far comes out: whole, with a
// bound, and no dearer the longer it was looked for.
func TestEnough(t *testing.T) {
	p := invented(7, 100, 14, 2, .7)
	none := make(chan struct{})
	close(none)
	first, err := Solve(context.Background(), p, Options{Enough: none})
	if err != nil {
		t.Fatal(err)
	}
	checkPlan(t, p, first)
	if !first.Cut || first.Bound <= 0 || first.Gap <= 0 {
		t.Errorf("at once: cut %v, cost %g, bound %g, gap %g", first.Cut, first.Cost.Total, first.Bound, first.Gap)
	}
	// The steps of the bound take longest on a large problem: it is that without prices.
	free := newRoom(compile(p))
	if least := newAscent(free, make([]float64, 2*len(free.minute)), 0).bound; math.Abs(first.Bound-least) > 1e-9 {
		t.Errorf("at once: bound %g, want that of the first step, %g", first.Bound, least)
	}
	// As long as it likes, one and two at a time.
	want := mustSolve(t, p)
	if want.Cut || want.Cost.Total > first.Cost.Total || want.Bound < first.Bound-1e-9 {
		t.Errorf("to the end: cut %v, cost %g after %g, bound %g after %g", want.Cut, want.Cost.Total, first.Cost.Total, want.Bound, first.Bound)
	}
	alone, err := Solve(context.Background(), p, Options{Workers: 1, Enough: make(chan struct{})})
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(want, alone); d != "" {
		t.Errorf("one worker, more workers:\n%s", d)
	}
}

func TestSolveEndsEarly(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Solve(ctx, invented(1, 20, 10, 1, .8), Options{}); err == nil {
		t.Error("it went on")
	}
	// Also within a step of the search, which takes seconds on a large problem.
	p := invented(1, 8000, 60, 20, .8)
	ctx, cancel = context.WithCancel(context.Background())
	var ended time.Time
	time.AfterFunc(300*time.Millisecond, func() { ended = time.Now(); cancel() })
	_, err := Solve(ctx, p, Options{})
	if took := time.Since(ended); !errors.Is(err, context.Canceled) || took > 20*time.Second {
		t.Errorf("ended within: got %v, %v later", err, took)
	}
	if _, err := Solve(context.Background(), &Problem{}, Options{}); err == nil {
		t.Error("a problem of no days was solved")
	}
	if got := mustSolve(t, &Problem{Start: testStart, Days: 3}); len(got.Visits) != 0 || got.Cost.Total != 0 {
		t.Errorf("of nothing: got %+v", got)
	}
}
