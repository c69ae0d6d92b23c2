package demo

import (
	"math"
	"math/rand/v2"

	"brakewear/internal/fleet"
)

// The workshop. All figures are assumptions.
const (
	visitSD      = .40 // of the log of the days between inspections
	axleMeasured = .88 // of the axles at an inspection
	atOnce       = .60 // of changes due are made on the day
	bookedMin    = 3   // days until a booked change
	bookedMax    = 14
	trustDays    = 45 // since fitting, before its own wear is believed
	elsewhereMax = 15 // days until a change that nobody writes down

	machined       = .10 // of pad changes that leave the rotors on
	cutMin, cutMax = .2, .5
	newMeasured    = .10 // of booked changes: the new parts are measured too

	sensorAbove = 1.2 // mm above the limit (audible indicators: 3-4 mm, WP-21)
	tripWritten = .8  // of trips
	tripMin     = 1   // days until the change
	tripMax     = 14
)

// shop is the chance of parts, of what the workshop does and of what it writes.
type shop struct {
	parts, hands, pen *rand.Rand
	v                 *Vehicle
	entry             int // first day on record, in days of the road
	shifts            []shift
	visits            []visit
	next              int     // day of the first inspection after the records
	told              []*life // those of the truth, in its order
}

// vehicle makes the vehicle of a plan.
func (s *sim) vehicle(p *plan) *Vehicle {
	k := &classes[p.class]
	m := &k.models[p.model]
	s.plan = p
	s.end = int(s.opt.Until) - p.birth
	s.horizon = float64(s.end) + HorizonYears*yearDays
	s.parts = stream(p.seed, streamParts, uint64(p.index))
	s.hands = stream(p.seed, streamWorkshop, uint64(p.index))
	s.pen = stream(p.seed, streamPen, uint64(p.index))
	s.entry = p.entry - p.birth
	s.v = &Vehicle{
		Number: p.number, Fleet: p.fleet, Depot: p.depot.name, Plate: p.plate,
		Category: k.category, Make: m.make, Model: m.name, Year: p.year, Duty: k.duties[p.duty].name,
		Truth: Truth{Class: k.name, Entry: fleet.Date(p.entry), Origin: p.origin},
	}
	s.road.start(p, &s.shares)
	s.startWear(p)
	for i := range s.axles {
		a := &s.axles[i]
		s.v.Axles = append(s.v.Axles, a.Axle)
		s.fit(a, a.friction, 0, 0, p.known)
		s.fit(a, a.counter, 0, 0, p.known)
		a.setsPerCounter = 2 + s.hands.IntN(2)
	}
	s.drawSwaps()
	s.work()
	s.drawFuelCards()
	s.writeFitments()
	s.tell()
	if s.opt.ToCome {
		s.tellToCome()
	}
	return s.v
}

// work goes through the days on which something happens in the workshop.
func (s *sim) work() {
	visit := s.nextVisit(0)
	s.visits = s.visits[:0]
	for {
		t, due, trips := visit, -1, false
		for i := range s.axles {
			a := &s.axles[i]
			if a.due >= 0 && a.due < t {
				t, due, trips = a.due, i, false
			}
			if l := a.on[0]; a.due < 0 && l.trip < float64(t) {
				t, due, trips = int(l.trip), i, true
			}
		}
		switch {
		case t > s.end:
			s.next = visit
			return
		case due < 0:
			s.inspect(t)
			visit = s.nextVisit(t)
		case trips:
			s.trip(&s.axles[due], t)
		default:
			s.change(&s.axles[due], t)
		}
	}
}

func (s *sim) nextVisit(t int) int {
	return t + max(1, int(math.Round(classes[s.plan.class].visit*logNormal(s.hands, visitSD))))
}

