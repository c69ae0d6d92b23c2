package ingest

import (
	"slices"
	"strings"

	"brakewear/internal/fleet"
)

// Units that a form offers, the usual one first.
var (
	LengthUnits   = []string{millimetre.name, inch.name, inch32.name}
	DistanceUnits = []string{kilometre.name, mile.name}
)

// unitOf returns the unit of a name; a blank one is the usual.
func unitOf(name string, units ...unit) (unit, error) {
	if name == "" {
		return units[0], nil
	}
	i := slices.IndexFunc(units, func(u unit) bool { return u.name == name })
	if i < 0 {
		return unit{}, fleet.Invalidf("unit %q: want one of %v", name, units)
	}
	return units[i], nil
}

// String names the unit.
func (u unit) String() string { return u.name }

// Thickness is one measured value as a person wrote it.
type Thickness struct {
	MM    float64
	Given string // as written, without the unit
	Unit  string
}

// ParseThickness reads a thickness or diameter as a person writes it into a
// form, in a unit of LengthUnits: 7.4, 7,4, 9/32, 1 3/16. The text may name its
// own unit: 9/32 in.
func ParseThickness(s, unitName string) (Thickness, error) {
	s = valid(s)
	u, err := unitOf(unitName, millimetre, inch, inch32)
	if err != nil {
		return Thickness{}, err
	}
	l, fault := parseLength(strings.TrimSpace(s), u, false)
	switch {
	case fault != "" || l.atMost:
		return Thickness{}, fleet.Invalidf("“%s” cannot be read: write %s in digits, such as %s", s, u.name, example(u))
	case l.mm < 0 || l.mm > fleet.MaxMM:
		return Thickness{}, fleet.Invalidf("“%s”: no brake part measures that", s)
	}
	return Thickness{l.mm, l.given, l.unit}, nil
}

// ParseDistance reads an odometer as a person writes it into a form, in a unit
// of DistanceUnits, and returns km. The text may name its own unit. No odometer shows three decimals, so
// 155.000 and 155,000 are thousands; in a file, where nobody is there to see
// what was made of them, they are refused.
func ParseDistance(s, unitName string) (km float64, err error) {
	s = valid(s)
	u, err := unitOf(unitName, kilometre, mile)
	if err != nil {
		return 0, err
	}
	text, u := ownUnit(strings.TrimSpace(s), u)
	if ambiguous(text) {
		text = strings.NewReplacer(".", "", ",", "").Replace(text)
	}
	x, fault := parseNumber(text, true, false)
	km = u.convert(x)
	switch {
	case fault != "":
		return 0, fleet.Invalidf("“%s” cannot be read: write the odometer in digits, such as 155000", s)
	case km < 0 || km > fleet.MaxOdometerKm:
		return 0, fleet.Invalidf("“%s”: no odometer shows that", s)
	}
	return km, nil
}
