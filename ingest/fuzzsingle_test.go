package ingest

import (
	"errors"
	"math"
	"testing"
	"unicode/utf8"

	"brakewear/internal/fleet"
)

// FuzzSingle reads what is typed into a field or sent as one value: a number that can
// be stored, or an ErrInvalid that says what to do.
func FuzzSingle(f *testing.F) {
	for _, s := range []string{"7.4", "9/32 in", "17/64\"", "<3", "8.5/32", "1 1/2 in", "1,234.5", "155 000 km", "96e3", "-1", "∞", "NaN mm", "0x1p-2", "7,4 mm", "\xff"} {
		for _, unit := range []string{"", "mm", "1/32 in", "mi"} {
			f.Add(s, unit)
		}
	}
	f.Fuzz(func(t *testing.T, s, unit string) {
		refused := func(err error) bool {
			if err != nil && (!errors.Is(err, fleet.ErrInvalid) || !utf8.ValidString(err.Error())) {
				t.Errorf("%q in %q: got error %q, want an ErrInvalid", s, unit, err)
			}
			return err != nil
		}
		if x, err := ParseThickness(s, unit); !refused(err) && (math.IsNaN(x.MM) || math.IsInf(x.MM, 0)) {
			t.Errorf("%q in %q: got %v mm", s, unit, x.MM)
		}
		if km, err := ParseDistance(s, unit); !refused(err) && (math.IsNaN(km) || math.IsInf(km, 0)) {
			t.Errorf("%q in %q: got %v km", s, unit, km)
		}
	})
}
