package fleet

import "strings"

// Absence is when a vehicle cannot be spared: a range of days, days of the
// week, or those days of the week within a range.
type Absence struct {
	ID        int64
	VehicleID int64
	First     *Date // nil = always until Last
	Last      *Date // nil = from First on
	Weekdays  Days  // 0 = every day
	Reason    string
}

// MaxAhead is how many days ahead something may be planned: further than anybody
// plans a workshop, and short of a year that was mistyped.
const MaxAhead = 5 * 366

// Days is a set of days of the week.
type Days uint8

// Has says whether the day of the week (0 = Monday) is in the set.
func (d Days) Has(weekday int) bool { return d&(1<<weekday) != 0 }

// With returns the set with one more day.
func (d Days) With(weekday int) Days { return d | 1<<weekday }

// String lists the days: "Mon, Fri".
func (d Days) String() string {
	var words []string
	for i, name := range Weekdays {
		if d.Has(i) {
			words = append(words, name[:3])
		}
	}
	return strings.Join(words, ", ")
}

// allDays is every day of the week.
const allDays Days = 1<<7 - 1

// Validate reports the first fault of a.
func (a *Absence) Validate() error {
	switch {
	case a.First == nil && a.Last == nil && a.Weekdays == 0:
		return Invalidf("days: give a first and a last day, or days of the week")
	case a.First != nil && a.Last != nil && *a.Last < *a.First:
		return Invalidf("last day %s: it lies before the first, %s", a.Last.Written(), a.First.Written())
	case a.First == nil && a.Last == nil && a.Weekdays&allDays == allDays:
		return Invalidf("days of the week: a vehicle that can never be spared cannot be booked; leave one day free")
	case a.Weekdays > allDays:
		return Invalidf("days of the week: there are seven")
	}
	return ValidWords("reason", a.Reason)
}

// Covers says whether the vehicle cannot be spared on a day.
func (a *Absence) Covers(d Date) bool {
	return (a.First == nil || *a.First <= d) && (a.Last == nil || d <= *a.Last) &&
		(a.Weekdays == 0 || a.Weekdays.Has(d.Weekday()))
}

// PlannedVisit is a day on which a vehicle comes into a workshop anyway: a
// statutory test, a service. A brake job may join it.
type PlannedVisit struct {
	ID        int64
	VehicleID int64
	DepotID   int64 // 0 = not one of ours: nothing can join it
	Day       Date
	What      string
	Depot     string // filled where visits are read
}

// Validate reports the first fault of v.
func (v *PlannedVisit) Validate() error {
	if strings.TrimSpace(v.What) == "" {
		return Invalidf("what: say what the visit is for, such as service")
	}
	return ValidWords("what", v.What)
}

// Upkeep is what a vehicle's calendar holds.
type Upkeep struct {
	Absences     []Absence
	Visits       []PlannedVisit
	FluidChanged *Date // last change of brake fluid; nil = not known, or air brakes
}
