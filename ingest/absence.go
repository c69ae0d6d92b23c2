package ingest

import (
	"slices"
	"strings"

	"brakewear/internal/fleet"
)

// AbsenceRow is a line of an absences file: when a vehicle cannot be spared, or
// when a depot's workshop is closed or short of hands. One of the pointers is set.
type AbsenceRow struct {
	Vehicle *fleet.Absence
	Depot   string // whose workshop
	Closure *fleet.Closure
}

// absenceColumns are the columns of an absences file.
var absenceColumns = []Column{
	{
		Name: "vehicle", field: fVehicle, Example: "Bus 114",
		Help:     "Number of the vehicle that cannot be spared; blank in a line of a workshop.",
		Synonyms: colVehicle.Synonyms,
	},
	{
		Name: "depot", field: fDepot, Example: "",
		Help:     "Name of the depot whose workshop is closed or short of hands; blank in a line of a vehicle.",
		Synonyms: []string{"depot name", "workshop", "garage", "site", "location"},
	},
	{
		Name: "fleet", field: fFleet, Example: "Ferry Lines",
		Help:     "Name of the fleet. Needed where two fleets have a vehicle of the same number, or a depot of the same name.",
		Synonyms: colFleet.Synonyms,
	},
	{
		Name: "first_day", Required: true, field: fFirst, Example: "2026-07-06",
		Help:     "First day, ISO or in the order that the file declares. Of a vehicle it may be blank: always until the last day.",
		Synonyms: []string{"from", "first", "start", "start date", "starts", "begin", "begins", "away from", "date from", "from date"},
	},
	{
		Name: "last_day", field: fLast, Example: "2026-07-17",
		Help:     "Last day; blank for the first day alone or, of a vehicle with days of the week, for good.",
		Synonyms: []string{"to", "last", "end", "end date", "ends", "until", "till", "date to", "to date"},
	},
	{
		Name: "weekdays", field: fWeekdays, Example: "Mon, Fri",
		Help:     "Days of the week on which the vehicle cannot be spared, such as \"Mon, Fri\" or \"Mon-Fri\"; blank for every day.",
		Synonyms: []string{"weekday", "days", "days of the week", "day of the week"},
	},
	{
		Name: "technician_hours", field: fHours, Example: "",
		Help:     "Hours a day that all technicians of the workshop have together on these days; blank or 0 for closed.",
		Synonyms: []string{"hours", "hours a day", "hours per day", "technicians"},
	},
	{
		Name: "reason", field: fReason, Example: "school term",
		Help:     "Why, in a few words.",
		Synonyms: []string{"note", "notes", "why", "remark", "remarks", "comment", "comments"},
	},
}

// absence builds the row of a line of an absences file.
func (l *line) absence() {
	row := Row{Line: l.rec.line, Vehicle: l.text(fVehicle), Fleet: l.text(fFleet)}
	depot, reason := l.text(fDepot), l.text(fReason)
	first, last := l.day(fFirst), l.day(fLast)
	days := l.weekdays()
	switch {
	case row.Vehicle == "" && depot == "":
		l.fault(fVehicle, "", "blank, and so is the depot: write the vehicle that is away, or the depot whose workshop is")
	case row.Vehicle != "" && depot != "":
		l.fault(fDepot, depot, "a vehicle is named too: give each a line of its own")
	case row.Vehicle != "":
		if s := l.cell(fHours); s != "" {
			l.fault(fHours, s, "a vehicle has none: clear the cell, or name the depot instead of the vehicle")
		}
		a := &fleet.Absence{First: first, Last: last, Weekdays: days, Reason: reason}
		if a.Last == nil && a.Weekdays == 0 {
			a.Last = a.First
		}
		l.judge(last, a.Validate)
		row.Absence = &AbsenceRow{Vehicle: a}
	default:
		if s := l.cell(fWeekdays); s != "" {
			l.fault(fWeekdays, s, "a workshop's week stands on its page: clear the cell")
		}
		c := &fleet.Closure{Reason: reason, Technicians: l.hours()}
		if first == nil {
			if !l.bad {
				l.fault(fFirst, "", "blank: write the first day, such as 2026-07-06")
			}
			return
		}
		c.First, c.Last = *first, *first
		if last != nil {
			c.Last = *last
		}
		l.judge(last, c.Validate)
		row.Absence = &AbsenceRow{Depot: depot, Closure: c}
	}
	if !l.bad {
		l.queue = append(l.queue, row)
	}
}

// judge refuses a line without another fault for the days that do not go together.
func (l *line) judge(last *fleet.Date, validate func() error) {
	if l.bad {
		return
	}
	f := fFirst
	if last != nil {
		f = fLast
	}
	if err := validate(); err != nil {
		l.fault(f, l.cell(f), "%v", err)
	}
}

// day reads a day; nil when the cell is blank.
func (l *line) day(f field) *fleet.Date {
	s := l.cell(f)
	if s == "" {
		return nil
	}
	day, fault := l.dates.parse(s)
	if fault != "" {
		l.fault(f, s, "%s", fault)
		return nil
	}
	return &day
}

// weekdays reads days of the week: "Mon, Fri", "Monday to Friday", "Mon-Fri".
func (l *line) weekdays() (days fleet.Days) {
	s := l.cell(fWeekdays)
	words := strings.FieldsFunc(strings.NewReplacer("-", " - ", "–", " - ").Replace(strings.ToLower(s)), func(r rune) bool {
		return strings.ContainsRune(" ,;/+&.", r)
	})
	from, through := -1, false // the day before, and whether the next ends a span
	for _, w := range words {
		day := slices.IndexFunc(fleet.Weekdays[:], func(name string) bool {
			name = strings.ToLower(name)
			return w == name || len(w) >= 2 && strings.HasPrefix(name, w)
		})
		switch {
		case w == "and":
		case (w == "-" || w == "to") && from >= 0 && !through:
			through = true
		case day < 0 || through && day < from:
			l.fault(fWeekdays, s, "not days of the week: write them such as \"Mon, Fri\" or \"Mon-Fri\"")
			return 0
		default:
			if !through {
				from = day
			}
			for d := from; d <= day; d++ {
				days = days.With(d)
			}
			from, through = day, false
		}
	}
	if through {
		l.fault(fWeekdays, s, "not days of the week: write them such as \"Mon, Fri\" or \"Mon-Fri\"")
	}
	return days
}

// hours reads the hours of technicians that are left; blank is none.
func (l *line) hours() float64 {
	s := l.cell(fHours)
	if s == "" {
		return 0
	}
	x, fault := parseNumber(s, false, l.form.exact)
	if fault != "" {
		l.fault(fHours, s, "%s", withHelp(fault, "write hours a day such as 16, or nothing for closed"))
	} else if err := (&fleet.Closure{Technicians: x}).Validate(); err != nil {
		l.fault(fHours, s, "%v", err)
	}
	return x
}
