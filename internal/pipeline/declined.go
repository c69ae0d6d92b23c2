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

// dodge keeps a vehicle off the days that were set aside for it, while its jobs
// have another day within the accepted risk: else they come back, for somebody
// to see.
func (p *planner) dodge(pv *planVehicle, v *plan.Vehicle) {
	var days []fleet.Date
	for i := range p.declined {
		d := p.declined[i].Day
		if p.declinedOn(pv.ID, d) == nil || slices.Contains(v.Blocked, d) || slices.Contains(days, d) {
			continue
		}
		// A booking that is free to move may stay as well.
		if p.freed && slices.ContainsFunc(pv.bookings, func(b *fleet.Booking) bool { return b.Day == d }) {
			continue
		}
		days = append(days, d)
	}
	if len(days) == 0 {
		return
	}
	by := p.last()
	for _, j := range pv.jobs {
		if !j.stays {
			by = min(by, bookBy(j.f))
		}
	}
	shop := p.shopAt[pv.DepotID]
	for d := p.start; d <= by; d++ {
		if shop.Day(d).Open() && !slices.Contains(v.Blocked, d) && !slices.Contains(days, d) {
			v.Blocked = append(v.Blocked, days...)
			return
		}
	}
}

// keepsOn says whether a person set aside that a booking be withdrawn.
func (p *planner) keepsOn(booking int64) bool {
	return slices.ContainsFunc(p.declined, func(v store.Visit) bool {
		return v.Advice == store.AdviseWithdraw && v.BookingID == booking
	})
}

// lastDeclined returns the newest visit of a vehicle that was set aside; nil
// where there is none.
func (p *planner) lastDeclined(vehicle int64) (last *store.Visit) {
	for i := range p.declined {
		if v := &p.declined[i]; v.VehicleID == vehicle && v.Advice != store.AdviseWithdraw && (last == nil || v.ID > last.ID) {
			last = v
		}
	}
	return last
}
