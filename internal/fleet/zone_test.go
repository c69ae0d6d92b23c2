package fleet_test

import (
	"testing"
	"time"
	_ "time/tzdata"

	"brakewear/internal/fleet"
)

func zone(t *testing.T, name string) *time.Location {
	t.Helper()
	loc, err := time.LoadLocation(name)
	if err != nil {
		t.Fatal(err)
	}
	return loc
}

// The days on which clocks change are the IANA time zone database's; the rule
// for the missing and the doubled hour is that of RFC 5545, 3.3.5, whose
// example of 28 and 25 October it follows.
func TestDateAt(t *testing.T) {
	for _, c := range []struct {
		zone, day string
		minutes   int
		want      string
	}{
		{"UTC", "2026-03-29", 150, "2026-03-29T02:30:00Z"},
		{"Europe/Berlin", "2026-03-28", 150, "2026-03-28T02:30:00+01:00"},
		{"Europe/Berlin", "2026-03-29", 119, "2026-03-29T01:59:00+01:00"},
		{"Europe/Berlin", "2026-03-29", 120, "2026-03-29T03:00:00+02:00"}, // is skipped
		{"Europe/Berlin", "2026-03-29", 150, "2026-03-29T03:30:00+02:00"}, // is skipped
		{"Europe/Berlin", "2026-03-29", 180, "2026-03-29T03:00:00+02:00"},
		{"Europe/Berlin", "2026-10-25", 119, "2026-10-25T01:59:00+02:00"},
		{"Europe/Berlin", "2026-10-25", 150, "2026-10-25T02:30:00+02:00"}, // comes twice
		{"Europe/Berlin", "2026-10-25", 180, "2026-10-25T03:00:00+01:00"},
		{"Australia/Lord_Howe", "2026-10-04", 135, "2026-10-04T02:45:00+11:00"}, // half an hour is skipped
		{"Australia/Lord_Howe", "2026-04-05", 105, "2026-04-05T01:45:00+11:00"}, // and comes twice
		{"America/Sao_Paulo", "2018-11-04", 0, "2018-11-04T01:00:00-02:00"},     // midnight is skipped
		{"Asia/Kathmandu", "2026-01-01", 0, "2026-01-01T00:00:00+05:45"},
	} {
		d, err := fleet.ParseDate(c.day)
		if err != nil {
			t.Fatal(err)
		}
		if got := d.At(c.minutes, zone(t, c.zone)).Format(time.RFC3339); got != c.want {
			t.Errorf("%s %s + %d min: got %s, want %s", c.zone, c.day, c.minutes, got, c.want)
		}
	}
}

// Every quarter of an hour of two years, in zones that change their clocks by
// an hour, by half an hour, at midnight and never: what was asked for is what
// clocks show, unless they never show it.
func TestDateAtShowsWhatWasAskedFor(t *testing.T) {
	for _, name := range []string{"Europe/Berlin", "America/New_York", "Australia/Lord_Howe", "America/Asuncion", "Africa/Casablanca", "Asia/Tokyo"} {
		loc := zone(t, name)
		skipped := 0
		for d := fleet.NewDate(2023, 1, 1); d < fleet.NewDate(2025, 1, 1); d++ {
			for m := 0; m < 24*60; m += 15 {
				at := d.At(m, loc)
				if fleet.DateOf(at) == d && at.Hour()*60+at.Minute() == m {
					if earlier := at.Add(-time.Hour); earlier.Hour() == at.Hour() && earlier.Minute() == at.Minute() {
						t.Fatalf("%s %s + %d min: got %v, want the first of two", name, d, m, at)
					}
					continue
				}
				skipped++
			}
		}
		want := map[string]int{"Asia/Tokyo": 0, "Australia/Lord_Howe": 2 * 2}[name] // quarters in the gaps of two springs
		if name != "Asia/Tokyo" && name != "Australia/Lord_Howe" {
			want = 2 * 4
		}
		if skipped != want {
			t.Errorf("%s: %d quarters that clocks do not show, want %d", name, skipped, want)
		}
	}
}
