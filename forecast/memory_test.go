package forecast

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
)

// TestMemory: what is worked out with a memory is what is without one, to the last
// bit, while most of it is taken from there.
func TestMemory(t *testing.T) {
	const day = 1440
	m := newFull()
	forecast := func(v *Vehicle, memory *Memory) string {
		w := *v
		w.Memory = memory
		return fmt.Sprint(m.Forecast(&w, day, Options{}))
	}
	sets, remembered := 0, 0
	for i, v := range untidyFleet(180) {
		km := nan
		of := []AxlePart{{1, Pad}, {2, Pad}, {2, Rotor}}[:1+i%3]
		if i%4 > 0 {
			km = math.Round(trackOf(v, day).Km(day)) + 10
		}
		after := *v
		after.Axles = slices.Clone(v.Axles)
		for _, p := range of {
			a := &after.Axles[p.Axle-1]
			if p.Part == Rotor {
				a.Readings = append(a.Readings, Reading{Day: day, Km: km, Pos: Position{Part: Rotor, Side: "left"}, MM: 26.9})
				continue
			}
			for _, pos := range allPads {
				a.Readings = append(a.Readings, Reading{Day: day, Km: km, Pos: pos, MM: 6, Step: .1, Depot: v.Depot})
			}
		}
		memory := new(Memory)
		with := *v
		with.Memory = memory
		if d := cmp.Diff(Expect(m, v, day, km, of...), Expect(m, &with, day, km, of...), cmpopts.EquateNaNs()); d != "" {
			t.Fatalf("%s, expected: %s", v.ID, d)
		}
		judged := slices.Clone(memory.messages)
		want := forecast(&after, nil)
		for range 2 {
			if got := forecast(&after, memory); got != want {
				t.Fatalf("%s: got forecasts\n%s\nwant\n%s", v.ID, got, want)
			}
		}
		for k := range memory.messages {
			sets++
			if slices.ContainsFunc(judged, func(x *messageSeen) bool { return x.same(memory.messages[k]) }) {
				remembered++
			}
		}
		// What it holds is used: other messages and other chances of a change make
		// other forecasts.
		if i%9 > 0 {
			continue
		}
		for k := range memory.messages {
			memory.messages[k].message.Mean++
		}
		if forecast(&after, memory) == want {
			t.Errorf("%s: %d messages are not taken from memory", v.ID, len(memory.messages))
		}
		*memory = Memory{}
		forecast(&after, memory)
		for k := range memory.changes {
			memory.changes[k].chance = 1
		}
		if len(memory.changes) > 0 && forecast(&after, memory) == want {
			t.Errorf("%s: %d chances of a change are not taken from memory", v.ID, len(memory.changes))
		}
	}
	if remembered < sets/2 {
		t.Errorf("%d of %d sets were known from the judging, want more than half", remembered, sets)
	}
}
