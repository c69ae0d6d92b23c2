package forecast

import (
	"cmp"
	"math"
	"slices"
)

// Life is what came true of one part set on an axle.
type Life struct {
	Axle      int
	Part      Part
	Fitted    Day
	Removed   Day     // NotRemoved while still on
	FittedKm  float64 // totals, continuous over changed clusters
	RemovedKm float64
	Declared  bool // the fitting was recorded
	// CrossKm and CrossDay are where the set's first position reaches its
	// limit, whether or not the set was taken off before; NaN where not known.
	CrossKm, CrossDay float64
	First             Position // that position
	// Km10 is the distance that wears 10 mm at the rate of the axle's group;
	// 0 where not known.
	Km10 float64
	// DragSide is the side whose caliper seized on DragDay; blank: none, or not
	// known.
	DragSide string
	DragDay  float64
	// ToCome are the readings, ascending, of the inspections that would have
	// followed had the set, and what rubs on it, stayed on until CrossDay: after
	// Removed, or after the records. As simulations know them; their Depot is
	// the vehicle's.
	ToCome []Reading

	path []Odometer // Truth.Path
}

// NotRemoved is the day of removal of parts still on.
const NotRemoved = Day(math.MaxInt32)

// Truth is what came true of one vehicle.
type Truth struct {
	Lives []Life
	// Shifts are the changes of the instrument cluster, in order of day.
	Shifts []Shift
	// Path is the true total on some days, ascending, as far as it is known;
	// without it distances are interpolated between the ends of lives.
	Path []Odometer
	// GoesOn says that the readings to come of its lives are known, as far as
	// there are any. OdometerToCome are odometer readings after the records, ascending.
	GoesOn         bool
	OdometerToCome []Odometer
	// Faults are what is wrong with the records; nil where nobody knows.
	Faults *Faults
}

// Shift says that from Day on the dashboard shows Km less than the total.
type Shift struct {
	Day Day
	Km  float64
}

// shift returns total less dashboard on day d.
func (t *Truth) shift(d Day) float64 {
	var km float64
	for _, s := range t.Shifts {
		if s.Day <= d {
			km = s.Km
		}
	}
	return km
}

// on returns the lives on an axle on day d. A set is on from the day after its
// fitting: what is read on that day still belongs to the set before.
func (t *Truth) on(axle int, d Day) []*Life {
	var out []*Life
	for i := range t.Lives {
		if l := &t.Lives[i]; l.Axle == axle && l.Fitted < d && d < l.Removed {
			out = append(out, l)
		}
	}
	return out
}

// Observed lives stand in for the truth where nobody knows it.
const (
	// nearLimitShare is how much of the usable lining must be gone at the last
	// reading before the rest is extrapolated: the error made is then a few
	// percent of the life.
	nearLimitShare = .8
)

// ObservedTruth reads off a vehicle's whole history what came true: lives by
// declared fitments and by jumps of more than Jump, and the limit where
// readings lie on both sides of it or came within a fifth of the usable lining,
// along the line from the fitting to the last reading. Lives that ended earlier
// have no known crossing. What remains leans towards fast wear and late
// replacement: it serves to compare models, and says less of the fleet.
func ObservedTruth(v *Vehicle, until Day) Truth {
	track := trackOf(v, until)
	var t Truth
	for i, d := range track.days {
		t.Path = append(t.Path, Odometer{d, track.km[i]})
	}
	for _, s := range track.Swaps {
		i := slices.Index(track.days, s.Before)
		t.Shifts = append(t.Shifts, Shift{s.Before, track.shift[i]})
	}
	for i := range v.Axles {
		a := &v.Axles[i]
		lives := Segments(a, track, until, Jump)
		t.Lives = append(t.Lives, observedLives(a.Number, lives.Series, &track)...)
	}
	return t
}

// observedLives joins the series of one axle that started together.
func observedLives(axle int, series []Series, track *Track) []Life {
	type key struct {
		part  Part
		start Day
	}
	at := make(map[key]int)
	var out []Life
	for i := range series {
		s := &series[i]
		if s.Pos.Part != Pad && s.Pos.Part != Lining || len(s.Readings) == 0 || math.IsNaN(s.StartKm) {
			continue
		}
		k := key{s.Pos.Part, s.StartDay}
		n, ok := at[k]
		if !ok {
			n = len(out)
			at[k] = n
			out = append(out, Life{
				Axle: axle, Part: s.Pos.Part, Fitted: s.StartDay, FittedKm: s.StartKm, Declared: s.Known,
				Removed: NotRemoved, CrossKm: math.NaN(), CrossDay: math.NaN(),
			})
		}
		l := &out[n]
		if !s.Current {
			last := s.Readings[len(s.Readings)-1]
			l.Removed = min(l.Removed, last.Day+1)
			l.RemovedKm = track.Km(l.Removed)
		}
		if km := s.observedCrossing(nearLimitShare); !(km >= l.CrossKm) && !math.IsNaN(km) {
			l.CrossKm, l.First = km, s.Pos
			if l.CrossDay = track.Day(km); math.IsNaN(l.CrossDay) {
				l.CrossDay = track.dayAhead(km)
			}
		}
	}
	slices.SortStableFunc(out, func(a, b Life) int {
		return cmp.Or(cmp.Compare(a.Part, b.Part), cmp.Compare(a.Fitted, b.Fitted))
	})
	return out
}

// observedCrossing returns the total at which the series met its limit, NaN
// where its readings do not come near: the share near of the usable lining gone.
func (s *Series) observedCrossing(near float64) float64 {
	if len(s.Readings) == 0 {
		return math.NaN()
	}
	span := s.Spec.Span()
	first := s.Readings[0]
	km0, wear0 := s.StartKm, s.Spec.Wear(s.StartMM)
	if !s.Known {
		km0, wear0 = first.Km, s.Spec.Wear(first.MM)
	}
	for i, r := range s.Readings {
		if r.Tripped || s.Spec.Wear(r.MM) < span {
			continue
		}
		if i < len(s.Readings)-1 && s.Spec.Wear(s.Readings[i+1].MM) < span-Jump/2 {
			continue // mistyped: the next one does not bear it out
		}
		if i > 0 {
			km0, wear0 = s.Readings[i-1].Km, s.Spec.Wear(s.Readings[i-1].MM)
		}
		return meets(km0, wear0, r.Km, s.Spec.Wear(r.MM), span)
	}
	last := s.Readings[len(s.Readings)-1]
	if wear := s.Spec.Wear(last.MM); !last.Tripped && wear >= near*span {
		return meets(km0, wear0, last.Km, wear, span)
	}
	return math.NaN()
}

// meets returns where the line through two points reaches a wear; NaN for a
// line that does not rise.
func meets(km0, wear0, km1, wear1, wear float64) float64 {
	if !(km1 > km0) || !(wear1 > wear0) {
		return math.NaN()
	}
	return km0 + (km1-km0)*(wear-wear0)/(wear1-wear0)
}

// dayAhead returns the day on which the total reaches km at the recent rate.
func (t *Track) dayAhead(km float64) float64 {
	if !(t.recent > minKmPerDay) {
		return math.Inf(1)
	}
	return float64(t.Last.Day) + (km-t.Last.Km)/t.recent
}
