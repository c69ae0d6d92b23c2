package store

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
)

// BenchmarkDuePick picks a page, and counts all pages, of an invented list of 100,000
// vehicles with 220,000 axles.
func BenchmarkDuePick(b *testing.B) {
	rng := rand.New(rand.NewPCG(5, 6)) // a seed like any other
	l := &dueHeld{at: map[int64]int32{}}
	for i := range 100_000 {
		v := dueVehicle{id: int64(i + 1), sortKey: sortKey(fmt.Sprint("Bus ", i)), place: l.places.number(duePlace{int64(i % 20), int64(i % 400)})}
		v.duty = l.duties.number([]string{"city", "hills", ""}[i%3])
		l.at[v.id] = int32(i)
		l.vehicles = append(l.vehicles, v)
		for axle := range 2 + i%5/4 {
			l.axles = append(l.axles, dueAxle{
				vehicle: int32(i), axle: int16(axle + 1), part: uint8(l.parts.number([]fleet.Part{fleet.Pad, fleet.Rotor}[rng.IntN(2)])),
				byDue: fleet.Date(20_000 + rng.IntN(1000)), byLimit: fleet.Date(20_000 + rng.IntN(1000)),
				byKm: rng.Float64(), byThickness: rng.Float64(), byNarrowing: rng.Float64(), left: int8(rng.IntN(12) - 1),
				moved: [2]uint8{uint8(rng.IntN(256))},
			})
		}
	}
	by := fleet.Date(20_100)
	duty := "hills"
	for _, c := range []struct {
		name string
		q    DueQuery
	}{
		{"all", DueQuery{}},
		{"depot", DueQuery{Depot: 7}},
		{"before", DueQuery{Before: &by}},
		{"left", DueQuery{Left: "30-40"}},
		{"duty and part", DueQuery{Duty: &duty, Part: fleet.Rotor}},
		{"moved", DueQuery{Moved: Faster}},
	} {
		for _, o := range []int{0, 2, 3} { // by date, by text, by number
			f := &dueFilter{DueQuery: c.q, sc: auth.AllFleets(), order: dueOrders[o], left: -1}
			if c.q.Left != "" {
				f.left = 4
			}
			if c.q.Moved != "" {
				f.moved = 1 << 6
			}
			b.Run(c.name+"/"+string(f.order.name), func(b *testing.B) {
				for b.Loop() {
					if p := f.page(l, DefaultLimit); len(p.keys) != DefaultLimit || p.total < DefaultLimit {
						b.Fatalf("got %d of %d", len(p.keys), p.total)
					}
				}
			})
		}
	}
}
