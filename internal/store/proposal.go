package store

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"github.com/jmoiron/sqlx"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
)

// Advice is what a proposal wants of a vehicle.
type Advice string

const (
	AdviseBook     Advice = "book"     // a new booking
	AdviseMove     Advice = "move"     // an existing one to another slot
	AdviseExtend   Advice = "extend"   // more or other work on an existing one
	AdviseWithdraw Advice = "withdraw" // nothing is left to do
	AdviseNothing  Advice = "unplaced" // it ought to be booked, and there is no place
)

// VisitState is what became of a proposed visit.
type VisitState string

const (
	VisitOpen       VisitState = "open"
	VisitAccepted   VisitState = "accepted"
	VisitDeclined   VisitState = "declined"
	VisitSuperseded VisitState = "superseded" // a later proposal has its own view
)

// Visit is what a proposal wants of one vehicle.
type Visit struct {
	ID, ProposalID     int64
	FleetID, VehicleID int64
	Advice             Advice
	BookingID          int64 // that it would change; 0 = none
	// Slot has the vehicle's home depot and day 0 where there is no place.
	fleet.Slot
	Hours     float64
	Work      []fleet.WorkItem
	Cost      *float64    // expected, labour and parts
	Chance    *float64    // of an axle being past its limit on that day
	BookBy    *fleet.Date // earliest of its axles
	VisitID   int64       // planned visit that it joins
	Why       string      // why then, or why not at all
	Remedy    string      // cheapest way out of having no place
	Changed   string      // since the proposal before, and why; blank = as before
	State     VisitState
	DecidedBy string
	Reason    string // of who decided; blank = none was given
	// Names, filled where visits are read.
	Vehicle, Plate, Depot, Fleet string
	Currency                     string // of Cost
	HomeFleetID, HomeDepotID     int64  // of the vehicle by now, filled too
}

// Proposal is one run of the planner over a fleet.
type Proposal struct {
	ID, FleetID int64
	Fleet       string
	By          string
	At          time.Time // when what it rests on was read; zero = when it is kept
	AsOf, Until fleet.Date
	Risk        float64
	Cost, Bound float64 // expected cost, and what no plan can be below
	Figures     Figures
	Visits      []Visit
}

// SaveProposal keeps a proposal for the depots given, which it notes in its
// figures; the open visits of earlier ones at those depots are superseded.
func (db *DB) SaveProposal(ctx context.Context, sc auth.Scope, p *Proposal, depots []int64) error {
	p.Figures.Depots = depots
	figures, err := json.Marshal(p.Figures)
	if err != nil {
		return err
	}
	if p.At.IsZero() {
		p.At = db.Now()
	}
	p.At = p.At.UTC().Truncate(time.Microsecond) // as it is read again
	return db.write(ctx, "keep a proposal", func(t *tx) error {
		if err := t.lockDepots(slices.Clone(depots)...); err != nil {
			return err
		}
		for _, id := range depots {
			of, err := t.depotIn(sc, id)
			if err != nil {
				return err
			}
			if of != p.FleetID {
				return fleet.Invalidf("depot %d: it belongs to another fleet than the proposal", id)
			}
			_, err = t.exec(`update proposal_visits set state = ? where depot_id = ? and state = ?`, string(VisitSuperseded), id, string(VisitOpen))
			if err != nil {
				return err
			}
		}
		err := t.one([]any{&p.ID}, `
			insert into proposals (fleet_id, made_by, made_at, as_of, until, risk, cost, bound, figures)
			values (?, ?, ?, ?, ?, ?, ?, ?, ?)
			returning id`, p.FleetID, storableOf(p.By), instant(p.At), p.AsOf, p.Until, p.Risk, p.Cost, p.Bound, storableOf(string(figures)))
		if err != nil {
			return err
		}
		for i := range p.Visits {
			v := &p.Visits[i]
			v.ProposalID, v.FleetID, v.State = p.ID, p.FleetID, VisitOpen
			if !slices.Contains(depots, v.DepotID) {
				return fleet.Invalidf("depot %d: a visit at it is not the proposal's", v.DepotID)
			}
			if err := t.addVisit(v); err != nil {
				return err
			}
		}
		e := entry{act: "proposed", record: "proposal", id: p.ID, fleet: p.FleetID, by: p.By, detail: fmt.Sprintf("%d visits", len(p.Visits))}
		if len(depots) == 1 {
			e.depot = depots[0]
		}
		return t.log(e)
	})
}

