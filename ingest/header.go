package ingest

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"brakewear/internal/fleet"
)

// layout says what the columns of one file mean.
type layout struct {
	kind    Kind
	headers []string        // as in the file
	index   [numFields]int  // column of each field; -1 where the file has none
	units   [numFields]unit // of each field that has one, but measured values
	values  []valueColumn   // of readings and fitments; at least one
	order   string          // of dates, when the header declares it

	matched int      // columns that mean something
	missing []string // required columns that are not there
	fault   string   // why the file cannot be read by this header
	notes   []fleet.Problem
}

// valueColumn is a column of measured values with what its header says of
// their position. The row's own cells say the rest.
type valueColumn struct {
	index int
	place
	unit unit
}

// place is a position of which anything may still be open.
type place struct {
	axle     int
	axleWord string // "front" or "rear", to be resolved by vehicle
	part     fleet.Part
	side     fleet.Side
	face     fleet.Face
}

// unit is a unit that a column may have.
type unit struct {
	name   string
	factor float64 // to base
	base   string  // unit inside, as Column.Unit
}

var (
	millimetre  = unit{"mm", 1, "mm"}
	inch        = unit{"in", 25.4, "mm"}
	inch32      = unit{"1/32 in", 25.4 / 32, "mm"}
	kilometre   = unit{"km", 1, "km"}
	mile        = unit{"mi", 1.609344, "km"}
	newton      = unit{"N", 1, "N"}
	kilonewton  = unit{"kN", 1000, "N"}
	kgForce     = unit{"kgf", fleet.Gravity, "N"}
	poundForce  = unit{"lbf", 0.45359237 * fleet.Gravity, "N"}
	kilogram    = unit{"kg", 1, "kg"}
	tonne       = unit{"t", 1000, "kg"}
	pound       = unit{"lb", 0.45359237, "kg"}
	perSecond2  = unit{"m/s2", 1, "m/s2"}
	footSecond2 = unit{"ft/s2", 0.3048, "m/s2"}
	gravity     = unit{"g", fleet.Gravity, "m/s2"}
	kmPerHour   = unit{"km/h", 1, "km/h"}
	milePerHour = unit{"mph", 1.609344, "km/h"}
	metre       = unit{"m", 1, "m"}
	foot        = unit{"ft", 0.3048, "m"}
	unitEndings = []struct {
		words string
		unit
	}{
		{"1 32 in", inch32}, {"1 32 inch", inch32}, {"1 32", inch32}, {"32nds in", inch32}, {"32nds", inch32}, {"32nd", inch32}, {"32nds of an inch", inch32},
		{"mm", millimetre}, {"millimetres", millimetre}, {"millimeters", millimetre},
		{"in", inch}, {"inch", inch}, {"inches", inch},
		{"km", kilometre}, {"kms", kilometre}, {"kilometres", kilometre}, {"kilometers", kilometre},
		{"mi", mile}, {"mile", mile}, {"miles", mile},
		{"kn", kilonewton}, {"n", newton}, {"newton", newton}, {"newtons", newton}, {"kgf", kgForce}, {"kp", kgForce}, {"lbf", poundForce},
		{"kg", kilogram}, {"kgs", kilogram}, {"t", tonne}, {"tonnes", tonne}, {"lb", pound}, {"lbs", pound},
		{"ft s2", footSecond2}, {"ft s", footSecond2}, {"m s2", perSecond2}, {"m s", perSecond2}, {"g", gravity},
		{"km h", kmPerHour}, {"kmh", kmPerHour}, {"kph", kmPerHour}, {"mph", milePerHour},
		{"m", metre}, {"metres", metre}, {"meters", metre}, {"ft", foot}, {"feet", foot},
	}
	dateEndings = []struct{ words, order string }{
		{"dd mm yyyy", "dmy"}, {"dd mm yy", "dmy"}, {"d m y", "dmy"}, {"dmy", "dmy"}, {"day month year", "dmy"},
		{"mm dd yyyy", "mdy"}, {"mm dd yy", "mdy"}, {"m d y", "mdy"}, {"mdy", "mdy"}, {"month day year", "mdy"},
		{"yyyy mm dd", "ymd"}, {"y m d", "ymd"}, {"ymd", "ymd"}, {"year month day", "ymd"}, {"iso", ""},
	}
)

// normal lowers a header and leaves its words and numbers, a space between:
// "Value_(1/32 in)" becomes "value 1 32 in".
func normal(header string) string {
	var b strings.Builder
	gap := false
	for _, r := range header {
		if !unicode.IsLetter(r) && !unicode.IsDigit(r) {
			gap = b.Len() > 0
			continue
		}
		if gap {
			b.WriteByte(' ')
			gap = false
		}
		b.WriteRune(unicode.ToLower(r))
	}
	return b.String()
}

