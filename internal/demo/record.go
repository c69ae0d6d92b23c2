package demo

import (
	"math"
	"slices"
	"strconv"

	"brakewear/internal/fleet"
)

// What gets written down. Method: the visit's error; the rest are assumptions.
const (
	visitErrorSD = .12 // mm, common to the friction parts of an axle on a day
	fuelDays     = 30.0
	fuelSD       = .25
	freshCluster = .7 // of swapped clusters start at 0, others are used ones
	technicians  = 6  // of a depot
)

// Gauges of rotors and drums (assumption).
var (
	micrometer = gauge{name: "micrometer 0.01 mm", step: .01, sd: .03}
	drumGauge  = gauge{name: "drum gauge 0.1 mm", step: .1, sd: .1}
	// exact stands in for all gauges of clean records.
	exact = gauge{name: "exact 0.01 mm", step: .01, sd: .01 / math.Sqrt(12) * 1.0000001}
)

// Kinds of faults beside those of mistype.
const (
	clusterSwap = "cluster swap"
	sideSwap    = "side swap"
)

// shift is the continuous distance less the displayed one, from a day on.
type shift struct {
	from int
	km   float64
}

func (s *sim) date(t int) fleet.Date { return fleet.Date(s.road.day0 + t) }

// displayed returns what the dashboard shows of a distance on day t.
func (s *sim) displayed(t int, km float64) float64 {
	for i := len(s.shifts) - 1; i >= 0; i-- {
		if s.shifts[i].from <= t {
			return km - s.shifts[i].km
		}
	}
	return km
}

func (s *sim) drawSwaps() {
	s.shifts = s.shifts[:0]
	for _, day := range s.plan.swaps {
		t := int(day) - s.road.day0
		s.road.extend(t + 1)
		km := s.road.km[t]
		before := s.displayed(t, km)
		after := 0.0
		if !chance(s.pen, freshCluster) {
			after = math.Floor(uniform(s.pen, .05, .8) * before)
		}
		s.shifts = append(s.shifts, shift{t, km - after})
		s.v.Truth.OdometerFaults = append(s.v.Truth.OdometerFaults, OdometerFault{
			Date: s.date(t), Kind: clusterSwap, Km: km, MeantKm: before, WrittenKm: after,
		})
	}
}

// writeOdometer returns the odometer of day t as somebody writes it down; what
// is wrong with it counts where that is on record.
func (s *sim) writeOdometer(t int, onRecord bool) float64 {
	s.road.extend(t + 1)
	km := s.road.km[t]
	meant := math.Floor(max(0, s.displayed(t, km)))
	if !chance(s.pen, s.shares.OdometerTypos) {
		return meant
	}
	written, kind := mistype(s.pen, meant, 0, fleet.MaxOdometerKm)
	if kind == "" {
		return meant
	}
	if onRecord {
		s.v.Truth.OdometerFaults = append(s.v.Truth.OdometerFaults, OdometerFault{
			Date: s.date(t), Kind: kind, Km: km, MeantKm: meant, WrittenKm: written,
		})
	}
	return written
}

// odometerOfVisit returns the odometer read at an inspection, nil where nobody
// read it, and whether it stands beside the thicknesses.
func (s *sim) odometerOfVisit(t int) (km *float64, beside bool) {
	x := s.writeOdometer(t, t >= s.entry)
	u := s.pen.Float64()
	if u < s.shares.NoOdometer/2 {
		return nil, false
	}
	return &x, u >= s.shares.NoOdometer
}

func (s *sim) drawFuelCards() {
	if s.plan.fuelCard {
		s.fillUp(s.entry, s.end)
	}
	slices.SortStableFunc(s.v.Odometer, func(a, b fleet.Odometer) int { return int(a.Date - b.Date) })
}

// fillUp writes down the odometer about once a month between two days.
func (s *sim) fillUp(from, until int) {
	for t := from + s.pen.IntN(fuelDays); t <= until; t += max(1, int(fuelDays*logNormal(s.pen, fuelSD))) {
		s.v.Odometer = append(s.v.Odometer, fleet.Odometer{Date: s.date(t), Km: s.writeOdometer(t, true)})
	}
}

// gaugeFor returns what a part is measured with.
func (s *sim) gaugeFor(p fleet.Part) gauge {
	switch {
	case s.opt.Clean:
		return exact
	case p == fleet.Rotor:
		return micrometer
	case p == fleet.Drum:
		return drumGauge
	}
	return s.plan.depot.gauge
}

// measure reads the positions of a life on day t, writes them down when
// records are kept, and returns the least of the worn values that the gauge
// showed.
func (s *sim) measure(a *axle, l *life, t int, odometer *float64) (least float64) {
	g := s.gaugeFor(l.part)
	bias := 0.0
	if l.part == a.friction && !s.opt.Clean {
		bias = s.plan.depot.bias + visitErrorSD*s.pen.NormFloat64()
	}
	technician := "T" + strconv.Itoa(s.pen.IntN(technicians)+1)
	swap := chance(s.pen, s.shares.SideSwaps) && l.part == a.friction
	var truth, shown [4]float64
	least = math.Inf(1)
	for j := range l.n {
		truth[j] = s.value(l, j, float64(t))
		if s.opt.Clean {
			shown[j] = math.Round(truth[j]*100) / 100
		} else {
			shown[j] = g.read(s.pen, truth[j]+bias)
		}
		if l.n == 2 || j%2 == 1 || !s.plan.depot.outerOnly || s.opt.Clean {
			least = min(least, shown[j])
		}
	}
	for j := range l.n {
		if l.n == 4 && j%2 == 0 && s.plan.depot.outerOnly && !s.opt.Clean {
			continue
		}
		meant, kind := shown[j], ""
		if swap {
			meant, kind = shown[(j+l.n/2)%l.n], sideSwap
		}
		written := meant
		if chance(s.pen, s.shares.Typos) {
			if x, k := mistype(s.pen, meant, g.decimals(), mostMM(l.spec)); k != "" {
				written, kind = x, k
			}
		}
		if t < s.entry {
			continue
		}
		pos := l.position(j)
		if kind != "" {
			s.v.Truth.Typos = append(s.v.Truth.Typos, Typo{
				Date: s.date(t), Position: pos, Kind: kind, TrueMM: truth[j], MeantMM: shown[j], WrittenMM: written,
			})
		}
		s.v.Readings = append(s.v.Readings, fleet.Reading{
			Position: pos, Date: s.date(t), OdometerKm: odometer, MM: written,
			Given: strconv.FormatFloat(written, 'f', -1, 64), Unit: "mm",
			Gauge: g.name, Technician: technician,
		})
	}
	return least
}

