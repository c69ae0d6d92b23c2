package store

import (
	"cmp"
	"math"
	"slices"
	"strings"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
)

// dueFilter is a DueQuery as it is asked of a dueList.
type dueFilter struct {
	DueQuery
	sc    auth.Scope
	order dueOrder
	after *dueKey
	found []int64    // vehicles with Text in their names, sorted; nil = all
	keep  bool       // found is of few, or kept itself
	plan  *duePlan   // where bookings are asked about
	left  int8       // -1 = any
	moved uint8      // bits of Shifts; 0 = any
	today fleet.Date // of moved, or 0
}

// dueKey is a place in an order.
type dueKey struct {
	number    float64
	text      string
	vehicleID int64
	axle      int
}

func (k *dueKey) compare(o *dueKey) int {
	switch {
	case k.number < o.number:
		return -1
	case k.number > o.number:
		return 1
	}
	if c := strings.Compare(k.text, o.text); c != 0 {
		return c
	}
	return cmp.Or(cmp.Compare(k.vehicleID, o.vehicleID), cmp.Compare(k.axle, o.axle))
}

// dueFilter reads what q needs beside the list.
func (t *tx) dueFilter(sc auth.Scope, q DueQuery) (*dueFilter, error) {
	f := &dueFilter{DueQuery: q, sc: sc, left: -1}
	i := slices.IndexFunc(dueOrders, func(o dueOrder) bool { return o.name == cmp.Or(q.Sort, ByBookBy) })
	if i < 0 {
		return nil, fleet.Invalidf("sort %q: want one of %s", q.Sort, fleet.OneOf(DueSorts))
	}
	f.order = dueOrders[i]
	if q.Vehicles != nil {
		f.Vehicles = append([]int64{}, q.Vehicles...)
		slices.Sort(f.Vehicles)
	}
	if q.After != "" {
		c, err := f.order.parse(q.After)
		if err != nil {
			return nil, err
		}
		f.after = &dueKey{vehicleID: c.VehicleID, axle: c.Axle}
		switch v := c.value.(type) {
		case fleet.Date:
			f.after.number = float64(v)
		case float64:
			f.after.number = v
		case string:
			f.after.text = v
		}
	}
	if q.Left != "" {
		i := slices.Index(LeftClasses, q.Left)
		if i < 0 {
			return nil, fleet.Invalidf("left %q: want one of %s", q.Left, fleet.OneOf(LeftClasses))
		}
		f.left = int8(i)
	}
	if q.Moved != "" {
		i := slices.Index(Shifts, q.Moved)
		if i < 0 {
			return nil, fleet.Invalidf("moved %q: want one of %s", q.Moved, fleet.OneOf(Shifts))
		}
		if q.Today == 0 {
			return nil, fleet.Invalidf("moved %q: say since the month before which day", q.Moved)
		}
		f.moved, f.today = 1<<i, q.Today
	}
	var err error
	f.found, f.keep, err = t.named(sc, q.Text, q.Fleet, q.Depot)
	return f, err
}

// page picks the first axles of l that f admits behind its cursor.
func (f *dueFilter) page(l *dueHeld, limit int) *duePick {
	places := make([]bool, len(l.places.values))
	for i := range places {
		places[i] = f.sees(l, int32(i))
	}
	vehicle, axle := f.admits(l, func(place int32) bool { return places[place] })
	p := &duePick{filter: f}
	most := 4 * (limit + 1) // sorted when there are so many; one more shows whether there is a next page
	top := make([]int32, 0, most)
	var last dueKey // of top, once it was full
	full, passed := false, 0
	cut := func() {
		slices.SortFunc(top, func(a, b int32) int {
			ka, kb := f.key(l, &l.axles[a]), f.key(l, &l.axles[b])
			return ka.compare(&kb)
		})
		if len(top) > limit+1 {
			top, full = top[:limit+1], true
			last = f.key(l, &l.axles[top[limit]])
		}
	}
	of, admitted := int32(-1), false // a vehicle's axles stand together
	for i := range l.axles {
		a := &l.axles[i]
		if a.vehicle != of {
			of, admitted = a.vehicle, vehicle(&l.vehicles[a.vehicle])
		}
		if !admitted || !axle(a) {
			continue
		}
		p.total++
		if full && f.order.number(a) > last.number {
			continue // as nearly all are
		}
		k := f.key(l, a)
		if f.passed(&k) {
			passed++
			continue
		}
		if full && k.compare(&last) >= 0 {
			continue
		}
		if top = append(top, int32(i)); len(top) == most {
			cut()
		}
	}
	cut()
	for _, i := range top[:min(limit, len(top))] {
		k := f.key(l, &l.axles[i])
		p.keys = append(p.keys, AxleKey{k.vehicleID, k.axle})
	}
	p.behind = p.total - passed - len(p.keys)
	if len(top) > limit {
		k := f.key(l, &l.axles[top[limit-1]])
		p.last, p.next = &k, f.order.cursor(f.value(&k), k.vehicleID, k.axle).String()
	}
	return p
}