// cutWords removes ending from the end of s, whole words only.
func cutWords(s, ending string) (string, bool) {
	if s == ending {
		return "", true
	}
	return strings.CutSuffix(s, " "+ending)
}

// cutUnit takes the unit off the end of a normal header.
func cutUnit(name string) (string, unit) {
	for _, e := range unitEndings {
		if rest, ok := cutWords(name, e.words); ok {
			return strings.TrimSuffix(rest, " in"), e.unit // "thickness in mm"
		}
	}
	return name, unit{}
}

func (u unit) distance() bool { return u.base == kilometre.base }

// grouped says whether values above 999 are usual in u.
func (u unit) grouped() bool { return u.distance() || u == newton || u == kilogram || u == pound }

// match reads headers as those of a file of kind k.
func match(headers []string, k Kind) *layout {
	l := &layout{kind: k, headers: slices.Clone(headers)}
	for f := range l.index {
		l.index[f] = -1
	}
	var unknown []string
	for i, h := range headers {
		name := normal(h)
		if name == "" {
			continue
		}
		if !l.take(i, name) {
			unknown = append(unknown, strconv.Quote(strings.TrimSpace(h)))
			continue
		}
		l.matched++
	}
	if len(unknown) > 0 {
		l.note("", "no such column in a file of %s, not read: %s", k, strings.Join(unknown, ", "))
	}
	for _, c := range columns[k] {
		if c.Required && !l.has(c.field) {
			l.missing = append(l.missing, c.Name)
		}
	}
	return l
}

// has says whether the header gives field f.
func (l *layout) has(f field) bool {
	switch f {
	case fValue:
		return len(l.values) > 0
	case fAxle:
		named := func(v valueColumn) bool { return v.axle > 0 || v.axleWord != "" }
		return l.index[fAxle] >= 0 || len(l.values) > 0 && !slices.ContainsFunc(l.values, func(v valueColumn) bool { return !named(v) })
	}
	return l.index[f] >= 0
}

// take gives column i its meaning and says whether it has one.
func (l *layout) take(i int, name string) bool {
	bare, u := cutUnit(name)
	for k := range columns[l.kind] {
		c := &columns[l.kind][k]
		if (c.field == fDate || c.field == fFirst || c.field == fLast) && l.takeDate(i, name, c) {
			return true
		}
		spelt := c.called(name)
		if c.Unit != "" {
			spelt = c.called(bare) || c.field == fOdometer && bare == "" && u.distance() // a header that is its unit alone
		}
		if !spelt {
			continue
		}
		if c.Unit != "" && u.name == "" {
			if bare == "mileage" {
				l.fail("column %q: say km or mi in its header, such as \"mileage (mi)\"", l.headers[i])
			}
			u = unit{c.Unit, 1, c.Unit}
			l.note(l.headers[i], "no unit in the header: read as %s", c.Unit)
		}
		if c.Unit != "" && u.base != c.Unit {
			continue
		}
		switch c.field {
		case fValue:
			l.addValue(valueColumn{index: i, unit: u})
			return true
		default:
			l.units[c.field] = u
		}
		l.set(c.field, i)
		return true
	}
	return l.takePlace(i, name)
}

// called says whether a normal header, less its unit, is of the column.
func (c *Column) called(header string) bool {
	return header == strings.ReplaceAll(strings.TrimSuffix(c.Name, "_"+c.Unit), "_", " ") || slices.Contains(c.Synonyms, header)
}

// takeDate reads a date column whose header may declare the order.
func (l *layout) takeDate(i int, name string, c *Column) bool {
	order := ""
	for _, e := range dateEndings {
		if rest, ok := cutWords(name, e.words); ok && rest != "" {
			name, order = rest, e.order
			break
		}
	}
	if !c.called(name) {
		return false
	}
	if order != "" && l.order != "" && order != l.order {
		l.fail("column %q declares another order of dates than the one before: write both alike", l.headers[i])
	}
	l.order = cmp.Or(order, l.order)
	l.set(c.field, i)
	return true
}

// takePlace reads a value column that names its position.
func (l *layout) takePlace(i int, name string) bool {
	if l.kind != Readings && l.kind != Fitments {
		return false
	}
	base, u := cutUnit(name)
	if u.name != "" && u.base != millimetre.base {
		return false
	}
	p, road, ok := parsePlace(base)
	if !ok || p.part == "" && p.side == "" && p.face == "" && !road && u.name == "" {
		return false
	}
	if road {
		l.fail("column %q: which side that is depends on the country; write left or right, seen in the direction of travel", l.headers[i])
	}
	if u.name == "" {
		u = millimetre
		l.note(l.headers[i], "no unit in the header: read as mm")
	}
	l.addValue(valueColumn{i, p, u})
	return true
}

