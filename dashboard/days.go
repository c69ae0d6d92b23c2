package dashboard

import (
	"context"
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/units"
	"brakewear/internal/web"
)

// DaysPage is a vehicle's calendar: days it cannot be spared, and visits it
// makes anyway.
type DaysPage struct {
	Shell
	Vehicle  string
	Back     string
	Link     string // of this page
	Faults   int
	Absences []DayRow
	Visits   []DayRow
	Away     []Field // form of an absence
	Weekdays []Choice
	Coming   []Field  // form of a visit
	Depots   []Choice // where; blank = elsewhere
	Fluid    Field
	Changed  string // day of Fluid; blank = not known
}

// DayRow is an entry of the calendar.
type DayRow struct {
	When, What string
	Drop       string   // address that takes it back
	Booked     []Choice // bookings on days it cannot be spared
}

func (d *Dashboard) days(c *gin.Context) error { return d.showDays(c, http.StatusOK, nil) }

// showDays sends the page; f has the form that comes back with faults.
func (d *Dashboard) showDays(c *gin.Context, status int, f *fields) error {
	tell := reader(c)
	id, err := web.PathID(c, "vehicle")
	if err != nil {
		return err
	}
	ctx, sc, today := c.Request.Context(), d.scope(c), d.svc.Today()
	h, err := d.svc.DB.History(ctx, sc, id)
	if err != nil {
		return err
	}
	ups, err := d.svc.DB.Upkeeps(ctx, sc, []int64{id}, today)
	if err != nil {
		return err
	}
	up := ups[id]
	if up == nil {
		up = &fleet.Upkeep{}
	}
	link := vehicleLink(id)
	p := DaysPage{
		Shell:    Shell{Title: h.Vehicle.Number + ": days", Place: "vehicles", of: ofVehicle(&h.Vehicle)},
		Vehicle:  h.Vehicle.Number,
		Back:     link,
		Link:     link + "/days",
		Absences: absenceRows(tell, up.Absences, link, today),
		Visits:   visitRows(tell, up.Visits, link, today),
	}
	if len(up.Absences) > 0 {
		bookings, err := d.svc.DB.Bookings(ctx, sc, store.BookingQuery{Vehicle: id, From: today, States: []fleet.BookingState{fleet.Booked}})
		if err != nil {
			return err
		}
		for i := range up.Absences {
			for _, b := range bookings {
				if up.Absences[i].Covers(b.Day) {
					p.Absences[i].Booked = append(p.Absences[i].Booked, Choice{Value: bookingLink(b.ID), Label: "booked for " + dayNear(tell, b.Day, today)})
				}
			}
		}
	}
	// Three forms share the page: each shows its faults, the others stay blank.
	of := func(form string) *fields {
		if f != nil && c.PostForm("form") == form {
			p.Faults = len(f.faults)
			return f
		}
		return nil
	}
	away := of("away")
	p.Away = []Field{
		away.field("first", "First day", "").as("date"),
		away.field("last", "Last day (blank: the same)", "").as("date"),
		away.field("reason", "Reason", ""),
	}
	for i, name := range fleet.Weekdays {
		n := strconv.Itoa(i)
		p.Weekdays = append(p.Weekdays, Choice{n, name, away != nil && slices.Contains(c.PostFormArray("weekday"), n)})
	}
	coming := of("coming")
	p.Coming = []Field{coming.field("day", "Day", "").as("date"), coming.field("what", "What for", "")}
	ds, err := d.svc.DB.Depots(ctx, sc)
	if err != nil {
		return err
	}
	for _, x := range ds {
		if x.FleetID == h.Vehicle.FleetID {
			p.Depots = append(p.Depots, Choice{strconv.FormatInt(x.ID, 10), x.Name, x.ID == h.Vehicle.DepotID})
		}
	}
	fluid := ""
	if up.FluidChanged != nil {
		fluid, p.Changed = up.FluidChanged.String(), tell.Day(*up.FluidChanged)
	}
	p.Fluid = of("fluid").field("fluid", "Brake fluid last changed (blank: not known, or air brakes)", fluid).as("date")
	return d.send(c, status, "days", p)
}

