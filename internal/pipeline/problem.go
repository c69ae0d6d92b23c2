package pipeline

import (
	"cmp"
	"math"
	"slices"
	"time"

	"brakewear/forecast"
	"brakewear/internal/fleet"
	"brakewear/internal/plan"
	"brakewear/internal/store"
)

// planUnit is how much money the unit of plan.Rates stands for.
const planUnit = 400

// moveCost is what moving a booking, or what a proposal said before, costs in
// the unit of plan.Rates: as much as a visit, for people have to be told.
const moveCost = .3

// addVehicle takes a vehicle in with the jobs on its axles.
func (p *planner) addVehicle(v store.DueVehicle) {
	pv := &planVehicle{DueVehicle: v}
	shop := p.shopAt[v.DepotID]
	pv.setUp = shop.Workshop.Hours[fleet.TaskSetUp].Of(v.Category)
	if up := p.upkeep[v.ID]; up != nil && up.FluidChanged != nil && addMonths(*up.FluidChanged, shop.Workshop.FluidMonths) <= p.last() {
		pv.fluid = true
		pv.setUp += shop.Workshop.Hours[fleet.TaskBleed].Of(v.Category)
	}
	for i := range p.bookings {
		if b := &p.bookings[i]; b.VehicleID == v.ID {
			pv.bookings = append(pv.bookings, b)
		}
	}
	p.vehicles = append(p.vehicles, pv)
	p.vehicleAt[v.ID] = pv
	for i := range pv.Axles {
		p.addAxle(pv, &pv.Axles[i])
	}
}

// addAxle takes an axle in that is to be booked, keeps company, or is booked.
func (p *planner) addAxle(pv *planVehicle, f *store.AxleForecast) {
	j := &axleJob{f: f}
	for _, b := range pv.bookings {
		if slices.Contains(fleet.Axles(b.Work), f.Axle) {
			j.booked = b
			break
		}
	}
	due := f.PastLimit || f.BookBy != nil && *f.BookBy <= p.last()+companionDays
	if j.booked == nil && !due {
		return
	}
	if j.booked == nil && f.Has(forecast.NoReadings) && !f.PastLimit {
		// Its date comes from other vehicles alone: it is to be measured, not
		// booked for new parts.
		if f.BookBy != nil && *f.BookBy <= p.last() {
			p.unmeasured++
		}
		return
	}
	shop := p.shopAt[pv.DepotID]
	day := p.start
	if f.BookBy != nil {
		day = max(day, *f.BookBy)
	}
	var ok bool
	if j.work, ok = workOn(&pv.Vehicle, f, day, p.parts, shop.Workshop.Hours); !ok {
		return
	}
	frame := plan.Problem{Start: p.start, Days: p.days, Risk: p.risk}
	if !j.job.Outlook(&f.AxleForecast, &frame) {
		return
	}
	j.job.SetUp = pv.setUp
	j.job.Hours = pv.setUp + math.Max(j.work.hours, .05)
	j.job.Value = math.Max(.05, (p.setPrice(pv, j)+j.work.hours*shop.Workshop.LabourRate)/planUnit)
	past := shop.Workshop.PastLight
	if pv.Category.Heavy() {
		past = shop.Workshop.PastHeavy
	}
	j.job.Weight = math.Max(.05, past/(plan.DefaultRates.Past*planUnit))
	if f.Axle == 1 {
		j.job.Weight *= plan.DefaultSteerWeight
	}
	pv.jobs = append(pv.jobs, j)
}

// setPrice is what an axle's linings cost.
func (p *planner) setPrice(pv *planVehicle, j *axleJob) float64 {
	shop := &p.shopAt[pv.DepotID].Workshop
	for _, x := range j.work.items {
		if x.Item != fleet.ItemPads && x.Item != fleet.ItemLinings || x.PartID == 0 {
			continue
		}
		for i := range p.parts {
			if q := &p.parts[i]; q.ID == x.PartID && q.Price != nil {
				return *q.Price * float64(x.Quantity)
			}
		}
	}
	if pv.Category.Heavy() {
		return shop.SetHeavy
	}
	return shop.SetLight
}

