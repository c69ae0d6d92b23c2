package demo

import (
	"math"

	"brakewear/internal/fleet"
)

// What differs between the parts fitted. Method: the acceleration, the drag and
// its rate; its defaults for the rest.
const (
	accMean, accSD = .05, .10 // wear rate at the limit over the one when new, less 1
	accMost        = .50      // so that wear never turns back
	newSetSD       = .12      // mm, thickness of new parts, common to a set
	newPartSD      = .08      // mm, between the parts of a set
	innerLog       = .07      // log wear of inner pads over the mean of both
	placeSD        = .08      // of the log wear between the pads of a set
	setSideSD      = .05      // of the log wear between sides of a set
	dragInner      = 2.2      // wear of the inner pad of a seized caliper
	newCounterSD   = .02      // mm, rotors and drums are machined parts (assumption)
)

// dragOuter is the wear of the outer pad of a seized caliper.
var dragOuter = math.Sqrt(dragInner)

// life is one set of parts on an axle. Times are days of the road.
type life struct {
	axle     int // index
	part     fleet.Part
	spec     fleet.Spec
	fitted   int
	removed  int // -1: still on
	declared bool
	fittedMM float64
	rate     float64 // mm per km of mean conditions
	group    float64
	acc      float64
	n        int // positions: 4 pads, or 2 of anything else
	start    [4]float64
	factor   [4]float64 // on rate
	from     [4]float64 // weighted distance when fitted
	drag     float64    // time at which a caliper seizes; +Inf: never
	dragSide int
	trip     float64 // time at which the wear sensor trips; +Inf: never
}

// place returns which of the axle's four places position j wears like.
func (l *life) place(j int) int {
	if l.n == 4 {
		return j
	}
	return 2 * j // linings, rotors and drums like the inner pad of their side
}

// side returns 0 for left and 1 for right.
func (l *life) side(j int) int { return l.place(j) / 2 }

// dragFactor is how much faster position j wears once the caliper has seized.
func (l *life) dragFactor(j int) float64 {
	switch {
	case l.side(j) != l.dragSide:
		return 1
	case j%2 == 0:
		return dragInner
	}
	return dragOuter
}

// span is what may wear away.
func (l *life) span() float64 { return math.Abs(l.spec.New - l.spec.Limit) }

// value returns the thickness (or diameter) of position j at t days, which
// lies at or after the fitting.
func (s *sim) value(l *life, j int, t float64) float64 {
	a := &s.axles[l.axle]
	dist := s.wornAt(a, l.place(j), t) - l.from[j]
	if t > l.drag {
		dist += (l.dragFactor(j) - 1) * (s.wornAt(a, l.place(j), t) - s.wornAt(a, l.place(j), l.drag))
	}
	u := l.rate * l.factor[j] * dist
	loss := u + l.acc*u*u/(2*l.span())
	if l.part.Grows() {
		return l.start[j] + loss
	}
	return max(0, l.start[j]-loss)
}

// reaches returns when position j has worn to level, +Inf where it does not
// within the horizon: the inverse of value.
func (s *sim) reaches(l *life, j int, level float64) float64 {
	loss := l.start[j] - level
	if l.part.Grows() {
		loss = -loss
	}
	if loss <= 0 {
		return float64(l.fitted)
	}
	u := loss
	if math.Abs(l.acc) > 1e-9 {
		root := 1 + 2*l.acc*loss/l.span()
		if root <= 0 {
			return math.Inf(1)
		}
		u = (math.Sqrt(root) - 1) * l.span() / l.acc
	}
	dist := u / (l.rate * l.factor[j])
	a := &s.axles[l.axle]
	if l.drag <= s.horizon {
		if before := s.wornAt(a, l.place(j), l.drag) - l.from[j]; dist > before {
			dist = before + (dist-before)/l.dragFactor(j)
		}
	}
	return s.wornWhen(a, l.place(j), l.from[j]+dist)
}

// fit puts a new set of a part on axle a on day t. value is what is on record
// of a machined part; 0 for a new one.
func (s *sim) fit(a *axle, part fleet.Part, t int, value float64, declared bool) *life {
	r := s.parts
	spec := a.Specs[part]
	l := &life{
		axle: a.Number - 1, part: part, spec: spec,
		fitted: t, removed: -1, declared: declared,
		fittedMM: spec.New,
		rate:     a.rate, group: a.group,
		n: 2, drag: math.Inf(1), trip: math.Inf(1),
	}
	newSD, eachSD := newSetSD, newPartSD
	switch part {
	case fleet.Pad:
		l.n = 4
	case fleet.Rotor:
		l.rate *= counterRatio * math.Exp(counterSD*r.NormFloat64())
		l.group *= counterRatio
		newSD, eachSD = newCounterSD, newCounterSD
	case fleet.Drum:
		l.rate *= drumOverShoes * math.Exp(counterSD*r.NormFloat64())
		l.group *= drumOverShoes
		newSD, eachSD = newCounterSD, newCounterSD
	}
	if value > 0 {
		l.fittedMM = value
	}
	if part == a.friction {
		l.rate *= math.Exp(setSD * r.NormFloat64())
		l.acc = min(max(accMean+accSD*r.NormFloat64(), -accMost), accMost)
	}
	set := newSD * r.NormFloat64()
	var sides [2]float64
	for i := range sides {
		sides[i] = setSideSD * r.NormFloat64()
	}
	for j := range l.n {
		l.start[j] = l.fittedMM + set + eachSD*r.NormFloat64()
		x := sides[l.side(j)] + placeSD*r.NormFloat64()
		if l.n == 4 {
			x += innerLog * float64(1-2*(j%2))
		}
		l.factor[j] = math.Exp(x)
		l.from[j] = s.wornAt(a, l.place(j), float64(t))
	}
	if part == fleet.Pad {
		s.drawDrag(a, l)
	}
	slot := 0
	if part == a.counter {
		slot = 1
	}
	if old := a.on[slot]; old != nil {
		old.removed = t
	}
	a.on[slot] = l
	a.lives = append(a.lives, l)
	return l
}

// drawDrag draws when a caliper seizes on the pads just fitted.
func (s *sim) drawDrag(a *axle, l *life) {
	r := s.parts
	wait, side := r.ExpFloat64(), r.IntN(2)
	if s.shares.Drag > 0 {
		l.drag = float64(l.fitted) + wait*yearDays/s.shares.Drag
		l.dragSide = side
	}
	if f := s.plan.forceDrag; f.axle == a.Number {
		l.drag = math.Inf(1)
		if day := f.day - s.road.day0; day >= l.fitted {
			l.drag = float64(day)
		}
	}
	if a.Number == 1 && s.plan.sensor {
		l.trip = s.reaches(l, 0, l.spec.Limit+sensorAbove)
	}
}
