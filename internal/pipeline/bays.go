package pipeline

import (
	"cmp"
	"math"
	"slices"

	"brakewear/internal/fleet"
)

// slotStep is the grain of times in a bay, in minutes.
const slotStep = 15

// inBay returns how many minutes a job of so many technician hours stays in a
// bay. One technician does it; where that takes longer than the bay is open,
// as many work on it together as it needs and the day has.
func inBay(hours float64, day fleet.WorkDay) int {
	need := hours * 60
	crew := 1.
	if open := float64(day.Minutes()); open > 0 && need > open {
		most := math.Max(1, math.Floor(day.Technicians*60/open))
		crew = math.Min(most, math.Ceil(need/open))
	}
	return int(math.Ceil(need/crew/slotStep-1e-9)) * slotStep
}

// bayJob is a visit that needs a bay on a day.
type bayJob struct {
	key   int // of the caller
	hours float64
	want  fleet.Slot // its bay and time before, where it had one and they will do
}

// packBays finds a bay and a time for each job of a depot's day beside what is
// taken: first those that had a place before, then the longest. It returns the
// slots by the jobs' keys, and the keys of those that do not fit.
func packBays(day fleet.WorkDay, bays int, taken []fleet.Slot, jobs []bayJob) (slots map[int]fleet.Slot, left []int) {
	slots = make(map[int]fleet.Slot, len(jobs))
	taken = slices.Clone(taken)
	order := slices.Clone(jobs)
	slices.SortStableFunc(order, func(a, b bayJob) int {
		return cmp.Or(
			-cmp.Compare(min(a.want.Bay, 1), min(b.want.Bay, 1)),
			-cmp.Compare(a.hours, b.hours),
			cmp.Compare(a.key, b.key))
	})
	for _, j := range order {
		want := j.want
		want.Minutes = inBay(j.hours, day)
		s, ok := fleet.FreeSlot(day, bays, taken, want)
		if !ok && (want.Bay > 0 || want.Starts > 0) {
			want.Bay, want.Starts = 0, 0
			s, ok = fleet.FreeSlot(day, bays, taken, want)
		}
		if !ok {
			left = append(left, j.key)
			continue
		}
		taken = append(taken, s)
		slots[j.key] = s
	}
	return slots, left
}
