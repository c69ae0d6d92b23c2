package plan

import (
	"slices"
	"testing"

	"brakewear/internal/fleet"
)

// Two vehicles due on the tenth day and one on the third, a bay that takes one a
// day. By hand.
func TestPack(t *testing.T) {
	t.Parallel()
	p := &Problem{Start: testStart, Days: 12, Risk: .05, Shops: []Shop{{ID: 1}}}
	for range p.Days {
		p.Shops[0].Days = append(p.Shops[0].Days, Capacity{Hours: 8, Visits: 1})
	}
	for i, by := range []int{10, 3, 10} {
		j := Job{Axle: 1, Hours: 2, Usable: 10}
		for d := range p.Days {
			past := 0.
			if d > by {
				past = .5
			}
			j.Past, j.Wasted = append(j.Past, past), append(j.Wasted, float64(p.Days-d))
		}
		p.Vehicles = append(p.Vehicles, Vehicle{ID: int64(i + 1), Shops: []Way{{Shop: 1}}, Jobs: []Job{j}})
	}
	for rule, want := range map[Rule][]int{ // day of vehicles 1, 2, 3
		FirstCome:   {0, 1, 2},
		EarliestDue: {1, 0, 2},
		LatestSlot:  {10, 3, 9},
	} {
		got, err := Pack(p, rule)
		if err != nil {
			t.Fatal(err)
		}
		checkPlan(t, p, got)
		days := make([]int, 3)
		for _, v := range got.Visits {
			days[v.Vehicle-1] = int(v.Date - p.Start)
		}
		if !slices.Equal(days, want) {
			t.Errorf("%s: got days %v, want %v", rule, days, want)
		}
	}
	// No rule beats the proposal, on whatever is invented.
	for seed := uint64(1); seed < 4; seed++ {
		q := invented(seed, 40, 20, 2, 1)
		best := mustSolve(t, q)
		for _, rule := range Rules {
			got, err := Pack(q, rule)
			if err != nil {
				t.Fatal(err)
			}
			checkPlan(t, q, got)
			if got.Cost.Total < best.Cost.Total-1e-9 {
				t.Errorf("seed %d: %s costs %g, the proposal %g", seed, rule, got.Cost.Total, best.Cost.Total)
			}
		}
	}
}

// A job that cannot be booked says why, and the cheapest way out is worked out.
func TestRemedies(t *testing.T) {
	base := func() *Problem {
		p := &Problem{Start: testStart, Days: 6, Risk: .05, Shops: []Shop{{ID: 1}, {ID: 2}}}
		j := Job{Axle: 1, Hours: 4, Usable: 10}
		for d := range p.Days {
			j.Past, j.Wasted = append(j.Past, []float64{0, .01, .02, .5, .9, 1}[d]), append(j.Wasted, 1)
			p.Shops[0].Days = append(p.Shops[0].Days, Capacity{Hours: 8, Visits: 1})
			p.Shops[1].Days = append(p.Shops[1].Days, Capacity{})
		}
		p.Vehicles = []Vehicle{{ID: 7, Shops: []Way{{Shop: 1}}, Jobs: []Job{j}}}
		return p
	}
	for _, c := range []struct {
		name   string
		change func(p *Problem)
		why    Reason
		want   Remedy
	}{
		{"no hours", func(p *Problem) {
			for d := range p.Days {
				p.Shops[0].Days[d].Hours = 3
			}
		}, NoHours, Remedy{Kind: MoreHours, Slot: Slot{1, testStart}, Hours: 1}},
		{"no bay", func(p *Problem) {
			for d := range p.Days {
				p.Shops[0].Days[d].Visits = 0
			}
			p.Shops[0].Days[0].Visits = 1 // taken by another
			k := p.Vehicles[0].Jobs[0]
			k.Fixed = &Slot{1, testStart}
			p.Vehicles = append(p.Vehicles, Vehicle{ID: 8, Shops: []Way{{Shop: 1}}, Jobs: []Job{k}})
		}, NoBays, Remedy{Kind: MoreBays, Slot: Slot{1, testStart}}},
		{"parts late", func(p *Problem) { p.Vehicles[0].Jobs[0].Ready = testStart + 4 }, PartsLate,
			Remedy{Kind: PartsSooner, Slot: Slot{1, testStart + 2}, Days: 2}},
		{"not spared", func(p *Problem) {
			for d := range 3 {
				p.Vehicles[0].Blocked = append(p.Vehicles[0].Blocked, testStart+fleet.Date(d))
			}
		}, NotSpared, Remedy{Kind: SpareIt, Slot: Slot{1, testStart}}},
		{"closed, but not the other shop", func(p *Problem) {
			for d := range 3 {
				p.Shops[0].Days[d], p.Shops[1].Days[d] = Capacity{}, Capacity{Hours: 8, Visits: 1}
			}
		}, Closed, Remedy{Kind: OtherShop, Slot: Slot{2, testStart}}},
		{"overdue", func(p *Problem) {
			for d := range p.Days {
				p.Vehicles[0].Jobs[0].Past[d] = .9
			}
			for d := range p.Days {
				p.Shops[0].Days[d].Hours = 3
			}
		}, Overdue, Remedy{Kind: MoreHours, Slot: Slot{1, testStart}, Hours: 1}},
	} {
		p := base()
		c.change(p)
		got := mustSolve(t, p)
		troubles := slices.Concat(got.Unplaced, got.Late)
		i := slices.IndexFunc(troubles, func(tr Trouble) bool { return tr.Vehicle == 7 })
		if i < 0 || len(troubles[i].Remedies) == 0 {
			t.Errorf("%s: got %+v", c.name, got)
			continue
		}
		tr := troubles[i]
		r := tr.Remedies[0]
		r.Cost = 0
		if tr.Why != c.why || r != c.want {
			t.Errorf("%s: got %s and %+v, want %s and %+v", c.name, tr.Why, r, c.why, c.want)
		}
	}
}
