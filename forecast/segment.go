package forecast

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
)

// Series is one part's life at one position, from its fitting to its removal.
type Series struct {
	Pos  Position
	Spec Spec
	// Start of the life: the day and distance of fitting and the value then,
	// when a fitment is declared (Known); else those of the first reading.
	// StartKm is NaN where no odometer is known.
	StartDay Day
	StartKm  float64
	StartMM  float64
	Known    bool
	// Readings in order of day; of one day, the least worn first. Km is on the
	// scale of the track. Empty when nothing was read since the fitting.
	Readings []Reading
	// Current says that no later life at this position is known.
	Current bool
}

// Wear returns how much of the part is gone at a measured value, in mm; it
// counts up for all parts, also for those whose value grows.
func (s Spec) Wear(mm float64) float64 {
	if s.grows() {
		return mm - s.New
	}
	return s.New - mm
}

// Value is the inverse of Wear: the value in mm after so much wear.
func (s Spec) Value(wear float64) float64 {
	if s.grows() {
		return s.New + wear
	}
	return s.New - wear
}

// Span returns the wear from new to the limit, in mm.
func (s Spec) Span() float64 { return math.Abs(s.New - s.Limit) }

func (s Spec) grows() bool { return s.New < s.Limit }

// Lives is the history of an axle cut into the lives of its parts.
type Lives struct {
	Series   []Series   // by part, side and face, then by start
	SetAside []SetAside // readings that cannot be meant
	Changes  []Change   // inferred from a rise that no fitment explains
	Warnings []Warning  // bad input, parts without a specification

	kept func(p Part, after, before Day) bool // see Axle.Kept
}

// Judgements about values that cannot be meant. They are wide on purpose:
// what is merely odd stays in, for the model to weigh.
const (
	// newTolerance and newToleranceShare: how far a reading may lie on the
	// unworn side of the new value, in mm and as a share of the span, whichever
	// is more. Parts of another maker and gauge error stay inside.
	newTolerance      = 1.0
	newToleranceShare = 0.15
	// farPast: how many spans a part may be worn. A rotor of 24 mm with a limit
	// of 22 mm that reads 2.4 mm has a slipped decimal point.
	farPast = 5.0
	// nearNew: a reading on the day of a fitment is of the new part when it lies
	// within this share of the span of the value fitted.
	nearNew = 0.10
)

// Jump is the rise in mm that the baselines take for a part change that
// nobody recorded; common practice, no source.
const Jump = 2.0

// Segments cuts an axle's readings up to asOf into lives, by its declared
// fitments and, when jump > 0, wherever the value rises by more than jump mm
// from one day of readings to the next. A fitment with a blank side or face
// concerns all positions of its part. A position with a blank side or face
// ("the thinnest found there") is one of its own; it is renewed when the
// oldest of the parts it covers is. A reading on the day of a fitment belongs
// to the part taken off, unless it is near the new value.
//
// Distances come out on the scale of t, NaN where neither it nor the reading
// knows one.
func Segments(a *Axle, t Track, asOf Day, jump float64) Lives {
	l := Lives{kept: a.kept}
	fitments := l.usableFitments(a, t, asOf)
	readings := l.usableReadings(a, t, asOf)

	positions := positionsOf(a, readings, fitments)
	lives := 0
	for _, p := range positions {
		lives += len(fitments[p.Part]) + 1
	}
	l.Series = make([]Series, 0, lives)
	for _, p := range positions {
		l.cut(p, a.Specs[p.Part], readings.at(p), fitments[p.Part], jump)
	}
	return l
}

// Current returns the running life of each position. A position nobody
// measured since its last fitting is left out when another one that overlaps
// it was: inspectors then note the parts in more detail, or in less.
func (l *Lives) Current() []Series {
	var out []Series
	for _, s := range l.Series {
		if s.Current && (len(s.Readings) > 0 || !l.overlapped(s.Pos)) {
			out = append(out, s)
		}
	}
	return out
}

func (l *Lives) overlapped(p Position) bool {
	return slices.ContainsFunc(l.Series, func(o Series) bool {
		return o.Current && o.Pos != p && len(o.Readings) > 0 && o.Pos.overlaps(p)
	})
}

// overlaps says whether both positions cover some same place.
func (p Position) overlaps(q Position) bool {
	return p.Part == q.Part &&
		(p.Side == q.Side || p.Side == "" || q.Side == "") &&
		(p.Face == q.Face || p.Face == "" || q.Face == "")
}

// String gives the position in words: "left inner pad".
func (p Position) String() string {
	words := make([]string, 0, 3)
	for _, w := range []string{p.Side, p.Face, string(p.Part)} {
		if w != "" {
			words = append(words, w)
		}
	}
	return strings.Join(words, " ")
}

