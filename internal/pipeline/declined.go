package pipeline

import (
	"slices"

	"brakewear/internal/fleet"
	"brakewear/internal/plan"
	"brakewear/internal/store"
)

// declinedOn returns the proposed visit of a vehicle to a day to come that a
// person set aside, nil where there is none.
func (p *planner) declinedOn(vehicle int64, d fleet.Date) *store.Visit {
	for i := range p.declined {
		if v := &p.declined[i]; v.VehicleID == vehicle && v.Day == d && v.Advice != store.AdviseWithdraw {
			return v
		}
	}
	return nil
}

// dodge keeps a vehicle off the days that were set aside for it, as long as each
// of its jobs has another day within the accepted risk. Its bookings that stay
// are where they are, on such a day too.
func (p *planner) dodge(pv *planVehicle, v *plan.Vehicle) {
	var days []fleet.Date
	for i := range p.declined {
		d := p.declined[i].Day
		if p.declinedOn(pv.ID, d) != nil && !slices.Contains(v.Blocked, d) && !slices.Contains(days, d) {
			days = append(days, d)
		}
	}
	if p.dodges[pv.ID] = len(days) > 0 && !p.back[pv.ID] && p.otherDays(pv, v, days); p.dodges[pv.ID] {
		v.Blocked = append(v.Blocked, days...)
	}
}

// otherDays says whether the calendar has a day in time, other than those
// given, for each job that is to be placed. Whether there is room on it shows
// when the plan is made.
func (p *planner) otherDays(pv *planVehicle, v *plan.Vehicle, days []fleet.Date) bool {
	for _, j := range pv.jobs {
		found := j.stays
		for d := max(p.start, j.job.Ready); d <= p.last() && j.chance(p, d) < p.risk && !found; d++ {
			found = !slices.Contains(v.Blocked, d) && !slices.Contains(days, d) &&
				slices.ContainsFunc(v.Shops, func(w plan.Way) bool { return p.shopAt[w.Shop].Day(d).Open() })
		}
		if !found {
			return false
		}
	}
	return true
}

// late counts the jobs that are not placed within their accepted risk.
func (b *bayPlan) late() int {
	n := len(b.Unplaced) + len(b.Late)
	for _, k := range b.homeless {
		n += len(b.Visits[k].Jobs)
	}
	return n
}

// bringBack lets days that were set aside come back for those vehicles that a
// plan has late or nowhere, and returns them.
func (p *planner) bringBack(b *bayPlan) (ids []int64) {
	late := func(id int64) {
		if p.dodges[id] && !p.back[id] {
			p.back[id] = true
			ids = append(ids, id)
		}
	}
	for _, ts := range [][]plan.Trouble{b.Unplaced, b.Late} {
		for _, t := range ts {
			late(t.Vehicle)
		}
	}
	for _, k := range b.homeless {
		late(b.Visits[k].Vehicle)
	}
	return ids
}

// keepsOn says whether a person set aside that a booking be withdrawn.
func (p *planner) keepsOn(booking int64) bool {
	return slices.ContainsFunc(p.declined, func(v store.Visit) bool {
		return v.Advice == store.AdviseWithdraw && v.BookingID == booking
	})
}

// changedFrom says how a visit differs from what a person set aside of its
// axles; blank where nothing was.
func (p *planner) changedFrom(x *store.Visit) string {
	axles := fleet.Axles(x.Work)
	var last *store.Visit
	for i := range p.declined {
		v := &p.declined[i]
		if v.VehicleID != x.VehicleID || v.Advice == store.AdviseWithdraw || !slices.ContainsFunc(fleet.Axles(v.Work), func(a int) bool { return slices.Contains(axles, a) }) {
			continue
		}
		if v.Day == x.Day {
			return v.DecidedBy + " set this day aside; it comes back, for no other is in time"
		}
		if last == nil || v.ID > last.ID {
			last = v
		}
	}
	if last == nil || x.Day == 0 || x.Advice == store.AdviseWithdraw {
		return ""
	}
	return "another day than " + p.placeWords(last.DepotID, last.Day) + ", which " + last.DecidedBy + " set aside"
}
