package units

import (
	"math"
	"strconv"
	"strings"
)

// DistanceUnit is km or mi.
func (r Reader) DistanceUnit() string {
	if r.DistanceIn == Miles {
		return string(Miles)
	}
	return string(Kilometres)
}

// OfKm returns a distance of km in the reader's unit, for the axis of a chart.
func (r Reader) OfKm(km float64) float64 {
	if r.DistanceIn == Miles {
		return km / KmPerMile
	}
	return km
}

// ToKm returns km of a distance in the reader's unit.
func (r Reader) ToKm(x float64) float64 {
	if r.DistanceIn == Miles {
		return millionth(x * KmPerMile)
	}
	return x
}

// Km says a distance of km to the whole km or mile, without its unit: 25,200.
func (r Reader) Km(km float64) string {
	if !IsNumber(km) {
		return None
	}
	return Thousands(int64(math.Round(millionth(r.OfKm(km)))))
}

// Distance is Km with the unit: 25,200 km.
func (r Reader) Distance(km float64) string { return r.Km(km) + " " + r.DistanceUnit() }

// KmAbout says a forecast distance, no more exact than it can be: two digits,
// without its unit.
func (r Reader) KmAbout(km float64) string {
	if !IsNumber(km) {
		return None
	}
	x := r.OfKm(km)
	unit := math.Max(10, math.Pow(10, math.Floor(math.Log10(math.Max(1, math.Abs(x))))-1))
	return Thousands(int64(math.Round(x/unit) * unit))
}

// DistanceAbout is KmAbout with the unit.
func (r Reader) DistanceAbout(km float64) string { return r.KmAbout(km) + " " + r.DistanceUnit() }

// OdometerAbout says an estimated odometer reading to the hundred.
func (r Reader) OdometerAbout(km float64) string {
	return Thousands(int64(math.Round(r.OfKm(km)/100)*100)) + " " + r.DistanceUnit()
}

// Speed says a speed of km/h to a tenth, as km/h or mph.
func (r Reader) Speed(kmh float64) string {
	unit := "km/h"
	if r.DistanceIn == Miles {
		unit = "mph"
	}
	return fixed(r.OfKm(kmh), 1) + "\u00a0" + unit
}

// KmField is a distance of km as it stands in a form: as exact as it was typed
// in the reader's unit, and to a tenth where it was typed in another.
func (r Reader) KmField(km float64) string {
	if r.DistanceIn != Miles {
		return strconv.FormatFloat(km, 'f', -1, 64)
	}
	return trimmed(asTyped(r.OfKm(km), 1))
}

// typedDecimals is how many decimals of a value typed in another unit than it
// is kept in are found again: more than any gauge or odometer shows.
const typedDecimals = 4

// kept is how near to a value of so few decimals another must lie to be taken
// for it: what is kept is rounded to a millionth of a mm or km.
const kept = 1e-6

// asTyped writes x with the fewest decimals that tell it as it was typed, or
// with usual ones when it was not typed in this unit.
func asTyped(x float64, usual int) string {
	for n := range typedDecimals + 1 {
		p := math.Pow(10, float64(n))
		if math.Abs(math.Round(x*p)/p-x) <= kept {
			return strconv.FormatFloat(x, 'f', n, 64)
		}
	}
	return strconv.FormatFloat(x, 'f', usual, 64)
}

// trimmed leaves out decimals that say nothing.
func trimmed(s string) string {
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	return s
}

// millionth rounds as files and forms do, so that 7/16 in is 11.1125 mm and
// not a little beside it.
func millionth(x float64) float64 { return math.Round(x*1e6) / 1e6 }

// Thousands sets the thousands of a number apart: 25,200.
func Thousands(n int64) string {
	s := strconv.FormatInt(n, 10)
	sign := ""
	if n < 0 {
		sign, s = "−", s[1:]
	}
	for i := len(s) - 3; i > 0; i -= 3 {
		s = s[:i] + "," + s[i:]
	}
	return sign + s
}
