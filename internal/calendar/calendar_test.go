package calendar

import (
	"bytes"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/emersion/go-ical"
	"pgregory.net/rapid"
)

func sample() Calendar {
	start := time.Date(2026, 3, 29, 6, 0, 0, 0, time.FixedZone("", 2*3600))
	return Calendar{
		Name:     "Bookings; Harbour, Ferry Lines",
		TimeZone: "Europe/Berlin",
		Events: []Event{{
			UID:      "4a7b",
			Revision: 3,
			Made:     time.Date(2026, 3, 1, 8, 0, 0, 0, time.UTC),
			Changed:  time.Date(2026, 3, 2, 9, 30, 15, 999, time.UTC),
			Start:    start,
			End:      start.Add(150 * time.Minute),
			Summary:  "Bus 114: pads, axle 1; \"rotors\" \\ hoses",
			Details:  "Axle 1: pads, at their limit before Easter – höchste Zeit\r\nBay 2",
			Place:    "Harbour",
			URL:      "https://brakes.example/vehicles/7?a=1,2;3",
		}, {
			UID: "gone", Start: start, End: start.Add(time.Hour), Cancelled: true, Summary: "Bus 2",
		}},
	}
}

// parse reads a calendar by a library that did not write it.
func parse(t testing.TB, b []byte) *ical.Calendar {
	t.Helper()
	cal, err := ical.NewDecoder(bytes.NewReader(b)).Decode()
	if err != nil {
		t.Fatalf("%v in\n%s", err, b)
	}
	return cal
}

func TestCalendar(t *testing.T) {
	cal := parse(t, sample().Bytes())
	for name, want := range map[string]string{
		"VERSION": "2.0", "METHOD": "PUBLISH", "NAME": "Bookings; Harbour, Ferry Lines", "X-WR-CALNAME": "Bookings; Harbour, Ferry Lines",
		"X-WR-TIMEZONE": "Europe/Berlin",
	} {
		if got, err := cal.Props.Text(name); err != nil || got != want {
			t.Errorf("%s: got %q, %v; want %q", name, got, err, want)
		}
	}
	if p := cal.Props.Get("REFRESH-INTERVAL"); p == nil || p.Value != "PT1H" || len(p.Params["VALUE"]) != 1 || p.Params.Get("VALUE") != "DURATION" {
		t.Errorf("REFRESH-INTERVAL: got %+v", p)
	}
	events := cal.Events()
	if len(events) != 2 {
		t.Fatalf("got %d events, want 2", len(events))
	}
	e := events[0]
	for name, want := range map[string]string{
		"UID": "4a7b", "SUMMARY": "Bus 114: pads, axle 1; \"rotors\" \\ hoses", "LOCATION": "Harbour", "STATUS": "CONFIRMED",
		"DESCRIPTION": "Axle 1: pads, at their limit before Easter – höchste Zeit\nBay 2",
	} {
		if got, err := e.Props.Text(name); err != nil || got != want {
			t.Errorf("%s: got %q, %v; want %q", name, got, err, want)
		}
	}
	for name, want := range map[string]string{
		"SEQUENCE": "3", "DTSTART": "20260329T040000Z", "DTEND": "20260329T063000Z", "DTSTAMP": "20260302T093015Z",
		"LAST-MODIFIED": "20260302T093015Z", "CREATED": "20260301T080000Z", "URL": "https://brakes.example/vehicles/7?a=1,2;3",
	} {
		if p := e.Props.Get(name); p == nil || p.Value != want {
			t.Errorf("%s: got %+v, want %s", name, p, want)
		}
	}
	if got, err := events[1].Status(); err != nil || got != ical.EventCancelled {
		t.Errorf("status: got %v, %v; want cancelled", got, err)
	}
}

// Lines end in CR LF and have 75 octets at most (RFC 5545, 3.1).
func TestLines(t *testing.T) {
	c := sample()
	c.Events[0].Details = strings.Repeat("höchstens fünfundsiebzig Oktette 漢字 ", 20) + strings.Repeat("ö", 200)
	b := c.Bytes()
	for line := range bytes.SplitSeq(bytes.TrimSuffix(b, []byte("\r\n")), []byte("\r\n")) {
		if len(line) > 75 || bytes.ContainsAny(line, "\r\n") || !utf8.Valid(line) {
			t.Errorf("%d octets: %q", len(line), line)
		}
	}
	got, err := parse(t, b).Events()[0].Props.Text("DESCRIPTION")
	if err != nil || got != c.Events[0].Details {
		t.Errorf("unfolded: got %q, %v", got, err)
	}
}

func TestEmpty(t *testing.T) {
	// The grammar asks for a component; readers take a calendar without one as
	// empty, and so must we, for there may be no booking.
	b := Calendar{Name: "None"}.Bytes()
	if !bytes.HasPrefix(b, []byte("BEGIN:VCALENDAR\r\n")) || !bytes.HasSuffix(b, []byte("END:VCALENDAR\r\n")) {
		t.Errorf("got %q", b)
	}
}

// Whatever people write into a name, it is read as they wrote it, and nothing
// of it becomes a property of its own.
func TestAnyText(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		c := sample()
		s := rapid.StringOf(rapid.OneOf(rapid.Rune(), rapid.SampledFrom([]rune("\n\r;,:\\\"' <>äBEGIN:ND")))).Draw(rt, "text")
		c.Events[0].Summary, c.Name = s, s
		b := c.Bytes()
		cal, err := ical.NewDecoder(bytes.NewReader(b)).Decode()
		if err != nil {
			rt.Fatalf("%v in %q", err, b)
		}
		if len(cal.Events()) != 2 || len(cal.Events()[0].Props) != 12 {
			rt.Fatalf("got %d events with %d properties in %q", len(cal.Events()), len(cal.Events()[0].Props), b)
		}
		if got, err := cal.Events()[0].Props.Text("SUMMARY"); err != nil || got != text(s) {
			rt.Fatalf("got %q, %v; want %q", got, err, text(s))
		}
	})
}