const (
	// No part of a brake is as large, in mm: beyond it numbers run out of digits.
	mostMM = 1000
	// leastSpan is what a part must have to wear, in mm: a gauge reads no less,
	// and a life that is over at its first kilometre says nothing. Judgement.
	leastSpan = 0.1
)

// fault says why no life can be forecast by s, or "".
func (s Spec) fault(p Part) string {
	switch {
	case !(s.New > 0) || !(s.Limit >= 0) || math.IsInf(s.New, 0) || math.IsInf(s.Limit, 0):
		return fmt.Sprintf("%s: new and limit value must be positive numbers; correct the specification", p)
	case s.New == s.Limit:
		return fmt.Sprintf("%s: new and limit are both %g mm; correct the specification", p, s.New)
	case s.New > mostMM || s.Limit > mostMM:
		return fmt.Sprintf("%s: new %g mm and limit %g mm: at most %d; correct the specification", p, s.New, s.Limit, mostMM)
	case s.Span() < leastSpan:
		return fmt.Sprintf("%s: new %g mm and limit %g mm are less than %g mm apart; correct the specification", p, s.New, s.Limit, leastSpan)
	case s.grows() && (p == Pad || p == Rotor || p == Lining):
		return fmt.Sprintf("%s: the limit of %g mm lies above the new value of %g mm; correct the specification", p, s.Limit, s.New)
	case !s.grows() && p == Drum:
		return fmt.Sprintf("drum: the limit of %g mm lies below the new diameter of %g mm; correct the specification", s.Limit, s.New)
	}
	return ""
}

// fault says why a reading cannot be meant, or "".
func (r *Reading) fault(s Spec) string {
	wear := s.Wear(r.MM)
	switch {
	case math.IsNaN(r.MM) || math.IsInf(r.MM, 0):
		return "not a number"
	case r.MM < 0:
		return "below zero"
	case r.Tripped:
		return "" // an upper bound only: it may lie anywhere
	case -wear > max(newTolerance, newToleranceShare*s.Span()):
		return fmt.Sprintf("less worn than new (%g mm)", s.New)
	case wear > farPast*s.Span() && s.Limit > farPast*s.Span():
		return fmt.Sprintf("far past any wear that is possible (limit %g mm)", s.Limit)
	}
	return ""
}

// usableReadings returns the readings that can be meant, by position, each in
// order of day and wear.
func (l *Lives) usableReadings(a *Axle, t Track, asOf Day) placesFound {
	faulty := make(map[Part]string)
	for p, s := range a.Specs {
		if why := s.fault(p); why != "" {
			faulty[p] = why
		}
	}
	noSpec := make(map[Part]int)
	bad := 0
	places := placesRead(a)
	at := 0
	for i := range a.Readings {
		r := &a.Readings[i]
		at = places.find(r.Pos, at)
		p := &places[at]
		switch {
		case r.Day > asOf:
			continue
		case !p.specified:
			noSpec[r.Pos.Part]++
			continue
		case faulty[r.Pos.Part] != "":
			continue
		}
		if why := r.fault(p.spec); why != "" {
			l.SetAside = append(l.SetAside, SetAside{*r, why})
			bad++
			continue
		}
		if p.readings == nil {
			p.readings = make([]Reading, 0, p.many)
		}
		p.readings = append(p.readings, *r)
		p.readings[len(p.readings)-1].Km = t.Reading(r.Km, r.Day)
	}
	places = slices.DeleteFunc(places, func(p placeRead) bool { return p.readings == nil })
	for _, p := range places {
		slices.SortStableFunc(p.readings, func(x, y Reading) int {
			if x.Day != y.Day {
				return cmp.Compare(x.Day, y.Day)
			}
			return cmp.Compare(p.spec.Wear(x.MM), p.spec.Wear(y.MM))
		})
	}
	for _, p := range sortedKeys(faulty) {
		l.warn(BadInput, "%s", faulty[p])
	}
	for _, p := range sortedKeys(noSpec) {
		l.warn(NoSpec, "%s: %s, but no new and limit value; add them to the axle", p, readingsOf(noSpec[p]))
	}
	if bad > 0 {
		slices.SortStableFunc(l.SetAside, func(x, y SetAside) int {
			return cmp.Or(cmp.Compare(x.Reading.Day, y.Reading.Day), cmp.Compare(x.Reading.Pos.String(), y.Reading.Pos.String()))
		})
		first := l.SetAside[0]
		value := "" // that cannot be meant, and perhaps not even be written
		if mm := first.Reading.MM; !math.IsNaN(mm) && !math.IsInf(mm, 0) {
			value = fmt.Sprintf(" at %g mm", mm)
		}
		l.warn(BadInput, "%s set aside, the first %s%s: %s; check and correct", readingsOf(bad), first.Reading.Pos, value, first.Why)
	}
	return places
}

