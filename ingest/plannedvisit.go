package ingest

import "brakewear/internal/fleet"

// VisitRow is a line of a file of planned visits.
type VisitRow struct {
	fleet.PlannedVisit
	Depot string // where it comes in; blank = elsewhere
}

// plannedVisitColumns are the columns of a file of planned visits.
var plannedVisitColumns = []Column{
	colVehicle,
	colFleet,
	{
		Name: "day", Required: true, field: fDate, Example: "2026-07-06",
		Help:     "Day on which the vehicle comes in anyway, ISO or in the order that the file declares. A test or service that comes back has a line for each time.",
		Synonyms: []string{"date", "due", "due date", "due on", "test date", "test due", "service date", "service due", "visit date", "planned for", "planned date", "appointment"},
	},
	{
		Name: "what", Required: true, field: fWhat, Example: "statutory test",
		Help:     "What it comes in for, in a few words: statutory test, service, tyres.",
		Synonyms: []string{"visit", "planned visit", "what for", "purpose", "kind of visit", "type of visit", "event"},
	},
	{
		Name: "depot", field: fDepot, Example: "Harbour",
		Help:     "Name of the depot of the vehicle's fleet where it comes in: brake work may join it there. Blank: elsewhere, and the vehicle is not to be had that day.",
		Synonyms: []string{"depot name", "workshop", "garage", "site", "location", "where"},
	},
}

// plannedVisit builds the row of a line of a file of planned visits.
func (l *line) plannedVisit() {
	var row Row
	l.vehicle(&row)
	v := &VisitRow{Depot: l.text(fDepot)}
	if v.What = l.text(fWhat); v.What == "" {
		l.fault(fWhat, "", "blank: say what the visit is for, such as service")
	}
	if day := l.day(fDate); day != nil {
		v.Day = *day
	} else if l.cell(fDate) == "" {
		l.fault(fDate, "", "blank: write the day, such as 2026-07-06")
	}
	if !l.bad {
		row.Visit = v
		l.queue = append(l.queue, row)
	}
}
