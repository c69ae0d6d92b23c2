package findings

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"brakewear/forecast"
	"brakewear/internal/fleet"
	"brakewear/internal/rules"
)

// unevenPads compares the inner and the outer pad of each wheel as last
// measured together.
func (a *axle) unevenPads() []fleet.Finding {
	limit := a.v.Thresholds.Of(rules.PadDifference, a.v.Category)
	if limit == nil {
		return nil
	}
	var fs []fleet.Finding
	for _, side := range []fleet.Side{fleet.Left, fleet.Right} {
		inner, outer := a.lastPair(side)
		if inner == nil {
			continue
		}
		d := apart(inner.MM, outer.MM)
		if !limit.Shows(d) {
			continue
		}
		p := fleet.Position{Axle: a.Number, Part: fleet.Pad, Side: side}
		f := finding(fleet.UnevenPads, p, subject(p))
		f.Seen = fmt.Sprintf("Axle %d %s: inner pad %s, outer pad %s on %s, %s apart; more than %s is not even wear.",
			a.Number, side, mm(inner.MM), mm(outer.MM), on(inner.Date), mm(d), mm(limit.X))
		if a.doubts(inner) || a.doubts(outer) {
			f.Seen += " The thinner of them is in doubt: measure it again first."
		}
		f.Advice = "Check the slide pins and the piston: one that has seized wears one pad before the other. New pads alone would wear the same way."
		f.Source = limit.Published.ID
		f.Figure = &d
		fs = append(fs, f)
	}
	return fs
}

// lastPair returns the inner and the outer pad's reading of the last day on
// which both were measured at a wheel; nil when they never were.
func (a *axle) lastPair(side fleet.Side) (inner, outer *fleet.Reading) {
	type pair struct{ inner, outer *fleet.Reading }
	days := map[fleet.Date]pair{}
	var last fleet.Date
	for _, r := range a.readings {
		if r.Position.Part != fleet.Pad || r.Position.Side != side || r.Tripped || !(a.used(r) || a.doubts(r)) || !a.onNow(r) {
			continue
		}
		x := days[r.Date]
		switch r.Position.Face {
		case fleet.Inner:
			x.inner = thinner(x.inner, r)
		case fleet.Outer:
			x.outer = thinner(x.outer, r)
		}
		days[r.Date] = x
		if x.inner != nil && x.outer != nil {
			last = r.Date
		}
	}
	x := days[last]
	if x.inner == nil || x.outer == nil {
		return nil, nil
	}
	return x.inner, x.outer
}

func thinner(a, b *fleet.Reading) *fleet.Reading {
	if a != nil && a.MM <= b.MM {
		return a
	}
	return b
}

// taper compares the readings of one pad at one visit: its ends, when it was
// measured more than once.
func (a *axle) taper() []fleet.Finding {
	limit := a.v.Thresholds.Of(rules.Taper, a.v.Category)
	if limit == nil {
		return nil
	}
	var fs []fleet.Finding
	for _, p := range a.positions(fleet.Pad) {
		if p.Side == "" || p.Face == "" {
			continue // the thinnest of several pads
		}
		rs := a.last(func(r *fleet.Reading) bool {
			return r.Position == p && !r.Tripped && a.possible(r) && a.onNow(r)
		})
		rs = oneVisit(rs)
		if len(rs) < 2 {
			continue
		}
		lo, hi := span(rs)
		d := apart(lo, hi)
		if !limit.Shows(d) {
			continue
		}
		f := finding(fleet.TaperedPad, p, subject(p))
		f.Seen = fmt.Sprintf("%s: measured from %s to %s on %s, a taper of %s; up to %s is usual.",
			capital(p.String()), mm(lo), mm(hi), on(rs[0].Date), mm(d), mm(limit.X))
		f.Advice = "Check how the pad sits in its carrier, and the slide pins: it wears askew. Should these be the values of two pads, correct them."
		f.Source = limit.Published.ID
		f.Figure = &d
		f.Record = fleet.Record{Kind: fleet.ReadingRecord, ID: rs[0].ID}
		fs = append(fs, f)
	}
	return fs
}

