package fleet

import (
	"fmt"
	"math"
	"strings"
	"time"
	"unicode/utf8"
)

// Clock is a time of day in minutes after midnight on a depot's own clock.
type Clock int

// ValidTimeZone reports a zone that is none of a depot's clock: an IANA name is.
func ValidTimeZone(zone string) error {
	if _, err := time.LoadLocation(zone); err != nil || zone == "" || zone == "Local" {
		return Invalidf("time zone %q: want a name such as Europe/Lisbon or UTC", zone)
	}
	return nil
}

// dayMinutes is the end of a day as a Clock.
const dayMinutes = 24 * 60

// ParseClock reads a time of day such as 07:30.
func ParseClock(s string) (Clock, error) {
	t, err := time.Parse("15:04", strings.TrimSpace(s))
	if err != nil {
		return 0, Invalidf("time %q: want hours and minutes such as 07:30", s)
	}
	return Clock(60*t.Hour() + t.Minute()), nil
}

// String gives the time as 07:30.
func (c Clock) String() string { return fmt.Sprintf("%02d:%02d", c/60, c%60) }

// MarshalText gives the form 07:30.
func (c Clock) MarshalText() ([]byte, error) { return []byte(c.String()), nil }

// UnmarshalText reads the form 07:30.
func (c *Clock) UnmarshalText(b []byte) error {
	got, err := ParseClock(string(b))
	if err == nil {
		*c = got
	}
	return err
}

// Weekday returns the day of the week, 0 = Monday to 6 = Sunday.
func (d Date) Weekday() int {
	// 1 January 1970 was a Thursday.
	return int((int64(d)%7 + 7 + 3) % 7)
}

// Weekdays are the days of the week in the order of Date.Weekday.
var Weekdays = [7]string{"Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday"}

// WorkDay is one day of the week in a workshop.
type WorkDay struct {
	Opens, Closes Clock   // alike: closed
	Technicians   float64 // hours of work that all technicians have together
}

// Open says whether work can be done at all.
func (w WorkDay) Open() bool { return w.Closes > w.Opens && w.Technicians > 0 }

// Minutes is how long a bay is open.
func (w WorkDay) Minutes() int { return max(0, int(w.Closes-w.Opens)) }

// Closure is days on which a workshop is closed, or has fewer technician
// hours than its week says: holidays, leave, training.
type Closure struct {
	ID          int64
	DepotID     int64
	First, Last Date
	Technicians float64 // hours a day; 0 = closed
	Reason      string
}

// Validate reports the first fault of c.
func (c *Closure) Validate() error {
	switch {
	case c.Last < c.First:
		return Invalidf("last day %s: it lies before the first, %s", c.Last.Written(), c.First.Written())
	case c.Last-c.First > MaxClosureDays:
		return Invalidf("last day %s: longer than %d days; change the week instead", c.Last.Written(), MaxClosureDays)
	case !(c.Technicians >= 0) || c.Technicians > maxTechnicianHours:
		return Invalidf("technician hours %g: want 0 for closed, to %d", c.Technicians, maxTechnicianHours)
	}
	return ValidWords("reason", c.Reason)
}

// MaxClosureDays bounds one closure.
const MaxClosureDays = 366

// Task is a kind of work whose duration a workshop knows.
type Task string

const (
	TaskSetUp       Task = "set_up"        // once a visit: in, lift, wheels, test drive, out
	TaskPads        Task = "pads"          // of an axle
	TaskPadsRotors  Task = "pads_rotors"   // of an axle, together
	TaskLinings     Task = "linings"       // of an axle
	TaskLiningDrums Task = "linings_drums" // of an axle, together
	TaskHoses       Task = "hoses"         // more, for an axle
	TaskCalipers    Task = "calipers"      // more, for an axle
	TaskBleed       Task = "bleed"         // fluid changed, of a vehicle
)

// Tasks in the order they are listed to people.
var Tasks = []Task{TaskSetUp, TaskPads, TaskPadsRotors, TaskLinings, TaskLiningDrums, TaskHoses, TaskCalipers, TaskBleed}

// TaskHours is how long a task takes, for a car, van or light trailer and for
// a heavy vehicle.
type TaskHours struct{ Light, Heavy float64 }

// Of returns the hours for a vehicle of the category.
func (h TaskHours) Of(c Category) float64 {
	if c.Heavy() {
		return h.Heavy
	}
	return h.Light
}

// Workshop is what a depot's workshop has, and what its work costs.
type Workshop struct {
	FleetID, DepotID int64
	Set              bool // somebody has set it; otherwise these are the defaults
	Bays             int
	Week             [7]WorkDay // Monday first
	Overtime         float64    // hours a day's work may exceed its technician hours
	Hours            map[Task]TaskHours
	Currency         string  // written before amounts; may be blank
	LabourRate       float64 // per hour
	OvertimeRate     float64 // per hour
	VisitCost        float64 // of a vehicle coming in at all: brought, fetched, missed at work
	SetLight         float64 // price of an axle's pads or linings where no part tells it
	SetHeavy         float64
	PastLight        float64 // expected damage where an axle comes in past its limit
	PastHeavy        float64
	FluidMonths      int // brake fluid is changed when older
}

