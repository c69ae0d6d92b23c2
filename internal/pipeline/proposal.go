package pipeline

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strings"

	"brakewear/internal/fleet"
	"brakewear/internal/plan"
	"brakewear/internal/store"
)

// intoBays gives each visit a bay and a time beside the bookings that stay.
func (p *planner) intoBays(pl *plan.Plan) *bayPlan {
	b := &bayPlan{Plan: pl, slots: make([]fleet.Slot, len(pl.Visits))}
	days := map[plan.Slot][]int{}
	var order []plan.Slot
	for i := range pl.Visits {
		at := pl.Visits[i].Slot
		if days[at] == nil {
			order = append(order, at)
		}
		days[at] = append(days[at], i)
	}
	for _, at := range order {
		shop := p.shopAt[at.Shop]
		if shop == nil {
			continue // a booking that stays, at a workshop that is not planned
		}
		var taken []fleet.Slot
		var jobs []bayJob
		for i := range p.bookings {
			o := &p.bookings[i]
			if o.DepotID == at.Shop && o.Day == at.Date && !slices.ContainsFunc(days[at], func(k int) bool { return p.bookingOf(&pl.Visits[k]) == o }) && !p.givenUp(o) {
				taken = append(taken, o.Slot)
			}
		}
		for _, k := range days[at] {
			v := &pl.Visits[k]
			j := bayJob{key: k, hours: v.Hours, want: fleet.Slot{DepotID: at.Shop, Day: at.Date}}
			if o := p.bookingOf(v); o != nil && o.DepotID == at.Shop && o.Day == at.Date {
				if p.unchanged(v, o) {
					b.slots[k] = o.Slot
					taken = append(taken, o.Slot)
					continue
				}
				j.want.Bay, j.want.Starts = o.Bay, o.Starts
			} else if was, ok := p.was(v.Vehicle, v.Jobs[0].Axle); ok && was.DepotID == at.Shop && was.Day == at.Date {
				j.want.Bay, j.want.Starts = was.Bay, was.Starts
			}
			jobs = append(jobs, j)
		}
		slots, left := packBays(shop.Day(at.Date), shop.Workshop.Bays, taken, jobs)
		for k, s := range slots {
			b.slots[k] = s
		}
		if len(left) > 0 {
			b.homeless = append(b.homeless, left...)
			p.full[at] = len(days[at]) - len(left)
		}
	}
	slices.Sort(b.homeless)
	return b
}

// bookingOf returns the open booking that a visit continues: the one that has
// one of its axles.
func (p *planner) bookingOf(v *plan.Visit) *fleet.Booking {
	pv := p.vehicleAt[v.Vehicle]
	var found *fleet.Booking
	for _, at := range v.Jobs {
		if j := pv.job(at.Axle); j != nil && j.booked != nil && (found == nil || at.Fixed) {
			found = j.booked
		}
	}
	return found
}

// unchanged says whether a visit is just the booking as it stands.
func (p *planner) unchanged(v *plan.Visit, b *fleet.Booking) bool {
	if b.DepotID != v.Shop || b.Day != v.Date {
		return false
	}
	has := fleet.Axles(b.Work)
	return !slices.ContainsFunc(v.Jobs, func(at plan.Placement) bool { return !slices.Contains(has, at.Axle) })
}

// givenUp says whether a booking's place is free, for its work is placed anew.
func (p *planner) givenUp(b *fleet.Booking) bool {
	pv := p.vehicleAt[b.VehicleID]
	return pv != nil && slices.ContainsFunc(pv.jobs, func(j *axleJob) bool { return j.booked == b && !j.stays })
}

func (pv *planVehicle) job(axle int) *axleJob {
	for _, j := range pv.jobs {
		if j.f.Axle == axle {
			return j
		}
	}
	return nil
}

