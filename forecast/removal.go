package forecast

import (
	"cmp"
	"math"
	"slices"
)

// Removal is a set of pads or linings that came off an axle, as its last readings
// show it: what forecasts made before can be held against.
type Removal struct {
	Axle      int
	Part      Part
	Fitted    Day // or first read, when its fitting is not on record
	Removed   Day
	First     Position // the most worn
	LeftMM    float64  // of it above the limit; negative past it
	LeftShare float64  // of the usable lining
	// CrossKm and CrossDay are where the set met its limit or would have: CrossKm
	// on the continuous scale, along the line from its fitting to what came off,
	// CrossDay by the odometer readings that followed, or at the recent km/day.
	// NaN where so much was left that the line says little.
	CrossKm, CrossDay float64
}

const (
	// lastLook: a set was read within so many days of coming off, or what came
	// off is not known. Judgement: an inspection and the job it led to.
	lastLook = 31
	// judgedShare is how much of the usable lining must be gone for the rest to
	// be extrapolated. Judgement: the line is drawn on by half its length at most,
	// and its error stays below a tenth or so of the life.
	judgedShare = 2.0 / 3
)

// Removals returns the sets that came off by a recorded fitment up to asOf and
// were measured shortly before, in order of axle, day and part, and the track
// that their distances are on.
func Removals(v *Vehicle, asOf Day) ([]Removal, Track) {
	track := trackOf(v, asOf)
	var out []Removal
	for i := range v.Axles {
		a := &v.Axles[i]
		lives := Segments(a, track, asOf, Jump)
		off := make(map[Removal][]*Series) // by part and day
		for j := range lives.Series[:max(0, len(lives.Series)-1)] {
			s, next := &lives.Series[j], &lives.Series[j+1]
			if s.Pos.Part != Pad && s.Pos.Part != Lining || s.Pos != next.Pos || !next.Known || len(s.Readings) == 0 {
				continue
			}
			if s.Readings[len(s.Readings)-1].Day >= next.StartDay-lastLook {
				key := Removal{Part: s.Pos.Part, Removed: next.StartDay}
				off[key] = append(off[key], s)
			}
		}
		for key, set := range off {
			out = append(out, removal(a.Number, key, set, &track))
		}
	}
	slices.SortFunc(out, func(a, b Removal) int {
		return cmp.Or(cmp.Compare(a.Axle, b.Axle), cmp.Compare(a.Removed, b.Removed), cmp.Compare(a.Part, b.Part))
	})
	return out, track
}

// removal judges the series of one set that came off together.
func removal(axle int, r Removal, set []*Series, track *Track) Removal {
	r.Axle = axle
	r.LeftShare = math.Inf(1)
	r.CrossKm, r.CrossDay = math.NaN(), math.NaN()
	// The thinnest of the last inspection: one position read weeks before the
	// others would look less worn than it was.
	last := Day(math.MinInt32)
	for _, s := range set {
		last = max(last, s.Readings[len(s.Readings)-1].Day)
	}
	for _, s := range set {
		x := s.Readings[len(s.Readings)-1]
		span := s.Spec.Span()
		left := span - s.Spec.Wear(x.MM)
		if x.Day != last || !(left/span < r.LeftShare) {
			continue
		}
		r.First, r.Fitted, r.LeftMM, r.LeftShare = s.Pos, s.StartDay, left, left/span
		r.CrossKm = s.observedCrossing(judgedShare)
	}
	if math.IsNaN(r.CrossKm) {
		return r
	}
	if r.CrossDay = track.Day(r.CrossKm); math.IsNaN(r.CrossDay) {
		r.CrossDay = track.dayAhead(r.CrossKm)
	}
	if math.IsInf(r.CrossDay, 1) {
		r.CrossKm, r.CrossDay = math.NaN(), math.NaN() // it stands still
	}
	return r
}

// ShiftOn returns the continuous total less what the dashboard showed on a day.
func (t Track) ShiftOn(d Day) float64 {
	i, found := slices.BinarySearch(t.days, d)
	if !found {
		i--
	}
	if len(t.shift) == 0 {
		return 0
	}
	return t.shift[max(i, 0)]
}
