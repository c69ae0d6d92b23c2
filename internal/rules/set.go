package rules

import (
	_ "embed"
	"slices"
	"strconv"
	"strings"

	"brakewear/internal/fleet"
)

// Set is one rule set.
type Set struct {
	ID    string
	Name  string
	About string
	uses  []*Use
}

// sets in the order in which they are offered.
var sets = readUses([]*Set{
	{ID: "eu", Name: "EU roadworthiness",
		About: "Directive 2014/45/EU. It gives no millimetres for pads and linings: the maker's mark decides. Brake tests by efficiency and by the difference across an axle."},
	{ID: "uk", Name: "UK, cars and heavy vehicles",
		About: "MOT inspection manual for cars and light vans, inspection manuals for heavy vehicles. Millimetres for cars and light vans only."},
	{ID: "us-393", Name: "US, light and commercial: linings by 49 CFR 393.47",
		About: "Commercial vehicles by 49 CFR 393.47 and 393.52, light ones by Part 570. A continuous strip on a steering axle may be thinner here than in Part 396."},
	{ID: "us-396", Name: "US, light and commercial: linings by Part 396 Appendix A",
		About: "Commercial vehicles by the periodic inspection of 49 CFR Part 396 Appendix A and by 393.52, light ones by Part 570. Limits in fractions of an inch."},
	{ID: "au", Name: "Australia, light and heavy vehicles",
		About: "Vehicle standards rules, by gross mass. The maker's limits decide on pads and linings; brake tests by deceleration."},
	{ID: "maker", Name: "Maker's values only",
		About: "No rule set: limits are the maker's, and a brake test is kept but not judged."},
})

// Sets returns the rule sets in the order in which they are offered.
func Sets() []*Set { return slices.Clone(sets) }

// Unset is the id of a fleet for which nobody has picked a set: limits are the
// maker's, and a brake test is not judged.
const Unset = ""

// unset answers for Unset.
var unset = &Set{ID: Unset, Name: "None picked yet",
	About: "Until a rule set is picked, limits are the maker's, and a brake test is kept but not judged."}

// Find returns the set of an id.
func Find(id string) (*Set, error) {
	if id == Unset {
		return unset, nil
	}
	for _, s := range sets {
		if s.ID == id {
			return s, nil
		}
	}
	var ids []string
	for _, s := range sets {
		ids = append(ids, s.ID)
	}
	return nil, fleet.Invalidf("rule set %q: want one of %s", id, strings.Join(ids, ", "))
}

// Or returns the set of an id, and that of no choice for one that this program
// does not know, as an older one may have stored.
func Or(id string) *Set {
	s, err := Find(id)
	if err != nil {
		return unset
	}
	return s
}

// What says what a use of a value limits.
type What string

const (
	Thickness        What = "thickness"               // of a pad or lining, mm
	Efficiency       What = "efficiency"              // of the whole vehicle, % of weight
	EfficiencyDanger What = "efficiency danger share" // % of the least efficiency
	Imbalance        What = "imbalance"               // difference across an axle, % of the higher
	EffortShare      What = "effort share"            // of the other wheel's effort, %: an imbalance
	EffortDanger     What = "effort share danger"     // the same, dangerous
	PedalForce       What = "pedal force"             // N
	MeanDeceleration What = "mean deceleration"       // m/s²
	PeakDeceleration What = "peak deceleration"       // m/s²
	StoppingDistance What = "stopping distance"       // m, from a speed
	PassesOnLocks    What = "passes on locks"         // share of wheels that lock, %
	Words            What = "words"                   // a rule that is no number
)

// Use is one value's place in a rule set: what it limits, and where. A blank
// condition admits all.
type Use struct {
	What       What
	Value      *Value
	Categories []fleet.Category
	Actuation  []fleet.Actuation
	Parts      []fleet.Part
	Axle       string // "steering" or "non-steering"
	System     fleet.BrakeSystem
	Gross      Condition // on the gross mass, kg
	FirstUsed  Condition // on the day of first use, days
	SpeedKmh   float64   // of a stopping distance
	Note       string
}

// Uses returns the uses of the set in the order of the table.
func (s *Set) Uses() []*Use { return slices.Clone(s.uses) }

// Condition bounds a number; its zero value admits all.
type Condition struct {
	Op string // "<", "<=", ">", ">="
	X  float64
}

// holds says whether all, some or none of the numbers from lo to hi meet c.
func (c Condition) holds(lo, hi float64) answer {
	meets := func(x float64) bool {
		switch c.Op {
		case "<":
			return x < c.X
		case "<=":
			return x <= c.X
		case ">":
			return x > c.X
		case ">=":
			return x >= c.X
		}
		return true
	}
	switch a, b := meets(lo), meets(hi); {
	case a && b:
		return yes
	case a || b:
		return maybe
	}
	return no
}

// answer to whether a use applies.
type answer int

const (
	no answer = iota
	maybe
	yes
)

//go:embed uses.csv
var usesCSV string

// readUses hangs the table's uses on their sets.
func readUses(sets []*Set) []*Set {
	for r := range table("uses.csv", usesCSV) {
		u := &Use{
			What:       What(r("what")),
			Value:      mustValue(r("value")),
			Categories: words[fleet.Category](r("categories")),
			Actuation:  words[fleet.Actuation](r("actuation")),
			Parts:      words[fleet.Part](r("parts")),
			Axle:       r("axle"),
			System:     fleet.BrakeSystem(r("system")),
			Gross:      condition(r("gross_kg")),
			FirstUsed:  condition(r("first_used")),
			Note:       r("note"),
		}
		if s := r("speed_kmh"); s != "" {
			u.SpeedKmh = mustFloat(s)
		}
		for _, id := range strings.Fields(r("sets")) {
			i := slices.IndexFunc(sets, func(s *Set) bool { return s.ID == id })
			if i < 0 {
				panic("uses.csv: no set " + id)
			}
			sets[i].uses = append(sets[i].uses, u)
		}
	}
	return sets
}

func words[T ~string](s string) []T {
	var out []T
	for _, w := range strings.Fields(s) {
		out = append(out, T(w))
	}
	return out
}

// condition reads "<2500" or ">=2012-01-01".
func condition(s string) Condition {
	if s == "" {
		return Condition{}
	}
	i := strings.IndexAny(s, "0123456789")
	c := Condition{Op: s[:i]}
	if d, err := fleet.ParseDate(s[i:]); err == nil {
		c.X = float64(d)
		return c
	}
	c.X = mustFloat(s[i:])
	return c
}

func mustFloat(s string) float64 {
	x, err := strconv.ParseFloat(s, 64)
	if err != nil {
		panic(err)
	}
	return x
}
