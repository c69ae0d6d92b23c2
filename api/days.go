package api

import (
	"context"
	"fmt"
	"net/http"
	"slices"

	"github.com/gin-gonic/gin"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/web"
)

// Days is a vehicle's calendar from today on: when it cannot be spared, and
// when it comes in anyway.
type Days struct {
	VehicleID    int64          `json:"vehicle_id"`
	Absences     []Absence      `json:"absences"`
	Visits       []PlannedVisit `json:"planned_visits"`
	FluidChanged *fleet.Date    `json:"fluid_changed"` // null: not known, or air brakes
}

// Absence is when a vehicle cannot be spared.
type Absence struct {
	ID int64 `json:"id"`
	AbsenceData
}

// AbsenceData is what can be said of an absence.
type AbsenceData struct {
	First    *fleet.Date `json:"first"`    // null: always until the last day
	Last     *fleet.Date `json:"last"`     // null: from the first day on
	Weekdays []string    `json:"weekdays"` // Monday to Sunday; none: every day
	Reason   string      `json:"reason"`
}

// PlannedVisit is a day on which a vehicle comes in anyway.
type PlannedVisit struct {
	ID      int64      `json:"id"`
	Day     fleet.Date `json:"day"`
	DepotID *int64     `json:"depot_id"` // null: elsewhere
	Depot   string     `json:"depot"`
	What    string     `json:"what"`
}

func absenceOf(a *fleet.Absence) Absence {
	out := Absence{a.ID, AbsenceData{First: a.First, Last: a.Last, Weekdays: []string{}, Reason: a.Reason}}
	for i, name := range fleet.Weekdays {
		if a.Weekdays.Has(i) {
			out.Weekdays = append(out.Weekdays, name)
		}
	}
	return out
}

func (d *AbsenceData) absence(vehicleID int64) (fleet.Absence, error) {
	a := fleet.Absence{VehicleID: vehicleID, First: d.First, Last: d.Last, Reason: d.Reason}
	for _, name := range d.Weekdays {
		i := slices.Index(fleet.Weekdays[:], name)
		if i < 0 {
			return a, fleet.Invalidf("weekdays: %q is none; want %s", name, fleet.OneOf(fleet.Weekdays[:]))
		}
		a.Weekdays = a.Weekdays.With(i)
	}
	return a, nil
}

// days answers with the calendar of the vehicle in the path.
func (a *API) days(c *gin.Context) error {
	id, err := idAlone(c, "vehicle")
	if err != nil {
		return err
	}
	ctx, sc := c.Request.Context(), a.scope(c)
	if _, err := a.svc.DB.VehicleNumber(ctx, sc, id); err != nil {
		return err
	}
	ups, err := a.svc.DB.Upkeeps(ctx, sc, []int64{id}, a.svc.Today())
	if err != nil {
		return err
	}
	up := ups[id]
	if up == nil {
		up = &fleet.Upkeep{}
	}
	return send(c, http.StatusOK, Days{
		VehicleID: id,
		Absences:  items(up.Absences, absenceOf),
		Visits: items(up.Visits, func(v *fleet.PlannedVisit) PlannedVisit {
			return PlannedVisit{v.ID, v.Day, idOrNull(v.DepotID), v.Depot, v.What}
		}),
		FluidChanged: up.FluidChanged,
	})
}

// addAbsences adds times when a vehicle cannot be spared; one that is there
// already is left alone.
func (a *API) addAbsences(c *gin.Context) error {
	id, err := idAlone(c, "vehicle")
	if err != nil {
		return err
	}
	var in struct {
		Absences []AbsenceData `json:"absences"`
	}
	if err := readJSON(c, &in); err != nil {
		return err
	}
	if len(in.Absences) == 0 {
		return fleet.Invalidf("absences: none was sent")
	}
	as := make([]fleet.Absence, len(in.Absences))
	for i := range in.Absences {
		if as[i], err = in.Absences[i].absence(id); err != nil {
			return fmt.Errorf("absences[%d].%w", i, err)
		}
		if err := as[i].Validate(); err != nil {
			return fmt.Errorf("absences[%d]: %w", i, err)
		}
	}
	if err := a.svc.DB.AddAbsence(c.Request.Context(), a.scope(c), as...); err != nil {
		return err
	}
	return a.days(c)
}

// addPlannedVisits adds days on which a vehicle comes in anyway; one that is
// there already is left alone.
func (a *API) addPlannedVisits(c *gin.Context) error {
	id, err := idAlone(c, "vehicle")
	if err != nil {
		return err
	}
	var in struct {
		Visits []struct {
			Day     *fleet.Date `json:"day"`
			DepotID int64       `json:"depot_id"` // left out: elsewhere
			What    string      `json:"what"`
		} `json:"planned_visits"`
	}
	if err := readJSON(c, &in); err != nil {
		return err
	}
	if len(in.Visits) == 0 {
		return fleet.Invalidf("planned_visits: none was sent")
	}
	var vs []fleet.PlannedVisit
	for i, v := range in.Visits {
		if v.Day == nil {
			return fleet.Invalidf("planned_visits[%d].day: missing", i)
		}
		x := fleet.PlannedVisit{VehicleID: id, DepotID: v.DepotID, Day: *v.Day, What: v.What}
		if err := x.Validate(); err != nil {
			return fmt.Errorf("planned_visits[%d].%w", i, err)
		}
		vs = append(vs, x)
	}
	if err := a.svc.DB.AddPlannedVisit(c.Request.Context(), a.scope(c), vs...); err != nil {
		return err
	}
	return a.days(c)
}

func (a *API) dropAbsence(c *gin.Context) error { return a.dropDay(c, a.svc.DB.DropAbsence) }

func (a *API) dropPlannedVisit(c *gin.Context) error { return a.dropDay(c, a.svc.DB.DropPlannedVisit) }

// dropDay takes an entry of a vehicle's calendar back.
func (a *API) dropDay(c *gin.Context, drop func(ctx context.Context, sc auth.Scope, vehicleID, id int64) error) error {
	id, err := idAlone(c, "vehicle")
	if err != nil {
		return err
	}
	entry, err := web.PathNumber(c, "entry", "entry")
	if err != nil {
		return err
	}
	if err := drop(c.Request.Context(), a.scope(c), id, entry); err != nil {
		return err
	}
	return a.days(c)
}

// setFluidChange keeps the day of a vehicle's last change of brake fluid.
func (a *API) setFluidChange(c *gin.Context) error {
	id, err := idAlone(c, "vehicle")
	if err != nil {
		return err
	}
	var in struct {
		Day maybe[fleet.Date] `json:"day"` // null forgets it
	}
	if err := readJSON(c, &in); err != nil {
		return err
	}
	if !in.Day.given {
		return fleet.Invalidf("day: missing; null forgets the last change")
	}
	if err := a.svc.SetFluidChange(c.Request.Context(), a.scope(c), id, in.Day.x); err != nil {
		return err
	}
	return a.days(c)
}

// dropClosure takes a closure back.
func (a *API) dropClosure(c *gin.Context) error {
	id, err := idAlone(c, "depot")
	if err != nil {
		return err
	}
	closure, err := web.PathNumber(c, "closure", "closure")
	if err != nil {
		return err
	}
	if err := a.svc.DB.DropClosure(c.Request.Context(), a.scope(c), id, closure); err != nil {
		return err
	}
	return a.workshop(c)
}
