package pipeline

import (
	"context"
	"fmt"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/plan"
	"brakewear/internal/store"
)

// DefaultHorizon is how many days a proposal looks ahead: what a planner can
// overlook, and longer than parts take to come.
const DefaultHorizon = 60

// frozenDays is how far ahead bookings are left alone: people, drivers and
// parts are arranged for them already.
const frozenDays = 10

// companionDays is how far behind the last day an axle's book-by date may lie
// for it to be looked at as company for another axle of its vehicle.
const companionDays = 120

// ProposeOptions narrow what a proposal is made for.
type ProposeOptions struct {
	Fleet int64 // 0 = each that the scope sees
	Days  int   // horizon; 0 = DefaultHorizon
}

// Propose plans the workshops that sc sees: which vehicle is to come in on
// which day for what, so that every axle is done before its limit within the
// hours there are. It keeps a proposal for each fleet, which supersedes what
// was open of the one before, and changes no booking.
func (s *Service) Propose(ctx context.Context, sc auth.Scope, by string, asOf fleet.Date, opt ProposeOptions) ([]store.Proposal, error) {
	if opt.Days == 0 {
		opt.Days = DefaultHorizon
	}
	if opt.Days < 1 || opt.Days > 366 {
		return nil, fleet.Invalidf("days %d: want 1 to 366", opt.Days)
	}
	shops, err := s.DB.Workshops(ctx, sc, asOf)
	if err != nil {
		return nil, err
	}
	var fleets []int64
	byFleet := map[int64][]store.DepotWorkshop{}
	for _, w := range shops {
		if opt.Fleet != 0 && w.FleetID != opt.Fleet {
			continue
		}
		if byFleet[w.FleetID] == nil {
			fleets = append(fleets, w.FleetID)
		}
		byFleet[w.FleetID] = append(byFleet[w.FleetID], w)
	}
	if opt.Fleet != 0 && len(fleets) == 0 {
		return nil, fleet.NotFoundf("fleet %d: there is none, or none that you may see", opt.Fleet)
	}
	var out []store.Proposal
	for _, id := range fleets {
		p, err := s.propose(ctx, sc, by, asOf, opt.Days, id, byFleet[id])
		if err != nil {
			return out, fmt.Errorf("plan fleet %s: %w", byFleet[id][0].Fleet, err)
		}
		out = append(out, p)
	}
	return out, nil
}

// propose plans one fleet.
func (s *Service) propose(ctx context.Context, sc auth.Scope, by string, asOf fleet.Date, days int, fleetID int64, shops []store.DepotWorkshop) (store.Proposal, error) {
	p, err := s.planner(ctx, sc, asOf, days, fleetID, shops)
	if err != nil {
		return store.Proposal{}, err
	}
	pl, err := p.solve(ctx)
	if err != nil {
		return store.Proposal{}, err
	}
	proposal := p.proposal(pl)
	proposal.By = by
	var depots []int64
	for _, w := range shops {
		depots = append(depots, w.ID)
	}
	err = s.DB.SaveProposal(ctx, sc, &proposal, depots)
	proposal.Fleet = shops[0].Fleet
	return proposal, err
}

// planner has what is known of a fleet and builds the problem of it.
type planner struct {
	asOf, start fleet.Date
	days        int
	risk        float64
	fleetID     int64
	shops       []store.DepotWorkshop
	shopAt      map[int64]*store.DepotWorkshop
	parts       []fleet.StockPart
	upkeep      map[int64]*fleet.Upkeep
	vehicles    []*planVehicle
	vehicleAt   map[int64]*planVehicle
	bookings    []fleet.Booking               // open, at the shops or of the vehicles
	before      map[store.AxleKey]store.Visit // what the proposal before wanted of each axle
	declined    []store.Visit                 // set aside by people, for days to come
	dodges      map[int64]bool                // vehicles kept off the days set aside for them
	back        map[int64]bool                // vehicles for which those days come back
	firstEver   bool                          // no proposal was made before
	unmeasured  int                           // axles that nobody ever measured
	freed       bool                          // bookings that may move are free to

	// full are depots' days on which a visit found no bay: there are no more
	// visits on them than were placed.
	full map[plan.Slot]int
}

// planVehicle is a vehicle with the jobs on its axles.
type planVehicle struct {
	store.DueVehicle
	jobs     []*axleJob // by axle
	bookings []*fleet.Booking
	setUp    float64
	fluid    bool // is to be changed on the next visit
}

// axleJob is the work on one axle.
type axleJob struct {
	f      *store.AxleForecast
	work   axleWork
	job    plan.Job
	booked *fleet.Booking // that has this axle
	stays  bool           // the booking is not to be touched
}

// last is the last day that is looked at.
func (p *planner) last() fleet.Date { return p.start + fleet.Date(p.days) - 1 }

