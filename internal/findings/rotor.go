package findings

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"brakewear/internal/fleet"
	"brakewear/internal/rules"
)

// pastStamped compares rotors and drums as last measured with their limits.
func (a *axle) pastStamped() []fleet.Finding {
	var fs []fleet.Finding
	for _, part := range []fleet.Part{fleet.Rotor, fleet.Drum} {
		spec, ok := a.Specs[part]
		if !ok {
			continue
		}
		own := 0.0
		for _, l := range a.v.Limits {
			if l.Axle == a.Number && l.Part == part {
				own = l.MM
			}
		}
		limit := a.v.Rules.Limit(&a.v.Vehicle, a.Number, part, spec, own)
		whose := "its stamped limit"
		if limit.Origin == rules.FromWorkshop {
			whose = "the workshop's own limit"
		}
		for _, p := range a.positions(part) {
			rs := a.last(func(r *fleet.Reading) bool {
				return r.Position == p && !r.Tripped && a.used(r) && a.onNow(r)
			})
			if len(rs) == 0 {
				continue
			}
			x, hi := span(rs)
			side := "below"
			if part.Grows() {
				x, side = hi, "above"
			}
			if !limit.Fails(x) {
				continue
			}
			d := apart(x, limit.MM)
			f := finding(fleet.PastStamped, p, subject(p))
			f.Seen = fmt.Sprintf("%s: %s on %s, %s %s of %s.", capital(p.String()), mm(x), on(rs[0].Date), side, whose, mm(limit.MM))
			f.Advice = fmt.Sprintf("Renew the %ss of this axle before the vehicle goes back on the road. The figure stamped on the part decides; correct the specification if it differs.", part)
			f.Source = stampedSource(a.v.Category)
			f.Figure = &d
			fs = append(fs, f)
		}
	}
	return fs
}

// stampedSource names what makes the stamped limit count: 49 CFR 570.59(b) for
// heavy vehicles, the MOT inspection manual, 1.1.14(a)(i), for light ones.
func stampedSource(c fleet.Category) string {
	if c.Heavy() {
		return "maker, US-29"
	}
	return "maker, UK-04"
}

const (
	// rotorPoints is how many places round a rotor are measured to judge how
	// its thickness varies (WP-01: at least four).
	rotorPoints = 4
	// fineStep is the coarsest gauge in mm that can tell: the thresholds are
	// 0.015 and 0.03 mm. Judgement; service manuals ask for 0.001 to 0.002
	// (WP-06).
	fineStep = 0.01
)

// variation compares the readings of one rotor round its face at one visit.
func (a *axle) variation() []fleet.Finding {
	watch := a.v.Thresholds.Of(rules.ThicknessVariationWatch, a.v.Category)
	limit := a.v.Thresholds.Of(rules.ThicknessVariation, a.v.Category)
	if watch == nil || limit == nil {
		return nil
	}
	var fs []fleet.Finding
	for _, side := range []fleet.Side{fleet.Left, fleet.Right} {
		p := fleet.Position{Axle: a.Number, Part: fleet.Rotor, Side: side}
		if m := a.lastRotor(side, func(m *fleet.RotorMeasure) bool { return m.VariationMM != nil }); m != nil {
			if f, ok := a.varies(p, *m.VariationMM, m.Date, "as noted on a job card", watch, limit); ok {
				fs = append(fs, f)
			}
			continue
		}
		rs := oneVisit(a.last(func(r *fleet.Reading) bool {
			return r.Position == p && !r.Tripped && a.onNow(r)
		}))
		if len(rs) < rotorPoints || step(rs) > fineStep {
			continue
		}
		lo, hi := span(rs)
		if f, ok := a.varies(p, apart(lo, hi), rs[0].Date, fmt.Sprintf("%d places round it", len(rs)), watch, limit); ok {
			fs = append(fs, f)
		}
	}
	return fs
}

// runout is a rotor that runs out of true, as noted on a job card.
func (a *axle) runout() []fleet.Finding {
	limit := a.v.Thresholds.Of(rules.Runout, a.v.Category)
	if limit == nil {
		return nil
	}
	var fs []fleet.Finding
	for _, side := range []fleet.Side{fleet.Left, fleet.Right} {
		m := a.lastRotor(side, func(m *fleet.RotorMeasure) bool { return m.RunoutMM != nil })
		if m == nil || !limit.Shows(*m.RunoutMM) {
			continue
		}
		p := fleet.Position{Axle: a.Number, Part: fleet.Rotor, Side: side}
		f := finding(fleet.RotorRunout, p, subject(p))
		f.Seen = fmt.Sprintf("%s: its face runs out by %s, as noted on a job card of %s; up to %s is usual.", capital(p.String()), mm(*m.RunoutMM), on(m.Date), mm(limit.X))
		f.Advice = "Clean hub and rotor faces, turn the rotor on its hub and measure again; look at the hub and its bearing if it stays."
		f.Source = limit.Published.ID
		f.Figure = m.RunoutMM
		fs = append(fs, f)
	}
	return fs
}

// lastRotor returns the last measure of the rotor on a side that admit, nil
// where there is none since it was fitted. What is noted on the day of a
// fitment is of the rotor that went on.
func (a *axle) lastRotor(side fleet.Side, admit func(*fleet.RotorMeasure) bool) *fleet.RotorMeasure {
	p := fleet.Position{Axle: a.Number, Part: fleet.Rotor, Side: side}
	for i := len(a.v.Rotors) - 1; i >= 0; i-- { // by date
		m := &a.v.Rotors[i]
		if m.Axle != a.Number || m.Side != side || !admit(m) {
			continue
		}
		if slices.ContainsFunc(a.fitments, func(f *fleet.Fitment) bool { return f.Date > m.Date && overlap(f.Position, p) }) {
			return nil
		}
		return m
	}
	return nil
}

// varies makes the finding of a rotor whose thickness varies by d.
func (a *axle) varies(p fleet.Position, d float64, day fleet.Date, where string, watch, limit *rules.Threshold) (fleet.Finding, bool) {
	over, more := watch, ""
	switch {
	case limit.Shows(d):
		over, more = limit, "no maker seen allows more than that"
	case watch.Shows(d):
		more = "the tighter makers allow no more, others up to " + mm(limit.X)
	default:
		return fleet.Finding{}, false
	}
	f := finding(fleet.ThicknessVariation, p, subject(p))
	f.Seen = fmt.Sprintf("%s: thickness varies by %s (%s, %s), over %s; %s.", capital(p.String()), mm(d), where, on(day), mm(over.X), more)
	f.Advice = "Clean hub and rotor faces and measure again; machine or renew the rotor if it stays. It makes the pedal pulse."
	f.Source = over.Published.ID
	f.Figure = &d
	return f, true
}

// step returns the coarsest decimal place that the values were given with, mm.
func step(rs []*fleet.Reading) float64 {
	decimals := 0
	for _, r := range rs {
		s := strconv.FormatFloat(r.MM, 'f', -1, 64)
		if _, frac, ok := strings.Cut(s, "."); ok {
			decimals = max(decimals, len(frac))
		}
	}
	return math.Pow10(-decimals)
}
