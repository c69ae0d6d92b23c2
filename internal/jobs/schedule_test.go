package jobs

import (
	"testing"
	"time"
	_ "time/tzdata"

	"brakewear/internal/pipeline"
)

func at(t *testing.T, s string) time.Time {
	t.Helper()
	got, err := time.Parse(time.RFC3339, s)
	if err != nil {
		t.Fatal(err)
	}
	return got
}

// Days on which clocks change are the IANA time zone database's; the rule for
// the missing and the doubled hour is that of RFC 5545, 3.3.5.
func TestBetween(t *testing.T) {
	for _, c := range []struct {
		name, spec, zone, handled, now string
		last, next                     string // last "": none
	}{
		{"not yet", "0 3 * * *", "UTC", "2026-03-01T03:00:00Z", "2026-03-02T02:59:59Z", "", "2026-03-02T03:00:00Z"},
		{"just now", "0 3 * * *", "UTC", "2026-03-01T03:00:00Z", "2026-03-02T03:00:00Z", "2026-03-02T03:00:00Z", "2026-03-03T03:00:00Z"},
		{"five missed are one", "0 3 * * *", "UTC", "2026-03-01T03:00:00Z", "2026-03-06T12:00:00Z", "2026-03-06T03:00:00Z", "2026-03-07T03:00:00Z"},
		{"seen first between two", "0 3 * * *", "UTC", "2026-03-01T12:34:56Z", "2026-03-01T12:34:56Z", "", "2026-03-02T03:00:00Z"},
		{"in the zone", "0 3 * * *", "Pacific/Auckland", "2026-02-28T14:00:00Z", "2026-03-01T13:59:59Z", "", "2026-03-01T14:00:00Z"},
		{"weekly", "15 5 * * 1", "UTC", "2026-03-03T00:00:00Z", "2026-03-08T23:00:00Z", "", "2026-03-09T05:15:00Z"},
		{"a clock behind", "0 3 * * *", "UTC", "2026-03-02T03:00:00Z", "2026-03-02T02:59:00Z", "", "2026-03-03T03:00:00Z"},
		{"several hours", "0 6-9 * * *", "UTC", "2026-03-01T09:00:00Z", "2026-03-02T07:30:00Z", "2026-03-02T07:00:00Z", "2026-03-02T08:00:00Z"},

		{"spring, before the gap", "30 2 * * *", "Europe/Berlin", "2026-03-28T01:30:00Z", "2026-03-29T00:59:00Z", "", "2026-03-29T01:30:00Z"},
		{"spring, in the gap", "30 2 * * *", "Europe/Berlin", "2026-03-28T01:30:00Z", "2026-03-29T01:00:00Z", "", "2026-03-29T01:30:00Z"},
		{"spring, after the gap", "30 2 * * *", "Europe/Berlin", "2026-03-28T01:30:00Z", "2026-03-29T01:30:00Z", "2026-03-29T01:30:00Z", "2026-03-30T00:30:00Z"},
		{"spring, seen first after the gap", "30 2 * * *", "Europe/Berlin", "2026-03-29T01:10:00Z", "2026-03-29T01:40:00Z", "2026-03-29T01:30:00Z", "2026-03-30T00:30:00Z"},
		{"autumn, first of two", "30 2 * * *", "Europe/Berlin", "2026-10-24T00:30:00Z", "2026-10-25T00:30:00Z", "2026-10-25T00:30:00Z", "2026-10-26T01:30:00Z"},
		{"autumn, second of two", "30 2 * * *", "Europe/Berlin", "2026-10-25T00:30:00Z", "2026-10-25T01:30:00Z", "", "2026-10-26T01:30:00Z"},
		{"autumn, down during the first", "30 2 * * *", "Europe/Berlin", "2026-10-24T00:30:00Z", "2026-10-25T01:10:00Z", "2026-10-25T00:30:00Z", "2026-10-26T01:30:00Z"},
		{"midnight is skipped", "0 0 * * *", "America/Sao_Paulo", "2018-11-03T03:00:00Z", "2018-11-04T03:00:00Z", "2018-11-04T03:00:00Z", "2018-11-05T02:00:00Z"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s, err := parse(c.spec)
			if err != nil {
				t.Fatal(err)
			}
			last, next := s.between(pipeline.Zone(c.zone), at(t, c.handled), at(t, c.now))
			if c.last == "" != last.IsZero() || c.last != "" && !last.Equal(at(t, c.last)) {
				t.Errorf("last: got %v, want %s", last.UTC(), c.last)
			}
			if !next.Equal(at(t, c.next)) {
				t.Errorf("next: got %v, want %s", next.UTC(), c.next)
			}
		})
	}
}

// Looked at every half an hour of a year, a daily job runs once a day, also
// in the nights that clocks change.
func TestOnceADay(t *testing.T) {
	for _, zone := range []string{"Europe/Berlin", "Australia/Lord_Howe", "America/New_York"} {
		for _, spec := range []string{"45 1 * * *", "15 2 * * *", "0 3 * * *"} {
			s, err := parse(spec)
			if err != nil {
				t.Fatal(err)
			}
			loc := pipeline.Zone(zone)
			begin := time.Date(2025, 1, 1, 0, 0, 0, 0, loc)
			handled := begin
			ran := map[string]int{}
			for now := begin; now.Before(begin.AddDate(1, 0, 0)); now = now.Add(30 * time.Minute) {
				last, _ := s.between(loc, handled, now)
				if !last.IsZero() {
					handled = last
					ran[last.In(loc).Format(time.DateOnly)]++
				}
			}
			if len(ran) != 365 {
				t.Errorf("%s %s: ran on %d days of 365", zone, spec, len(ran))
			}
			for day, n := range ran {
				if n != 1 {
					t.Errorf("%s %s: ran %d times on %s", zone, spec, n, day)
				}
			}
		}
	}
}
