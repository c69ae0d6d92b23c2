package findings

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"brakewear/internal/fleet"
)

// tick is what is made of a condition.
type tick struct {
	condition fleet.ConditionKind
	kind      fleet.FindingKind
	metal     bool // it may be of the rotor or drum, not only of the pads or linings
	advice    string
	source    string
}

// ticks are what is made of the conditions ticked at an inspection. A crack is
// dangerous and contamination major in Directive 2014/45/EU, Annex I, 1.1.13(b)
// and 1.1.14(a) (EU-17, EU-18).
var ticks = []tick{
	{fleet.Cracked, fleet.CrackedPart, true, "Do not let it go back on the road before a technician has judged it: fine heat checks are one thing, a crack through or to the edge another.", "EU-18"},
	{fleet.Contaminated, fleet.ContaminatedPart, false, "Find where the oil, grease or fluid comes from and mend that; then renew the friction material on both sides of the axle.", "EU-17, UK-03"},
	{fleet.Tapered, fleet.TaperedPad, false, "Check how the pads sit in their carrier, and the slide pins: they wear askew.", "WP-16"},
	{fleet.Glazed, fleet.GlazedPart, false, "Look for a brake that drags or is hardly ever used hard; a brake test shows whether it still bites.", "common practice, no source"},
}

// ticked are the conditions ticked since the last parts were fitted, the last of each kind
// a side first. A tick names no part: it stays until all that it may be of is renewed, and
// one of no side until both sides are, unless the side that stays was ticked by itself
// since. One of a side gives way to a later one of both.
func (a *axle) ticked() []fleet.Finding {
	var fs []fleet.Finding
	for i := len(a.v.Conditions) - 1; i >= 0; i-- { // newest first
		c := &a.v.Conditions[i]
		at := slices.IndexFunc(ticks, func(t tick) bool { return t.condition == c.Kind })
		if !a.of(c) || at < 0 {
			continue
		}
		t := &ticks[at]
		renewed, stays := a.renewedSince(c, t)
		if len(stays) == 0 || slices.ContainsFunc(a.v.Conditions[i+1:], func(x fleet.Condition) bool {
			return a.of(&x) && x.Kind == c.Kind && x.Date > c.Date && x.Side != c.Side &&
				(x.Side == "" || len(stays) == 1 && x.Side == stays[0])
		}) {
			continue
		}
		p := fleet.Position{Axle: a.Number, Side: c.Side}
		f := finding(t.kind, p, subject(p, "ticked"))
		where, note, since := "", "", ""
		if c.Side != "" {
			where = " " + string(c.Side)
		}
		if c.Axle == 0 {
			where = ", as of the whole vehicle"
		}
		if c.Note != "" {
			note = ": " + c.Note
		}
		if len(renewed) > 0 {
			since = " Only this was renewed since: " + strings.Join(renewed, ", ") + "."
		}
		f.Seen = fmt.Sprintf("Axle %d%s: %s, as %s noted on %s%s.%s", a.Number, where, c.Kind, cmp.Or(c.Technician, "somebody"), on(c.Date), note, since)
		f.Advice, f.Source = t.advice, t.source
		fs = append(fs, f)
	}
	return fs
}

// of says whether a tick is of the axle: one of the whole vehicle is of each.
func (a *axle) of(c *fleet.Condition) bool { return c.Axle == a.Number || c.Axle == 0 }

// renewedSince says what of that which a tick may be of was renewed on its day or after,
// and which sides have something that was not.
func (a *axle) renewedSince(c *fleet.Condition, t *tick) (renewed []string, stays []fleet.Side) {
	for _, side := range []fleet.Side{fleet.Left, fleet.Right} {
		if c.Side != "" && c.Side != side {
			continue
		}
		for _, part := range fleet.Parts {
			friction := part == fleet.Pad || part == fleet.Lining
			switch {
			case !part.Of(a.Brake) || !friction && !t.metal:
			case slices.ContainsFunc(a.fitments, func(f *fleet.Fitment) bool {
				return f.Date >= c.Date && f.Position.Part == part && (f.Position.Side == "" || f.Position.Side == side)
			}):
				what := string(side) + " " + string(part)
				if friction {
					what += "s"
				}
				renewed = append(renewed, what)
			case !slices.Contains(stays, side):
				stays = append(stays, side)
			}
		}
	}
	return renewed, stays
}