// proposal puts a plan into words and advice.
func (p *planner) proposal(pl *bayPlan) store.Proposal {
	out := store.Proposal{
		FleetID: p.fleetID,
		AsOf:    p.asOf,
		Until:   p.last(),
		Risk:    p.risk,
		Cost:    pl.Cost.Total,
		Bound:   pl.Bound,
		Figures: store.Figures{
			Later:      len(pl.Later),
			Unplaced:   len(pl.Unplaced),
			Late:       len(pl.Late),
			WastedMM:   pl.Cost.WastedMM,
			PastLimit:  pl.Cost.PastLimit,
			Overtime:   pl.Cost.OvertimeHours,
			Unmeasured: p.unmeasured,
			Cut:        pl.Cut,
		},
	}
	for _, pv := range p.vehicles {
		out.Figures.Due += len(pv.jobs)
	}
	content := map[int64]bool{} // vehicles whose bookings will do
	for k := range pl.Visits {
		v := &pl.Visits[k]
		out.Figures.Placed += len(v.Jobs)
		b := p.bookingOf(v)
		if b != nil && p.unchanged(v, b) {
			content[v.Vehicle] = true
			continue
		}
		if p.shopAt[v.Shop] == nil {
			continue
		}
		x := p.visit(v, b, pl.slots[k])
		if slices.Contains(pl.homeless, k) {
			x.Advice = store.AdviseNothing
			x.Remedy = "An extra bay, or longer hours, at " + p.shopAt[v.Shop].Name + " on " + dayWords(v.Date) + "."
			x.Why = "no bay is free for long enough"
			x.Day, x.Bay, x.Starts = 0, 0, 0
			x.DepotID = p.vehicleAt[v.Vehicle].DepotID
			out.Figures.Placed -= len(v.Jobs)
			out.Figures.Unplaced += len(v.Jobs)
		}
		for _, t := range pl.Late {
			if t.Vehicle == v.Vehicle && t.Slot != nil && *t.Slot == v.Slot {
				// Axles that come in together are often late for one reason.
				if words := "; " + p.lateWords(t); !strings.Contains(x.Why, words) {
					x.Why += words
				}
				x.Remedy = p.remedy(t)
			}
		}
		out.Visits = append(out.Visits, x)
	}
	out.Visits = append(out.Visits, p.unplaced(pl.Unplaced)...)
	out.Visits = append(out.Visits, p.withdrawn()...)
	for i := range out.Visits {
		x := &out.Visits[i]
		x.Depot = p.shopAt[x.DepotID].Name
		if !p.firstEver {
			x.Changed = p.changed(x)
		}
	}
	out.Figures.Dropped, out.Figures.DroppedAt = p.dropped(out.Visits, content)
	return out
}

// was returns what the proposal before wanted of an axle.
func (p *planner) was(vehicle int64, axle int) (store.Visit, bool) {
	v, ok := p.before[store.AxleKey{VehicleID: vehicle, Axle: axle}]
	return v, ok
}

// dropped lists what the proposal before wanted of vehicles of which nothing is
// wanted now, and why, and at which depots; content are those whose bookings will
// do.
func (p *planner) dropped(now []store.Visit, content map[int64]bool) (said []string, at []int64) {
	gone := map[int64]store.Visit{} // by vehicle
	for k, v := range p.before {
		gone[k.VehicleID] = v
	}
	for _, x := range now {
		delete(gone, x.VehicleID)
	}
	byName := func(a, b store.Visit) int {
		return cmp.Or(strings.Compare(a.Vehicle, b.Vehicle), cmp.Compare(a.VehicleID, b.VehicleID))
	}
	for _, v := range slices.SortedFunc(maps.Values(gone), byName) {
		why := "no axle of it is to be booked by " + dayWords(p.last()) + " any more"
		if content[v.VehicleID] {
			why = "it is booked"
		}
		said, at = append(said, v.Vehicle+": "+why), append(at, v.DepotID)
	}
	return said, at
}

// visit is what is proposed for one vehicle's visit; b is the booking that it
// continues, if any.
func (p *planner) visit(v *plan.Visit, b *fleet.Booking, slot fleet.Slot) store.Visit {
	pv := p.vehicleAt[v.Vehicle]
	x := store.Visit{
		FleetID:   p.fleetID,
		VehicleID: v.Vehicle,
		Vehicle:   pv.Number,
		Advice:    store.AdviseBook,
		Slot:      slot,
		Hours:     v.Hours,
	}
	x.DepotID, x.Day = v.Shop, v.Date
	chance := 0.
	first := v.Jobs[0]
	for _, at := range v.Jobs {
		chance = max(chance, at.Past)
		if at.BookBy < first.BookBy {
			first = at
		}
	}
	for _, at := range v.Jobs {
		j := pv.job(at.Axle)
		for i, w := range j.work.items {
			if i == 0 && at.Axle != first.Axle {
				w.Reason = fmt.Sprintf("on the same visit as axle %d, which saves another: its own book-by date is %s", first.Axle, bookByWords(j.f))
			} else if i == 0 {
				w.Reason = axleReason(j.f, at.Past)
			}
			x.Work = append(x.Work, w)
		}
	}
	if pv.fluid {
		w := fleet.WorkItem{Item: fleet.ItemFluid, Reason: "last changed " + p.upkeep[pv.ID].FluidChanged.Written()}
		if q := fleet.PartFor(p.parts, &pv.Vehicle, 0, fleet.ItemFluid); q != nil {
			w.PartID, w.PartNumber, w.Quantity = q.ID, q.Number, q.PerAxle
		}
		x.Work = append(x.Work, w)
	}
	x.Chance = &chance
	f := pv.job(first.Axle).f
	x.BookBy = f.BookBy
	cost := p.cost(v.Shop, pv, v.Hours, x.Work)
	x.Cost = &cost
	x.Why = capitalAxle(f.Axle) + " " + axleReason(f, first.Past)
	if v.Joined {
		for _, planned := range p.upkeep[pv.ID].Visits {
			if planned.DepotID == v.Shop && planned.Day == v.Date {
				x.VisitID = planned.ID
				x.Why += "; joins the " + planned.What + " that day"
			}
		}
	}
	if b == nil {
		return x
	}
	x.BookingID = b.ID
	x.Advice = store.AdviseMove
	if b.DepotID == v.Shop && b.Day == v.Date {
		x.Advice = store.AdviseExtend
		x.Why = "more axles on the visit that is booked: " + x.Why
	} else if why := p.disturbed(pv, b); why != "" {
		x.Why = why
	} else {
		x.Why = "makes room for another vehicle that cannot wait"
	}
	// What people put on the booking themselves stays on it.
	for _, w := range b.Work {
		if !slices.ContainsFunc(x.Work, func(o fleet.WorkItem) bool { return o.Axle == w.Axle && o.Item == w.Item }) {
			x.Work = append(x.Work, w)
		}
	}
	slices.SortStableFunc(x.Work, func(a, b fleet.WorkItem) int { return cmp.Compare(workRank(a), workRank(b)) })
	return x
}