// possible says whether a value can be of the part at all.
func (a *axle) possible(r *fleet.Reading) bool {
	s, ok := a.Specs[r.Position.Part]
	return ok && (r.Position.Part.Grows() || r.MM <= s.New+1) // as much over new as the forecast allows
}

// positions returns the positions of a part that were ever measured.
func (a *axle) positions(part fleet.Part) []fleet.Position {
	var ps []fleet.Position
	for _, r := range a.readings {
		if r.Position.Part == part && !slices.Contains(ps, r.Position) {
			ps = append(ps, r.Position)
		}
	}
	return ps
}

// oneVisit keeps the readings that the last of them was taken with.
func oneVisit(rs []*fleet.Reading) []*fleet.Reading {
	if len(rs) == 0 {
		return nil
	}
	last := rs[len(rs)-1]
	return slices.DeleteFunc(rs, func(r *fleet.Reading) bool {
		same := r.OdometerKm == nil && last.OdometerKm == nil ||
			r.OdometerKm != nil && last.OdometerKm != nil && *r.OdometerKm == *last.OdometerKm
		return !same || r.Technician != last.Technician
	})
}

// span returns the least and the greatest value of readings.
func span(rs []*fleet.Reading) (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, r := range rs {
		lo, hi = min(lo, r.MM), max(hi, r.MM)
	}
	return lo, hi
}

// unevenSides says which side wears faster than the readings' error and the
// usual difference of two sides allow, or whose caliper the forecast takes to
// drag.
func (a *axle) unevenSides(track forecast.Track) []fleet.Finding {
	if a.forecast == nil || a.known == nil {
		return nil
	}
	var fs []fleet.Finding
	add := func(part forecast.Part, side, seen string, figure *float64) {
		p := fleet.Position{Axle: a.Number, Part: fleet.Part(part)}
		if slices.ContainsFunc(fs, func(f fleet.Finding) bool { return f.Position == p }) {
			return
		}
		f := finding(fleet.UnevenSides, p, subject(p))
		f.Seen = seen
		f.Advice = fmt.Sprintf("Check the %s brake for dragging (turn the wheel by hand, feel for heat after a drive), and whether the %s one applies.", side, otherSide(side))
		f.Source = "test against the readings' error"
		f.Figure = figure
		fs = append(fs, f)
	}
	for _, s := range forecast.SidePaces(a.v.Model, a.known, track, a.forecast) {
		how := fmt.Sprintf("wear %.1f times as fast as the %s", s.Ratio, otherSide(s.Faster))
		if math.IsInf(s.Ratio, 1) {
			how = fmt.Sprintf("wear while the %s hardly do", otherSide(s.Faster))
		}
		ahead := math.Round(s.Ahead*10) / 10
		add(s.Part, s.Faster, fmt.Sprintf("Axle %d: the %s %ss %s, %s ahead when both were last measured (%s, %s). Two sound sides would look like this less than once in %s.",
			a.Number, s.Faster, s.Part, how, mm(ahead), on(fleet.Date(s.Last)), visits(s.Visits), odds(s.P)), &ahead)
	}
	for _, d := range a.forecast.Basis.Drags {
		add(d.Part, d.Side, fmt.Sprintf("Axle %d: the %s %ss wear about %.1f times as fast since its brake may have begun to drag, between %s and %s (chance %.0f %%).",
			a.Number, d.Side, d.Part, d.Pace, on(fleet.Date(d.After)), on(fleet.Date(d.Before)), 100*d.Chance), nil)
	}
	return fs
}

func otherSide(s string) string {
	if s == "left" {
		return "right"
	}
	return "left"
}

func visits(n int) string {
	if n == 1 {
		return "one visit"
	}
	return fmt.Sprintf("%d visits", n)
}

// odds says how rare p is, rounded down to a power of ten.
func odds(p float64) string {
	n := math.Pow(10, math.Floor(math.Min(6, -math.Log10(p))))
	return strings.TrimSuffix(km(n), " km")
}
