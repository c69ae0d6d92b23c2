package forecast

import (
	"math"
	"slices"
)

// renewal is the fitting that a position's life starts from. What is read
// after since belongs to it; since lies later than the fitting itself where a
// position covers several parts, renewed one after the other.
type renewal struct {
	since  Day
	fitted Fitment
}

// places are the single places a position may cover.
var places = [...]Position{
	{Side: "left", Face: "inner"}, {Side: "left", Face: "outer"},
	{Side: "right", Face: "inner"}, {Side: "right", Face: "outer"},
}

// renewals returns the starts of the lives at p by declared fitments, in
// order of day.
func renewals(p Position, fitments []Fitment) []renewal {
	var out []renewal
	var latest [len(places)]*Fitment
	for i := 0; i < len(fitments); {
		day := fitments[i].Day
		for ; i < len(fitments) && fitments[i].Day == day; i++ {
			f := &fitments[i]
			for k, c := range places {
				c.Part = p.Part
				if f.Pos.overlaps(c) {
					latest[k] = f
				}
			}
		}
		// The thinnest part at p is the one fitted first.
		var oldest *Fitment
		known := true
		for k, c := range places {
			c.Part = p.Part
			if !p.overlaps(c) {
				continue
			}
			if latest[k] == nil {
				known = false
			} else if oldest == nil || latest[k].Day < oldest.Day {
				oldest = latest[k]
			}
		}
		if !known || oldest == nil {
			continue
		}
		if n := len(out); n > 0 && out[n-1].fitted.Day == oldest.Day {
			continue
		}
		out = append(out, renewal{since: day, fitted: *oldest})
	}
	return out
}

// cut appends the lives at one position to l. readings are in order of day, and its own.
func (l *Lives) cut(p Position, spec Spec, readings []Reading, fitments []Fitment, jump float64) {
	first := len(l.Series)
	starts := renewals(p, fitments)
	// belongs returns the number of renewals that a reading comes after.
	belongs := func(r *Reading) int {
		n := 0
		for n < len(starts) && starts[n].since < r.Day {
			n++
		}
		if n < len(starts) && starts[n].since == r.Day && !r.Tripped {
			near := max(nearNew*spec.Span(), r.Step/2)
			if math.Abs(r.MM-starts[n].fitted.MM) <= near {
				n++
			}
		}
		return n
	}
	slices.SortStableFunc(readings, func(x, y Reading) int { return belongs(&x) - belongs(&y) })
	for n := range len(starts) + 1 {
		many := 0
		for many < len(readings) && belongs(&readings[many]) == n {
			many++
		}
		rs := readings[:many]
		readings = readings[many:]
		s := Series{Pos: p, Spec: spec, StartKm: math.NaN()}
		switch {
		case n > 0:
			f := starts[n-1].fitted
			s.StartDay, s.StartKm, s.StartMM, s.Known = f.Day, f.Km, f.MM, true
		case len(rs) == 0 && len(starts) > 0:
			continue // nothing is known of what was there before the first fitting
		}
		l.split(s, rs, jump)
	}
	if n := len(l.Series); n > first {
		l.Series[n-1].Current = true
	}
}

// split appends s with its readings, cut wherever the value rises by more
// than jump from one day of readings to the next.
func (l *Lives) split(s Series, readings []Reading, jump float64) {
	begin := 0
	if jump > 0 {
		for i := 1; i < len(readings); i++ {
			if readings[i].Day == readings[i-1].Day || !rose(s.Spec, readings[begin:i], readings[i:], jump) ||
				l.kept(s.Pos.Part, readings[i-1].Day, readings[i].Day) {
				continue
			}
			l.Changes = append(l.Changes, Change{
				Part: s.Pos.Part, Side: s.Pos.Side,
				After: readings[i-1].Day, Before: readings[i].Day, Chance: 1,
			})
			l.Series = append(l.Series, s.with(readings[begin:i]))
			s.Known = false
			begin = i
		}
	}
	l.Series = append(l.Series, s.with(readings[begin:]))
}

// rose says whether every measured value of the first day of later lies more
// than jump on the unworn side of every one of the last day of earlier, so
// that two readings of one day that disagree never count as a change.
func rose(spec Spec, earlier, later []Reading, jump float64) bool {
	least, most := math.Inf(1), math.Inf(-1)
	for i := len(earlier) - 1; i >= 0 && earlier[i].Day == earlier[len(earlier)-1].Day; i-- {
		least = math.Min(least, spec.Wear(earlier[i].MM))
	}
	for i := 0; i < len(later) && later[i].Day == later[0].Day; i++ {
		if later[i].Tripped {
			return false // a bound from above says nothing of a rise
		}
		most = math.Max(most, spec.Wear(later[i].MM))
	}
	return least-most > jump
}

// with returns s with its readings; without a declared fitment the life
// starts at the first of them.
func (s Series) with(readings []Reading) Series {
	s.Readings = slices.Clip(readings)
	if !s.Known && len(readings) > 0 {
		r := readings[0]
		s.StartDay, s.StartKm, s.StartMM = r.Day, r.Km, r.MM
	}
	return s
}
