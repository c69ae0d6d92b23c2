// Package units says distances, thicknesses and days as a reader wants them:
// the one place that knows miles, inches and ways to write a date. It never
// stores: what is kept, computed and sent over the API is km, mm and ISO days.
package units

import (
	"errors"
	"fmt"
	"math"
	"time"
)

// Lengths of what people measure in, all exact (NIST Special Publication 811,
// appendix B.8: the international inch and mile).
const (
	KmPerMile = 1.609344
	mmPerInch = 25.4
	mmPer32nd = mmPerInch / 32 // of an inch
)

// Distance is what a reader counts distances in.
type Distance string

// Thickness is what a reader measures brake parts in.
type Thickness string

// The choices, by the names they are kept under.
const (
	Kilometres  Distance  = "km"
	Miles       Distance  = "mi"
	Millimetres Thickness = "mm"
	// Inches are 32nds of an inch for pads and linings, and decimal inches for
	// rotors and drums (common practice, no source).
	Inches Thickness = "in"
)

// Distances and Thicknesses list the choices, the usual one first.
var (
	Distances   = []Distance{Kilometres, Miles}
	Thicknesses = []Thickness{Millimetres, Inches}
)

// Reader is how somebody wants quantities and days said. A blank field is the
// usual choice: km, mm, 20 Mar 2026.
type Reader struct {
	DistanceIn  Distance
	ThicknessIn Thickness
	DaysAs      Days
	Zone        string // IANA name of the clock that times are told by; blank = UTC
}

// Validate says what is none of the choices.
func (r Reader) Validate() error {
	switch {
	case r.DistanceIn != "" && r.DistanceIn != Kilometres && r.DistanceIn != Miles:
		return fmt.Errorf("distance %q: want km or mi", r.DistanceIn)
	case r.ThicknessIn != "" && r.ThicknessIn != Millimetres && r.ThicknessIn != Inches:
		return fmt.Errorf("thickness %q: want mm or in", r.ThicknessIn)
	case r.DaysAs != "" && forms[r.DaysAs].long == "":
		return errors.New("days: want one of the ways to write a day that are offered")
	}
	if _, err := time.LoadLocation(r.Zone); err != nil || r.Zone == "Local" {
		return fmt.Errorf("time zone %q: want an IANA name such as Europe/Berlin, or nothing", r.Zone)
	}
	return nil
}

// in32nds says whether the thickness of a part is told in 32nds of an inch.
func in32nds(part string) bool { return part == "pad" || part == "lining" }

// IsNumber says whether x is neither NaN nor infinite.
func IsNumber(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

// None stands where a number is not known.
const None = "–"
