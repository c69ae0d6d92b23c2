package pipeline

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"brakewear/internal/fleet"
	"brakewear/internal/plan"
	"brakewear/internal/store"
)

// axleReason says why an axle is done on a day.
func axleReason(f *store.AxleForecast, past float64) string {
	switch {
	case f.PastLimit:
		return "is at or past its limit"
	case f.BookBy == nil:
		return "has no date yet"
	}
	is := "is"
	if *f.BookBy < fleet.Date(f.AsOf) {
		is = "was"
	}
	return is + " to be booked by " + bookByWords(f) + "; chance of being past its limit on the day " + chanceWords(past)
}

func bookByWords(f *store.AxleForecast) string {
	if f.BookBy == nil {
		return "not in sight"
	}
	return f.BookBy.Time().Format("2 Jan")
}

func capitalAxle(n int) string { return "Axle " + strconv.Itoa(n) }

// changed says what is new about a visit since the proposal before, and why.
func (p *planner) changed(x *store.Visit) string {
	axles := fleet.Axles(x.Work)
	if len(axles) == 0 {
		return ""
	}
	was, ok := p.was(x.VehicleID, axles[0])
	for _, axle := range axles[1:] {
		if !ok {
			was, ok = p.was(x.VehicleID, axle)
		}
	}
	if !ok {
		if said := p.changedFrom(x); said != "" {
			return said
		}
	}
	switch {
	case !ok && x.Advice == store.AdviseBook:
		return "new"
	case !ok:
		return "new: " + x.Why
	case was.Advice == x.Advice && was.DepotID == x.DepotID && was.Day == x.Day:
		if !slices.Equal(fleet.Axles(was.Work), axles) {
			return "other axles: " + axlesWords(x.Work) + " instead of " + axlesWords(was.Work)
		}
		return ""
	case was.Day == 0 && x.Day != 0:
		return "has a place now"
	case x.Day == 0:
		return "had " + p.placeWords(was.DepotID, was.Day) + " before: " + x.Why
	}
	return "was on " + p.placeWords(was.DepotID, was.Day) + ": " + p.movedWhy(x, &was)
}

// movedWhy says why a proposed visit is not where the proposal before had it.
func (p *planner) movedWhy(x, was *store.Visit) string {
	pv := p.vehicleAt[x.VehicleID]
	shop := p.shopAt[was.DepotID]
	switch {
	case was.Day < p.start:
		return "that day has gone by"
	case shop == nil || !shop.Day(was.Day).Open():
		return "closed that day"
	case p.away(p.upkeep[x.VehicleID], was.Day):
		return "the vehicle cannot be spared that day"
	}
	for _, axle := range fleet.Axles(x.Work) {
		j := pv.job(axle)
		if j == nil {
			continue
		}
		if j.job.Ready > was.Day {
			return "parts cannot be there before " + dayWords(j.job.Ready)
		}
		if j.chance(p, was.Day) >= p.risk && x.Day < was.Day {
			if was.BookBy != nil && j.f.BookBy != nil && *was.BookBy != *j.f.BookBy {
				return "its book-by date went from " + dayWords(*was.BookBy) + " to " + dayWords(*j.f.BookBy)
			}
			return axleWords(axle) + " would be past its accepted risk that day"
		}
	}
	if was.BookBy != nil && x.BookBy != nil && *was.BookBy != *x.BookBy {
		return "its book-by date went from " + dayWords(*was.BookBy) + " to " + dayWords(*x.BookBy)
	}
	return "other work needs the place"
}

func (p *planner) placeWords(depotID int64, day fleet.Date) string {
	s := dayWords(day)
	if shop := p.shopAt[depotID]; shop != nil && len(p.shops) > 1 {
		s += " at " + shop.Name
	}
	return s
}

func axlesWords(work []fleet.WorkItem) string {
	var words []string
	for _, a := range fleet.Axles(work) {
		words = append(words, strconv.Itoa(a))
	}
	return strings.Join(words, " and ")
}

// whyNot says why a job has no place.
func (p *planner) whyNot(t plan.Trouble) string {
	name := p.shopAt[p.vehicleAt[t.Vehicle].DepotID].Name
	by := "by " + dayWords(t.BookBy)
	axle := capitalAxle(t.Axle)
	switch t.Why {
	case plan.Overdue:
		return axle + " was to be booked before " + dayWords(p.start) + ", and no day has room"
	case plan.PartsLate:
		return axle + ": its parts cannot be there " + by
	case plan.NotSpared:
		if p.dodges[t.Vehicle] {
			return axle + ": every day " + by + " was set aside, or the vehicle cannot be spared on it"
		}
		return axle + ": the vehicle cannot be spared on any day " + by
	case plan.Closed:
		return axle + ": " + name + " is closed on every day " + by
	case plan.NoBays:
		return axle + ": no bay at " + name + " is left " + by
	}
	return axle + ": no technician hours at " + name + " are left " + by
}

// lateWords says why a job is booked beyond its accepted risk.
func (p *planner) lateWords(t plan.Trouble) string {
	switch t.Why {
	case plan.Overdue:
		return "its book-by date had passed before"
	case plan.PartsLate:
		return "its parts come too late"
	case plan.NotSpared:
		if p.dodges[t.Vehicle] {
			return "the days in time were set aside, or the vehicle cannot be spared on them"
		}
		return "the vehicle cannot be spared in time"
	case plan.Closed:
		return "the workshop is closed in time"
	case plan.NoBays:
		return "no bay is left in time"
	}
	return "no technician hours are left in time"
}

// remedy is the cheapest way to book a job in time, in words; blank when there
// is none.
func (p *planner) remedy(t plan.Trouble) string {
	if len(t.Remedies) == 0 {
		return ""
	}
	r := t.Remedies[0]
	name := "another workshop"
	if shop := p.shopAt[r.Slot.Shop]; shop != nil {
		name = shop.Name
	}
	on := dayWords(r.Slot.Date)
	switch r.Kind {
	case plan.MoreHours:
		return fmt.Sprintf("%.1f more technician hours at %s on %s.", r.Hours, name, on)
	case plan.MoreBays:
		if r.Hours > 0 {
			return fmt.Sprintf("One more bay and %.1f more technician hours at %s on %s.", r.Hours, name, on)
		}
		return "One more bay at " + name + " on " + on + "."
	case plan.OtherShop:
		return "Send it to " + name + " on " + on + "."
	case plan.PartsSooner:
		return fmt.Sprintf("Parts %d days sooner, for %s.", r.Days, on)
	case plan.SpareIt:
		return "Spare the vehicle on " + on + "."
	}
	return ""
}