// ready says from which day each job's parts can be there: at once while the
// shelf of the depot has them, those to be booked first taking first; else
// after the lead time. What open bookings need is taken off before.
func (p *planner) ready() {
	type shelf struct{ part, depot int64 }
	stock := map[shelf]int{}
	lead := map[int64]int{}
	for i := range p.parts {
		q := &p.parts[i]
		lead[q.ID] = q.LeadDays
		for _, s := range q.Stock {
			stock[shelf{q.ID, s.DepotID}] = s.Quantity
		}
	}
	for _, b := range p.bookings {
		for _, x := range b.Work {
			if x.PartID != 0 {
				stock[shelf{x.PartID, b.DepotID}] -= x.Quantity
			}
		}
	}
	type want struct {
		j     *axleJob
		depot int64
		by    fleet.Date
	}
	var wants []want
	for _, pv := range p.vehicles {
		for _, j := range pv.jobs {
			if j.booked == nil {
				wants = append(wants, want{j, pv.DepotID, bookBy(j.f)})
			}
		}
	}
	slices.SortStableFunc(wants, func(a, b want) int { return cmp.Compare(a.by, b.by) })
	for _, w := range wants {
		for _, x := range w.j.work.items {
			if x.PartID == 0 {
				continue
			}
			s := shelf{x.PartID, w.depot}
			if stock[s] -= x.Quantity; stock[s] < 0 {
				w.j.job.Ready = max(w.j.job.Ready, p.asOf+fleet.Date(lead[x.PartID]))
			}
		}
	}
}

// addMonths returns the day so many months on, the last of a shorter month.
func addMonths(d fleet.Date, months int) fleet.Date {
	t := d.Time()
	month := t.Month() + time.Month(months)
	last := fleet.NewDate(t.Year(), month+1, 1) - 1
	return min(last, fleet.NewDate(t.Year(), month, t.Day()))
}

// problem builds the problem as it stands.
func (p *planner) problem() *plan.Problem {
	pr := &plan.Problem{Start: p.start, Days: p.days, Risk: p.risk, Rates: p.rates()}
	room := map[plan.Slot]*plan.Capacity{}
	shortest := p.shortest()
	for i := range p.shops {
		w := &p.shops[i]
		shop := plan.Shop{ID: w.ID, Days: make([]plan.Capacity, p.days)}
		for d := range shop.Days {
			date := p.start + fleet.Date(d)
			c := &shop.Days[d]
			room[plan.Slot{Shop: w.ID, Date: date}] = c
			if day := w.Day(date); day.Open() {
				// One technician works in a bay: neither can do more than the other.
				inBays := float64(w.Workshop.Bays*day.Minutes()) / 60
				c.Hours = math.Min(day.Technicians, inBays)
				c.Overtime = math.Min(w.Workshop.Overtime, inBays-c.Hours)
				c.Visits = w.Workshop.Bays * max(1, int(float64(day.Minutes())/(60*shortest)))
			}
		}
		pr.Shops = append(pr.Shops, shop)
	}
	jobbed := map[int64]bool{} // bookings that fixed jobs stand for
	for _, pv := range p.vehicles {
		v := p.planVehicle(pv)
		for i, j := range pv.jobs {
			if j.booked == nil {
				continue
			}
			at := &plan.Slot{Shop: j.booked.DepotID, Date: j.booked.Day}
			if j.stays = !p.loose(pv, j.booked) && p.canStay(pv, j.booked) || p.mustStay(j.booked); j.stays {
				v.Jobs[i].Fixed = at
				jobbed[j.booked.ID] = true
			} else {
				v.Jobs[i].Previous = at
			}
		}
		p.dodge(pv, &v)
		if len(v.Jobs) > 0 {
			pr.Vehicles = append(pr.Vehicles, v)
		}
	}
	// What the jobs do not stand for is taken off before.
	for i := range p.bookings {
		b := &p.bookings[i]
		c := room[plan.Slot{Shop: b.DepotID, Date: b.Day}]
		if c == nil {
			continue
		}
		hours, visits := b.Hours, 1
		if pv := p.vehicleAt[b.VehicleID]; pv != nil {
			has := 0.
			free := false
			for _, j := range pv.jobs {
				if j.booked == b {
					has += j.job.Hours - j.job.SetUp
					free = free || !j.stays
				}
			}
			if jobbed[b.ID] {
				hours, visits = b.Hours-has-pv.setUp, 0
			} else if free {
				continue // it gives its place up
			}
		}
		c.Hours = math.Max(0, c.Hours-math.Max(0, hours))
		c.Visits = max(0, c.Visits-visits)
	}
	for at, visits := range p.full {
		if c := room[at]; c != nil {
			c.Visits = min(c.Visits, visits)
		}
	}
	return pr
}

