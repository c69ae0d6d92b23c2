package rules

import (
	_ "embed"
	"fmt"
	"slices"
	"strconv"

	"brakewear/internal/fleet"
)

// Origin says where a limit comes from.
type Origin string

const (
	FromMaker    Origin = "maker"
	FromRules    Origin = "rule set"
	FromWorkshop Origin = "workshop" // set for this axle, with a reason
	FromStandIn  Origin = "stand-in" // nothing else is known
)

// Limit is the limit that holds for a part of an axle, and why.
type Limit struct {
	MM     float64
	Side   Side
	Origin Origin
	// Rule is what the rule set asks, nil where it asks nothing.
	Rule *Bound
	// Note says what a person should know of it; blank for most.
	Note string
}

// Fails says whether a part that measures mm is at or past its limit as the
// limit's source words it.
func (l *Limit) Fails(mm float64) bool { return l.Side.Fails(mm, l.MM) }

// Source names where the limit comes from: "maker", an id, "workshop".
func (l *Limit) Source() string {
	if l.Origin == FromRules {
		return l.Rule.Use.Value.ID
	}
	return string(l.Origin)
}

// MakerSource is the source of a specification that somebody gave for the
// axle; any other is a stand-in's.
const MakerSource = "maker"

// Limit returns the limit of a part of an axle: the stricter of the maker's
// and the set's, which is the larger thickness or the smaller diameter; or what
// the workshop has set for the axle, when over is not 0 (mm).
func (s *Set) Limit(v *fleet.Vehicle, axle int, p fleet.Part, spec fleet.Spec, over float64) Limit {
	side := Below
	if p.Grows() {
		side = Above
	}
	l := Limit{MM: spec.Limit, Side: side, Origin: FromMaker, Rule: s.Thickness(v, axle, p)}
	if spec.Source != MakerSource {
		l.Origin = FromStandIn
	}
	if r := l.Rule; r != nil {
		switch {
		case r.Limit >= spec.New:
			l.Note = fmt.Sprintf("%s asks %s mm, which is not below the new thickness of %s mm: check the new value, and how the vehicle's brakes are worked",
				r.Use.Value.ID, Short(r.Limit), Short(spec.New))
		case l.Origin == FromStandIn, stricter(r.Limit, r.Side, l.MM, l.Side):
			l.MM, l.Side, l.Origin = r.Limit, r.Side, FromRules
		}
	}
	if over != 0 {
		l.MM, l.Side, l.Origin = over, side, FromWorkshop
	}
	return l
}

// Short writes a number with no more decimals than it has, at most four.
func Short(x float64) string {
	s := strconv.FormatFloat(x, 'f', 4, 64)
	for s[len(s)-1] == '0' {
		s = s[:len(s)-1]
	}
	if s[len(s)-1] == '.' {
		s = s[:len(s)-1]
	}
	return s
}

//go:embed standins.csv
var standInsCSV string

// standIn is a specification for vehicles of some categories.
type standIn struct {
	categories []fleet.Category
	part       fleet.Part
	front      bool
	newMM      float64
	newSource  string
	limit      *Value
}

var standIns = readStandIns()

func readStandIns() (out []standIn) {
	for r := range table("standins.csv", standInsCSV) {
		out = append(out, standIn{
			categories: words[fleet.Category](r("categories")),
			part:       fleet.Part(r("part")),
			front:      r("axle") == "front",
			newMM:      mustFloat(r("new_mm")),
			newSource:  r("new_source"),
			limit:      mustValue(r("limit")),
		})
	}
	return out
}

// StandIn returns the specification that stands in for a part of an axle
// (1 = front) of which nothing is known, and false where there is none, as for
// rotors and drums. A blank category counts as light. Its limit gives way to
// that of the fleet's rule set; see Set.Limit.
func StandIn(c fleet.Category, axle int, p fleet.Part) (fleet.Spec, bool) {
	if c == "" {
		c = "M1"
	}
	for _, r := range standIns {
		if r.part == p && r.front == (axle == 1) && slices.Contains(r.categories, c) {
			return fleet.Spec{New: r.newMM, Limit: r.limit.Number(), Source: r.limit.ID}, true
		}
	}
	return fleet.Spec{}, false
}
