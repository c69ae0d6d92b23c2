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

// OpenCard makes a job card with its steps: those that the vehicle's fleet keeps,
// for what is in c.Work, with the maker's check values of the vehicle. Of a booking
// there is one card at a time, and of no booking one that is open for the same work
// of a day, so that what is sent again opens no other; that is fleet.ErrConflict.
// Whoever sees the booking opens its card, at whichever depot the vehicle is at
// home.
func (db *DB) OpenCard(ctx context.Context, sc auth.Scope, by string, c fleet.Card) (opened fleet.Card, err error) {
	if len(c.Work) == 0 {
		return opened, fleet.Invalidf("work: a job card needs something to do")
	}
	if err := checkWork(c.Work); err != nil {
		return opened, err
	}
	err = db.write(ctx, "open a job card", func(t *tx) error {
		id, err := t.openCard(sc, by, c)
		if err != nil {
			return err
		}
		if opened, err = t.card(auth.AllFleets(), id); err != nil {
			return err
		}
		return t.logCard(&opened, "opened", by, "")
	})
	return opened, err
}

func (t *tx) openCard(sc auth.Scope, by string, c fleet.Card) (id int64, err error) {
	var booking any
	ofVehicle := sc
	if c.BookingID != 0 {
		b, err := t.booking(sc, c.BookingID)
		if err != nil {
			return 0, err
		}
		if b.VehicleID != c.VehicleID {
			return 0, fleet.Invalidf("booking %d: it is of another vehicle, %s", b.ID, b.Vehicle)
		}
		if b.State != fleet.Booked {
			return 0, fleet.Conflictf("the booking of %s on %s is %s already", b.Vehicle, b.Day.Written(), b.State)
		}
		if err := t.lockDepots(b.DepotID); err != nil {
			return 0, err
		}
		var other int64
		err = t.one([]any{&other}, `select id from job_cards where booking_id = ? and state <> 'dropped'`, b.ID)
		if err == nil {
			return 0, fleet.Conflictf("the booking of %s on %s has job card %d already", b.Vehicle, b.Day.Written(), other)
		}
		if !errors.Is(err, errNoRows) {
			return 0, err
		}
		booking, c.DepotID = b.ID, b.DepotID
		ofVehicle = auth.AllFleets() // the booking admits
	}
	fleetID, home, err := t.vehicleIn(ofVehicle, c.VehicleID)
	if err != nil {
		return 0, err
	}
	if c.DepotID == 0 {
		c.DepotID = home
	}
	steps, err := t.cardSteps(fleetID, c.VehicleID, c.Work)
	if err != nil {
		return 0, err
	}
	work, err := json.Marshal(c.Work)
	if err != nil {
		return 0, err
	}
	if c.BookingID == 0 {
		if err := t.lockDepots(c.DepotID); err != nil {
			return 0, err
		}
		var other int64
		err = t.one([]any{&other}, `
			select id from job_cards
			where vehicle_id = ? and booking_id is null and state = ? and day = ? and work = ?`,
			c.VehicleID, string(fleet.CardOpen), c.Day, storableOf(string(work)))
		if err == nil {
			return 0, fleet.Conflictf("the vehicle has job card %d of %s for the same work already", other, c.Day.Written())
		}
		if !errors.Is(err, errNoRows) {
			return 0, err
		}
	}
	err = t.one([]any{&id}, `
		insert into job_cards (
			fleet_id, vehicle_id, depot_id, booking_id, day, odometer_km, work,
			state, opened_by, opened_at, closed_by, note)
		values `+places(12)+`
		returning id`,
		fleetID, c.VehicleID, c.DepotID, booking, c.Day, c.OdometerKm, storableOf(string(work)),
		string(fleet.CardOpen), storableOf(by), instant(t.db.now()), "", "")
	if err != nil {
		return 0, err
	}
	for _, s := range steps {
		step, err := json.Marshal(s.Step)
		if err != nil {
			return 0, err
		}
		_, err = t.exec(`
			insert into job_card_steps (card_id, seq, section, axle, step)
			values (?, ?, ?, ?, ?)`, id, s.Seq, string(s.Section), s.Axle, storableOf(string(step)))
		if err != nil {
			return 0, err
		}
	}
	return id, nil
}