// mostMM bounds a mistyped value: nobody writes down what cannot be entered.
func mostMM(spec fleet.Spec) float64 { return min(fleet.MaxMM, 10*max(spec.New, spec.Limit)) }

// position returns where position j of l is.
func (l *life) position(j int) fleet.Position {
	p := fleet.Position{Axle: l.axle + 1, Part: l.part, Side: fleet.Left}
	if l.side(j) == 1 {
		p.Side = fleet.Right
	}
	if l.n == 4 {
		p.Face = fleet.Inner
		if j%2 == 1 {
			p.Face = fleet.Outer
		}
	}
	return p
}

// writeTrip writes a wear sensor's signal down.
func (s *sim) writeTrip(l *life, t int) {
	at := l.spec.Limit + sensorAbove
	km := s.writeOdometer(t, true)
	s.v.Readings = append(s.v.Readings, fleet.Reading{
		Position: l.position(0), Date: s.date(t), OdometerKm: &km, MM: at,
		Given: "<" + strconv.FormatFloat(at, 'f', -1, 64), Unit: "mm",
		Gauge: "wear sensor", Note: "warning lamp", Tripped: true,
	})
}

// writeFitments writes down the fittings that are on record: of every life that
// was on at entry or came later.
func (s *sim) writeFitments() {
	for i := range s.axles {
		a := &s.axles[i]
		for _, l := range a.lives {
			if !l.declared || !l.onRecord(s.entry) {
				continue
			}
			km := s.writeOdometer(l.fitted, true)
			s.v.Fitments = append(s.v.Fitments, fleet.Fitment{
				Position: fleet.Position{Axle: a.Number, Part: l.part},
				Date:     s.date(l.fitted), OdometerKm: &km, MM: l.fittedMM,
			})
		}
	}
	slices.SortStableFunc(s.v.Fitments, func(a, b fleet.Fitment) int { return int(a.Date - b.Date) })
	slices.SortStableFunc(s.v.Truth.OdometerFaults, func(a, b OdometerFault) int { return int(a.Date - b.Date) })
}

// onRecord says whether the life was on the vehicle at entry or later.
func (l *life) onRecord(entry int) bool { return l.removed < 0 || l.removed > entry }

// tell fills in the truth.
func (s *sim) tell() {
	tr := &s.v.Truth
	s.told = s.told[:0]
	for i := range s.axles {
		a := &s.axles[i]
		for _, part := range [...]fleet.Part{a.friction, a.counter} {
			number := 0
			for _, l := range a.lives {
				if l.part == part && l.onRecord(s.entry) {
					number++
					tr.Lives = append(tr.Lives, s.tellLife(l, number))
					s.told = append(s.told, l)
				}
			}
		}
	}
	for t := s.entry; t < s.end; t += 30 {
		tr.Distance = append(tr.Distance, s.moment(float64(t)))
	}
	tr.Distance = append(tr.Distance, s.moment(float64(s.end)))
}

func (s *sim) tellLife(l *life, number int) Life {
	out := Life{
		Axle: l.axle + 1, Part: l.part, Number: number,
		Fitted: s.moment(float64(l.fitted)), Declared: l.declared,
		New: l.spec.New, Limit: l.spec.Limit, FittedMM: l.fittedMM,
		Positions: make([]PositionLife, l.n),
		GroupRate: l.group * 10000,
	}
	if l.removed >= 0 {
		out.Removed = s.moment(float64(l.removed))
	}
	first := math.Inf(1)
	for j := range l.n {
		p := l.position(j)
		t := s.reaches(l, j, l.spec.Limit)
		if t < first {
			first, out.First = t, j
		}
		out.Positions[j] = PositionLife{Side: p.Side, Face: p.Face, StartMM: l.start[j], Crossing: s.moment(t)}
	}
	out.Crossing = s.moment(first)
	until := min(first, s.horizon)
	lost := 0.0
	for j := range l.n {
		lost += math.Abs(s.value(l, j, until)-l.start[j]) / float64(l.n)
	}
	if km := s.road.at(until) - s.road.km[l.fitted]; km > 0 {
		out.Rate = lost / km * 10000
	}
	if l.drag < first && l.drag <= s.horizon {
		out.Drag = s.moment(l.drag)
		out.DragSide = l.position(2 * l.dragSide).Side
	}
	return out
}

// moment returns the day and distance at t days; unknown for +Inf.
func (s *sim) moment(t float64) Moment {
	if math.IsInf(t, 1) {
		return Moment{}
	}
	s.road.extend(int(t) + 1)
	km := s.road.at(t)
	return Moment{Known: true, Date: s.date(int(t)), Km: km, DisplayedKm: s.displayed(int(t), km)}
}
