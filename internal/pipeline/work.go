package pipeline

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"brakewear/forecast"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
)

// outlivedChance is the chance from which a rotor or drum is changed with the
// linings because it would not last as long as they will: at even odds the
// second visit that it saves is worth as much as the part.
const outlivedChance = .5

// axleWork is what is to be done on an axle, and how long that takes without
// the set-up that a visit needs anyway.
type axleWork struct {
	items []fleet.WorkItem
	hours float64
}

// workOn decides what to do on an axle that is done on a day, by rule:
//
//   - pads or linings always, as the axle's set;
//   - rotors or drums with them when one is past its limit, is what the axle
//     comes in for, or is more likely than not to reach its limit before the
//     next set is worn;
//   - a wear sensor where a part of the vehicle's says that it has one;
//   - calipers where one side wears much faster than the other.
//
// Nothing is decided for an axle without any lining that is known.
func workOn(v *fleet.Vehicle, f *store.AxleForecast, day fleet.Date, parts []fleet.StockPart, hours map[fleet.Task]fleet.TaskHours) (w axleWork, ok bool) {
	set, disc, found := liningOf(f)
	if !found {
		return w, false
	}
	add := func(item fleet.Item, reason string) {
		x := fleet.WorkItem{Axle: f.Axle, Item: item, Reason: reason}
		if p := fleet.PartFor(parts, v, f.Axle, item); p != nil {
			x.PartID, x.PartNumber, x.Quantity = p.ID, p.Number, p.PerAxle
		}
		w.items = append(w.items, x)
	}
	task := fleet.TaskLinings
	if set == fleet.ItemPads {
		task = fleet.TaskPads
	}
	discWhy := discReason(f, disc, day)
	why := "as the axle's set"
	if discWhy != "" && f.Limiting >= 0 && fleet.Part(f.Positions[f.Limiting].Pos.Part) == disc.Part() {
		why = "new " + string(disc) + " get new " + string(set)
	}
	add(set, why)
	if discWhy != "" {
		add(disc, discWhy)
		task = fleet.TaskLiningDrums
		if set == fleet.ItemPads {
			task = fleet.TaskPadsRotors
		}
	}
	w.hours = hours[task].Of(v.Category)
	if fleet.PartFor(parts, v, f.Axle, fleet.ItemSensor) != nil {
		add(fleet.ItemSensor, "goes with the set")
	}
	if f.Has(forecast.Dragging) {
		add(fleet.ItemCalipers, "one side wears much faster: free or change the caliper")
		w.hours += hours[fleet.TaskCalipers].Of(v.Category)
	}
	return w, true
}

// liningOf says which lining an axle has, and what it runs on.
func liningOf(f *store.AxleForecast) (set, disc fleet.Item, ok bool) {
	for i := range f.Positions {
		switch fleet.Part(f.Positions[i].Pos.Part) {
		case fleet.Pad, fleet.Rotor:
			return fleet.ItemPads, fleet.ItemRotors, true
		case fleet.Lining, fleet.Drum:
			return fleet.ItemLinings, fleet.ItemDrums, true
		}
	}
	return "", "", false
}

// discReason says why an axle's rotors or drums are done with its linings on a
// day; blank when they are not.
func discReason(f *store.AxleForecast, disc fleet.Item, day fleet.Date) string {
	if f.Limiting < 0 || f.Limiting >= len(f.Positions) {
		return ""
	}
	one := strings.TrimSuffix(string(disc), "s")
	if first := &f.Positions[f.Limiting]; fleet.Part(first.Pos.Part) == disc.Part() {
		return one + " is first to reach its limit"
	}
	life := nextLife(f, disc)
	worst := 0.
	for i := range f.Positions {
		p := &f.Positions[i]
		if fleet.Part(p.Pos.Part) != disc.Part() {
			continue
		}
		if pastLimit(p) {
			return one + " is past its limit"
		}
		if !math.IsInf(life, 1) && p.Crossing.Day.Known() {
			worst = math.Max(worst, p.Crossing.Day.CDF(float64(day)+life))
		}
	}
	if worst > outlivedChance {
		return one + " will not outlive the next set: " + share(worst)
	}
	return ""
}

// pastLimit says whether a position is estimated at or past its limit.
func pastLimit(p *forecast.PositionForecast) bool {
	if p.Spec.New < p.Spec.Limit {
		return p.ThicknessMM >= p.Spec.Limit
	}
	return p.ThicknessMM <= p.Spec.Limit
}

// nextLife returns how many days a new set of linings will last at the present
// rate of wear and use; +Inf where that is not known.
func nextLife(f *store.AxleForecast, disc fleet.Item) float64 {
	life := math.Inf(1)
	for i := range f.Positions {
		p := &f.Positions[i]
		if fleet.Part(p.Pos.Part) == disc.Part() || !(p.RatePer10000 > 0) || !(f.KmPerDay > 0) {
			continue
		}
		life = math.Min(life, math.Abs(p.Spec.New-p.Spec.Limit)/p.RatePer10000*10000/f.KmPerDay)
	}
	return life
}

// Cost is what work costs in labour and parts; where no part is known to fit,
// linings count at the workshop's own price of a set.
func Cost(shop *fleet.Workshop, parts []fleet.StockPart, v *fleet.Vehicle, hours float64, work []fleet.WorkItem) float64 {
	sum := hours * shop.LabourRate
	for _, w := range work {
		i := slices.IndexFunc(parts, func(q fleet.StockPart) bool { return q.ID == w.PartID })
		switch {
		case i >= 0 && parts[i].Price != nil:
			sum += *parts[i].Price * float64(w.Quantity)
		case w.Item != fleet.ItemPads && w.Item != fleet.ItemLinings:
		case v.Category.Heavy():
			sum += shop.SetHeavy
		default:
			sum += shop.SetLight
		}
	}
	return sum
}

// share is a chance in words, such as 62 %.
func share(p float64) string { return strconv.Itoa(int(math.Round(100*p))) + " %" }

// chanceWords is a small chance in words.
func chanceWords(p float64) string {
	switch {
	case p < .001:
		return "below 0.1 %"
	case p < .1:
		return fmt.Sprintf("%.1f %%", 100*p)
	}
	return share(p)
}

// dayWords names a day of the coming year: Mon 3 Mar.
func dayWords(d fleet.Date) string { return d.Time().Format("Mon 2 Jan") }

// bookBy is the day an axle is to be booked by; its forecast's own day when it
// is past its limit.
func bookBy(f *store.AxleForecast) fleet.Date {
	switch {
	case f.PastLimit:
		return fleet.Date(f.AsOf)
	case f.BookBy == nil:
		return math.MaxInt32
	}
	return *f.BookBy
}

func axleWords(n int) string { return "axle " + strconv.Itoa(n) }
