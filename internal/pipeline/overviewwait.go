package pipeline

import (
	"slices"

	"brakewear/internal/fleet"
	"brakewear/internal/store"
)

// WaitCost is what it comes to if nothing more is booked until a day.
type WaitCost struct {
	To    fleet.Date
	Axles float64 // expected to have reached their limit by then
	Costs []WaitMoney
	// NoFigure are those of Axles at depots whose workshop nobody has set, NoDisc
	// those for whose rotors or drums no part with a price is known there: neither
	// is in Costs.
	NoFigure, NoDisc float64
}

// WaitMoney is the cost of waiting in one currency.
type WaitMoney struct {
	Currency string // may be blank
	// Damage is what the workshops expect of damage on an axle that comes in past
	// its limit, their own figure, times the axles.
	Damage float64
	// Discs is what it would be if each of the axles took new rotors or drums for
	// having been driven past its limit: parts, and the hours that this takes more
	// than the linings alone. Not of axles that get new ones anyway.
	Discs float64
}

// waitWeeks are the weeks of an overview at whose ends waiting is told.
var waitWeeks = []int{4, 8, OverviewWeeks - 1}

// WaitUntil is the first of these ends, seen from a day.
func WaitUntil(day fleet.Date) fleet.Date {
	return day - fleet.Date(day.Weekday()) + 6 + fleet.Date(7*waitWeeks[0])
}

func (w *WaitCost) in(currency string) *WaitMoney {
	i := slices.IndexFunc(w.Costs, func(m WaitMoney) bool { return m.Currency == currency })
	if i < 0 {
		i = len(w.Costs)
		w.Costs = append(w.Costs, WaitMoney{Currency: currency})
	}
	return &w.Costs[i]
}

// waits adds what waiting costs on a measured axle that has no booking; w is its
// work.
func (a *ahead) waits(x *store.OutlookAxle, w *axleWork) {
	if x.Booked != nil || !x.Crossing.Day.Known() {
		return
	}
	shop := &a.stay.shop.Workshop
	damage := shop.PastLight
	if x.Vehicle.Category.Heavy() {
		damage = shop.PastHeavy
	}
	discs, priced := a.discs(x, w)
	for i := range a.o.Waits {
		t := &a.o.Waits[i]
		p := x.Crossing.Day.CDF(float64(t.To + 1))
		if !(p > 0) {
			continue
		}
		t.Axles += p
		if !shop.Set {
			t.NoFigure += p
			continue
		}
		m := t.in(shop.Currency)
		m.Damage += p * damage
		m.Discs += p * discs
		if !priced {
			t.NoDisc += p
		}
	}
}

// discs is what new rotors or drums would cost on an axle beside its work; not
// priced where no part that fits has a price.
func (a *ahead) discs(x *store.OutlookAxle, w *axleWork) (cost float64, priced bool) {
	set, disc, ok := liningOf(&x.AxleForecast)
	if !ok {
		return 0, false
	}
	if slices.ContainsFunc(w.items, func(i fleet.WorkItem) bool { return i.Item == disc }) {
		return 0, true
	}
	part := fleet.PartFor(a.parts, &x.Vehicle, x.Axle, disc)
	if part == nil || part.Price == nil {
		return 0, false
	}
	alone, both := fleet.TaskLinings, fleet.TaskLiningDrums
	if set == fleet.ItemPads {
		alone, both = fleet.TaskPads, fleet.TaskPadsRotors
	}
	shop := &a.stay.shop.Workshop
	more := max(0, shop.Hours[both].Of(x.Vehicle.Category)-shop.Hours[alone].Of(x.Vehicle.Category))
	return *part.Price*float64(max(1, part.PerAxle)) + more*shop.LabourRate, true
}