// placeRead is a position with its usable readings, and how many all are.
type placeRead struct {
	pos       Position
	spec      Spec
	specified bool
	many      int
	readings  []Reading
}

// placesFound finds places, of which an axle has a dozen: a map would take longer.
type placesFound []placeRead

// placesRead returns the positions of an axle's readings.
func placesRead(a *Axle) placesFound {
	ps := make(placesFound, 0, 8)
	at := 0
	for i := range a.Readings {
		if at = ps.find(a.Readings[i].Pos, at); at < 0 {
			at = len(ps)
			p := placeRead{pos: a.Readings[i].Pos}
			p.spec, p.specified = a.Specs[p.pos.Part]
			ps = append(ps, p)
		}
		ps[at].many++
	}
	return ps
}

// find returns the index of a position, -1 when it is not there. It looks first behind
// the one before: at most visits the same places are read in the same order.
func (ps placesFound) find(p Position, before int) int {
	for k := range ps {
		if i := (before + 1 + k) % len(ps); ps[i].pos == p {
			return i
		}
	}
	return -1
}

// at returns the readings of a position.
func (ps placesFound) at(p Position) []Reading {
	if i := ps.find(p, -1); i >= 0 {
		return ps[i].readings
	}
	return nil
}

// readingsOf says how many readings.
func readingsOf(n int) string {
	if n == 1 {
		return "1 reading"
	}
	return fmt.Sprintf("%d readings", n)
}

// usableFitments returns the fitments by part in order of day. One without a
// value that can be meant stands for a new part.
func (l *Lives) usableFitments(a *Axle, t Track, asOf Day) map[Part][]Fitment {
	out := make(map[Part][]Fitment)
	for _, f := range a.Fitments {
		spec, ok := a.Specs[f.Pos.Part]
		if !ok || f.Day > asOf || spec.fault(f.Pos.Part) != "" {
			continue
		}
		if f.MM == 0 {
			f.MM = spec.New
		} else if (&Reading{MM: f.MM}).fault(spec) != "" || spec.Wear(f.MM) >= spec.Span() && a.contradicts(&f, spec, asOf) {
			l.warn(BadInput, "%s fitted at %g mm: taken as new (%g mm); correct it", f.Pos, f.MM, spec.New)
			f.MM = spec.New
		}
		f.Km = t.Reading(f.Km, f.Day)
		out[f.Pos.Part] = append(out[f.Pos.Part], f)
	}
	for _, fs := range out {
		slices.SortStableFunc(fs, func(x, y Fitment) int {
			return cmp.Or(cmp.Compare(x.Day, y.Day), cmp.Compare(x.Pos.String(), y.Pos.String()), cmp.Compare(x.MM, y.MM))
		})
	}
	return out
}

// contradicts says whether a reading while f was on, one that can be meant, is less worn
// than f when fitted.
func (a *Axle) contradicts(f *Fitment, spec Spec, asOf Day) bool {
	until := asOf + 1 // what comes next at the place
	for i := range a.Fitments {
		if g := &a.Fitments[i]; g.Day > f.Day && g.Pos.overlaps(f.Pos) {
			until = min(until, g.Day)
		}
	}
	return slices.ContainsFunc(a.Readings, func(r Reading) bool {
		return r.Day > f.Day && r.Day < until && !r.Tripped && r.Pos.overlaps(f.Pos) && r.fault(spec) == "" && spec.Wear(f.MM)-spec.Wear(r.MM) > newTolerance
	})
}

func (l *Lives) warn(c Code, format string, args ...any) {
	l.Warnings = append(l.Warnings, Warning{c, fmt.Sprintf(format, args...)})
}

// positionsOf lists the positions of an axle: those measured; of a part never
// measured those fitted; of one never fitted either the part as a whole.
func positionsOf(a *Axle, readings placesFound, fitments map[Part][]Fitment) []Position {
	var out []Position
	measured := make(map[Part]bool)
	for _, p := range readings {
		out = append(out, p.pos)
		measured[p.pos.Part] = true
	}
	for part, spec := range a.Specs {
		if measured[part] || spec.fault(part) != "" {
			continue
		}
		if len(fitments[part]) == 0 {
			out = append(out, Position{Part: part})
		}
		for _, f := range fitments[part] {
			if !slices.Contains(out, f.Pos) {
				out = append(out, f.Pos)
			}
		}
	}
	slices.SortFunc(out, func(p, q Position) int {
		return cmp.Or(cmp.Compare(p.Part, q.Part), cmp.Compare(p.Side, q.Side), cmp.Compare(p.Face, q.Face))
	})
	return out
}

func sortedKeys[V any](m map[Part]V) []Part {
	out := make([]Part, 0, len(m))
	for p := range m {
		out = append(out, p)
	}
	slices.Sort(out)
	return out
}