// inspect measures the vehicle, writes it down and decides what is due.
func (s *sim) inspect(t int) {
	s.road.extend(t + 1)
	odometer, beside := s.odometerOfVisit(t)
	written := odometer
	if !beside {
		written = nil
	}
	s.visits = append(s.visits, visit{t, written})
	any := false
	for i := range s.axles {
		a := &s.axles[i]
		if !chance(s.hands, axleMeasured) || a.due == t || a.seen == t {
			continue
		}
		a.seen, any = t, true
		least := s.measure(a, a.on[0], t, written)
		if chance(s.hands, s.shares.Rotors) {
			s.measure(a, a.on[1], t, written)
		}
		if a.due < 0 {
			s.decide(a, t, least)
		}
	}
	if (!any || !beside) && odometer != nil && t >= s.entry {
		s.v.Odometer = append(s.v.Odometer, fleet.Odometer{Date: s.date(t), Km: *odometer})
	}
}

// decide books a change when what is left would not last until the next
// inspection, by what the workshop expects of such an axle and by what this one
// has worn so far.
func (s *sim) decide(a *axle, t int, least float64) {
	k := &classes[s.plan.class]
	l := a.on[0]
	expected := a.group * k.kmPerDay * s.plan.use * k.visit
	if days := float64(t - l.fitted); days > trustDays {
		expected = max(expected, (l.spec.New-least)/days*k.visit)
	}
	expected *= s.plan.depot.caution
	late := chance(s.hands, s.shares.Late)
	offRecord := chance(s.hands, s.shares.Undeclared)
	now := chance(s.hands, atOnce)
	wait := bookedMin + s.hands.IntN(bookedMax-bookedMin+1)
	elsewhere := s.hands.IntN(elsewhereMax + 1)
	left := least - l.spec.Limit
	if left >= expected || (late && left > 0) || s.plan.forceDrag.axle == a.Number && float64(t) > l.drag {
		return
	}
	switch {
	case offRecord:
		a.due = t + elsewhere
	case now:
		a.due = t
	default:
		a.due = t + wait
	}
	a.offRecord = offRecord
	if a.due == t {
		s.change(a, t)
	}
}

// change fits new friction parts, and sometimes new or machined counter parts.
func (s *sim) change(a *axle, t int) {
	declared := !a.offRecord
	a.due, a.offRecord = -1, false
	s.fit(a, a.friction, t, 0, declared)
	a.sets++
	c := a.on[1]
	worst := s.value(c, 0, float64(t))
	for j := 1; j < c.n; j++ {
		if x := s.value(c, j, float64(t)); (x > worst) == c.part.Grows() {
			worst = x
		}
	}
	left := math.Abs(c.spec.Limit - worst)
	if (worst > c.spec.Limit) == c.part.Grows() {
		left = 0
	}
	cut := uniform(s.hands, cutMin, cutMax)
	turn := chance(s.hands, machined)
	switch {
	case a.sets >= a.setsPerCounter || left < c.span()/4:
		s.fit(a, a.counter, t, 0, declared)
		a.sets = 0
		a.setsPerCounter = 2 + s.hands.IntN(2)
	case turn && c.part == fleet.Rotor && left > c.span()/2 && left-cut > c.span()/4:
		s.fit(a, a.counter, t, math.Round((worst-cut)*10)/10, declared)
	}
	if chance(s.hands, newMeasured) && declared && a.seen != t {
		a.seen = t
		s.measure(a, a.on[0], t, nil)
	}
}

// trip is a wear sensor's signal: the driver reports it, and the pads go soon.
func (s *sim) trip(a *axle, t int) {
	l := a.on[0]
	l.trip = math.Inf(1)
	written := chance(s.hands, tripWritten)
	wait := tripMin + s.hands.IntN(tripMax-tripMin+1)
	if t == a.seen {
		return
	}
	if written && t >= s.entry {
		a.seen = t
		s.writeTrip(l, t)
	}
	a.due = t + wait
	a.offRecord = chance(s.hands, s.shares.Undeclared)
}
