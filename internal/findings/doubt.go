package findings

import (
	"fmt"

	"brakewear/forecast"
	"brakewear/internal/fleet"
)

// found returns the reading that the forecast speaks of, or nil.
func (a *axle) found(x *forecast.Reading) *fleet.Reading {
	for _, r := range a.readings {
		if is(r, x) {
			return r
		}
	}
	return nil
}

// doubted are thin readings that were not believed, or only for caution: to be
// measured again.
func (a *axle) doubted() []fleet.Finding {
	if a.forecast == nil {
		return nil
	}
	var fs []fleet.Finding
	for _, x := range a.forecast.Basis.Doubted {
		r := a.found(&x)
		if r == nil {
			continue
		}
		f := finding(fleet.MeasureAgain, r.Position, fmt.Sprint(r.ID))
		f.Seen = fmt.Sprintf("%s: %s on %s is thinner than the other readings and any wear since allow (limit %s). It may be a slip of the pen, or true.",
			capital(r.Position.String()), mm(r.MM), on(r.Date), mm(a.Specs[r.Position.Part].Limit))
		f.Advice = "Measure it again before the vehicle goes back on the road. If the value was wrong, correct it or set it aside."
		f.Source = "test against the other readings"
		f.Record = fleet.Record{Kind: fleet.ReadingRecord, ID: r.ID}
		fs = append(fs, f)
	}
	return fs
}

// disagreeing are readings of the parts on the axle now that the forecast does
// not use.
func (a *axle) disagreeing() []fleet.Finding {
	if a.forecast == nil {
		return nil
	}
	var fs []fleet.Finding
	for _, s := range a.forecast.Basis.SetAside {
		r := a.found(&s.Reading)
		if r == nil || !a.onNow(r) || a.doubts(r) {
			continue
		}
		f := finding(fleet.Disagrees, r.Position, fmt.Sprint(r.ID))
		f.Seen = fmt.Sprintf("%s: %s on %s is not used: %s.", capital(r.Position.String()), mm(r.MM), on(r.Date), s.Why)
		f.Advice = "Look it up where it was written down, or measure again; then correct it or set it aside."
		f.Source = "test against the other readings"
		f.Record = fleet.Record{Kind: fleet.ReadingRecord, ID: r.ID}
		fs = append(fs, f)
	}
	return fs
}

// changes are the changes of parts that the readings show and nobody recorded,
// each with a fitment to confirm or refuse.
func (a *axle) changes(track forecast.Track) []fleet.Finding {
	if a.forecast == nil {
		return nil
	}
	type job struct {
		part          fleet.Part
		after, before fleet.Date
	}
	sides := map[job]fleet.Side{} // blank: both
	var jobs []job
	likely := map[job]fleet.Date{}
	for i := range a.forecast.Basis.Changes {
		c := &a.forecast.Basis.Changes[i]
		j := job{fleet.Part(c.Part), fleet.Date(c.After), fleet.Date(c.Before)}
		side, again := sides[j]
		switch {
		case !again:
			jobs = append(jobs, j)
			likely[j] = fleet.Date(c.Likely())
			sides[j] = fleet.Side(c.Side)
		case side != fleet.Side(c.Side):
			sides[j] = ""
		}
	}
	var fs []fleet.Finding
	for _, j := range jobs {
		p := fleet.Position{Axle: a.Number, Part: j.part, Side: sides[j]}
		f := finding(fleet.PartChange, p, subject(p, j.after, j.before))
		what := "thicker"
		if j.part.Grows() {
			what = "smaller"
		}
		f.Seen = fmt.Sprintf("Axle %d: the %ss grew %s between %s and %s%s, and no fitment is recorded.",
			a.Number, nameOf(p), what, on(j.after), on(j.before), a.fromTo(p, j.after, j.before))
		f.Advice = "Confirm when new ones were fitted, or say that none were and look at the readings."
		f.Source = "test against the other readings"
		fit := fleet.Fitment{VehicleID: a.v.ID, Position: p, Date: likely[j]}
		if x := track.Shown(forecast.Day(fit.Date)); x >= 0 { // false when not known
			x = float64(int64(x))
			fit.OdometerKm = &x
		}
		f.Suggested = &fleet.SuggestedFitment{After: j.after, Before: j.before, Fitment: fit}
		fs = append(fs, f)
	}
	return fs
}

// nameOf names the parts at a position whose face is blank.
func nameOf(p fleet.Position) string {
	if p.Side == "" {
		return string(p.Part)
	}
	return string(p.Side) + " " + string(p.Part)
}

// fromTo says what was measured before and after.
func (a *axle) fromTo(p fleet.Position, before, after fleet.Date) string {
	worst := func(d fleet.Date) *fleet.Reading {
		var out *fleet.Reading
		for _, r := range a.readings {
			if r.Date == d && overlap(r.Position, p) && !r.Tripped && a.used(r) &&
				(out == nil || (r.MM < out.MM) != p.Part.Grows()) {
				out = r
			}
		}
		return out
	}
	x, y := worst(before), worst(after)
	if x == nil || y == nil {
		return ""
	}
	return fmt.Sprintf(" (from %s to %s)", mm(x.MM), mm(y.MM))
}
