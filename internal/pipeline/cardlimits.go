package pipeline

import (
	"fmt"
	"slices"

	"brakewear/internal/fleet"
	"brakewear/internal/store"
)

// OnDoubts are the doubts about the parts that go on by a card, of whose vehicle h is
// known: one that is at its limit, or is said to have more than a new one.
func OnDoubts(h *store.History, on []fleet.CardPart) (doubts []Remark) {
	for _, p := range on {
		spec, ok := specInForce(h, p.Axle, p.Part)
		if p.MM == 0 || !ok {
			continue
		}
		place := Place{Position: fleet.Position{Axle: p.Axle, Part: p.Part, Side: p.Side}, Spec: &spec}
		doubts = append(doubts, place.remarks(p.MM)...)
	}
	return doubts
}

// OnAlready returns the part that a card has already where p is to go on, nil where there is
// none: the second pair of hands may enter what the first did. The same part again is
// the same form again, and no other.
func OnAlready(c *fleet.Card, p fleet.CardPart) (there *fleet.CardPart) {
	for i := range c.Parts {
		q := &c.Parts[i]
		if q.Undone != nil || q.Axle != p.Axle || q.Part != p.Part || q.Side != "" && p.Side != "" && q.Side != p.Side {
			continue
		}
		if q.Side == p.Side && q.Number == p.Number && q.Batch == p.Batch && (p.MM == q.MM || p.MM == 0 && !q.Measured) {
			return nil
		}
		there = q
	}
	return there
}

// atLimit says what stays on the vehicle of a card at its limit or past it, a sentence
// each: what went on, and what was measured since on the axles worked on and has
// no new part.
func atLimit(c *fleet.Card, h *store.History) (said []string) {
	past := func(pos fleet.Position, mm float64, how string) {
		spec, ok := specInForce(h, pos.Axle, pos.Part)
		if grows := pos.Part.Grows(); ok && (!grows && mm <= spec.Limit || grows && mm >= spec.Limit) {
			said = append(said, fmt.Sprintf("%s: %s mm %s, and its limit is %s mm", pos, mmText(mm), how, mmText(spec.Limit)))
		}
	}
	for _, p := range c.Parts {
		if p.Undone == nil {
			past(fleet.Position{Axle: p.Axle, Part: p.Part, Side: p.Side}, p.MM, "went on")
		}
	}
	last := map[fleet.Position]int{}
	var places []fleet.Position
	for i := range h.Readings {
		r := &h.Readings[i]
		if r.Date < c.Day || !slices.Contains(fleet.Axles(c.Work), r.Position.Axle) {
			continue
		}
		if _, ok := last[r.Position]; !ok {
			places = append(places, r.Position)
		}
		last[r.Position] = i
	}
	for _, pos := range places {
		r := &h.Readings[last[pos]]
		renewed := slices.ContainsFunc(h.Fitments, func(f fleet.Fitment) bool {
			at := f.Position
			return f.Date >= r.Date && at.Axle == pos.Axle && at.Part == pos.Part &&
				(at.Side == "" || pos.Side == "" || at.Side == pos.Side) && (at.Face == "" || pos.Face == "" || at.Face == pos.Face)
		})
		if !renewed {
			past(pos, r.MM, "was measured, no new one went on")
		}
	}
	return said
}

// specInForce is SpecInForce of an axle by its number.
func specInForce(h *store.History, axle int, p fleet.Part) (fleet.Spec, bool) {
	for i := range h.Axles {
		if h.Axles[i].Number == axle {
			return SpecInForce(h, &h.Axles[i], p)
		}
	}
	return fleet.Spec{}, false
}
