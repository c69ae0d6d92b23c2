package units

import (
	"sync"
	"time"
)

// Days is a way to write a day, by the name it is kept under.
type Days string

// The ways to write a day. Words stay English.
const (
	DayMonth   Days = "d mon y"
	MonthDay   Days = "mon d, y"
	ISO        Days = "y-m-d"
	Dots       Days = "d.m.y"
	DaySlash   Days = "d/m/y"
	MonthSlash Days = "m/d/y"
)

// AllDays lists them, the usual one first.
var AllDays = []Days{DayMonth, MonthDay, ISO, Dots, DaySlash, MonthSlash}

// forms are the layouts of a day with its year and without. Numbers alone keep
// their year: 3/4 is a day of March to one reader and of April to another.
var forms = map[Days]struct{ long, short string }{
	DayMonth:   {"2 Jan 2006", "2 Jan"},
	MonthDay:   {"Jan 2, 2006", "Jan 2"},
	ISO:        {"2006-01-02", "2006-01-02"},
	Dots:       {"02.01.2006", "02.01.2006"},
	DaySlash:   {"02/01/2006", "02/01/2006"},
	MonthSlash: {"01/02/2006", "01/02/2006"},
}

// date is a calendar day, such as fleet.Date.
type date interface{ Time() time.Time }

// Day says a day with its year: 20 Mar 2026.
func (r Reader) Day(d date) string { return d.Time().Format(r.layout().long) }

// DayShort says a day without its year, where the reader's way has such.
func (r Reader) DayShort(d date) string {
	return d.Time().Format(r.layout().short)
}

// How near to today a day is understood without its year: plans look ahead,
// so a bare day of autumn is read as the coming one.
const (
	yearlessAhead = 270 * 24 * time.Hour
	yearlessBack  = 60 * 24 * time.Hour
)

// DayNear leaves the year out where nobody would read another.
func (r Reader) DayNear(d, today date) string {
	if ahead := d.Time().Sub(today.Time()); ahead < yearlessAhead && ahead > -yearlessBack {
		return r.DayShort(d)
	}
	return r.Day(d)
}

// Moment says a time of a place's clock to the minute, with that clock's name:
// 20 Mar 2026, 15:04 CET.
func (r Reader) Moment(t time.Time, loc *time.Location) string {
	t = t.In(loc)
	return t.Format(r.layout().long + ", 15:04 MST")
}

// zones keeps the clocks that were read, by name.
var zones sync.Map

// Clock is the reader's own; UTC where none is known.
func (r Reader) Clock() *time.Location {
	if r.Zone == "" {
		return time.UTC
	}
	if loc, ok := zones.Load(r.Zone); ok {
		return loc.(*time.Location)
	}
	loc, err := time.LoadLocation(r.Zone)
	if err != nil {
		return time.UTC
	}
	zones.Store(r.Zone, loc)
	return loc
}

// At is Moment by the reader's clock, where no depot's is meant.
func (r Reader) At(t time.Time) string { return r.Moment(t, r.Clock()) }

// AtShort is At without the year.
func (r Reader) AtShort(t time.Time) string { return r.MomentShort(t, r.Clock()) }

// DayAt says the day it was by the reader's clock.
func (r Reader) DayAt(t time.Time) string { return t.In(r.Clock()).Format(r.layout().long) }

// MomentShort is Moment without the year, where the reader's way has such.
func (r Reader) MomentShort(t time.Time, loc *time.Location) string {
	return t.In(loc).Format(r.layout().short + ", 15:04 MST")
}

func (r Reader) layout() struct{ long, short string } {
	if f, ok := forms[r.DaysAs]; ok {
		return f
	}
	return forms[DayMonth]
}