func vehicleLink(id int64) string { return "/vehicles/" + strconv.FormatInt(id, 10) }

func absenceRows(tell units.Reader, as []fleet.Absence, link string, today fleet.Date) (rows []DayRow) {
	for _, a := range as {
		row := DayRow{What: a.Reason, Drop: fmt.Sprintf("%s/days/away/%d/drop", link, a.ID)}
		switch {
		case a.First != nil && a.Last != nil:
			row.When = rangeWords(tell, *a.First, *a.Last, today)
		case a.First != nil:
			row.When = "from " + dayNear(tell, *a.First, today) + " on"
		case a.Last != nil:
			row.When = "until " + dayNear(tell, *a.Last, today)
		}
		if a.Weekdays != 0 {
			row.When = strings.TrimSuffix("every "+a.Weekdays.String()+", "+row.When, ", ")
		}
		rows = append(rows, row)
	}
	return rows
}

func visitRows(tell units.Reader, vs []fleet.PlannedVisit, link string, today fleet.Date) (rows []DayRow) {
	for _, v := range vs {
		row := DayRow{When: dayNear(tell, v.Day, today), What: v.What, Drop: fmt.Sprintf("%s/days/visit/%d/drop", link, v.ID)}
		if v.Depot != "" {
			row.What += " at " + v.Depot
		} else {
			row.What += ", elsewhere"
		}
		rows = append(rows, row)
	}
	return rows
}

// setDays takes one of the page's three forms in.
func (d *Dashboard) setDays(c *gin.Context) error {
	id, err := web.PathID(c, "vehicle")
	if err != nil {
		return err
	}
	ctx, sc := c.Request.Context(), d.scope(c)
	f := readFields(c)
	switch c.PostForm("form") {
	case "away":
		a := fleet.Absence{VehicleID: id, First: f.day("first"), Last: f.day("last"), Reason: f.text("reason")}
		for i := range fleet.Weekdays {
			if slices.Contains(c.PostFormArray("weekday"), strconv.Itoa(i)) {
				a.Weekdays = a.Weekdays.With(i)
			}
		}
		if a.First != nil && a.Last == nil && a.Weekdays == 0 {
			a.Last = a.First // one day; "for good" is said by days of the week
		}
		if f.ok() {
			err = f.take("last", d.svc.DB.AddAbsence(ctx, sc, a))
		}
	case "coming":
		v := fleet.PlannedVisit{VehicleID: id, DepotID: f.id("depot"), Day: f.must("day"), What: f.text("what")}
		if f.ok() {
			err = f.take("what", d.svc.DB.AddPlannedVisit(ctx, sc, v))
		}
	case "fluid":
		day := f.day("fluid")
		if f.ok() {
			err = f.take("fluid", d.svc.SetFluidChange(ctx, sc, id, day))
		}
	default:
		return fleet.Invalidf("form %q: there is none", c.PostForm("form"))
	}
	if err != nil {
		return err
	}
	if !f.ok() {
		return d.showDays(c, http.StatusBadRequest, f)
	}
	c.Redirect(http.StatusSeeOther, vehicleLink(id)+"/days")
	return nil
}

// dropDay takes an entry of the calendar back.
func (d *Dashboard) dropDay(c *gin.Context) error {
	id, err := web.PathID(c, "vehicle")
	if err != nil {
		return err
	}
	entry, err := web.PathNumber(c, "entry", "entry")
	if err != nil {
		return err
	}
	var drop func(ctx context.Context, sc auth.Scope, vehicleID, id int64) error
	switch c.Param("kind") {
	case "away":
		drop = d.svc.DB.DropAbsence
	case "visit":
		drop = d.svc.DB.DropPlannedVisit
	default:
		return fleet.NotFoundf("nothing is called %q", c.Param("kind"))
	}
	if err := drop(c.Request.Context(), d.scope(c), id, entry); err != nil {
		return err
	}
	c.Redirect(http.StatusSeeOther, vehicleLink(id)+"/days")
	return nil
}
