package main

import (
	"slices"

	"brakewear/internal/fleet"
	"brakewear/internal/units"
)

// told is the setting of commands that say distances and thicknesses to people.
// Nothing is read by it: a forgotten setting must not make 9 mm of 9 inches.
type told struct {
	Units []string `help:"Units of what is printed for people: km or mi, and mm or in (32nds of an inch for pads and linings). CSV and JSON stay in km and mm, and so does what is typed without a unit." env:"BRAKEWEAR_UNITS" default:"km,mm" enum:"km,mi,mm,in" placeholder:"mi,in"`
}

// reader returns whom to print for.
func (t told) reader() (units.Reader, error) {
	var r units.Reader
	for _, d := range units.Distances {
		if slices.Contains(t.Units, string(d)) {
			if r.DistanceIn != "" {
				return r, fleet.Invalidf("--units: want km or mi, not both")
			}
			r.DistanceIn = d
		}
	}
	for _, d := range units.Thicknesses {
		if slices.Contains(t.Units, string(d)) {
			if r.ThicknessIn != "" {
				return r, fleet.Invalidf("--units: want mm or in, not both")
			}
			r.ThicknessIn = d
		}
	}
	return r, nil
}