func (s *Service) planner(ctx context.Context, sc auth.Scope, asOf fleet.Date, days int, fleetID int64, shops []store.DepotWorkshop) (*planner, error) {
	p := &planner{
		asOf:      asOf,
		start:     asOf + 1, // what is proposed this morning cannot be brought in this morning
		days:      days,
		risk:      s.AcceptedRisk(),
		fleetID:   fleetID,
		shops:     shops,
		shopAt:    map[int64]*store.DepotWorkshop{},
		vehicleAt: map[int64]*planVehicle{},
		before:    map[store.AxleKey]store.Visit{},
		full:      map[plan.Slot]int{},
		dodges:    map[int64]bool{},
		back:      map[int64]bool{},
	}
	for i := range shops {
		p.shopAt[shops[i].ID] = &shops[i]
	}
	var err error
	if p.parts, err = s.DB.StockParts(ctx, sc, fleetID); err != nil {
		return nil, err
	}
	if p.upkeep, err = s.DB.Upkeeps(ctx, sc, nil, asOf); err != nil {
		return nil, err
	}
	p.bookings, err = s.DB.Bookings(ctx, sc, store.BookingQuery{Fleet: fleetID, States: []fleet.BookingState{fleet.Booked}})
	if err != nil {
		return nil, err
	}
	visits, err := s.DB.Visits(ctx, sc, store.VisitQuery{Fleet: fleetID, State: store.VisitOpen})
	if err != nil {
		return nil, err
	}
	for _, v := range visits {
		for _, axle := range fleet.Axles(v.Work) {
			p.before[store.AxleKey{VehicleID: v.VehicleID, Axle: axle}] = v
		}
	}
	if p.declined, err = s.DB.Visits(ctx, sc, store.VisitQuery{Fleet: fleetID, State: store.VisitDeclined, From: p.start}); err != nil {
		return nil, err
	}
	runs, err := s.DB.Proposals(ctx, sc, fleetID, 1)
	if err != nil {
		return nil, err
	}
	p.firstEver = len(runs) == 0
	due, err := s.DB.DueVehicles(ctx, sc, fleetID, p.last())
	if err != nil {
		return nil, err
	}
	for _, v := range due {
		if p.shopAt[v.DepotID] != nil {
			p.addVehicle(v)
		}
	}
	p.ready()
	return p, nil
}

// backTries bounds how often a plan is made anew for the sake of days that were
// set aside.
const backTries = 3

// solve finds the best plan. Days that people set aside come back only where
// less is late with them.
func (p *planner) solve(ctx context.Context) (*bayPlan, error) {
	best, err := p.solveBooked(ctx)
	for range backTries {
		if err != nil {
			break
		}
		ids := p.bringBack(best)
		if len(ids) == 0 {
			break
		}
		again, err := p.solveBooked(ctx)
		if err != nil {
			return nil, err
		}
		if again.late() >= best.late() {
			for _, id := range ids {
				p.back[id], p.dodges[id] = false, true
			}
			break
		}
		best = again
	}
	return best, err
}

// solveBooked finds the best plan around what is booked. Bookings that can stay
// do; only when something else cannot be placed for want of room are those that
// people have not arranged for yet free to move. A day on which a visit finds no
// bay gets no more visits than it has bays for, and the plan is made anew.
func (p *planner) solveBooked(ctx context.Context) (*bayPlan, error) {
	p.freed = false
	best, err := p.solveBays(ctx)
	if err != nil || !best.crowded() || !p.free() {
		return best, err
	}
	moved, err := p.solveBays(ctx)
	if err != nil {
		return nil, err
	}
	if moved.Cost.Total < best.Cost.Total {
		return moved, nil
	}
	p.freed = false
	return best, nil
}

// bayTries bounds how often a plan is made anew for want of bays.
const bayTries = 6

// bayPlan is a plan with a bay and a time for each visit.
type bayPlan struct {
	*plan.Plan
	slots    []fleet.Slot // of the visits
	homeless []int        // visits without a bay
}

// crowded says whether something is not placed in time for want of room.
func (b *bayPlan) crowded() bool {
	for _, ts := range [][]plan.Trouble{b.Unplaced, b.Late} {
		for _, t := range ts {
			if t.Why == plan.NoHours || t.Why == plan.NoBays {
				return true
			}
		}
	}
	return len(b.homeless) > 0
}

func (p *planner) solveBays(ctx context.Context) (*bayPlan, error) {
	clear(p.full)
	for try := 1; ; try++ {
		pl, err := plan.Solve(ctx, p.problem(), plan.Options{})
		if err != nil {
			return nil, err
		}
		b := p.intoBays(pl)
		if len(b.homeless) == 0 || try == bayTries {
			return b, nil
		}
	}
}
