package pipeline

import (
	"cmp"
	"slices"

	"brakewear/internal/store"
)

// DepotOutlook is the quarter of one depot: what comes to it, and its hours.
type DepotOutlook struct {
	DepotID      int64
	Depot, Fleet string
	Past         int // measured axles at or past their limit now
	// Expected are the limits expected in the weeks ahead, Booked those of them
	// on axles that have an open booking.
	Expected, Booked float64
	// ToBook are the measured axles without a booking that are to be booked by
	// a day of the weeks, or were to be by now. HoursToBook is the work on
	// them, one visit for all axles of a vehicle, and HoursFree what the depot
	// has beside what is booked.
	ToBook                 int
	HoursToBook, HoursFree float64
}

// Taken is the share of a depot's free hours that the work to book takes; above
// 1 where it is more than there are, 0 where there is none to book.
func (d *DepotOutlook) Taken() float64 {
	if d.HoursToBook == 0 {
		return 0
	}
	return d.HoursToBook / max(d.HoursFree, noHours)
}

// depotRows are the depots of an overview, the one with the least room first.
func (a *ahead) depotRows(q store.OverviewQuery) []DepotOutlook {
	var rows []DepotOutlook
	for id, l := range a.loads {
		w := a.shops[id]
		if w == nil || q.Fleet != 0 && w.FleetID != q.Fleet || q.Depot != 0 && id != q.Depot {
			continue
		}
		row := l.sum
		row.DepotID, row.Depot, row.Fleet = id, w.Name, w.Fleet
		for _, hours := range l.free {
			row.HoursFree += hours
		}
		rows = append(rows, row)
	}
	slices.SortFunc(rows, func(x, y DepotOutlook) int {
		return cmp.Or(cmp.Compare(y.Taken(), x.Taken()), cmp.Compare(y.ToBook, x.ToBook), cmp.Compare(x.Fleet, y.Fleet), cmp.Compare(x.Depot, y.Depot))
	})
	return rows
}

// Waiting is the number of axles that are expected to have reached their limit
// by the end of each week, if nothing more is booked: what waiting comes to.
func (o *Overview) Waiting() []float64 {
	sum := o.Past.Expected - o.Past.Booked
	var out []float64
	for i := range o.Weeks {
		sum += o.Weeks[i].Expected - o.Weeks[i].Booked
		out = append(out, sum)
	}
	return out
}