// planVehicle is a vehicle as the optimiser wants it.
func (p *planner) planVehicle(pv *planVehicle) plan.Vehicle {
	v := plan.Vehicle{ID: pv.ID, Shops: []plan.Way{{Shop: pv.DepotID}}}
	up := p.upkeep[pv.ID]
	for d := p.start; d <= p.last(); d++ {
		if p.away(up, d) {
			v.Blocked = append(v.Blocked, d)
		}
	}
	if up != nil {
		for _, x := range up.Visits {
			if shop := p.shopAt[x.DepotID]; shop != nil && x.Day >= p.start && x.Day <= p.last() && shop.Day(x.Day).Open() {
				v.Joins = append(v.Joins, plan.Slot{Shop: x.DepotID, Date: x.Day})
				if x.DepotID != pv.DepotID && !slices.ContainsFunc(v.Shops, func(w plan.Way) bool { return w.Shop == x.DepotID }) {
					// It may be done there, on the day it is there anyway.
					v.Shops = append(v.Shops, plan.Way{Shop: x.DepotID, Cost: plan.DefaultRates.Away})
				}
			}
		}
	}
	for _, j := range pv.jobs {
		job := j.job
		if was, ok := p.before[store.AxleKey{VehicleID: pv.ID, Axle: j.f.Axle}]; ok && was.Day != 0 {
			job.Previous = &plan.Slot{Shop: was.DepotID, Date: was.Day}
		}
		v.Jobs = append(v.Jobs, job)
	}
	return v
}

// away says whether a vehicle cannot be had on a day.
func (p *planner) away(up *fleet.Upkeep, d fleet.Date) bool {
	if up == nil {
		return false
	}
	return slices.ContainsFunc(up.Absences, func(a fleet.Absence) bool { return a.Covers(d) }) ||
		slices.ContainsFunc(up.Visits, func(x fleet.PlannedVisit) bool { return x.Day == d && p.shopAt[x.DepotID] == nil })
}

// mustStay says whether a booking is not the planner's to move: a person put
// it there, or it is too near.
func (p *planner) mustStay(b *fleet.Booking) bool {
	return b.Kept || b.Day < p.start+frozenDays
}

// loose says whether a booking may move for want of room. One on a day that
// was set aside may not: what a person did not want there stays off it, and a
// booking cannot be placed there again.
func (p *planner) loose(pv *planVehicle, b *fleet.Booking) bool {
	return p.freed && p.declinedOn(pv.ID, b.Day) == nil
}

// betterBy is how much the chance of being past the limit must fall for a
// booking to be moved to an earlier day.
const betterBy = .02

// canStay says whether a booking is still where it can be and does what it is
// for.
func (p *planner) canStay(pv *planVehicle, b *fleet.Booking) bool { return p.disturbed(pv, b) == "" }

// disturbed says why a booking cannot stay; blank when it can.
func (p *planner) disturbed(pv *planVehicle, b *fleet.Booking) string {
	shop := p.shopAt[b.DepotID]
	if shop == nil || p.mustStay(b) {
		return ""
	}
	day := shop.Day(b.Day)
	switch {
	case !day.Open():
		return shop.Name + " is closed on " + dayWords(b.Day)
	case b.Starts < day.Opens || b.Ends() > day.Closes || b.Bay > shop.Workshop.Bays:
		return shop.Name + " has other hours or bays on " + dayWords(b.Day)
	case p.away(p.upkeep[pv.ID], b.Day):
		return "the vehicle cannot be spared on " + dayWords(b.Day)
	}
	for _, j := range pv.jobs {
		if j.booked != b {
			continue
		}
		at := j.chance(p, b.Day)
		if at < p.risk {
			continue
		}
		for d := p.start; d < b.Day; d++ {
			if p.shopAt[pv.DepotID].Day(d).Open() && !p.away(p.upkeep[pv.ID], d) {
				if at-j.chance(p, d) > betterBy {
					return axleWords(j.f.Axle) + " is now to be booked by " + dayWords(bookBy(j.f))
				}
				break
			}
		}
	}
	return ""
}

// chance is the chance of a job's axle being past its limit on a day.
func (j *axleJob) chance(p *planner, d fleet.Date) float64 {
	i := int(d - p.start)
	return j.job.Past[max(0, min(i, len(j.job.Past)-1))]
}

// free lets bookings move that nothing holds, and says whether there are any.
func (p *planner) free() bool {
	for _, pv := range p.vehicles {
		for _, j := range pv.jobs {
			if j.booked != nil && j.stays && !p.mustStay(j.booked) && p.declinedOn(pv.ID, j.booked.Day) == nil {
				p.freed = true
				return true
			}
		}
	}
	return false
}

// shortest is the length in hours of the shortest visit: it bounds how many
// vehicles a bay can take in a day.
func (p *planner) shortest() float64 {
	least := math.Inf(1)
	for _, pv := range p.vehicles {
		for _, j := range pv.jobs {
			least = math.Min(least, j.job.Hours)
		}
	}
	return math.Max(.25, least)
}

// rates are the optimiser's, with what the workshops say of money; the fleet's
// workshops count alike.
func (p *planner) rates() plan.Rates {
	r := plan.DefaultRates
	r.Visit, r.Overtime, r.Move = 0, 0, moveCost
	for i := range p.shops {
		w := &p.shops[i].Workshop
		n := float64(len(p.shops)) * planUnit
		r.Visit += w.VisitCost / n
		r.Overtime += math.Max(0, w.OvertimeRate-w.LabourRate) / n
	}
	return r
}