func (t *tx) addVisit(v *Visit) error {
	work, err := json.Marshal(v.Work)
	if err != nil {
		return err
	}
	return t.one([]any{&v.ID}, `
		insert into proposal_visits (
			proposal_id, fleet_id, depot_id, vehicle_id, booking_id, advice, day, bay, starts, minutes, hours,
			cost, chance, book_by, visit_id, work, why, remedy, changed, state, decided_by)
		values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, '')
		returning id`,
		v.ProposalID, v.FleetID, v.DepotID, v.VehicleID, unlessZero(v.BookingID), string(v.Advice), unlessZero(v.Day), v.Bay, int(v.Starts), v.Minutes, v.Hours,
		v.Cost, v.Chance, v.BookBy, unlessZero(v.VisitID), storableOf(string(work)), storableOf(v.Why), storableOf(v.Remedy), storableOf(v.Changed), string(v.State))
}

// VisitQuery asks for proposed visits; a zero field asks for all.
type VisitQuery struct {
	Fleet, Depot, Vehicle, Proposal int64
	State                           VisitState
	Vehicles                        []int64    // only these; nil = all
	From, To                        fleet.Date // days, both included; those without one are left out
}

// Visits returns proposed visits by day, those without one last.
func (db *DB) Visits(ctx context.Context, sc auth.Scope, q VisitQuery) (vs []Visit, err error) {
	if q.Vehicles != nil && len(q.Vehicles) == 0 {
		return nil, nil
	}
	err = db.read(ctx, "list proposed visits", func(t *tx) error {
		vs, err = t.visits(q.where(sc, t))
		return err
	})
	return vs, err
}

func (q *VisitQuery) where(sc auth.Scope, t *tx) where {
	var w where
	w.visit(sc)
	w.only("p.fleet_id", q.Fleet)
	w.only("p.depot_id", q.Depot)
	w.only("p.proposal_id", q.Proposal)
	if q.From != 0 || q.To != 0 {
		w.add("p.day is not null")
	}
	if q.From != 0 {
		w.add(t.visitDay()+" >= ?", q.From)
	}
	if q.To != 0 {
		w.add(t.visitDay()+" <= ?", q.To)
	}
	vehicles := q.Vehicles
	if q.Vehicle != 0 {
		vehicles = []int64{q.Vehicle}
	}
	switch {
	case vehicles != nil:
		// By their index: SQLite would rather read all visits of the state, in order.
		var of where
		of.among("x.vehicle_id", vehicles)
		if q.State != "" {
			of.add("x.state = ?", string(q.State))
		}
		w.add("p.id in (select x.id from proposal_visits x"+of.String()+")", of.args...)
	case q.State != "":
		w.add("p.state = ?", string(q.State))
	}
	return w
}

// visitDay is the day of the proposed visit p, and of one that has none the day to book
// it by, as the indexes have it.
func (t *tx) visitDay() string {
	return "coalesce(p.day, p.book_by, CAST('" + never.String() + "' AS " + t.db.dateType() + "))"
}

// visit adds that sc sees the proposed visit p's depot or its vehicle v.
func (w *where) visit(sc auth.Scope) {
	if sc.All() {
		return
	}
	var at, of where
	at.scope(sc, "p")
	of.scope(sc, "v")
	w.add("("+at.conds[0]+" or "+of.conds[0]+")", append(at.args, of.args...)...)
}