// Bounds of what is believable in a workshop.
const (
	MaxBays            = 99
	maxTechnicianHours = 2000
	maxTaskHours       = 24
	maxMoney           = 1_000_000
)

// DefaultWorkshop is what stands until somebody sets a depot's workshop: one
// bay and one technician, Monday to Friday. All of it is common practice, no
// source; amounts are of no particular currency.
func DefaultWorkshop() Workshop {
	w := Workshop{
		Bays: 1,
		Hours: map[Task]TaskHours{
			TaskSetUp:       {.5, 1},
			TaskPads:        {.7, 1.5},
			TaskPadsRotors:  {1.3, 3.5},
			TaskLinings:     {1.3, 2.5},
			TaskLiningDrums: {1.8, 3.5},
			TaskHoses:       {.4, .8},
			TaskCalipers:    {.8, 1.5},
			TaskBleed:       {.5, .8},
		},
		LabourRate:   80,
		OvertimeRate: 110,
		VisitCost:    120,
		SetLight:     60,
		SetHeavy:     220,
		PastLight:    400,
		PastHeavy:    800,
		FluidMonths:  24,
	}
	for i := range 5 {
		w.Week[i] = WorkDay{Opens: 8 * 60, Closes: 17 * 60, Technicians: 8}
	}
	return w
}

// Fault is what is wrong with one field of a form.
type Fault struct {
	Field string
	Text  string
}

// Faults reports everything wrong with w, by field: "bays", "opens_0" (Monday),
// "light_pads".
func (w *Workshop) Faults() (faults []Fault) {
	fault := func(field, format string, args ...any) {
		faults = append(faults, Fault{field, fmt.Sprintf(format, args...)})
	}
	if w.Bays < 1 || w.Bays > MaxBays {
		fault("bays", "want 1 to %d bays", MaxBays)
	}
	for i, d := range w.Week {
		if d.Opens < 0 || d.Closes > dayMinutes || d.Closes < d.Opens {
			fault(fmt.Sprintf("opens_%d", i), "%s: closing lies before opening; leave both blank where it is closed", Weekdays[i])
		}
		if !(d.Technicians >= 0) || d.Technicians > maxTechnicianHours {
			fault(fmt.Sprintf("technicians_%d", i), "%s: want 0 to %d technician hours", Weekdays[i], maxTechnicianHours)
		}
	}
	if !(w.Overtime >= 0) || w.Overtime > maxTaskHours {
		fault("overtime", "want 0 to %d hours of overtime", maxTaskHours)
	}
	for _, t := range Tasks {
		for _, h := range []struct {
			name  string
			hours float64
		}{{"light", w.Hours[t].Light}, {"heavy", w.Hours[t].Heavy}} {
			if !(h.hours >= 0) || h.hours > maxTaskHours {
				fault(h.name+"_"+string(t), "want 0 to %d hours", maxTaskHours)
			}
		}
	}
	for _, m := range []struct {
		field  string
		amount float64
	}{
		{"labour_rate", w.LabourRate}, {"overtime_rate", w.OvertimeRate}, {"visit_cost", w.VisitCost},
		{"set_light", w.SetLight}, {"set_heavy", w.SetHeavy}, {"past_light", w.PastLight}, {"past_heavy", w.PastHeavy},
	} {
		if !(m.amount >= 0) || m.amount > maxMoney {
			fault(m.field, "want an amount from 0 to %d", maxMoney)
		}
	}
	if w.FluidMonths < 1 || w.FluidMonths > 120 {
		fault("fluid_months", "want 1 to 120 months")
	}
	if len(w.Currency) > 8 {
		fault("currency", "want at most 8 characters, or nothing")
	}
	return faults
}

// Validate reports the first fault of w.
func (w *Workshop) Validate() error {
	for _, f := range w.Faults() {
		return Invalidf("%s: %s", f.Field, f.Text)
	}
	return nil
}

// Day returns what the workshop has on a day, closures taken into account.
func (w *Workshop) Day(d Date, closures []Closure) WorkDay {
	day := w.Week[d.Weekday()]
	for i := range closures {
		c := &closures[i]
		if c.First <= d && d <= c.Last {
			day.Technicians = math.Min(day.Technicians, c.Technicians)
		}
	}
	if day.Technicians == 0 {
		day.Closes = day.Opens
	}
	return day
}

// MaxWords bounds a reason or a name, in characters.
const MaxWords = 200

// longer says whether s has more than n characters.
func longer(s string, n int) bool { return len(s) > n && utf8.RuneCountInString(s) > n }

// ValidWords refuses a reason or a name that is too long; field names it.
func ValidWords(field, s string) error {
	if longer(s, MaxWords) {
		return Invalidf("%s: longer than %d characters; shorten it", field, MaxWords)
	}
	return nil
}
