package ingest

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"brakewear/internal/fleet"
)

// DateOrders are the orders of dates that a file may declare.
var DateOrders = []string{"dmy", "mdy", "ymd"}

const noDate = "not a date: write year-month-day, such as 2026-03-01"

// dates reads the dates of one file. Rows of a day stand together, so the
// last text read is remembered.
type dates struct {
	order  string // "" = ISO only
	serial bool   // numbers are spreadsheet days
	from   int    // the day that serial 0 is
	today  fleet.Date
	ahead  fleet.Date // so many days after today are taken

	last     string
	lastDate fleet.Date
}

func newDates(order string, today fleet.Date) (*dates, error) {
	if order != "" && !slices.Contains(DateOrders, order) {
		return nil, fleet.Invalidf("date order %q: want dmy, mdy or ymd, or none for ISO dates", order)
	}
	return &dates{order: order, today: today}, nil
}

// parse reads a date; fault says why it is none.
func (d *dates) parse(s string) (fleet.Date, string) {
	if s == d.last && s != "" {
		return d.lastDate, ""
	}
	day, fault := d.read(s)
	switch {
	case fault != "":
		return 0, fault
	case day < fleet.Earliest:
		return 0, fmt.Sprintf("%s is before %s: correct it", day, fleet.Earliest)
	case d.today != 0 && day > d.today+d.ahead && d.ahead > 0:
		return 0, fmt.Sprintf("%s is more than five years ahead: correct the year", day)
	case d.today != 0 && day > d.today+d.ahead:
		return 0, fmt.Sprintf("%s is in the future: correct it", day)
	}
	d.last, d.lastDate = s, day
	return day, ""
}

func (d *dates) read(s string) (fleet.Date, string) {
	if d.serial && numeric(s, "0123456789.") && strings.Count(s, ".") < 2 && !(len(s) == 8 && isDigits(s)) {
		x, err := strconv.ParseFloat(s, 64)
		if err != nil || x < 1 || x > maxSerial {
			return 0, noDate
		}
		return fleet.Date(int(math.Floor(x)) + d.from), ""
	}
	text, fault := cutTime(s)
	if fault != "" {
		return 0, fault
	}
	if len(text) == 8 && isDigits(text) { // ISO basic form
		return civil(text[:4], text[4:6], text[6:])
	}
	if day, ok := namedMonth(text); ok {
		return day, ""
	}
	parts := strings.FieldsFunc(text, func(r rune) bool { return r == '-' || r == '/' || r == '.' || r == ' ' })
	if len(parts) != 3 || slices.ContainsFunc(parts, func(p string) bool { return !isDigits(p) }) {
		return 0, noDate
	}
	if len(parts[0]) == 4 { // no order of use begins with the year but this one
		return civil(parts[0], parts[1], parts[2])
	}
	switch d.order {
	case "dmy":
		return civil(parts[2], parts[1], parts[0])
	case "mdy":
		return civil(parts[2], parts[0], parts[1])
	case "ymd":
		return civil(parts[0], parts[1], parts[2])
	}
	return 0, "the file does not say whether the day or the month comes first: write year-month-day, or say the order for the whole file, where it is handed in or as in a header \"date (dd/mm/yyyy)\""
}

// maxSerial is 31 December 9999, the last day a spreadsheet knows (ISO/IEC
// 29500-1, 18.17.4.1).
const maxSerial = 2958465

// Day before the one that serial 1 is, or serial 0, in the two date systems of
// spreadsheets (ISO/IEC 29500-1, 18.17.4.1). The first counts 29 February
// 1900, which never was, so that days from March 1900 are right.
var (
	serial1900 = int(fleet.NewDate(1899, time.December, 30))
	serial1904 = int(fleet.NewDate(1904, time.January, 1))
)

// civil puts a day together. Two digits of a year are of this century.
func civil(y, m, d string) (fleet.Date, string) {
	if len(y) != 4 && len(y) != 2 || len(m) > 2 || len(d) > 2 {
		return 0, noDate
	}
	year, _ := strconv.Atoi(y)
	month, _ := strconv.Atoi(m)
	day, _ := strconv.Atoi(d)
	if len(y) == 2 {
		year += 2000
	}
	t := time.Date(year, time.Month(month), day, 0, 0, 0, 0, time.UTC)
	if t.Day() != day || int(t.Month()) != month {
		return 0, fmt.Sprintf("there is no day %02d of month %02d in %d: correct it", day, month, year)
	}
	return fleet.DateOf(t), ""
}

// cutTime takes a time of day off the end: the day stays the one written,
// whatever the zone.
func cutTime(s string) (text, fault string) {
	i := strings.IndexAny(s, "T ")
	if i < 8 || !strings.Contains(s[i:], ":") {
		return s, ""
	}
	clock := strings.TrimSpace(s[i+1:])
	for _, form := range []string{"15:04", "15:04:05", "15:04Z07:00", "15:04:05Z07:00", "15:04:05Z0700", "15:04:05 Z07:00", "15:04:05 MST", "3:04 PM", "3:04:05 PM"} {
		if _, err := time.Parse(form, clock); err == nil { // takes decimals of a second too
			return s[:i], ""
		}
	}
	return "", noDate
}

// namedMonth reads dates that cannot be mistaken because they name the month.
func namedMonth(s string) (fleet.Date, bool) {
	if !strings.ContainsAny(s, "aeiou") && !strings.ContainsAny(s, "AEIOU") {
		return 0, false
	}
	for _, form := range []string{"2 Jan 2006", "2-Jan-2006", "2 January 2006", "Jan 2, 2006", "January 2, 2006", "Jan 2 2006", "2. January 2006"} {
		if t, err := time.Parse(form, s); err == nil {
			return fleet.DateOf(t), true
		}
	}
	return 0, false
}
