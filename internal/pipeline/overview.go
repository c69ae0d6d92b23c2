package pipeline

import (
	"cmp"
	"context"
	"maps"
	"math"
	"slices"
	"sync"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
)

// Overview is a fleet at a glance, for who decides on hours and money.
type Overview struct {
	AsOf fleet.Date
	Left store.LiningLeft
	// Past are the limits reached before AsOf, most likely or surely.
	Past   LimitSpan
	Weeks  []LimitSpan // the running one, from AsOf on, and those after it
	Months []MonthOutlook
	Parts  []PartOutlook
	Gaps   CostGaps
	Duty   []store.WearRate // the highest median first
	Depot  []store.WearRate
	Short  HoursShort
	Late   BookedLate
	Depots []DepotOutlook // the one with the least room first
	Trend  store.Trend
	Waits  []WaitCost // of some weeks' ends, earliest first
}

// LimitSpan is what is to be expected of some days.
type LimitSpan struct {
	From, To fleet.Date // both included; From 0: ever before
	// Expected is the expected number of axles that reach their limit, if
	// none is changed until then: the sum of their chances. Booked is the part
	// of it on axles that have an open booking.
	Expected, Booked float64
	EvenOdds         int // axles whose median limit date lies in it
	// ToBook are the measured axles without a booking that are to be booked by
	// a day of it; those of today and of days gone by are in Past. HoursToBook
	// is the work on them, in technician hours, one visit for all axles of a
	// vehicle.
	ToBook      int
	HoursToBook float64
	// HoursNeeded is the expected work, in technician hours, on the axles that
	// are not booked; HoursFree is what the workshops have beside what is
	// booked, 0 of days gone by.
	HoursNeeded, HoursFree float64
}

// BookedLate is what is booked for a day behind the book-by date of an axle, or
// for any day to come where it is past its limit.
type BookedLate struct {
	Axles int // measured ones
	// Expected is the expected number of them that reach their limit before
	// the day they are booked for.
	Expected float64
}

// HoursShort is where the hours of the quarter do not suffice, depot by depot:
// limits expected on axles that are not booked.
type HoursShort struct {
	Expected float64 // of all weeks
	NoHours  float64 // in weeks in which their depot has none free
	TooFew   float64 // in weeks in which their depot has fewer than they need, or none
}

const (
	// OverviewWeeks is a quarter.
	OverviewWeeks = 13
	// OverviewMonths is the rest of the running month and three more: a
	// quarter whatever the day.
	OverviewMonths = 4
	// noHours is what a week has free, in hours, where nothing fits in any
	// more: the least a workshop can do in less is set a vehicle up.
	noHours = 1
)

// overview works out the overview as of a day.
func (s *Service) overview(ctx context.Context, sc auth.Scope, q store.OverviewQuery, day fleet.Date) (*Overview, error) {
	o := &Overview{AsOf: day}
	o.spans()
	// Readings of one table, side by side: none waits for another.
	var reads sync.WaitGroup
	var errs [5]error
	for i, read := range []func() error{
		func() (err error) { o.Left, err = s.DB.LiningLeft(ctx, sc, q); return err },
		func() (err error) { o.Duty, err = s.DB.WearRates(ctx, sc, q, store.WearByDuty); return err },
		func() (err error) { o.Depot, err = s.DB.WearRates(ctx, sc, q, store.WearByDepot); return err },
		func() (err error) { o.Trend, err = s.DB.Trend(ctx, sc, q, day); return err },
	} {
		reads.Go(func() { errs[i] = caught(read) })
	}
	a, err := s.ahead(ctx, sc, q, o)
	if err == nil {
		err = s.DB.EachOutlook(ctx, sc, q, o.until()+needAhead, a.axle)
	}
	errs[4] = err
	reads.Wait()
	if err := cmp.Or(errs[:]...); err != nil {
		return nil, err
	}
	a.endVehicle()
	a.finish()
	o.Depots = a.depotRows(q)
	return o, nil
}

// spans cuts the time ahead into weeks and months.
func (o *Overview) spans() {
	o.Past.To = o.AsOf - 1
	from := o.AsOf
	for range OverviewWeeks {
		to := from - fleet.Date(from.Weekday()) + 6
		o.Weeks = append(o.Weeks, LimitSpan{From: from, To: to})
		from = to + 1
	}
	for _, i := range waitWeeks {
		o.Waits = append(o.Waits, WaitCost{To: o.Weeks[i].To})
	}
	first := o.AsOf.Time()
	first = first.AddDate(0, 0, 1-first.Day())
	for i := range OverviewMonths {
		o.Months = append(o.Months, MonthOutlook{
			From: max(o.AsOf, fleet.DateOf(first.AddDate(0, i, 0))),
			To:   fleet.DateOf(first.AddDate(0, i+1, 0)) - 1,
		})
	}
}

