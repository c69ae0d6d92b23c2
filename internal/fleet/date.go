package fleet

import (
	"database/sql/driver"
	"fmt"
	"time"
)

// Date is a civil day counted from 1 January 1970. It is never an instant:
// the day a reading was taken does not move with anybody's time zone.
type Date int32

// isoDate is the only text form of a Date (ISO 8601).
const isoDate = "2006-01-02"

// Earliest is the first day that a record can be of. No vehicle in service has
// seen those before it; they come of slips and of numbers that were no dates.
var Earliest = NewDate(1950, time.January, 1)

// Latest is the last day that is written with a year of four digits.
var Latest = NewDate(9999, time.December, 31)

// NewDate returns the civil day of year, month and day.
func NewDate(year int, month time.Month, day int) Date {
	return Date(time.Date(year, month, day, 0, 0, 0, 0, time.UTC).Unix() / 86400)
}

// DateOf returns the civil day t shows on its own clock.
func DateOf(t time.Time) Date {
	return NewDate(t.Date())
}

// ParseDate reads an ISO date such as 2026-03-01.
func ParseDate(s string) (Date, error) {
	t, err := time.Parse(isoDate, s)
	if err != nil || t.Year() < 1 { // a server knows no year 0
		return 0, fmt.Errorf("date %q: want year-month-day such as 2026-03-01", s)
	}
	return DateOf(t), nil
}

// Time returns midnight UTC of the day, for formatting.
func (d Date) Time() time.Time { return time.Unix(int64(d)*86400, 0).UTC() }

// String returns the day in ISO form.
func (d Date) String() string { return d.Time().Format(isoDate) }

// Written returns the day as sentences say it, such as 2 Mar 2026. Pages say a
// sentence that was kept, and a fault, as their reader wants days
// (units.Reader.Text and Days).
func (d Date) Written() string { return d.Time().Format("2 Jan 2006") }

// MarshalText gives the ISO form, in JSON as well.
func (d Date) MarshalText() ([]byte, error) { return d.Time().AppendFormat(nil, isoDate), nil }

// UnmarshalText reads the ISO form.
func (d *Date) UnmarshalText(b []byte) error {
	got, err := ParseDate(string(b))
	if err != nil {
		return err
	}
	*d = got
	return nil
}

// Value stores the ISO form, which sorts alike in both databases.
func (d Date) Value() (driver.Value, error) { return d.String(), nil }

// Scan reads what either driver returns for a date column: a time, or text
// that starts with the ISO form.
func (d *Date) Scan(src any) error {
	var s string
	switch v := src.(type) {
	case time.Time:
		*d = DateOf(v)
		return nil
	case string:
		s = v
	case []byte:
		s = string(v)
	default:
		return fmt.Errorf("cannot read a date from %T", src)
	}
	if len(s) > len(isoDate) {
		s = s[:len(isoDate)]
	}
	return d.UnmarshalText([]byte(s))
}
