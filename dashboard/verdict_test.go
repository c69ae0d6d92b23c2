package dashboard

import (
	"testing"

	"brakewear/forecast"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/units"
)

func TestVerdict(t *testing.T) {
	w := func(codes ...forecast.Code) (ws []forecast.Warning) {
		for _, c := range codes {
			ws = append(ws, forecast.Warning{Code: c, Text: "said by " + string(c)})
		}
		return ws
	}
	for _, c := range []struct {
		name                  string
		bookBy, p10, p50, p90 *fleet.Date
		past                  bool
		warnings              []forecast.Warning
		want                  Verdict
	}{
		{"in time", in(20), in(30), in(50), in(90), false, nil,
			Verdict{Ask: "book by", Strong: "22 Mar", ISO: "2026-03-22", Why: "limit 1 Apr – 31 May, likely 21 Apr"}},
		{"today", in(0), in(3), in(9), in(20), false, nil,
			Verdict{Ask: "book by", Strong: "2 Mar", ISO: "2026-03-02", Why: "limit 5 Mar – 22 Mar, likely 11 Mar"}},
		{"late", in(-4), in(-1), in(9), in(20), false, nil,
			Verdict{Ask: "book", Strong: "now", Why: "was to be booked by 26 Feb; limit by 22 Mar, likely 11 Mar"}},
		{"late, and never measured", in(-4), in(-1), in(9), in(20), false, w(forecast.NoReadings),
			Verdict{Ask: "measure", Strong: "now", Why: "was to be booked by 26 Feb; limit by 22 Mar, likely 11 Mar"}},
		{"past", in(40), in(50), in(90), in(120), true, w(forecast.PastLimit),
			Verdict{Ask: "book", Strong: "now", Why: "said by past_limit", Urgent: true}},
		{"past, in no words", in(40), in(50), in(90), in(120), true, nil,
			Verdict{Ask: "book", Strong: "now", Why: "at or past its limit", Urgent: true}},
		{"old readings clear nothing", in(400), in(500), in(600), in(700), false, w(forecast.OldReadings),
			Verdict{Ask: "measure", Strong: "first", Why: "nothing recent to go by; else book by 6 Apr 2027"}},
		{"never measured", nil, nil, nil, nil, false, w(forecast.NoReadings),
			Verdict{Ask: "measure", Strong: "first", Why: "nothing measured on these parts"}},
		{"thin reading", in(20), in(30), in(50), in(90), false, w(forecast.Remeasure),
			Verdict{Ask: "measure", Strong: "again", Why: "a thin reading disagrees; else book by 22 Mar"}},
		{"no odometer", nil, nil, nil, nil, false, w(forecast.UsageUnknown),
			Verdict{Ask: "book by", Strong: "no date", Why: "too few odometer readings for a date"}},
		{"far", nil, nil, in(5000), nil, false, nil,
			Verdict{Ask: "book by", Strong: "not in sight", Why: "limit not in sight"}},
	} {
		if got := verdict(units.Reader{}, c.bookBy, c.p10, c.p50, c.p90, c.past, c.warnings, today); got != c.want {
			t.Errorf("%s:\n got %+v\nwant %+v", c.name, got, c.want)
		}
	}
}

// TestVehicleRow wants the list of vehicles to clear none that was measured
// too long ago, whatever its forecast.
func TestVehicleRow(t *testing.T) {
	for _, c := range []struct {
		name           string
		measured, book *fleet.Date
		past           bool
		want           string
	}{
		{"in time", in(-20), in(30), false, "book by 1 Apr"},
		{"late", in(-20), in(-1), false, "now: to be booked by 1 Mar"},
		{"past", in(-20), in(30), true, "now: at or past a limit"},
		{"never measured", nil, in(30), false, "measure first"},
		{"measured too long ago", in(-forecast.OldAfter - 1), in(30), false, "measure first"},
		{"just in time", in(-forecast.OldAfter), in(30), false, "book by 1 Apr"},
		{"no date", in(-20), nil, false, "no date"},
	} {
		row := vehicleRow(units.Reader{}, &store.VehicleRow{LastReading: c.measured, BookBy: c.book, PastLimit: c.past}, today)
		if row.BookBy != c.want {
			t.Errorf("%s: got %q, want %q", c.name, row.BookBy, c.want)
		}
	}
}