// visits returns the proposed visits p, of vehicles v, that w admits.
func (t *tx) visits(w where) ([]Visit, error) {
	return t.visitsBy(w, t.visitDay()+", d.name_key, p.depot_id, p.starts, p.bay, p.id")
}

// visitsBy is visits in another order, which may end with a limit and its argument.
func (t *tx) visitsBy(w where, order string, args ...any) (vs []Visit, err error) {
	err = t.each(func(r *sqlx.Rows) error {
		var v Visit
		var booking, visit *int64
		var day *fleet.Date
		var work []byte
		err := r.Scan(
			&v.ID, &v.ProposalID, &v.FleetID, &v.DepotID, &v.VehicleID, &booking, &v.Advice, &day, &v.Bay, &v.Starts, &v.Minutes, &v.Hours,
			&v.Cost, &v.Chance, &v.BookBy, &visit, &work, &v.Why, &v.Remedy, &v.Changed, &v.State, &v.DecidedBy, &v.Reason,
			&v.Vehicle, &v.Plate, &v.Depot, &v.Fleet, &v.Currency, &v.HomeFleetID, &v.HomeDepotID)
		if err != nil {
			return err
		}
		if booking != nil {
			v.BookingID = *booking
		}
		if visit != nil {
			v.VisitID = *visit
		}
		if day != nil {
			v.Day = *day
		}
		if err := json.Unmarshal(work, &v.Work); err != nil {
			return err
		}
		vs = append(vs, v)
		return nil
	}, `
		select
			p.id, p.proposal_id, p.fleet_id, p.depot_id, p.vehicle_id, p.booking_id, p.advice, p.day, p.bay, p.starts, p.minutes, p.hours,
			p.cost, p.chance, p.book_by, p.visit_id, p.work, p.why, p.remedy, p.changed, p.state, p.decided_by, p.decided_why,
			v.number, v.plate, d.name, f.name, coalesce(s.currency, ''), v.fleet_id, v.depot_id
		from proposal_visits p
		join vehicles v on v.id = p.vehicle_id
		join depots d on d.id = p.depot_id
		join fleets f on f.id = p.fleet_id
		left join workshops s on s.depot_id = p.depot_id`+w.String()+`
		order by `+order, append(w.args, args...)...)
	return vs, err
}

// Proposals returns the runs over a fleet (0 = over all), newest first and older than
// the run before (0 = all), without their visits. A run is seen by who sees any depot
// of its fleet, and what it says of single vehicles by who sees their depot.
func (db *DB) Proposals(ctx context.Context, sc auth.Scope, fleetID, before int64, limit int) ([]Proposal, error) {
	var w where
	w.only("p.fleet_id", fleetID)
	if before != 0 {
		w.add("p.id < ?", before)
	}
	return db.proposals(ctx, sc, w, limitOf(limit))
}

// NewestProposals is Proposals with the newest of each fleet, and no more.
func (db *DB) NewestProposals(ctx context.Context, sc auth.Scope) ([]Proposal, error) {
	var w where
	w.add("p.id = (select max(x.id) from proposals x where x.fleet_id = f.id)")
	return db.proposals(ctx, sc, w, math.MaxInt32)
}

func (db *DB) proposals(ctx context.Context, sc auth.Scope, w where, limit int) (ps []Proposal, err error) {
	err = db.read(ctx, "list proposals", func(t *tx) error {
		w.fleetOf(sc, "f.id")
		return t.each(func(r *sqlx.Rows) error {
			var p Proposal
			var figures []byte
			err := r.Scan(&p.ID, &p.FleetID, &p.Fleet, &p.By, (*instant)(&p.At), &p.AsOf, &p.Until, &p.Risk, &p.Cost, &p.Bound, &figures)
			if err == nil {
				err = json.Unmarshal(figures, &p.Figures)
				p.Figures.within(sc, p.FleetID)
			}
			ps = append(ps, p)
			return err
		}, `
			select p.id, p.fleet_id, f.name, p.made_by, p.made_at, p.as_of, p.until, p.risk, p.cost, p.bound, p.figures
			from fleets f
			join proposals p on p.fleet_id = f.id`+w.String()+`
			order by p.id desc
			limit ?`, append(w.args, limit)...)
	})
	return ps, err
}

