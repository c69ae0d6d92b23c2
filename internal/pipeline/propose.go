package pipeline

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

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
	// Budget is how long better plans are looked for, in all; then the best so
	// far is taken, and its figures say so. 0 = until the search ends by itself.
	Budget time.Duration
}

// AskedBudget is the budget of a proposal that somebody waits for. Judgement:
// twice what a thousand axles take on two free processors.
const AskedBudget = 4 * time.Second

// firstShare is how much of what is left of the budget goes to the next
// search: a plan may have to be made anew, for want of bays or the sake of
// bookings. Judgement.
const firstShare = .7

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
	ends := time.Now().Add(opt.Budget)
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
	for i, id := range fleets {
		o := opt
		if opt.Budget > 0 {
			// The same for each fleet, and what one leaves is for the next.
			o.Budget = max(1, time.Until(ends)/time.Duration(len(fleets)-i))
		}
		p, err := s.propose(ctx, sc, by, asOf, o, id, byFleet[id])
		if err != nil {
			return out, fmt.Errorf("plan fleet %s: %w", byFleet[id][0].Fleet, err)
		}
		out = append(out, p)
	}
	return out, nil
}

// propose plans one fleet.
func (s *Service) propose(ctx context.Context, sc auth.Scope, by string, asOf fleet.Date, opt ProposeOptions, fleetID int64, shops []store.DepotWorkshop) (store.Proposal, error) {
	p, err := s.planner(ctx, sc, asOf, opt.Days, fleetID, shops)
	if err != nil {
		return store.Proposal{}, err
	}
	if opt.Budget > 0 {
		p.ends = time.Now().Add(opt.Budget)
	}
	pl, err := p.solve(ctx)
	if errors.Is(err, fleet.ErrInvalid) {
		err = cmp.Or(badWorkshop(shops), err)
	}
	if err != nil {
		return store.Proposal{}, err
	}
	proposal := p.proposal(pl)
	proposal.By, proposal.At = by, p.at
	var depots []int64
	for _, w := range shops {
		depots = append(depots, w.ID)
	}
	err = s.DB.SaveProposal(ctx, sc, &proposal, depots)
	proposal.Fleet = shops[0].Fleet
	return proposal, err
}

// badWorkshop names a figure of a workshop that nobody can plan with, or returns nil.
func badWorkshop(shops []store.DepotWorkshop) error {
	for i := range shops {
		for _, f := range shops[i].Workshop.Faults() {
			field := strings.ReplaceAll(strings.TrimRight(f.Field, "_0123456789"), "_", " ")
			return fleet.Invalidf("correct the %s on the workshop's page of depot %s: %s", field, shops[i].Name, f.Text)
		}
	}
	return nil
}

// planner has what is known of a fleet and builds the problem of it.
type planner struct {
	at          time.Time // before the first of it was read
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
	unmeasured  int                           // axles of which no reading of the parts that are on is known
	freed       bool                          // bookings that may move are free to
	ends        time.Time                     // when the search is to end; zero = by itself

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
		at:        s.DB.Now(),
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
		upkeep:    map[int64]*fleet.Upkeep{},
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
	runs, err := s.DB.Proposals(ctx, sc, fleetID, 0, 1)
	if err != nil {
		return nil, err
	}
	p.firstEver = len(runs) == 0
	due, err := s.DB.DueVehicles(ctx, sc, fleetID, p.last())
	if err != nil {
		return nil, err
	}
	for some := range slices.Chunk(due, upkeepRound) {
		var ids []int64
		for _, v := range some {
			ids = append(ids, v.ID)
		}
		ups, err := s.DB.Upkeeps(ctx, sc, ids, asOf)
		if err != nil {
			return nil, err
		}
		maps.Copy(p.upkeep, ups)
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

// upkeepRound is how many vehicles' calendars are read at once.
const upkeepRound = 1000

// search solves the problem as it stands, within its share of what is left of
// the budget.
func (p *planner) search(ctx context.Context) (*plan.Plan, error) {
	var opt plan.Options
	if !p.ends.IsZero() {
		left := time.Duration(firstShare * float64(time.Until(p.ends)))
		enough, cancel := context.WithTimeout(context.Background(), left)
		defer cancel()
		opt.Enough = enough.Done()
	}
	return plan.Solve(ctx, p.problem(), opt)
}

func (p *planner) solveBays(ctx context.Context) (*bayPlan, error) {
	clear(p.full)
	for try := 1; ; try++ {
		pl, err := p.search(ctx)
		if err != nil {
			return nil, err
		}
		b := p.intoBays(pl)
		if len(b.homeless) == 0 || try == bayTries {
			return b, nil
		}
	}
}
