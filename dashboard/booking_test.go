package dashboard

import (
	"strings"
	"testing"
	"time"

	"brakewear/internal/fleet"
	"brakewear/internal/units"
)

// A proposal's reason is said as its reader wants it; what a person wrote stays.
func TestChangeWords(t *testing.T) {
	tell := units.Reader{DistanceIn: units.Miles, ThicknessIn: units.Inches, DaysAs: units.ISO}
	x := fleet.BookingChange{At: time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC), What: "booked", By: "N. N.", Why: "3 mm left, to be booked by 5 Mar"}
	today := fleet.NewDate(2026, 3, 2)
	if got := changeWords(tell, &x, time.UTC, today); !strings.HasSuffix(got, ": 3 mm left, to be booked by 5 Mar.") {
		t.Errorf("somebody's own words: got %q", got)
	}
	x.Proposed = true
	if got := changeWords(tell, &x, time.UTC, today); !strings.HasSuffix(got, "/32 in left, to be booked by 2026-03-05.") {
		t.Errorf("a proposal's: got %q", got)
	}
}