// workRank puts the whole vehicle's work last.
func workRank(w fleet.WorkItem) int {
	if w.Axle == 0 {
		return 99
	}
	return w.Axle
}

// cost is what a visit costs in labour and parts.
func (p *planner) cost(depotID int64, pv *planVehicle, hours float64, work []fleet.WorkItem) float64 {
	shop := &p.shopAt[depotID].Workshop
	return Cost(shop, p.parts, &pv.Vehicle, hours, work)
}

// unplaced lists vehicles with axles that have no place, a line each.
func (p *planner) unplaced(ts []plan.Trouble) (out []store.Visit) {
	at := map[int64]int{}
	for _, t := range ts {
		pv := p.vehicleAt[t.Vehicle]
		j := pv.job(t.Axle)
		i, ok := at[t.Vehicle]
		if !ok {
			i = len(out)
			at[t.Vehicle] = i
			x := store.Visit{FleetID: p.fleetID, VehicleID: t.Vehicle, Vehicle: pv.Number, Advice: store.AdviseNothing, Hours: pv.setUp}
			x.DepotID = pv.DepotID
			x.Why = p.whyNot(t)
			x.Remedy = p.remedy(t)
			if j.booked != nil {
				x.BookingID = j.booked.ID
			}
			out = append(out, x)
		}
		x := &out[i]
		x.Work = append(x.Work, j.work.items...)
		x.Hours += j.work.hours
		if x.Chance == nil || *x.Chance < t.Past {
			past := t.Past
			x.Chance = &past
		}
		if by := j.f.BookBy; by != nil && (x.BookBy == nil || *by < *x.BookBy) {
			x.BookBy = by
		}
	}
	for i := range out {
		x := &out[i]
		cost := p.cost(x.DepotID, p.vehicleAt[x.VehicleID], x.Hours, x.Work)
		x.Cost = &cost
	}
	return out
}

// staleBooking is how long after a booking's day the last of its axles may
// come due for it still to be wanted, in days: company for another axle is
// looked at no further ahead.
const staleBooking = companionDays

// withdrawn advises to withdraw bookings with nothing left to do: their axles
// were done already, or last far longer than they did once.
func (p *planner) withdrawn() (out []store.Visit) {
	for i := range p.bookings {
		b := &p.bookings[i]
		pv := p.vehicleAt[b.VehicleID]
		if pv == nil || b.Kept || b.Day < p.start || b.VisitID != 0 || p.keepsOn(b.ID) {
			continue
		}
		var until fleet.Date
		known := true
		for _, axle := range fleet.Axles(b.Work) {
			k := slices.IndexFunc(pv.Axles, func(f store.AxleForecast) bool { return f.Axle == axle })
			if k < 0 || pv.Axles[k].PastLimit {
				known = false
				break
			}
			if f := &pv.Axles[k]; until == 0 || bookBy(f) < until {
				until = bookBy(f)
			}
		}
		if !known || until <= b.Day+staleBooking {
			continue
		}
		x := store.Visit{
			FleetID: p.fleetID, VehicleID: b.VehicleID, Vehicle: pv.Number, Advice: store.AdviseWithdraw,
			BookingID: b.ID, Slot: b.Slot, Hours: b.Hours, Work: b.Work, Cost: b.Cost,
			Why: "no axle on it is to be booked for months: the parts were changed, or wear slower than was thought",
		}
		if p.shopAt[b.DepotID] != nil {
			out = append(out, x)
		}
	}
	return out
}
