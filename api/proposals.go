package api

import (
	"net/http"
	"strings"
	"time"

	"github.com/gin-gonic/gin"

	"brakewear/internal/fleet"
	"brakewear/internal/store"
)

// Proposal is one run of the planner over a fleet.
type Proposal struct {
	ID      int64         `json:"id"`
	Fleet   string        `json:"fleet"`
	By      string        `json:"by"`
	At      time.Time     `json:"at"`
	AsOf    fleet.Date    `json:"as_of"`
	Until   fleet.Date    `json:"until"`
	Risk    float64       `json:"risk"`
	Cost    *float64      `json:"cost"`  // in the plan's own unit
	Bound   *float64      `json:"bound"` // no plan costs less
	Figures store.Figures `json:"figures"`
}

// Visit is what a proposal wants of one vehicle.
type Visit struct {
	ID         int64        `json:"id"`
	ProposalID int64        `json:"proposal_id"`
	VehicleID  int64        `json:"vehicle_id"`
	Vehicle    string       `json:"vehicle"`
	Plate      string       `json:"plate"`
	Fleet      string       `json:"fleet"`
	DepotID    int64        `json:"depot_id"`
	Depot      string       `json:"depot"`
	Advice     string       `json:"advice"`
	BookingID  *int64       `json:"booking_id"` // that it would change
	Day        *fleet.Date  `json:"day"`        // null: it has no place
	Bay        *int         `json:"bay"`
	Starts     *fleet.Clock `json:"starts"`
	Ends       *fleet.Clock `json:"ends"`
	Hours      float64      `json:"hours"`
	Work       []Work       `json:"work"`
	Cost       *float64     `json:"cost"`
	Chance     *float64     `json:"chance_past_limit"` // on that day
	BookBy     *fleet.Date  `json:"book_by"`
	Why        string       `json:"why"`
	Remedy     string       `json:"remedy"`
	Changed    string       `json:"changed"` // since the proposal before; blank = as before
	State      string       `json:"state"`
	DecidedBy  string       `json:"decided_by"` // blank while it is open
	DecidedWhy string       `json:"decided_why"`
}

// Accepted is what became of one visit that was to be accepted.
type Accepted struct {
	VisitID   int64  `json:"visit_id"`
	Vehicle   string `json:"vehicle"`
	BookingID *int64 `json:"booking_id"` // null: it was not
	Problem   string `json:"problem"`    // why it was not; blank = accepted
}

var visitStates = []store.VisitState{store.VisitOpen, store.VisitAccepted, store.VisitDeclined, store.VisitSuperseded}

func proposalOf(p *store.Proposal) Proposal {
	f := p.Figures
	f.WastedMM, f.PastLimit, f.Overtime = rounded(f.WastedMM), rounded(f.PastLimit), rounded(f.Overtime)
	return Proposal{p.ID, p.Fleet, p.By, p.At, p.AsOf, p.Until, p.Risk, number(p.Cost, 4), number(p.Bound, 4), f}
}

// Planned is a proposal with all that it wants.
type Planned struct {
	Proposal
	Visits []Visit `json:"visits"`
}

// PlannedOf puts proposals into the form in which programs read them.
func PlannedOf(ps []store.Proposal) []Planned {
	return items(ps, func(p *store.Proposal) Planned { return Planned{proposalOf(p), items(p.Visits, visitOf)} })
}

// rounded is a figure to two decimals.
func rounded(x float64) float64 {
	if n := number(x, 2); n != nil {
		return *n
	}
	return 0
}

func visitOf(v *store.Visit) Visit {
	out := Visit{
		ID: v.ID, ProposalID: v.ProposalID, VehicleID: v.VehicleID, Vehicle: v.Vehicle, Plate: v.Plate, Fleet: v.Fleet, DepotID: v.DepotID, Depot: v.Depot,
		Advice: string(v.Advice), BookingID: idOrNull(v.BookingID), Hours: v.Hours, Work: items(v.Work, workOf), Cost: amount(v.Cost), BookBy: v.BookBy,
		Why: v.Why, Remedy: v.Remedy, Changed: v.Changed, State: string(v.State), DecidedBy: v.DecidedBy, DecidedWhy: v.Reason,
	}
	if v.Chance != nil {
		out.Chance = number(*v.Chance, 4)
	}
	if v.Day != 0 {
		ends := v.Ends()
		out.Day, out.Bay, out.Starts, out.Ends = &v.Day, &v.Bay, &v.Starts, &ends
	}
	return out
}