// passed says whether a place is on a page before.
func (f *dueFilter) passed(k *dueKey) bool { return f.after != nil && k.compare(f.after) <= 0 }

func (f *dueFilter) key(l *dueHeld, a *dueAxle) dueKey {
	v := &l.vehicles[a.vehicle]
	k := dueKey{number: f.order.number(a), vehicleID: v.id, axle: int(a.axle)}
	if f.order.kind == aText {
		k.text = v.sortKey
	}
	return k
}

// value is what a cursor of f's order keeps of a place.
func (f *dueFilter) value(k *dueKey) any {
	switch f.order.kind {
	case aText:
		return k.text
	case aDate:
		return fleet.Date(k.number)
	}
	return k.number
}

// sees says whether f admits a place.
func (f *dueFilter) sees(l *dueHeld, place int32) bool {
	p := &l.places.values[place]
	return (f.Fleet == 0 || p.fleet == f.Fleet) && (f.Depot == 0 || p.depot == f.Depot) && f.sc.Sees(p.fleet, p.depot)
}

// admits returns what says whether f, which sees so many places, admits a vehicle of
// l, and an axle of a vehicle that it admits.
func (f *dueFilter) admits(l *dueHeld, sees func(place int32) bool) (vehicle func(v *dueVehicle) bool, axle func(a *dueAxle) bool) {
	duty := int32(-1)
	if f.Duty != nil {
		var ok bool
		if duty, ok = l.duties.of[*f.Duty]; !ok {
			return func(*dueVehicle) bool { return false }, nil
		}
	}
	among := func(ids []int64, id int64) bool {
		_, ok := slices.BinarySearch(ids, id)
		return ok
	}
	return func(v *dueVehicle) bool {
		return v.place >= 0 && sees(v.place) && (duty < 0 || v.duty == duty) &&
			(f.found == nil || among(f.found, v.id)) && (f.Vehicles == nil || among(f.Vehicles, v.id))
	}, f.admitsAxles(l)
}

func (f *dueFilter) admitsAxles(l *dueHeld) func(a *dueAxle) bool {
	const first, last = math.MinInt32, math.MaxInt32
	bound := func(d *fleet.Date, otherwise fleet.Date) fleet.Date {
		if d == nil {
			return otherwise
		}
		return *d
	}
	from, before := bound(f.From, first), bound(f.Before, last)
	limitFrom, limitTo := bound(f.LimitFrom, first), bound(f.LimitTo, last)
	limited := f.LimitFrom != nil || f.LimitTo != nil
	part := int32(-1)
	if f.Part != "" {
		var ok bool
		if part, ok = l.parts.of[f.Part]; !ok {
			return func(*dueAxle) bool { return false }
		}
	}
	moves := slices.Index(l.todays[:], f.today)
	return func(a *dueAxle) bool {
		if a.byDue < from || a.byDue > before || part >= 0 && int32(a.part) != part || f.left >= 0 && a.left != f.left {
			return false
		}
		if limited && (a.byLimit < limitFrom || a.byLimit > limitTo || a.byLimit == never) {
			return false
		}
		if f.Measured != nil && *f.Measured != (a.left >= 0) || f.moved != 0 && a.moved[moves]&f.moved == 0 {
			return false
		}
		if f.plan == nil {
			return true
		}
		b, booked := f.plan.booked[AxleKey{l.vehicles[a.vehicle].id, int(a.axle)}]
		return (f.Booked == nil || *f.Booked == booked) && (!f.Late || booked && a.byDue < b.Day)
	}
}