// cardSteps puts the steps of a new card together.
func (t *tx) cardSteps(fleetID, vehicleID int64, work []fleet.WorkItem) ([]fleet.CardStep, error) {
	plans, err := t.stepPlans(fleetID)
	if err != nil {
		return nil, err
	}
	steps := map[fleet.Section][]fleet.Step{}
	for s, p := range plans {
		steps[s] = p.Steps
	}
	brakes := map[int]fleet.Brake{}
	err = t.each(func(r *sqlx.Rows) error {
		var axle int
		var b fleet.Brake
		err := r.Scan(&axle, &b)
		brakes[axle] = b
		return err
	}, `select number, brake from axles where vehicle_id = ?`, vehicleID)
	if err != nil {
		return nil, err
	}
	for _, axle := range fleet.Axles(work) {
		if _, ok := brakes[axle]; !ok {
			return nil, fleet.Invalidf("axle %d: the vehicle has none known; take an axles file in first", axle)
		}
	}
	var model, maker string
	if err := t.one([]any{&maker, &model}, `select make, model from vehicles where id = ?`, vehicleID); err != nil {
		return nil, err
	}
	var w where
	w.add("fleet_id = ?", fleetID)
	w.add("make in ('', ?)", maker)
	w.add("model in ('', ?)", model)
	makers, err := t.makersValues(w)
	if err != nil {
		return nil, err
	}
	slices.SortStableFunc(makers, func(a, b fleet.MakersValue) int { return closeness(b) - closeness(a) })
	return fleet.CardSteps(work, brakes, steps, makers), nil
}

// closeness ranks a maker's value: the model's own before its make's before any.
func closeness(v fleet.MakersValue) int {
	n := 0
	if v.Model != "" {
		n += 2
	}
	if v.Make != "" {
		n++
	}
	return n
}

// Card returns one job card with all that was entered.
func (db *DB) Card(ctx context.Context, sc auth.Scope, id int64) (c fleet.Card, err error) {
	err = db.read(ctx, "read a job card", func(t *tx) error {
		c, err = t.card(sc, id)
		return err
	})
	return c, err
}

func (t *tx) card(sc auth.Scope, id int64) (fleet.Card, error) {
	var w where
	w.add("c.id = ?", id)
	w.card(sc)
	cs, err := t.cards(w, "")
	c, err := only(cs, err, "job card %d: there is none, or none that you may see", id)
	if err != nil {
		return c, err
	}
	if err := t.steps(&c); err != nil {
		return c, err
	}
	return c, t.cardParts(&c)
}

// card adds that sc sees the card c's depot or its vehicle v.
func (w *where) card(sc auth.Scope) {
	if sc.All() {
		return
	}
	var at, of where
	at.scope(sc, "c")
	of.scope(sc, "v")
	w.add("("+at.conds[0]+" or "+of.conds[0]+")", append(at.args, of.args...)...)
}

// CardQuery asks for job cards; a zero field asks for all.
type CardQuery struct {
	Depot, Vehicle, Booking int64
	State                   fleet.CardState
	Before                  int64 // older than this card
	Limit                   int
}

// Cards returns job cards, newest first, without their steps and parts.
func (db *DB) Cards(ctx context.Context, sc auth.Scope, q CardQuery) (cs []fleet.Card, err error) {
	err = db.read(ctx, "list job cards", func(t *tx) error {
		var w where
		w.card(sc)
		w.only("c.depot_id", q.Depot)
		w.only("c.vehicle_id", q.Vehicle)
		w.only("c.booking_id", q.Booking)
		if q.State != "" {
			w.add("c.state = ?", string(q.State))
		}
		if q.Before != 0 {
			w.add("c.id < ?", q.Before)
		}
		cs, err = t.cards(w, " limit ?", limitOf(q.Limit))
		return err
	})
	return cs, err
}

func (t *tx) cards(w where, limit string, args ...any) (cs []fleet.Card, err error) {
	err = t.each(func(r *sqlx.Rows) error {
		var c fleet.Card
		var booking *int64
		var work []byte
		err := r.Scan(&c.ID, &c.FleetID, &c.VehicleID, &c.DepotID, &booking, &c.Day, &c.OdometerKm, &work,
			&c.State, &c.OpenedBy, (*instant)(&c.OpenedAt), &c.ClosedBy, maybeInstant{&c.ClosedAt}, &c.Note,
			&c.Vehicle, &c.Plate, &c.Depot, &c.TimeZone)
		if err != nil {
			return err
		}
		if booking != nil {
			c.BookingID = *booking
		}
		if err := json.Unmarshal(work, &c.Work); err != nil {
			return fmt.Errorf("work of job card %d: %w", c.ID, err)
		}
		cs = append(cs, c)
		return nil
	}, `
		select
			c.id,
			c.fleet_id,
			c.vehicle_id,
			c.depot_id,
			c.booking_id,
			c.day,
			c.odometer_km,
			c.work,
			c.state,
			c.opened_by,
			c.opened_at,
			c.closed_by,
			c.closed_at,
			c.note,
			v.number,
			v.plate,
			d.name,
			d.time_zone
		from job_cards c
		join vehicles v on v.id = c.vehicle_id
		join depots d on d.id = c.depot_id`+w.String()+`
		order by c.id desc`+limit, append(w.args, args...)...)
	return cs, err
}

