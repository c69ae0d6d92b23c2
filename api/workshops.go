package api

import (
	"fmt"
	"net/http"

	"github.com/gin-gonic/gin"

	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
)

// Workshop is what a depot's workshop has, and what its work costs.
type Workshop struct {
	DepotID int64  `json:"depot_id"`
	Depot   string `json:"depot"`
	Fleet   string `json:"fleet"`
	Set     bool   `json:"set"` // false: the program's defaults
	WorkshopData
	Closures []Closure `json:"closures"` // from today on
}

// WorkshopData is what can be set of a workshop.
type WorkshopData struct {
	TimeZone      string                       `json:"time_zone"`
	Bays          int                          `json:"bays"`
	Week          []WorkDay                    `json:"week"` // Monday first
	OvertimeHours float64                      `json:"overtime_hours"`
	TaskHours     map[fleet.Task]WorkshopHours `json:"task_hours"`
	Currency      string                       `json:"currency"`
	LabourRate    float64                      `json:"labour_rate"`
	OvertimeRate  float64                      `json:"overtime_rate"`
	VisitCost     float64                      `json:"visit_cost"`
	SetPrice      WorkshopHours                `json:"set_price"`
	PastCost      WorkshopHours                `json:"past_limit_cost"`
	FluidMonths   int                          `json:"fluid_months"`
}

// WorkshopHours is a value for light vehicles and one for heavy ones.
type WorkshopHours struct {
	Light float64 `json:"light"`
	Heavy float64 `json:"heavy"`
}

// WorkDay is a day of the week; both times null: closed.
type WorkDay struct {
	Opens           *fleet.Clock `json:"opens"`
	Closes          *fleet.Clock `json:"closes"`
	TechnicianHours float64      `json:"technician_hours"`
}

// Closure is days closed, or with fewer technician hours.
type Closure struct {
	ID              int64      `json:"id"`
	First           fleet.Date `json:"first"`
	Last            fleet.Date `json:"last"`
	TechnicianHours float64    `json:"technician_hours"` // 0 = closed
	Reason          string     `json:"reason"`
}

func workshopOf(w *store.DepotWorkshop) Workshop {
	s := &w.Workshop
	out := Workshop{DepotID: w.ID, Depot: w.Name, Fleet: w.Fleet, Set: s.Set, WorkshopData: WorkshopData{
		TimeZone: w.TimeZone, Bays: s.Bays, OvertimeHours: s.Overtime, TaskHours: map[fleet.Task]WorkshopHours{}, Currency: s.Currency,
		LabourRate: s.LabourRate, OvertimeRate: s.OvertimeRate, VisitCost: s.VisitCost,
		SetPrice: WorkshopHours{s.SetLight, s.SetHeavy}, PastCost: WorkshopHours{s.PastLight, s.PastHeavy}, FluidMonths: s.FluidMonths,
	}}
	for i := range s.Week {
		out.Week = append(out.Week, workDayOf(&s.Week[i]))
	}
	for t, h := range s.Hours {
		out.TaskHours[t] = WorkshopHours(h)
	}
	out.Closures = items(w.Closures, func(x *fleet.Closure) Closure { return Closure{x.ID, x.First, x.Last, x.Technicians, x.Reason} })
	return out
}

func workDayOf(d *fleet.WorkDay) WorkDay {
	out := WorkDay{TechnicianHours: d.Technicians}
	if d.Closes > d.Opens {
		out.Opens, out.Closes = &d.Opens, &d.Closes
	}
	return out
}

