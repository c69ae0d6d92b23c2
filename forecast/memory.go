package forecast

import "slices"

// Memory keeps what the full model worked out of a vehicle's part sets, for the
// next look at the same vehicle: a new reading is judged by those before it, and
// the forecast that follows has the same sets but one or two. Each is taken from
// it only where everything it was worked out from is the same, so that nothing
// comes out otherwise than without. It holds what the last look used and is for
// one goroutine at a time; the zero Memory is empty and ready.
type Memory struct {
	changes, lastChanges   []*changeSeen
	messages, lastMessages []*messageSeen
}

// next begins another look.
func (m *Memory) next() {
	if m == nil {
		return
	}
	m.changes, m.lastChanges = m.lastChanges[:0], m.changes
	m.messages, m.lastMessages = m.lastMessages[:0], m.messages
}

// changeSeen is the chance that a set's last visit, its rows from row on, found
// other parts.
type changeSeen struct {
	life   axleLife
	spec   Spec
	trips  []int
	row    int
	chance float64
}

// messageSeen is what a set says of its theta, and what else its fit found.
type messageSeen struct {
	life     axleLife
	axle     int
	part     Part
	trips    []int
	prior    prior
	dated    bool // an unrecorded change is
	gap      [2]float64
	gapBirth int

	message Message
	ok      bool
	aside   []int
	born    birth // of the change, dated
}

// changed is what the chance is by work, or by memory.
func (m *Memory) changed(s *set, row int, work func() float64) float64 {
	if m == nil {
		return work()
	}
	x := changeSeen{life: s.axleLife, spec: s.spec, trips: s.trips, row: row}
	for _, y := range m.lastChanges {
		if y.same(&x) {
			m.changes = append(m.changes, y)
			return y.chance
		}
	}
	kept := x
	kept.life, kept.trips = s.kept(), slices.Clone(s.trips)
	kept.chance = work()
	m.changes = append(m.changes, &kept)
	return kept.chance
}

// message is fitter.message, or what it was.
func (m *Memory) message(f *fitter, s *set, p prior) (Message, bool) {
	if m == nil {
		return f.message(s, p)
	}
	x := messageSeen{
		life: s.axleLife, axle: s.axle, part: s.part, trips: s.trips, prior: p,
		dated: s.change != nil, gap: s.gap, gapBirth: s.gapBirth,
	}
	for _, y := range m.lastMessages {
		if y.same(&x) {
			s.aside, s.births[s.gapBirth] = y.aside, y.born
			m.messages = append(m.messages, y)
			return y.message, y.ok
		}
	}
	kept := x
	kept.life, kept.trips = s.kept(), slices.Clone(s.trips)
	kept.message, kept.ok = f.message(s, p)
	kept.aside, kept.born = s.aside, s.births[s.gapBirth]
	m.messages = append(m.messages, &kept)
	return kept.message, kept.ok
}

// same says whether two were worked out from the same.
func (m *changeSeen) same(o *changeSeen) bool {
	return m.row == o.row && m.spec == o.spec && slices.Equal(m.trips, o.trips) && m.life.same(&o.life)
}

// same says whether two were worked out from the same.
func (m *messageSeen) same(o *messageSeen) bool {
	return m.axle == o.axle && m.part == o.part && m.prior == o.prior &&
		m.dated == o.dated && m.gap == o.gap && m.gapBirth == o.gapBirth &&
		slices.Equal(m.trips, o.trips) && m.life.same(&o.life)
}

// kept is the life as it is now. Its rows, visits and places are only ever added
// to; a birth that is dated changes.
func (s *set) kept() axleLife {
	a := s.axleLife
	a.births = slices.Clone(a.births)
	return a
}

// same says whether all of two lives is.
func (a *axleLife) same(b *axleLife) bool {
	return len(a.rows) == len(b.rows) && a.length == b.length && a.live == b.live && a.mean == b.mean && a.vari == b.vari &&
		*a.noise == *b.noise && slices.Equal(a.births, b.births) && slices.Equal(a.places, b.places) &&
		slices.Equal(a.visits, b.visits) && slices.Equal(a.rows, b.rows)
}