// Outcome is what became of one proposed visit that was to be accepted.
type Outcome struct {
	Visit   Visit
	Booking fleet.Booking // as it is now; zero where nothing was booked
	Fault   error         // fleet.ErrConflict: why it was not; nil = accepted

	noRoom bool // another visit's move may mend the fault
}

// AcceptVisits carries out the proposed visits given: books, moves, extends or
// withdraws. Each is accepted or not by itself, for what the depot still has:
// one that was decided on meanwhile, or has no room any more, keeps the others
// from nothing.
func (db *DB) AcceptVisits(ctx context.Context, sc auth.Scope, by string, ids []int64) (outcomes []Outcome, err error) {
	err = db.write(ctx, "accept a proposal", func(t *tx) error {
		outcomes = nil
		t.unchanged() // until a visit is accepted
		vs, err := t.openVisits(sc, ids)
		if err != nil {
			return err
		}
		for i := range vs {
			outcomes = append(outcomes, Outcome{Visit: vs[i]})
		}
		// Twice: what one gives up another may take.
		for pass := range 2 {
			for i := range outcomes {
				o := &outcomes[i]
				if pass > 0 && !o.noRoom {
					continue
				}
				if err := t.accept(sc, by, o); err != nil {
					return err
				}
			}
		}
		return nil
	})
	return outcomes, err
}

// openVisits returns the visits of these ids and holds their depots, and those
// of the bookings they would change.
func (t *tx) openVisits(sc auth.Scope, ids []int64) ([]Visit, error) {
	if len(ids) == 0 {
		return nil, fleet.Invalidf("nothing was chosen")
	}
	var w where
	w.scope(sc, "p")
	w.add("p.id in "+places(len(ids)), anys(ids)...)
	vs, err := t.visits(w)
	if err != nil {
		return nil, err
	}
	var depots []int64
	for _, v := range vs {
		depots = append(depots, v.DepotID)
		if v.BookingID != 0 {
			b, err := t.booking(auth.AllFleets(), v.BookingID)
			if err != nil {
				return nil, err
			}
			depots = append(depots, b.DepotID)
		}
	}
	if err := t.lockDepots(depots...); err != nil {
		return nil, err
	}
	// Again, now that nobody else can decide on them.
	if vs, err = t.visits(w); err != nil {
		return nil, err
	}
	for _, id := range ids {
		if !slices.ContainsFunc(vs, func(v Visit) bool { return v.ID == id }) {
			return nil, fleet.NotFoundf("proposed visit %d: there is none, or none that you may change", id)
		}
	}
	return vs, nil
}

// accept carries one visit out, whose depots are locked. What stands against
// it is left in o.Fault; an error is a fault of ours.
func (t *tx) accept(sc auth.Scope, by string, o *Outcome) error {
	v := &o.Visit
	o.Fault, o.noRoom = nil, false
	switch {
	case v.State == VisitAccepted:
		o.Fault = fleet.Conflictf("%s accepted the visit of %s on %s already", v.DecidedBy, v.Vehicle, v.Day.Written())
		return nil
	case v.State == VisitSuperseded:
		o.Fault = fleet.Conflictf("a later proposal has replaced the visit of %s", v.Vehicle)
		return nil
	case v.State != VisitOpen:
		o.Fault = fleet.Conflictf("the visit of %s was declined by %s", v.Vehicle, v.DecidedBy)
		return nil
	case v.Advice == AdviseNothing:
		o.Fault = fleet.Conflictf("%s has no place in the plan: %s", v.Vehicle, v.Why)
		return nil
	}
	id, err := t.carryOut(sc, by, v)
	switch {
	case errors.Is(err, fleet.ErrConflict):
		o.Fault, o.noRoom = err, true
		return nil
	case errors.Is(err, fleet.ErrNotFound), errors.Is(err, fleet.ErrInvalid):
		o.Fault = err
		return nil
	case err != nil:
		return err
	}
	v.State, v.DecidedBy = VisitAccepted, by
	if err := t.decide(v, VisitAccepted, "accepted", by, ""); err != nil {
		return err
	}
	o.Booking, err = t.booking(auth.AllFleets(), id)
	return err
}

