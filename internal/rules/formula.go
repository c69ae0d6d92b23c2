package rules

import (
	"fmt"
	"regexp"
	"strconv"

	"brakewear/internal/fleet"
)

// formulas of type approval look like "0.15v + 2v^2/115" and "0.1v + 0.0060v^2".
var formulaForm = regexp.MustCompile(`^([\d.]+)v \+ ([\d.]*)v\^2(?:/([\d.]+))?$`)

// At returns the value of a formula in v (km/h); ok is false where the value
// is none.
func (v *Value) At(kmh float64) (x float64, ok bool) {
	m := formulaForm.FindStringSubmatch(v.Text)
	if m == nil {
		return 0, false
	}
	part := func(s string) float64 {
		if s == "" {
			return 1
		}
		f, err := strconv.ParseFloat(s, 64)
		if err != nil {
			ok = false
		}
		return f
	}
	ok = true
	x = part(m[1])*kmh + part(m[2])*kmh*kmh/part(m[3])
	return x, ok
}

// NewVehicleDistance is what a new vehicle of the type must stop within, as a
// formula in the speed: shown beside a measured stop, and not held against it.
const NewVehicleDistance What = "new vehicle's distance"

// typeApproval puts the stopping distance of a new vehicle beside a measured
// stop.
func (s *Set) typeApproval(v *fleet.Vehicle, t *fleet.BrakeTest) string {
	if t.Method != fleet.MeasuredStop || t.DistanceM == 0 {
		return ""
	}
	b := s.Bound(v, t.System, NewVehicleDistance)
	if b == nil {
		return ""
	}
	d, ok := b.Use.Value.At(t.SpeedKmh)
	if !ok {
		return ""
	}
	return fmt.Sprintf("For comparison, a new vehicle of its kind must stop from %s km/h within %.1f m (%s); this one took %s m.",
		Short(t.SpeedKmh), d, b.Use.Value.ID, Short(t.DistanceM))
}