// workshop is what was sent, over what is kept.
func (d *WorkshopData) workshop(s *fleet.Workshop) error {
	if len(d.Week) != 7 {
		return fleet.Invalidf("week: %d days; want seven, Monday first", len(d.Week))
	}
	s.Bays, s.Overtime, s.Currency, s.LabourRate, s.OvertimeRate, s.VisitCost, s.FluidMonths = d.Bays, d.OvertimeHours, d.Currency, d.LabourRate, d.OvertimeRate, d.VisitCost, d.FluidMonths
	s.SetLight, s.SetHeavy, s.PastLight, s.PastHeavy = d.SetPrice.Light, d.SetPrice.Heavy, d.PastCost.Light, d.PastCost.Heavy
	for i, day := range d.Week {
		s.Week[i] = fleet.WorkDay{Technicians: day.TechnicianHours}
		if (day.Opens == nil) != (day.Closes == nil) {
			return fleet.Invalidf("week: %s: give both times, or neither where it is closed", fleet.Weekdays[i])
		}
		if day.Opens != nil {
			s.Week[i].Opens, s.Week[i].Closes = *day.Opens, *day.Closes
		}
	}
	for t, h := range d.TaskHours {
		if _, ok := s.Hours[t]; !ok {
			return fleet.Invalidf("task_hours: %q is no task; want %q", t, fleet.Tasks)
		}
		s.Hours[t] = fleet.TaskHours(h)
	}
	return nil
}

// workshops answers with a page of the workshops, by name.
func (a *API) workshops(c *gin.Context) error {
	q := &query{c: c}
	of, after, limit := q.id("fleet"), q.text("cursor"), q.limit()
	if err := q.err(); err != nil {
		return err
	}
	ws, next, err := a.svc.DB.WorkshopPage(c.Request.Context(), a.scope(c), of, a.svc.Today(), after, limit)
	if err != nil {
		return err
	}
	return sendPage(c, items(ws, workshopOf), next, nil)
}

// workshop answers with the workshop of the depot in the path.
func (a *API) workshop(c *gin.Context) error {
	id, err := idAlone(c, "depot")
	if err != nil {
		return err
	}
	w, err := a.svc.DB.Workshop(c.Request.Context(), a.scope(c), id, a.svc.Today())
	if err != nil {
		return err
	}
	return send(c, http.StatusOK, workshopOf(&w))
}

// setWorkshop sets a workshop whole; tasks that are left out keep their hours.
func (a *API) setWorkshop(c *gin.Context) error {
	ctx, sc := c.Request.Context(), a.scope(c)
	id, err := idAlone(c, "depot")
	if err != nil {
		return err
	}
	w, err := a.svc.DB.Workshop(ctx, sc, id, a.svc.Today())
	if err != nil {
		return err
	}
	var in WorkshopData
	if err := readJSON(c, &in); err != nil {
		return err
	}
	s := w.Workshop
	if err := in.workshop(&s); err != nil {
		return err
	}
	if err := s.Validate(); err != nil {
		return err
	}
	if err := a.svc.SaveWorkshop(ctx, sc, a.sender(c), s, in.TimeZone); err != nil {
		return err
	}
	return a.workshop(c)
}

// addClosures adds closed days; one that is there already is left alone.
func (a *API) addClosures(c *gin.Context) error {
	id, err := idAlone(c, "depot")
	if err != nil {
		return err
	}
	var in struct {
		Closures []struct {
			First           fleet.Date  `json:"first"`
			Last            *fleet.Date `json:"last"` // left out: the first
			TechnicianHours float64     `json:"technician_hours"`
			Reason          string      `json:"reason"`
		} `json:"closures"`
	}
	if err := readJSON(c, &in); err != nil {
		return err
	}
	var cs []fleet.Closure
	for i, x := range in.Closures {
		k := fleet.Closure{DepotID: id, First: x.First, Last: x.First, Technicians: x.TechnicianHours, Reason: x.Reason}
		if x.Last != nil {
			k.Last = *x.Last
		}
		if err := k.Validate(); err != nil {
			return fmt.Errorf("closures[%d]: %w", i, err)
		}
		cs = append(cs, k)
	}
	if len(cs) == 0 {
		return fleet.Invalidf("closures: none was sent")
	}
	if err := a.svc.DB.AddClosures(c.Request.Context(), a.scope(c), cs); err != nil {
		return err
	}
	return a.workshop(c)
}

