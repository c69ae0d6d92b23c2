package ingest

import (
	"testing"

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
