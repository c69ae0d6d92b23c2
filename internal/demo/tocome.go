package demo

import (
	"math"
	"slices"

	"brakewear/internal/fleet"
)

// visit is an inspection of the vehicle on a day of the road, with the odometer
// value written beside its readings; nil where there is none.
type visit struct {
	t        int
	odometer *float64
}

// tellToCome fills in what would have been read had parts stayed on until their
// limit: on the days on which the vehicle was inspected anyway, and on days
// like them after the records. The workshop takes parts off before that, so
// that the records alone cannot say how a policy that would have kept them on
// fares. It has streams of its own: the records are the same without it.
func (s *sim) tellToCome() {
	v := s.v
	defer func() { s.v = v }()
	s.v = new(Vehicle) // what follows is not on record
	s.hands = stream(s.plan.seed, streamToCome, uint64(s.plan.index))
	s.pen = s.hands
	until := 0
	for i, l := range s.told {
		if c := v.Truth.Lives[i].Crossing; c.Known && l.part == s.axles[l.axle].friction {
			until = max(until, int(c.Date)-s.road.day0)
		}
	}
	for t := s.next; t <= until; t = s.nextVisit(t) {
		odometer, beside := s.odometerOfVisit(t)
		x := visit{t: t}
		if beside {
			x.odometer = odometer
		} else if odometer != nil {
			s.v.Odometer = append(s.v.Odometer, fleet.Odometer{Date: s.date(t), Km: *odometer})
		}
		s.visits = append(s.visits, x)
	}
	if s.plan.fuelCard && until > s.end {
		s.fillUp(s.end+1, until)
	}
	slices.SortStableFunc(s.v.Odometer, func(a, b fleet.Odometer) int { return int(a.Date - b.Date) })
	v.Truth.OdometerToCome = s.v.Odometer
	for i, l := range s.told {
		if c := v.Truth.Lives[i].Crossing; c.Known && l.part == s.axles[l.axle].friction {
			s.v.Readings = nil
			s.goOn(l, int(c.Date)-s.road.day0)
			v.Truth.Lives[i].ToCome = s.v.Readings
		}
	}
}

// goOn inspects a set of pads or linings from its removal, or the end of the
// records, until a day, as if it had stayed on.
func (s *sim) goOn(l *life, until int) {
	s.hands = stream(s.plan.seed, streamToCome, uint64(s.plan.index), uint64(l.axle), uint64(l.fitted))
	s.pen = s.hands
	a := &s.axles[l.axle]
	from := s.end
	if l.removed >= 0 {
		from = l.removed
	}
	var counter *life // that was on with it to the last
	for _, c := range a.lives {
		if c.part == a.counter && c.fitted < from && (c.removed < 0 || c.removed >= from) {
			counter = c
		}
	}
	trip := math.Inf(1)
	if day := math.Floor(l.trip); day > float64(from) && chance(s.hands, tripWritten) {
		trip = day
	}
	for _, x := range s.visits {
		if x.t <= from {
			continue
		}
		if trip < float64(x.t) && trip < float64(until) {
			s.writeTrip(l, int(trip))
			trip = math.Inf(1)
		}
		if x.t >= until {
			break
		}
		if !chance(s.hands, axleMeasured) {
			continue
		}
		if trip == float64(x.t) {
			trip = math.Inf(1) // measured instead
		}
		s.measure(a, l, x.t, x.odometer)
		if counter != nil && chance(s.hands, s.shares.Rotors) {
			s.measure(a, counter, x.t, x.odometer)
		}
	}
}
