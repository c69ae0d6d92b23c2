package ingest

import (
	"testing"

	"brakewear/internal/fleet"

	"github.com/google/go-cmp/cmp"
)

// A line that is refused for its day or its vehicle has its values looked at all the
// same, so that whoever mends the file mends it once.
func TestLineMendedOnce(t *testing.T) {
	rows, r := mustRead(t, "vehicle,date,axle,left inner pad mm,left outer pad mm,right inner pad mm\n"+
		",2026-02-31,1,7.4.1,-,7.2\nBus 1,2026-02-01,1,7.4,9/32,7.2\n", Options{})
	want := []string{
		`2 refused vehicle "": blank: write the vehicle's number`,
		`2 refused date "2026-02-31": there is no day 31 of month 02 in 2026: correct it`,
		`2 refused left inner pad mm "7.4.1": not a number: write mm in digits, such as 7.4`,
		`3 refused left outer pad mm "9/32": a fraction, but the unit is mm: write the unit behind it, such as 9/32 in`,
	}
	if d := cmp.Diff(want, showProblems(r.Problems())); d != "" {
		t.Errorf("problems (-want +got):\n%s", d)
	}
	if len(rows) != 2 || r.Refused() != 2 {
		t.Errorf("got %d rows and %d refused, want 2 and 2", len(rows), r.Refused())
	}
}

// TestParsePlace: the words of a header that say where a value was measured, in any order, and
// those that say it twice or of no such place.
func TestParsePlace(t *testing.T) {
	for _, c := range []struct {
		words string
		want  place
		ok    bool
	}{
		{"axle 2 left inner pad", place{axle: 2, side: fleet.Left, face: fleet.Inner, part: fleet.Pad}, true},
		{"pad outer right a2", place{axle: 2, side: fleet.Right, face: fleet.Outer, part: fleet.Pad}, true},
		{"front left rotor", place{axleWord: "front", side: fleet.Left, part: fleet.Rotor}, true},
		{"rr", place{axleWord: "rear", side: fleet.Right}, true},
		{"lf pad", place{axleWord: "front", side: fleet.Left, part: fleet.Pad}, true},
		{"axle 12 drum", place{axle: 12, part: fleet.Drum}, true},
		{"axle 13 drum", place{}, false},
		{"axle 0 drum", place{}, false},
		{"a13 drum", place{}, false},
		{"axle 1 a2", place{}, false},
		{"axle 1 axle 2", place{}, false},
		{"axle 1 front", place{}, false},
		{"front rear pad", place{}, false},
		{"fl rear", place{}, false},
		{"fl left", place{}, false},
		{"left right pad", place{}, false},
		{"inner outer pad", place{}, false},
		{"pad rotor", place{}, false},
		{"inner drum", place{}, false},
		{"left wing", place{}, false},
	} {
		got, _, ok := parsePlace(c.words)
		if ok != c.ok || ok && got != c.want {
			t.Errorf("%q: got %+v, %v; want %+v, %v", c.words, got, ok, c.want, c.ok)
		}
	}
}
