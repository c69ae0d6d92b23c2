package findings

import (
	"cmp"
	"fmt"
	"slices"

	"brakewear/internal/fleet"
)

// ticks are what is made of the conditions ticked at an inspection. A crack is
// dangerous and contamination major in Directive 2014/45/EU, Annex I, 1.1.13(b)
// and 1.1.14(a) (EU-17, EU-18).
var ticks = []struct {
	condition fleet.ConditionKind
	kind      fleet.FindingKind
	advice    string
	source    string
}{
	{fleet.Cracked, fleet.CrackedPart, "Do not let it go back on the road before a technician has judged it: fine heat checks are one thing, a crack through or to the edge another.", "EU-18"},
	{fleet.Contaminated, fleet.ContaminatedPart, "Find where the oil, grease or fluid comes from and mend that; then renew the friction material on both sides of the axle.", "EU-17, UK-03"},
	{fleet.Tapered, fleet.TaperedPad, "Check how the pads sit in their carrier, and the slide pins: they wear askew.", "WP-16"},
	{fleet.Glazed, fleet.GlazedPart, "Look for a brake that drags or is hardly ever used hard; a brake test shows whether it still bites.", "common practice, no source"},
}

// ticked are the conditions ticked since the last parts were fitted, the last
// of each kind a side first. They stay until parts of their side are renewed, and those
// of no side until parts of both are: what stays on the other side was ticked too, unless
// that was ticked by itself since.
func (a *axle) ticked() []fleet.Finding {
	var fs []fleet.Finding
	for i := len(a.v.Conditions) - 1; i >= 0; i-- { // newest first
		c := &a.v.Conditions[i]
		if c.Axle != a.Number {
			continue
		}
		left, right := a.renewedSince(c.Date, fleet.Left), a.renewedSince(c.Date, fleet.Right)
		if left && right || left && c.Side == fleet.Left || right && c.Side == fleet.Right {
			continue
		}
		since, stays := "", fleet.Side("")
		switch {
		case c.Side != "":
		case left:
			since, stays = " The left side was renewed since, the right was not.", fleet.Right
		case right:
			since, stays = " The right side was renewed since, the left was not.", fleet.Left
		}
		if stays != "" && slices.ContainsFunc(a.v.Conditions[i+1:], func(x fleet.Condition) bool {
			return x.Axle == c.Axle && x.Kind == c.Kind && x.Side == stays
		}) {
			continue
		}
		for _, t := range ticks {
			if t.condition != c.Kind {
				continue
			}
			p := fleet.Position{Axle: a.Number, Side: c.Side}
			f := finding(t.kind, p, subject(p, "ticked"))
			where := ""
			if c.Side != "" {
				where = " " + string(c.Side)
			}
			note := ""
			if c.Note != "" {
				note = ": " + c.Note
			}
			f.Seen = fmt.Sprintf("Axle %d%s: %s, as %s noted on %s%s.%s", a.Number, where, c.Kind, cmp.Or(c.Technician, "somebody"), on(c.Date), note, since)
			f.Advice, f.Source = t.advice, t.source
			fs = append(fs, f)
		}
	}
	return fs
}

// renewedSince says whether a part of a side was fitted on a day or after.
func (a *axle) renewedSince(day fleet.Date, side fleet.Side) bool {
	return slices.ContainsFunc(a.fitments, func(f *fleet.Fitment) bool {
		return f.Date >= day && (f.Position.Side == "" || f.Position.Side == side)
	})
}
