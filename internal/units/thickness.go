package units

import (
	"math"
	"strconv"
	"strings"
)

// ThicknessUnit is mm or in. A pad of 9/32 in reads "9/32", so that one column
// holds pads and rotors.
func (r Reader) ThicknessUnit() string {
	if r.ThicknessIn == Inches {
		return string(Inches)
	}
	return string(Millimetres)
}

// GaugeUnit is what a value of a part is typed in, and what a chart of it
// counts: mm, in or 1/32 in. Forms and files take the same names.
func (r Reader) GaugeUnit(part string) string {
	switch {
	case r.ThicknessIn != Inches:
		return string(Millimetres)
	case in32nds(part):
		return "1/32 in"
	}
	return string(Inches)
}

// OfMM returns mm of a part in its GaugeUnit.
func (r Reader) OfMM(part string, mm float64) float64 {
	switch {
	case r.ThicknessIn != Inches:
		return mm
	case in32nds(part):
		return mm / mmPer32nd
	}
	return mm / mmPerInch
}

// ToMM returns mm of a value of a part in its GaugeUnit.
func (r Reader) ToMM(part string, x float64) float64 {
	switch {
	case r.ThicknessIn != Inches:
		return x
	case in32nds(part):
		return millionth(x * mmPer32nd)
	}
	return millionth(x * mmPerInch)
}

// Decimals of inches as gauges for rotors and drums show them, and of 32nds as
// near to a tenth of a mm (common practice, no source).
const (
	inchDecimals = 3
	nd32Decimals = 1
)

// MM says a thickness of mm of a part as it is read off a gauge, without its
// unit: 7.4, 9.3/32 or 0.866.
func (r Reader) MM(part string, mm float64) string {
	x := r.OfMM(part, mm)
	switch {
	case !IsNumber(mm):
		return None
	case r.ThicknessIn != Inches:
		return strconv.FormatFloat(mm, 'f', 1, 64)
	case in32nds(part):
		return trimmed(fixed(x, nd32Decimals)) + "/32"
	}
	return fixed(x, inchDecimals)
}

// Thickness is MM with the unit.
func (r Reader) Thickness(part string, mm float64) string {
	return r.MM(part, mm) + " " + r.ThicknessUnit()
}

// Spec says a value of a specification or a reading as exact as it was given,
// without its unit: 7.0, 8.5/32 or 0.8665.
func (r Reader) Spec(part string, mm float64) string {
	switch {
	case !IsNumber(mm):
		return None
	case r.ThicknessIn != Inches:
		s := strconv.FormatFloat(mm, 'f', -1, 64)
		if !strings.Contains(s, ".") {
			s += ".0"
		}
		return s
	}
	s := r.MMField(part, mm)
	if in32nds(part) {
		return s + "/32"
	}
	if _, decimals, _ := strings.Cut(s, "."); len(decimals) < inchDecimals {
		s = fixed(r.OfMM(part, mm), inchDecimals)
	}
	return s
}

// Exactly is Spec with the unit.
func (r Reader) Exactly(part string, mm float64) string {
	return r.Spec(part, mm) + " " + r.ThicknessUnit()
}

// MMField is a value of mm of a part as it stands in a form, in its GaugeUnit:
// as exact as it was typed in that, and as gauges show where it was not.
func (r Reader) MMField(part string, mm float64) string {
	switch {
	case r.ThicknessIn != Inches:
		return strconv.FormatFloat(mm, 'f', -1, 64)
	case in32nds(part):
		return trimmed(asTyped(mm/mmPer32nd, nd32Decimals))
	}
	return trimmed(asTyped(mm/mmPerInch, inchDecimals))
}

// WearUnit is what wear rates are told in: mm per 10,000 km.
func (r Reader) WearUnit() string { return r.ThicknessUnit() + " per 10,000 " + r.DistanceUnit() }

// OfRate returns a wear rate of mm per 10,000 km of a part in its GaugeUnit per
// 10,000 of the reader's distance.
func (r Reader) OfRate(part string, rate float64) float64 { return r.OfMM(part, rate/r.OfKm(1)) }

// Rate says a wear rate of mm per 10,000 km of a part in WearUnit, without it.
func (r Reader) Rate(part string, rate float64) string { return r.Fine(part, rate/r.OfKm(1)) }

// fixed rounds half away from zero, as the form's script does, and writes so
// many decimals.
func fixed(x float64, decimals int) string {
	p := math.Pow(10, float64(decimals))
	return strconv.FormatFloat(math.Round(x*p)/p, 'f', decimals, 64)
}

// Fine says a small difference of mm of a part, such as the spread of a gauge,
// a digit finer than a gauge and without its unit: 0.12, 0.15/32 or 0.0047.
func (r Reader) Fine(part string, mm float64) string {
	x := r.OfMM(part, mm)
	switch {
	case !IsNumber(mm):
		return None
	case r.ThicknessIn != Inches:
		return strconv.FormatFloat(x, 'f', 2, 64)
	case in32nds(part):
		return fixed(x, 2) + "/32"
	}
	return fixed(x, inchDecimals+1)
}

// WearAxis is what the axis of a chart of wear rates counts: OfRate's unit.
func (r Reader) WearAxis(part string) string {
	return r.GaugeUnit(part) + " per 10,000 " + r.DistanceUnit()
}

// FineField is a value of mm of metal, such as a runout, as it stands in a form:
// a digit finer than MMField where it was not typed in the reader's unit.
func (r Reader) FineField(mm float64) string {
	if r.ThicknessIn != Inches {
		return strconv.FormatFloat(mm, 'f', -1, 64)
	}
	return trimmed(asTyped(mm/mmPerInch, inchDecimals+1))
}

// FineBound says a bound of mm on metal to the digit of Fine, on the side on
// which what is read as within it is.
func (r Reader) FineBound(mm float64, atMost bool) string {
	p := math.Pow(10, inchDecimals+1)
	x := math.Ceil(mm / mmPerInch * p)
	if atMost {
		x = math.Floor(mm / mmPerInch * p)
	}
	return strconv.FormatFloat(x/p, 'f', inchDecimals+1, 64) + " in"
}