func (l *layout) addValue(v valueColumn) {
	for _, w := range l.values {
		if w.place == v.place {
			l.fail("columns %q and %q are the same position: keep one", l.headers[w.index], l.headers[v.index])
		}
	}
	l.values = append(l.values, v)
}

func (l *layout) set(f field, i int) {
	if old := l.index[f]; old >= 0 {
		l.fail("columns %q and %q mean the same: keep one", l.headers[old], l.headers[i])
		return
	}
	l.index[f] = i
}

// fail keeps the first fault.
func (l *layout) fail(format string, args ...any) {
	if l.fault == "" {
		l.fault = fmt.Sprintf(format, args...)
	}
}

func (l *layout) note(column, format string, args ...any) {
	l.notes = append(l.notes, fleet.Problem{Column: column, Message: fmt.Sprintf(format, args...)})
}

// Words that carry no meaning of their own beside those that do.
var fillers = []string{"thickness", "value", "reading", "measured", "remaining", "brake", "wheel", "diameter", "material", "side", "at", "in", "of", "the"}

// corners are the usual two letters of a wheel: R and L beside each other are
// rear and left in either order, and only FR, RF, RR tell their R apart.
var corners = map[string]place{
	"fl": {axleWord: "front", side: fleet.Left}, "lf": {axleWord: "front", side: fleet.Left},
	"fr": {axleWord: "front", side: fleet.Right}, "rf": {axleWord: "front", side: fleet.Right},
	"rl": {axleWord: "rear", side: fleet.Left}, "lr": {axleWord: "rear", side: fleet.Left},
	"rr": {axleWord: "rear", side: fleet.Right},
}

// parsePlace reads the words of a position in any order: "axle 1 left inner
// pad". road says that a word names a side by the road's, not the vehicle's.
func parsePlace(words string) (p place, road, ok bool) {
	ws := strings.Fields(words)
	for i := 0; i < len(ws); i++ {
		w := ws[i]
		part, side, face := partOf(w), sideOf(w), faceOf(w)
		switch {
		case w == "axle" || w == "ax":
			if i+1 < len(ws) {
				if n, err := strconv.Atoi(ws[i+1]); err == nil {
					i++
					if p.axle != 0 || n < 1 || n > fleet.MaxAxle {
						return p, road, false
					}
					p.axle = n
				}
			}
		case len(w) > 1 && w[0] == 'a' && isDigits(w[1:]) && len(w) <= 3:
			n, _ := strconv.Atoi(w[1:])
			if p.axle != 0 || n < 1 || n > fleet.MaxAxle {
				return p, road, false
			}
			p.axle = n
		case (w == "front" || w == "rear") && p.axleWord == "":
			p.axleWord = w
		case corners[w].side != "" && p.axleWord == "" && p.side == "":
			p.axleWord, p.side = corners[w].axleWord, corners[w].side
		case part != "" && (p.part == "" || p.part == part):
			p.part = part
		case side != "" && p.side == "":
			p.side = side
		case face != "" && p.face == "":
			p.face = face
		case byRoad(w):
			road = true
		case slices.Contains(fillers, w):
		default:
			return p, road, false
		}
	}
	if p.axle > 0 && p.axleWord != "" || p.face != "" && p.part != "" && p.part != fleet.Pad {
		return p, road, false
	}
	return p, road, true
}

func isDigits(s string) bool {
	for i := range len(s) {
		if s[i] < '0' || s[i] > '9' {
			return false
		}
	}
	return s != ""
}

// partOf, sideOf and faceOf read one word or name in lower case; "" when it
// is none.

func partOf(s string) fleet.Part {
	for i, names := range partWords {
		if slices.Contains(names, s) {
			return fleet.Parts[i]
		}
	}
	return ""
}

func sideOf(s string) fleet.Side {
	switch s {
	case "left", "l", "lh", "lhs", "left hand":
		return fleet.Left
	case "right", "r", "rh", "rhs", "right hand":
		return fleet.Right
	}
	return ""
}

func faceOf(s string) fleet.Face {
	switch s {
	case "inner", "inside", "inboard":
		return fleet.Inner
	case "outer", "outside", "outboard":
		return fleet.Outer
	}
	return ""
}

// byRoad says whether the word names a side by the traffic or the seat, which
// change with the country and the vehicle.
func byRoad(s string) bool {
	switch s {
	case "near", "off", "nearside", "offside", "near side", "off side", "ns", "os", "n/s", "o/s",
		"driver", "drivers", "passenger", "kerb", "curb", "kerbside", "curbside":
		return true
	}
	return false
}
