package units

import (
	"math"
	"strconv"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

var (
	metric   = Reader{}
	imperial = Reader{DistanceIn: Miles, ThicknessIn: Inches, DaysAs: MonthDay}
)

// Converted by the exact definitions of the international mile and inch (NIST
// Special Publication 811, appendix B.8); how many digits: common practice, no
// source.
func TestSaid(t *testing.T) {
	nan := math.NaN()
	for _, x := range []struct{ name, got, want string }{
		{"km", metric.Distance(25_200), "25,200 km"},
		{"miles", imperial.Distance(25_200), "15,659 mi"},
		{"no distance", imperial.Km(nan), None},
		{"about km", metric.DistanceAbout(12_345), "12,000 km"},
		{"about miles", imperial.DistanceAbout(12_345), "7,700 mi"},
		{"odometer typed in miles", imperial.KmField(millionth(123_456.7 * KmPerMile)), "123456.7"},
		{"odometer typed in km", imperial.KmField(100_000), "62137.1"},
		{"pad in mm", metric.Thickness("pad", 7.42), "7.4 mm"},
		{"pad in 32nds", imperial.Thickness("pad", 6.35), "8/32 in"},
		{"pad of mm in 32nds", imperial.Thickness("pad", 7.42), "9.3/32 in"},
		{"lining of a half 32nd", imperial.Exactly("lining", 6.746875), "8.5/32 in"},
		{"rotor in inches", imperial.Thickness("rotor", 22), "0.866 in"},
		{"drum in inches", imperial.Thickness("drum", 393.7), "15.500 in"},
		{"rotor finer than usual", imperial.Spec("rotor", millionth(.8665*25.4)), "0.8665"},
		{"limit of mm", imperial.Exactly("pad", 5), "6.3/32 in"},
		{"limit in mm", metric.Exactly("pad", 5), "5.0 mm"},
		{"no thickness", imperial.MM("pad", nan), None},
		{"wear", metric.Rate("pad", 1.2) + " " + metric.WearUnit(), "1.20 mm per 10,000 km"},
		{"wear in miles and inches", imperial.Rate("pad", 1.2) + " " + imperial.WearUnit(), "2.43/32 in per 10,000 mi"},
		{"wear of a rotor", imperial.Rate("rotor", .1), "0.0063"},
		{"wear on the axis, a rotor", fixed(imperial.OfRate("rotor", .1), 4), "0.0063"},
		{"no end of km", metric.Km(math.Inf(1)), None},
		{"km short of a thousand", metric.Km(-999), "−999"},
		{"km gone back", metric.Km(-25_200), "−25,200"},
		{"an estimated odometer", metric.OdometerAbout(12_345), "12,300 km"},
		{"an estimated odometer in miles", imperial.OdometerAbout(12_345), "7,700 mi"},
		{"a speed", metric.Speed(50), "50.0\u00a0km/h"},
		{"a speed in miles", imperial.Speed(50), "31.1\u00a0mph"},
		{"a spread in mm", metric.Fine("pad", .123), "0.12"},
		{"a spread in 32nds", imperial.Fine("lining", .123), "0.15/32"},
		{"a runout in inches", imperial.Fine("rotor", .123), "0.0048"},
		{"a runout in a form", metric.FineField(.123), "0.123"},
		{"a runout of mm in a form of inches", imperial.FineField(.123), "0.0048"},
		// 0.00197 in: what is read as 0.0020 in may be more, and as 0.0019 in less.
		{"a runout at most", imperial.FineBound(.05, true), "0.0019 in"},
		{"a runout at least", imperial.FineBound(.05, false), "0.0020 in"},
	} {
		if x.got != x.want {
			t.Errorf("%s: got %q, want %q", x.name, x.got, x.want)
		}
	}
}

// How days are written: common practice, no source.
func TestDays(t *testing.T) {
	day := func(y int, m time.Month, d int) at { return at(time.Date(y, m, d, 0, 0, 0, 0, time.UTC)) }
	today := day(2026, 3, 2)
	for _, x := range []struct {
		days       Days
		long, near string
	}{
		{"", "20 Mar 2026", "20 Mar"},
		{DayMonth, "20 Mar 2026", "20 Mar"},
		{MonthDay, "Mar 20, 2026", "Mar 20"},
		{ISO, "2026-03-20", "2026-03-20"},
		{Dots, "20.03.2026", "20.03.2026"},
		{DaySlash, "20/03/2026", "20/03/2026"},
		{MonthSlash, "03/20/2026", "03/20/2026"},
	} {
		r := Reader{DaysAs: x.days}
		if got := r.Day(day(2026, 3, 20)); got != x.long {
			t.Errorf("%q: got %s, want %s", x.days, got, x.long)
		}
		if got := r.DayNear(day(2026, 3, 20), today); got != x.near {
			t.Errorf("%q, near: got %s, want %s", x.days, got, x.near)
		}
		if got := r.DayNear(day(2027, 3, 20), today); got != r.Day(day(2027, 3, 20)) {
			t.Errorf("%q, a year on: got %s, want the year", x.days, got)
		}
	}
	for d, want := range map[at]string{
		day(2026, 11, 26): "26 Nov", day(2026, 11, 27): "27 Nov 2026", // 269 and 270 days on
		day(2026, 1, 2): "2 Jan", day(2026, 1, 1): "1 Jan 2026", // 59 and 60 days back
	} {
		if got := metric.DayNear(d, today); got != want {
			t.Errorf("got %s, want %s", got, want)
		}
	}
	oslo, err := time.LoadLocation("Europe/Oslo") // CET, UTC+1 in winter
	if err != nil {
		t.Skip(err)
	}
	if got, want := metric.Moment(time.Date(2026, 1, 31, 23, 30, 0, 0, time.UTC), oslo), "1 Feb 2026, 00:30 CET"; got != want {
		t.Errorf("got %s, want %s", got, want)
	}
}

type at time.Time

func (d at) Time() time.Time { return time.Time(d) }

// What is typed in a reader's unit is kept in another, and shown again as it
// was typed.
func TestTypedAndShownAgain(t *testing.T) {
	for n := range 4 * 32 {
		text := strconv.Itoa(n)
		mm := imperial.ToMM("lining", float64(n))
		if got := imperial.Spec("lining", mm); got != text+"/32" {
			t.Errorf("%d/32 in is kept as %v mm and shown as %s", n, mm, got)
		}
		if got := imperial.MM("lining", mm); got != text+"/32" {
			t.Errorf("%d/32 in is kept as %v mm and shown off a gauge as %s", n, mm, got)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		decimals := rapid.IntRange(0, typedDecimals).Draw(t, "decimals")
		typed := func(most int) (string, float64) {
			n := rapid.IntRange(0, most*int(math.Pow10(decimals))).Draw(t, "value")
			s := trimmed(strconv.FormatFloat(float64(n)/math.Pow10(decimals), 'f', decimals, 64))
			x, _ := strconv.ParseFloat(s, 64)
			return s, x
		}
		text, x := typed(60)
		if got := imperial.MMField("pad", imperial.ToMM("pad", x)); got != text {
			t.Fatalf("%s/32 in is shown as %s", text, got)
		}
		if got := imperial.MMField("rotor", imperial.ToMM("rotor", x)); got != text {
			t.Fatalf("%s in is shown as %s", text, got)
		}
		text, x = typed(2_000_000)
		km := imperial.ToKm(x)
		if got := imperial.KmField(km); got != text {
			t.Fatalf("%s mi is shown as %s", text, got)
		}
		if got, want := imperial.Km(km), Thousands(int64(math.Round(x))); got != want {
			t.Fatalf("%s mi is said as %s, want %s", text, got, want)
		}
	})
}

// A reader's clock: 23:30 UTC is the next day in Oslo (UTC+1 in winter, the IANA
// time zone database). An unknown one is UTC.
func TestClock(t *testing.T) {
	at := time.Date(2026, 1, 31, 23, 30, 0, 0, time.UTC)
	oslo := Reader{Zone: "Europe/Oslo"}
	for got, want := range map[string]string{
		oslo.At(at):      "1 Feb 2026, 00:30 CET",
		oslo.AtShort(at): "1 Feb, 00:30 CET",
		oslo.DayAt(at):   "1 Feb 2026",
		Reader{}.At(at):  "31 Jan 2026, 23:30 UTC",
		Reader{Zone: "Atlantis/Lagoon"}.DayAt(at): "31 Jan 2026",
	} {
		if got != want {
			t.Errorf("got %q, want %q", got, want)
		}
	}
}

func TestChoices(t *testing.T) {
	for _, d := range Distances {
		for _, th := range Thicknesses {
			for _, days := range AllDays {
				if err := (Reader{d, th, days, ""}).Validate(); err != nil {
					t.Error(err)
				}
			}
		}
	}
	for _, r := range []Reader{{DistanceIn: "ft"}, {ThicknessIn: "1/32 in"}, {DaysAs: "y"}, {Zone: "Local"}, {Zone: "Atlantis/Lagoon"}} {
		if err := r.Validate(); err == nil || !strings.Contains(err.Error(), "want") {
			t.Errorf("%+v: got %v, want to be told the choices", r, err)
		}
	}
}