// steps reads a card's steps with their latest entries.
func (t *tx) steps(c *fleet.Card) error {
	at := map[int]int{}
	err := t.each(func(r *sqlx.Rows) error {
		var s fleet.CardStep
		var step []byte
		if err := r.Scan(&s.Seq, &s.Section, &s.Axle, &step); err != nil {
			return err
		}
		at[s.Seq] = len(c.Steps)
		c.Steps = append(c.Steps, s)
		return json.Unmarshal(step, &c.Steps[len(c.Steps)-1].Step)
	}, `select seq, section, axle, step from job_card_steps where card_id = ? order by seq`, c.ID)
	if err != nil {
		return err
	}
	return t.cardEntries(c.ID, func(x CardEntry) {
		s := &c.Steps[at[x.Seq]]
		if s.Entry != nil {
			s.Earlier++
		}
		s.Entry = &x.StepEntry
		if x.State == fleet.StepTakenBack {
			s.Entry = nil
		}
	})
}

// CardEntry is one entry of a job card, whether it stands or not.
type CardEntry struct {
	ID  int64
	Seq int // of its step
	fleet.StepEntry
}

// CardEntries returns a job card with all that was entered for its steps, oldest first.
func (db *DB) CardEntries(ctx context.Context, sc auth.Scope, id int64) (c fleet.Card, es []CardEntry, err error) {
	err = db.read(ctx, "read the entries of a job card", func(t *tx) error {
		if c, err = t.card(sc, id); err != nil {
			return err
		}
		return t.cardEntries(id, func(e CardEntry) { es = append(es, e) })
	})
	return c, es, err
}

// cardEntries calls fn for each entry of a card, oldest first.
func (t *tx) cardEntries(cardID int64, fn func(CardEntry)) error {
	return t.each(func(r *sqlx.Rows) error {
		var e CardEntry
		var noted []byte
		if err := r.Scan(&e.ID, &e.Seq, &e.State, &noted, &e.Note, &e.By, (*instant)(&e.At), &e.Key); err != nil {
			return err
		}
		values, err := readNoted(noted)
		if err != nil {
			return fmt.Errorf("job card %d, step %d: %w", cardID, e.Seq, err)
		}
		e.Values = values
		fn(e)
		return nil
	}, `
		select id, seq, state, noted, note, entered_by, entered_at, key
		from job_card_entries
		where card_id = ?
		order by id`, cardID)
}

// readNoted reads measured values; NaN for those that were not noted.
func readNoted(b []byte) ([]float64, error) {
	var xs []*float64
	if err := json.Unmarshal(b, &xs); err != nil {
		return nil, err
	}
	out := make([]float64, len(xs))
	for i, x := range xs {
		out[i] = math.NaN()
		if x != nil {
			out[i] = *x
		}
	}
	return out, nil
}

// writeNoted is the inverse of readNoted.
func writeNoted(xs []float64) (string, error) {
	out := make([]*float64, len(xs))
	for i := range xs {
		if !math.IsNaN(xs[i]) {
			out[i] = &xs[i]
		}
	}
	b, err := json.Marshal(out)
	return string(b), err
}

func (t *tx) cardParts(c *fleet.Card) error {
	return t.each(func(r *sqlx.Rows) error {
		var p fleet.CardPart
		var why, by *string
		var at *time.Time
		err := r.Scan(&p.ID, &p.Axle, &p.Part, &p.Side, &p.Number, &p.Batch, &p.MM, &p.Measured, &p.FitmentID, &p.By, (*instant)(&p.At),
			&why, &by, maybeInstant{&at})
		if err == nil && at != nil {
			p.Undone = &fleet.Aside{Reason: fleet.Reason{Why: *why, By: *by}, At: *at}
		}
		c.Parts = append(c.Parts, p)
		return err
	}, `
		select
			p.id,
			p.axle,
			p.part,
			p.side,
			p.number,
			p.batch,
			p.mm,
			p.measured,
			p.fitment_id,
			p.fitted_by,
			p.fitted_at,
			f.set_aside_reason,
			f.set_aside_by,
			f.set_aside_at
		from job_card_parts p
		join fitments f on f.id = p.fitment_id
		where p.card_id = ?
		order by p.id`, c.ID)
}
