package plan

import "testing"

// A job fixed at a shop that is not one of its vehicle's own takes room there
// from vehicles that go nowhere else.
func TestFixedElsewhereTakesRoom(t *testing.T) {
	job := func() Job {
		return Job{Axle: 1, Hours: 2, SetUp: .5, Past: []float64{0, .2}, Wasted: []float64{1, 1}, Usable: 10}
	}
	room := []Capacity{{Hours: 6, Visits: 3}, {Hours: 6, Visits: 3}}
	for _, home := range [][]Way{{{Shop: 1}}, nil} {
		p := &Problem{
			Start: testStart, Days: 2,
			Shops:    []Shop{{ID: 1, Days: room}, {ID: 2, Days: room}},
			Vehicles: []Vehicle{{ID: 1, Shops: home, Jobs: []Job{job()}}},
		}
		p.Vehicles[0].Jobs[0].Fixed = &Slot{2, testStart}
		for id := int64(2); id <= 4; id++ {
			p.Vehicles = append(p.Vehicles, Vehicle{ID: id, Shops: []Way{{Shop: 2}}, Jobs: []Job{job()}})
		}
		got := mustSolve(t, p)
		checkPlan(t, p, got)
		first := 0
		for _, v := range got.Visits {
			if v.Date == testStart {
				first++
			}
		}
		if first != 3 || len(got.Visits) != 4 {
			t.Errorf("home %v: %d of %d visits on the first day, want 3 of 4", home, first, len(got.Visits))
		}
	}
}