// until is the last day that a week or a month holds.
func (o *Overview) until() fleet.Date {
	return max(o.Weeks[len(o.Weeks)-1].To, o.Months[len(o.Months)-1].To)
}

// depotLoad is a depot's share of the weeks.
type depotLoad struct {
	limits, needed, free [OverviewWeeks]float64
	sum                  DepotOutlook
}

// ahead gathers what the axles add to an overview. Its axles come by vehicle.
type ahead struct {
	o      *Overview
	shops  map[int64]*store.DepotWorkshop
	loads  map[int64]*depotLoad
	parts  []fleet.StockPart
	costs  costs
	needs  map[needKey]*PartOutlook
	stay   stay
	bounds [OverviewWeeks + 1]float64
}

// stay is the vehicle whose axles come just now: the chance of each span that
// none of its axles is due in it, so that the work around a visit counts once.
type stay struct {
	vehicle fleet.Vehicle
	shop    *store.DepotWorkshop
	past    float64
	toBook  [OverviewWeeks + 1]bool // first those of now
	weeks   [OverviewWeeks]float64
	months  [OverviewMonths]float64
}

// ahead reads what does not hang on single axles.
func (s *Service) ahead(ctx context.Context, sc auth.Scope, q store.OverviewQuery, o *Overview) (*ahead, error) {
	a := &ahead{o: o, shops: map[int64]*store.DepotWorkshop{}, loads: map[int64]*depotLoad{}, needs: map[needKey]*PartOutlook{}}
	for i := range o.Weeks {
		a.bounds[i] = float64(o.Weeks[i].From)
		a.bounds[i+1] = float64(o.Weeks[i].To + 1)
	}
	shops, err := s.DB.Workshops(ctx, sc, o.AsOf)
	if err != nil {
		return nil, err
	}
	if a.parts, err = s.DB.StockParts(ctx, sc, q.Fleet); err != nil {
		return nil, err
	}
	booked, err := s.DB.BookedDays(ctx, sc, q, o.AsOf, o.until())
	if err != nil {
		return nil, err
	}
	items, err := s.DB.BookedItems(ctx, sc, q, o.AsOf, o.until())
	if err != nil {
		return nil, err
	}
	used := map[int64]map[fleet.Date]float64{}
	a.costs = newCosts(o, q)
	for i := range shops {
		a.shops[shops[i].ID] = &shops[i]
		a.costs.fleets[shops[i].FleetID] = shops[i].Fleet
		used[shops[i].ID] = map[fleet.Date]float64{}
	}
	for i := range booked {
		b := &booked[i]
		if shop := a.shops[b.DepotID]; shop != nil {
			used[b.DepotID][b.Day] = b.Hours
			a.costs.booked(shop, b)
		}
	}
	for i := range shops {
		w := &shops[i]
		if q.Fleet != 0 && w.FleetID != q.Fleet || q.Depot != 0 && w.ID != q.Depot {
			continue
		}
		l := a.load(w.ID)
		for k := range o.Weeks {
			for day := o.Weeks[k].From; day <= o.Weeks[k].To; day++ {
				if d := w.Day(day); d.Open() {
					l.free[k] += math.Max(0, d.Technicians-used[w.ID][day])
				}
			}
			o.Weeks[k].HoursFree += l.free[k]
		}
	}
	for i := range items {
		a.bookedItem(&items[i])
	}
	return a, nil
}

func (a *ahead) load(depot int64) *depotLoad {
	l := a.loads[depot]
	if l == nil {
		l = &depotLoad{}
		a.loads[depot] = l
	}
	return l
}

// axle adds what one axle is expected to take.
func (a *ahead) axle(x *store.OutlookAxle) error {
	if a.stay.vehicle.ID != x.VehicleID {
		a.endVehicle()
		a.stay = stay{vehicle: x.Vehicle, shop: a.shops[x.Vehicle.DepotID], past: 1}
		for i := range a.stay.weeks {
			a.stay.weeks[i] = 1
		}
		for i := range a.stay.months {
			a.stay.months[i] = 1
		}
		if a.stay.shop == nil {
			a.stay.shop = &store.DepotWorkshop{Workshop: fleet.DefaultWorkshop()}
		}
	}
	day := a.o.AsOf
	if x.BookBy != nil {
		day = max(day, *x.BookBy)
	}
	w, known := workOn(&x.Vehicle, &x.AxleForecast, day, a.parts, a.stay.shop.Workshop.Hours)
	if x.Readings > 0 {
		a.limits(x, w.hours)
		a.waits(x, &w)
	}
	if known && x.Booked == nil && (x.BookBy != nil || x.PastLimit) {
		a.changes(x, &w)
	}
	if x.Measured && x.PastLimit {
		a.load(x.Vehicle.DepotID).sum.Past++
	}
	switch {
	case !x.Measured:
	case x.Booked == nil:
		a.toBook(x, w.hours)
	default:
		a.late(x)
	}
	return nil
}

