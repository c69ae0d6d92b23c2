// Package calendar writes calendars that other programs subscribe to, in the
// iCalendar form (RFC 5545). It is pure: the same events give the same bytes.
// It never reads a calendar, a clock or a database.
package calendar

import (
	"strings"
	"time"
	"unicode"

	ics "github.com/arran4/golang-ical"
)

// Calendar is a list of events under a name.
type Calendar struct {
	Name     string
	TimeZone string // IANA name that its readers are likely to be in
	Events   []Event
}

// Event is something that takes place, or was to.
type Event struct {
	// UID is the same for as long as the event exists, whatever is changed.
	UID string
	// Revision counts the changes; readers take the higher one.
	Revision   int
	Made       time.Time
	Changed    time.Time
	Start, End time.Time
	Summary    string
	Details    string // lines
	Place      string
	URL        string // "" = none
	Cancelled  bool
}

const (
	// product names the writer (RFC 5545, 3.7.3).
	product = "-//brakewear//bookings//EN"
	// refresh is how often readers are asked to look (RFC 7986, 5.7): a plan
	// that changed in the morning shows before noon, and a thousand
	// subscribers ask less than once a second.
	refresh = "PT1H"
)

// Bytes returns the calendar as it is sent.
func (c Calendar) Bytes() []byte {
	cal := ics.NewCalendarFor("")
	cal.SetProductId(product)
	cal.SetMethod(ics.MethodPublish)
	cal.SetName(text(c.Name))
	cal.SetXWRCalName(text(c.Name)) // what most programs read instead
	cal.SetXWRTimezone(c.TimeZone)
	cal.SetRefreshInterval(refresh) // the library says that it is a duration
	cal.SetXPublishedTTL(refresh)
	for i := range c.Events {
		c.Events[i].add(cal)
	}
	// Left to itself the library ends lines as the machine does, which is not
	// what section 3.1 asks for.
	return []byte(cal.Serialize(ics.WithNewLineWindows))
}

func (e *Event) add(cal *ics.Calendar) {
	v := cal.AddEvent(e.UID)
	// For a published event, when it was last revised (RFC 5545, 3.8.7.2). It
	// is not the time of writing: what did not change must not look changed.
	v.SetDtStampTime(e.Changed)
	v.SetLastModifiedAt(e.Changed)
	v.SetCreatedTime(e.Made)
	v.SetSequence(e.Revision)
	// Instants in UTC need no description of the time zone with them, and are
	// shown on the reader's own clock.
	v.SetStartAt(e.Start)
	v.SetEndAt(e.End)
	v.SetSummary(text(e.Summary))
	if e.Details != "" {
		v.SetDescription(text(e.Details))
	}
	if e.Place != "" {
		v.SetLocation(text(e.Place))
	}
	if e.URL != "" {
		v.SetURL(e.URL)
	}
	v.SetStatus(ics.ObjectStatusConfirmed)
	if e.Cancelled {
		v.SetStatus(ics.ObjectStatusCancelled)
		v.SetTimeTransparency(ics.TransparencyTransparent) // nobody is kept busy by it
	}
}

// text drops what the form has no place for: control characters other than the
// end of a line (RFC 5545, 3.1).
func text(s string) string {
	s = strings.ReplaceAll(s, "\r\n", "\n")
	return strings.Map(func(r rune) rune {
		if r != '\n' && r != '\t' && unicode.IsControl(r) {
			return -1
		}
		return r
	}, strings.ToValidUTF8(s, "\uFFFD"))
}
