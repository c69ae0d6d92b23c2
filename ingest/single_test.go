package ingest

import (
	"errors"
	"testing"

	"brakewear/internal/fleet"
)

func TestParseThickness(t *testing.T) {
	// 1 in = 25.4 mm exactly, so 9/32 in = 7.14375 mm.
	for _, c := range []struct {
		s, unit    string
		mm         float64
		given, of  string
		unreadable bool
	}{
		{"7.4", "mm", 7.4, "7.4", "mm", false},
		{" 7,4 ", "", 7.4, "7,4", "mm", false},
		{"9/32", "in", 7.14375, "9/32", "in", false},
		{"9/32 in", "mm", 7.14375, "9/32", "in", false},
		{"1 3/16", "in", 30.1625, "1 3/16", "in", false},
		{"9", "1/32 in", 7.14375, "9", "1/32 in", false},
		{"0,28", "in", 7.112, "0,28", "in", false},
		{"0", "mm", 0, "0", "mm", false},
		{"9/32", "mm", 0, "", "", true},
		{"", "mm", 0, "", "", true},
		{"7.4.1", "mm", 0, "", "", true},
		{"-3", "mm", 0, "", "", true},
		{"1001", "mm", 0, "", "", true},
		{"<3", "mm", 0, "", "", true}, // a sensor's signal is ticked, not written
		{"NaN", "mm", 0, "", "", true},
		{"7.4", "furlong", 0, "", "", true},
	} {
		got, err := ParseThickness(c.s, c.unit)
		if c.unreadable {
			if !errors.Is(err, fleet.ErrInvalid) {
				t.Errorf("%q %s: got %+v, %v; want it refused", c.s, c.unit, got, err)
			}
			continue
		}
		if want := (Thickness{c.mm, c.given, c.of}); err != nil || got != want {
			t.Errorf("%q %s: got %+v, %v; want %+v", c.s, c.unit, got, err, want)
		}
	}
}

func TestParseDistance(t *testing.T) {
	for _, c := range []struct {
		s, unit    string
		km         float64
		unreadable bool
	}{
		{"155000", "km", 155000, false},
		{"155 000", "", 155000, false},
		{"155,000.5", "km", 155000.5, false},
		{"100000", "mi", 160934.4, false}, // 1 mi = 1.609344 km exactly
		{"155.000", "km", 155000, false},
		{"155,000", "mi", 249448.32, false},
		{"1.5", "km", 1.5, false},
		{"155000 km", "km", 155000, false},
		{"155,000 km", "", 155000, false},
		{"155000km", "mi", 155000, false},
		{"100 000 Miles", "km", 160934.4, false},
		{"155000 mm", "km", 0, true},
		{"km", "km", 0, true},
		{"-1", "km", 0, true},
		{"99999999", "km", 0, true},
		{"", "km", 0, true},
		{"155000", "nm", 0, true},
	} {
		got, err := ParseDistance(c.s, c.unit)
		if c.unreadable {
			if !errors.Is(err, fleet.ErrInvalid) {
				t.Errorf("%q %s: got %g, %v; want it refused", c.s, c.unit, got, err)
			}
		} else if err != nil || got != c.km {
			t.Errorf("%q %s: got %g, %v; want %g", c.s, c.unit, got, err, c.km)
		}
	}
}