// carryOut changes the bookings as v wants and returns the booking concerned.
// Every refusal is found before the first change.
func (t *tx) carryOut(sc auth.Scope, by string, v *Visit) (id int64, err error) {
	if v.Advice == AdviseBook {
		b := fleet.Booking{VehicleID: v.VehicleID, Slot: v.Slot, Hours: v.Hours, Work: v.Work, Cost: v.Cost, VisitID: v.VisitID}
		id, err := t.book(sc, by, v.Why, b)
		if errors.Is(err, fleet.ErrConflict) && v.Bay > 0 {
			// The bay has gone; another will do.
			b.Bay, b.Starts = 0, 0
			id, err = t.book(sc, by, v.Why, b)
		}
		return id, err
	}
	b, err := t.openBooking(sc, v.BookingID, v.DepotID)
	if err != nil {
		return 0, err
	}
	// Who moved it since knew better than the proposal: by hand, or by more work
	// that took another place.
	moved := 0
	err = t.one([]any{&moved}, `
		select count(*)
		from booking_changes c
		join proposals p on p.id = ?
		where c.booking_id = ? and c.at > p.made_at and (
			c.what = 'moved' or
			c.from_depot <> c.to_depot or c.from_day <> c.to_day or c.from_starts <> c.to_starts or c.from_bay <> c.to_bay)`, v.ProposalID, b.ID)
	if err != nil {
		return 0, err
	}
	// A proposal leaves what people placed on its day, whatever the clocks say.
	placed := b.Kept && (v.Advice != AdviseExtend || v.DepotID != b.DepotID || v.Day != b.Day)
	if moved > 0 || placed {
		return 0, fleet.Conflictf("the booking of %s was moved to %s since this was proposed: propose anew", v.Vehicle, b.Day.Written())
	}
	switch v.Advice {
	case AdviseWithdraw:
		return b.ID, t.end(by, b, fleet.Withdrawn, v.Why)
	case AdviseMove, AdviseExtend:
		what := "moved"
		if v.Advice == AdviseExtend {
			what = "changed"
		}
		err := t.move(sc, by, b, v.Slot, v.Work, v.Hours, v.Cost, false, what, v.Why)
		if errors.Is(err, fleet.ErrConflict) && v.Bay > 0 {
			to := v.Slot
			to.Bay, to.Starts = 0, 0
			err = t.move(sc, by, b, to, v.Work, v.Hours, v.Cost, false, what, v.Why)
		}
		return b.ID, err
	}
	return 0, fleet.Invalidf("advice %q: nothing can be done about it", v.Advice)
}

// decide keeps what became of a visit by what somebody did: of one taken back nobody
// has decided any more.
func (t *tx) decide(v *Visit, state VisitState, act, by, why string) error {
	decided, at := by, any(instant(t.db.now()))
	if state == VisitOpen || state == VisitSuperseded {
		decided, at = "", nil
	}
	_, err := t.exec(`
		update proposal_visits
		set state = ?, decided_by = ?, decided_why = ?, decided_at = ?
		where id = ?`, string(state), storableOf(decided), storableOf(why), at, v.ID)
	if err != nil {
		return err
	}
	detail := v.Vehicle
	if why != "" {
		detail += ": " + why
	}
	return t.log(entry{act: act, record: "proposed visit", id: v.ID, fleet: v.FleetID, depot: v.DepotID, by: by, detail: detail})
}