// Part is a part that a workshop buys and keeps.
type Part struct {
	ID         int64    `json:"id"`
	FleetID    int64    `json:"fleet_id"`
	PartNumber string   `json:"part_number"`
	Name       string   `json:"name"`
	Item       string   `json:"item"`
	PerAxle    int      `json:"per_axle"`
	Price      *float64 `json:"price"`
	LeadDays   int      `json:"lead_days"`
	Fits       []Fit    `json:"fits"`
	Stock      []Stock  `json:"stock"`
}

// Fit is what a part fits; blank and null: any.
type Fit struct {
	Make    string `json:"make"`
	Model   string `json:"model"`
	Vehicle string `json:"vehicle"`
	Axle    *int   `json:"axle"`
}

// Stock is how many of a part lie at a depot.
type Stock struct {
	DepotID  int64  `json:"depot_id"`
	Depot    string `json:"depot"`
	Quantity int    `json:"quantity"`
}

// parts answers with a page of the parts, by number.
func (a *API) parts(c *gin.Context) error {
	q := &query{c: c}
	ask := store.PartQuery{Fleet: q.id("fleet"), Depot: q.id("depot")}
	after, limit := q.text("cursor"), q.limit()
	if err := q.err(); err != nil {
		return err
	}
	ps, next, err := a.svc.DB.PartPage(c.Request.Context(), a.scope(c), ask, after, limit)
	if err != nil {
		return err
	}
	return sendPage(c, items(ps, partOf), next, nil)
}

func partOf(p *fleet.StockPart) Part {
	return Part{p.ID, p.FleetID, p.Number, p.Name, string(p.Item), p.PerAxle, amount(p.Price), p.LeadDays,
		items(p.Fits, func(f *fleet.Fit) Fit {
			out := Fit{Make: f.Make, Model: f.Model, Vehicle: f.Vehicle}
			if f.Axle != 0 {
				out.Axle = &f.Axle
			}
			return out
		}),
		items(p.Stock, func(s *fleet.Stock) Stock { return Stock{s.DepotID, s.Depot, s.Quantity} }),
	}
}

// PartNeed is how many of a part some days will take.
type PartNeed struct {
	Fleet      string      `json:"fleet"`
	PartNumber string      `json:"part_number"` // blank: none is known to fit
	Item       string      `json:"item"`
	For        string      `json:"for"` // where none is known
	Expected   float64     `json:"expected"`
	Low        int         `json:"low"`  // with 80 % chance from low
	High       int         `json:"high"` // to high
	Booked     int         `json:"booked"`
	Stock      int         `json:"stock"`
	Short      int         `json:"short"` // missing for high
	LeadDays   int         `json:"lead_days"`
	OrderBy    *fleet.Date `json:"order_by"` // null: nothing is missing
}

// needDays is how far ahead parts are looked at unless said.
const needDays = 56

func (a *API) partsNeeded(c *gin.Context) error {
	q := &query{c: c}
	ask := pipeline.PartsQuery{Fleet: q.id("fleet"), Depot: q.id("depot"), From: a.svc.Today()}
	if d := q.date("from"); d != nil {
		ask.From = *d
	}
	ask.To = ask.From + needDays
	if d := q.date("to"); d != nil {
		ask.To = *d
	}
	if err := q.err(); err != nil {
		return err
	}
	ns, err := a.svc.PartsNeeded(c.Request.Context(), a.scope(c), ask)
	if err != nil {
		return err
	}
	return send(c, http.StatusOK, List[PartNeed]{items(ns, func(n *pipeline.PartNeed) PartNeed {
		return PartNeed{n.Fleet, n.Part.Number, string(n.Part.Item), n.For, n.Expected, n.Lo, n.Hi, n.Booked, n.Stock, n.Short, n.Part.LeadDays, n.OrderBy}
	})})
}
