package fleet

// ruleRow is one default specification. The limit is a published value; the
// new value is a usual one, for a workshop that has not entered its own.
type ruleRow struct {
	heavy bool // M2 M3 N2 N3 O3 O4; otherwise car, van, light trailer
	part  Part
	front bool
	spec  Spec
}

// ruleRows stand in where an axle has no specification of its own. Rotors and
// drums have none: their limit is the maker's, stamped on the part.
//
// Sources, by id:
//
//	UK-01  MOT inspection manual, cars, 1.1.13(a)(ii): below 1.5 mm is dangerous.
//	US-03, US-06  49 CFR 393.47(d)(1), (d)(2): air disc pads 3.2 mm.
//	US-02, US-05  49 CFR 393.47(d)(1), (d)(2): drum lining at the shoe centre 6.4 mm.
//	WP-18, WP-19  new pad 10-12 mm front, 8-10 mm rear (engineering explainer): the middle.
//	WP-22  new lining 4.9 mm (one maker's service manual).
//	WP-13  new heavy pad 30 mm with its back plate (heavy-brake service manual),
//	       less 9 mm of plate (common practice, no source).
//	Heavy new lining 19 mm: common practice, no source.
var ruleRows = []ruleRow{
	{heavy: false, part: Pad, front: true, spec: Spec{New: 11, Limit: 1.5, Source: "UK-01, WP-18"}},
	{heavy: false, part: Pad, front: false, spec: Spec{New: 9, Limit: 1.5, Source: "UK-01, WP-19"}},
	{heavy: false, part: Lining, front: true, spec: Spec{New: 4.9, Limit: 1.5, Source: "UK-01, WP-22"}},
	{heavy: false, part: Lining, front: false, spec: Spec{New: 4.9, Limit: 1.5, Source: "UK-01, WP-22"}},
	{heavy: true, part: Pad, front: true, spec: Spec{New: 21, Limit: 3.2, Source: "US-03, WP-13"}},
	{heavy: true, part: Pad, front: false, spec: Spec{New: 21, Limit: 3.2, Source: "US-06, WP-13"}},
	{heavy: true, part: Lining, front: true, spec: Spec{New: 19, Limit: 6.4, Source: "US-02"}},
	{heavy: true, part: Lining, front: false, spec: Spec{New: 19, Limit: 6.4, Source: "US-05"}},
}

// Heavy says whether the category's brakes are of the heavy kind; a blank
// category counts as light.
func (c Category) Heavy() bool {
	switch c {
	case "M2", "M3", "N2", "N3", "O3", "O4":
		return true
	}
	return false
}

// RuleSpec returns the specification that stands in for a part of an axle
// (1 = front) that has none of its own, and false where no rule gives one.
func RuleSpec(c Category, axle int, p Part) (Spec, bool) {
	for _, r := range ruleRows {
		if r.heavy == c.Heavy() && r.part == p && r.front == (axle == 1) {
			return r.spec, true
		}
	}
	return Spec{}, false
}
