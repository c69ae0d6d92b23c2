package units

import (
	"testing"
	"time"
)

// Sentences as the program writes them, invented.
func TestText(t *testing.T) {
	today := at(time.Date(2026, 3, 2, 0, 0, 0, 0, time.UTC))
	iso := Reader{DistanceIn: Miles, ThicknessIn: Inches, DaysAs: ISO}
	for _, c := range []struct{ in, want string }{
		{"Axle 2 left: inner pad 9.2 mm, outer pad 12.8 mm on 9 Feb 2026.", "Axle 2 left: inner pad 11.6/32 in, outer pad 16.1/32 in on 2026-02-09."},
		{"The odometer went on from 107,722 km on 2 May 2025.", "The odometer went on from 66,935 mi on 2025-05-02."},
		{"outside what is likely (7.0 to 8.5 mm on that day)", "outside what is likely (8.8/32 to 10.7/32 in on that day)"},
		{"the rotor has 22.4 mm", "the rotor has 0.882 in"},
		{"runout 0.08 mm, at most 0.05 mm", "runout 0.0031 in, at most 0.0020 in"},
		{"wears 1.20 mm per 10,000 km", "wears 2.43/32 in per 10,000 mi"},
		{"from 50 km/h", "from 50 km/h"},
		{"by 1 Mar and 7 Apr, not 31 Dec", "by 2026-03-01 and 2026-04-07, not 2025-12-31"},
		{"the reading of 3 March 2026", "the reading of 2026-03-03"},
		{"12 Maybes and a Mayor", "12 Maybes and a Mayor"},
	} {
		if got := iso.Text(c.in, today); got != c.want {
			t.Errorf("%q: got %q, want %q", c.in, got, c.want)
		}
		if got := (Reader{}).Text(c.in, today); got != c.in {
			t.Errorf("%q: the usual reader got %q", c.in, got)
		}
	}
	// A fault: what was typed stays.
	const fault = "“45 mm” cannot be read; the booking of 2 Mar 2026 is there, not one of 7 Apr"
	for s, want := range map[string]string{
		fault: "“45 mm” cannot be read; the booking of 2026-03-02 is there, not one of 7 Apr",
		`date "12 May 2026": want year-month-day, from 2 Mar 2026 on`: `date "12 May 2026": want year-month-day, from 2026-03-02 on`,
		`“late, 12 May 2026” is no reason on 2 Mar 2026`:              `“late, 12 May 2026” is no reason on 2026-03-02`,
		`"a \" of 3 May 2026" on 2 Mar 2026`:                          `"a \" of 3 May 2026" on 2026-03-02`,
	} {
		if got := iso.Days(s); got != want {
			t.Errorf("got %q, want %q", got, want)
		}
	}
	if got := (Reader{}).Days(fault); got != fault {
		t.Errorf("the usual reader got %q", got)
	}
	for _, c := range []struct {
		mixed Reader
		want  string
	}{
		{Reader{DistanceIn: Miles}, "wears 1.93 mm per 10,000 mi down to 0.4 mm after 62 mi"},
		{Reader{ThicknessIn: Inches}, "wears 1.51/32 in per 10,000 km down to 0.50/32 in after 100 km"},
	} {
		if got := c.mixed.Text("wears 1.20 mm per 10,000 km down to 0.4 mm after 100 km", today); got != c.want {
			t.Errorf("got %q, want %q", got, c.want)
		}
	}
	// Of a day without its year, the one in which nobody would read another.
	autumn := at(time.Date(2026, 11, 15, 0, 0, 0, 0, time.UTC))
	if got, want := iso.Text("by 3 Jan, not 1 Oct", autumn), "by 2027-01-03, not 2026-10-01"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
}