// proposals answers with a page of the runs of the planner, newest first.
func (a *API) proposals(c *gin.Context) error {
	q := &query{c: c}
	of, before, limit := q.id("fleet"), q.before(), q.limit()
	if err := q.err(); err != nil {
		return err
	}
	ps, err := a.svc.DB.Proposals(c.Request.Context(), a.scope(c), of, before, limit)
	if err != nil {
		return err
	}
	return sendPage(c, items(ps, proposalOf), older(ps, limit, func(p *store.Proposal) int64 { return p.ID }), nil)
}

// visits answers with a page of proposed visits, the open ones unless others are
// asked for.
func (a *API) visits(c *gin.Context) error {
	q := &query{c: c}
	ask := store.VisitQuery{Fleet: q.id("fleet"), Depot: q.id("depot"), Vehicle: q.id("vehicle"), Proposal: q.id("proposal")}
	ask.State = oneOf(q, "state", visitStates...)
	if ask.State == "" && ask.Proposal == 0 {
		ask.State = store.VisitOpen
	}
	if d := q.date("from"); d != nil {
		ask.From = *d
	}
	if d := q.date("to"); d != nil {
		ask.To = *d
	}
	after, limit := q.text("cursor"), q.limit()
	if err := q.err(); err != nil {
		return err
	}
	vs, next, err := a.svc.DB.VisitPage(c.Request.Context(), a.scope(c), ask, after, limit)
	if err != nil {
		return err
	}
	return sendPage(c, items(vs, visitOf), next, nil)
}

// sentVisits are the visits that a request is about.
type sentVisits struct {
	IDs     []int64 `json:"ids"`      // left out: all that are open
	DepotID int64   `json:"depot_id"` // with no ids: at one depot
}

// maxVisits bounds a request about visits: some ten thousand ids.
const maxVisits = 128 << 10

// acceptVisits accepts proposed visits, each by itself.
func (a *API) acceptVisits(c *gin.Context) error {
	var in sentVisits
	q := &query{c: c}
	if err := q.err(); err != nil {
		return err
	}
	if err := readJSON(c, &in); err != nil {
		return err
	}
	os, err := a.svc.AcceptProposal(c.Request.Context(), a.scope(c), a.sender(c), in.DepotID, in.IDs)
	if err != nil {
		return err
	}
	return send(c, http.StatusOK, List[Accepted]{items(os, func(o *store.Outcome) Accepted {
		out := Accepted{VisitID: o.Visit.ID, Vehicle: o.Visit.Vehicle, BookingID: idOrNull(o.Booking.ID)}
		if o.Fault != nil {
			out.Problem = o.Fault.Error()
		}
		return out
	})})
}

// readWithIDs reads a body whose ids are in *ids, of which there must be one.
func readWithIDs(c *gin.Context, in any, ids *[]int64) error {
	q := &query{c: c}
	if err := q.err(); err != nil {
		return err
	}
	if err := readJSON(c, in); err != nil {
		return err
	}
	if len(*ids) == 0 {
		return fleet.Invalidf("ids: none was sent")
	}
	return nil
}

// declineVisits sets proposed visits aside, with why.
func (a *API) declineVisits(c *gin.Context) error {
	var in struct {
		IDs []int64 `json:"ids"`
		Why string  `json:"why"`
	}
	if err := readWithIDs(c, &in, &in.IDs); err != nil {
		return err
	}
	if err := a.svc.DB.DeclineVisits(c.Request.Context(), a.scope(c), a.sender(c), strings.TrimSpace(in.Why), in.IDs); err != nil {
		return err
	}
	c.Status(http.StatusNoContent)
	return nil
}

// reopenVisits takes back that proposed visits were set aside.
func (a *API) reopenVisits(c *gin.Context) error {
	var in struct {
		IDs []int64 `json:"ids"`
	}
	if err := readWithIDs(c, &in, &in.IDs); err != nil {
		return err
	}
	if err := a.svc.DB.TakeBackVisits(c.Request.Context(), a.scope(c), a.sender(c), in.IDs); err != nil {
		return err
	}
	c.Status(http.StatusNoContent)
	return nil
}