// limits adds the chances that an axle reaches its limit, with the hours that
// its work takes.
func (a *ahead) limits(x *store.OutlookAxle, hours float64) {
	if x.P50 != nil {
		if *x.P50 < a.o.AsOf {
			a.o.Past.EvenOdds++
		} else if i := a.week(*x.P50); i >= 0 {
			a.o.Weeks[i].EvenOdds++
		}
	}
	if !x.Crossing.Day.Known() {
		return
	}
	l := a.load(x.Vehicle.DepotID)
	before := x.Crossing.Day.CDF(a.bounds[0])
	a.o.Past.Expected += before
	if x.Booked != nil {
		a.o.Past.Booked += before
	} else {
		a.o.Past.HoursNeeded += before * hours
		a.stay.past *= 1 - before
	}
	for i := range a.o.Weeks {
		next := x.Crossing.Day.CDF(a.bounds[i+1])
		p := next - before
		before = next
		if !(p > 0) {
			continue
		}
		w := &a.o.Weeks[i]
		w.Expected += p
		l.sum.Expected += p
		if x.Booked != nil {
			w.Booked += p
			l.sum.Booked += p
			continue
		}
		l.limits[i] += p
		l.needed[i] += p * hours
		a.stay.weeks[i] *= 1 - p
	}
}

// toBook adds an axle to the days by which it is to be booked.
func (a *ahead) toBook(x *store.OutlookAxle, hours float64) {
	var span *LimitSpan
	at := 0
	switch {
	case x.PastLimit || x.BookBy != nil && *x.BookBy <= a.o.AsOf:
		span = &a.o.Past
	case x.BookBy == nil:
		return
	default:
		i := a.week(*x.BookBy)
		if i < 0 {
			return
		}
		span, at = &a.o.Weeks[i], i+1
	}
	if !a.stay.toBook[at] {
		a.stay.toBook[at] = true
		hours += a.stay.setUp()
	}
	span.ToBook++
	span.HoursToBook += hours
	sum := &a.load(x.Vehicle.DepotID).sum
	sum.ToBook++
	sum.HoursToBook += hours
}

// late adds a booked axle whose booking comes late.
func (a *ahead) late(x *store.OutlookAxle) {
	if (x.BookBy == nil || *x.Booked <= *x.BookBy) && !(x.PastLimit && *x.Booked > fleet.Date(x.AsOf)) {
		return
	}
	a.o.Late.Axles++
	if x.Crossing.Day.Known() {
		a.o.Late.Expected += x.Crossing.Day.CDF(float64(*x.Booked))
	}
}

// week returns the index of the week of a day from today on; -1 behind the
// last.
func (a *ahead) week(d fleet.Date) int {
	i := int(d-a.o.AsOf+fleet.Date(a.o.AsOf.Weekday())) / 7
	if i >= OverviewWeeks {
		return -1
	}
	return i
}

// setUp is the time that a visit takes besides the work on axles.
func (v *stay) setUp() float64 {
	return v.shop.Workshop.Hours[fleet.TaskSetUp].Of(v.vehicle.Category)
}

// endVehicle adds what a visit takes of the vehicle whose axles came last.
func (a *ahead) endVehicle() {
	v := &a.stay
	if v.vehicle.ID == 0 {
		return
	}
	setUp := v.setUp()
	a.o.Past.HoursNeeded += (1 - v.past) * setUp
	l := a.load(v.vehicle.DepotID)
	for i, none := range v.weeks {
		l.needed[i] += (1 - none) * setUp
	}
	for i, none := range v.months {
		a.costs.labour(i, v.shop, (1-none)*setUp)
	}
	v.vehicle.ID = 0
}

// finish adds the depots up.
func (a *ahead) finish() {
	for _, id := range slices.Sorted(maps.Keys(a.loads)) { // in one order, so that sums come out alike
		l := a.loads[id]
		for i := range a.o.Weeks {
			a.o.Weeks[i].HoursNeeded += l.needed[i]
			a.o.Short.Expected += l.limits[i]
			if l.free[i] < noHours {
				a.o.Short.NoHours += l.limits[i]
			}
			if l.free[i] < l.needed[i] || l.free[i] < noHours {
				a.o.Short.TooFew += l.limits[i]
			}
		}
	}
	for i := range a.o.Waits {
		slices.SortFunc(a.o.Waits[i].Costs, func(x, y WaitMoney) int { return cmp.Compare(x.Currency, y.Currency) })
	}
	a.o.Parts = a.partList()
	a.costs.finish()
}
