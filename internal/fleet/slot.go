package fleet

import (
	"cmp"
	"slices"
)

// FreeSlot returns the first time of a day at which a bay is free for so many
// minutes within the opening hours, the lowest bay first; taken are the slots
// that others have on that day. With want.Bay above 0 only that bay will do,
// and with want.Starts above 0 only that time. It is false where there is none.
func FreeSlot(day WorkDay, bays int, taken []Slot, want Slot) (Slot, bool) {
	if !day.Open() || want.Minutes <= 0 || want.Minutes > day.Minutes() {
		return want, false
	}
	type place struct {
		starts Clock
		bay    int
	}
	var places []place
	for bay := 1; bay <= bays; bay++ {
		if want.Bay > 0 && bay != want.Bay {
			continue
		}
		if want.Starts > 0 {
			places = append(places, place{want.Starts, bay})
			continue
		}
		// The first free time of a bay is its opening, or the end of a slot.
		places = append(places, place{day.Opens, bay})
		for _, s := range taken {
			if s.Bay == bay {
				places = append(places, place{s.Ends(), bay})
			}
		}
	}
	slices.SortFunc(places, func(a, b place) int {
		return cmp.Or(cmp.Compare(a.starts, b.starts), cmp.Compare(a.bay, b.bay))
	})
	for _, p := range places {
		s := want
		s.Bay, s.Starts = p.bay, p.starts
		if s.Starts < day.Opens || s.Ends() > day.Closes {
			continue
		}
		if !slices.ContainsFunc(taken, func(o Slot) bool {
			return o.Bay == s.Bay && o.Starts < s.Ends() && s.Starts < o.Ends()
		}) {
			return s, true
		}
	}
	return want, false
}
