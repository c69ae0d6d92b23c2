package store

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
)

// EnterStep is EnterSteps of one step.
func (db *DB) EnterStep(ctx context.Context, sc auth.Scope, cardID int64, seq int, e fleet.StepEntry) (added bool, err error) {
	n, err := db.EnterSteps(ctx, sc, cardID, map[int]fleet.StepEntry{seq: e})
	return n > 0, err
}

// EnterSteps adds what was done in steps of an open card, by their numbers, and
// returns how many entries are new: one whose key is there already changes
// nothing. When one cannot be taken none is.
func (db *DB) EnterSteps(ctx context.Context, sc auth.Scope, cardID int64, entries map[int]fleet.StepEntry) (added int, err error) {
	err = db.write(ctx, "enter steps", func(t *tx) error {
		c, err := t.openCardOf(sc, cardID)
		if err != nil {
			return err
		}
		for _, seq := range slices.Sorted(maps.Keys(entries)) {
			n, err := t.enterStep(&c, seq, entries[seq])
			if err != nil {
				return err
			}
			added += n
			if n > 0 {
				err = t.logCard(&c, "step "+cmp.Or(string(entries[seq].State), "taken back"), entries[seq].By, fmt.Sprintf("step %d", seq))
			}
			if err != nil {
				return err
			}
		}
		if added == 0 {
			t.unchanged()
		}
		return nil
	})
	return added, err
}

func (t *tx) enterStep(c *fleet.Card, seq int, e fleet.StepEntry) (added int, err error) {
	switch {
	case e.State != fleet.StepDone && e.State != fleet.StepFailed && e.State != fleet.StepSkipped && e.State != fleet.StepTakenBack:
		return 0, fleet.Invalidf("state %q: want done, failed or skipped", e.State)
	case len(e.Note) > maxNote:
		return 0, fleet.Invalidf("note: longer than %d characters; shorten it", maxNote)
	case seq < 1 || seq > len(c.Steps):
		return 0, fleet.NotFoundf("job card %d: it has no step %d", c.ID, seq)
	}
	s := &c.Steps[seq-1]
	if e.State == fleet.StepTakenBack && s.Entry == nil {
		return 0, nil // it is already, or there was nothing to take back
	}
	if len(e.Values) > len(s.Measures) {
		return 0, fleet.Invalidf("step %d: it has %d values to note, not %d", seq, len(s.Measures), len(e.Values))
	}
	for len(e.Values) < len(s.Measures) {
		e.Values = append(e.Values, math.NaN())
	}
	for i, x := range e.Values {
		if math.IsInf(x, 0) || math.Abs(x) > maxNoted {
			return 0, fleet.Invalidf("step %d, %s: %g cannot be meant", seq, s.Measures[i].Name, x)
		}
	}
	noted, err := writeNoted(e.Values)
	if err != nil {
		return 0, err
	}
	return t.count(`
		insert into job_card_entries (card_id, seq, state, noted, note, entered_by, entered_at, key)
		values `+places(8)+`
		on conflict do nothing`,
		c.ID, seq, string(e.State), noted, storableOf(e.Note), storableOf(e.By), instant(t.db.now()), storableOf(e.Key))
}

// maxNoted bounds a believable measured value of a step, whatever its unit.
const maxNoted = 1e6

// openCardOf returns a card that is not closed, held against other writers.
func (t *tx) openCardOf(sc auth.Scope, id int64) (fleet.Card, error) {
	if t.db.dialect == Postgres {
		if _, err := t.exec(`select 1 from job_cards where id = ? for update`, id); err != nil {
			return fleet.Card{}, err
		}
	}
	c, err := t.card(sc, id)
	if err == nil && c.State != fleet.CardOpen {
		err = fleet.Conflictf("job card %d is closed (%s, by %s): nothing more can be entered", id, c.State, c.ClosedBy)
	}
	return c, err
}

// HoldCard holds an open card against other writers: who undoes a part holds its cards
// before the fitment, and so must who looks at fitments to fit one.
func (w *Writer) HoldCard(id int64) (err error) {
	defer w.end("hold a job card", &err)
	_, err = w.t.openCardOf(w.sc, id)
	return err
}

// CardOdometer notes the odometer of the visit; the same again changes nothing.
func (w *Writer) CardOdometer(cardID int64, km float64) (err error) {
	defer w.end("note the odometer", &err)
	if !(km >= 0) || km > fleet.MaxOdometerKm {
		return fleet.Invalidf("odometer %g km: want 0 to %d km", km, fleet.MaxOdometerKm)
	}
	c, err := w.t.openCardOf(w.sc, cardID)
	if err != nil || c.OdometerKm != nil && *c.OdometerKm == km {
		return err
	}
	if _, err := w.t.exec(`update job_cards set odometer_km = ? where id = ?`, km, cardID); err != nil {
		return err
	}
	return w.t.logCard(&c, "odometer noted", "", fmt.Sprintf("%.0f km", km))
}

// CloseCard closes an open card, and ends its booking: done when the card was
// passed or not passed, and left as it is when nothing was done. Whether it may be
// passed is for the caller to judge; what stands open on the card itself is
// refused here too. The parts used leave the shelves.
func (db *DB) CloseCard(ctx context.Context, sc auth.Scope, by string, id int64, state fleet.CardState, note string) (c fleet.Card, err error) {
	if state != fleet.CardPassed && state != fleet.CardNotPassed && state != fleet.CardDropped {
		return c, fleet.Invalidf("state %q: want passed, not passed or dropped", state)
	}
	if len(note) > maxNote {
		return c, fleet.Invalidf("note: longer than %d characters; shorten it", maxNote)
	}
	err = db.write(ctx, "close a job card", func(t *tx) error {
		if c, err = t.openCardOf(sc, id); err != nil {
			return err
		}
		if open := c.Open(); state == fleet.CardPassed && len(open) > 0 {
			return fleet.Conflictf("job card %d cannot be passed: %s", id, open[0])
		}
		_, err := t.exec(`
			update job_cards
			set state = ?, closed_by = ?, closed_at = ?, note = ?
			where id = ?`, string(state), storableOf(by), instant(t.db.now()), storableOf(note), id)
		if err != nil {
			return err
		}
		taken := false // as the booking was done, by hand before
		if c.BookingID != 0 && state != fleet.CardDropped {
			b, err := t.openBooking(auth.AllFleets(), c.BookingID, 0) // the card admits
			switch {
			case err == nil:
				err = t.end(by, b, fleet.Done, "job card closed: "+string(state))
			case errors.Is(err, fleet.ErrConflict):
				var ended fleet.Booking
				ended, err = t.booking(auth.AllFleets(), c.BookingID)
				taken = ended.State == fleet.Done
			}
			if err != nil {
				return err
			}
		}
		if !taken {
			if err := t.takeForCard(by, &c, state); err != nil {
				return err
			}
		}
		if c, err = t.card(auth.AllFleets(), id); err != nil {
			return err
		}
		return t.logCard(&c, "closed", by, string(state))
	})
	return c, err
}

// logCard tells the log of changes of c.
func (t *tx) logCard(c *fleet.Card, act, by, detail string) error {
	return t.log(entry{act: act, record: "job card", id: c.ID, fleet: c.FleetID, depot: c.DepotID, by: by, detail: detail})
}

// CardParts notes which parts were fitted by an open card, each with its fitment,
// which is in the upload already. It returns the card.
func (w *Writer) CardParts(cardID int64, parts []fleet.CardPart) (c fleet.Card, err error) {
	defer w.end("note the parts of a job card", &err)
	if c, err = w.t.openCardOf(w.sc, cardID); err != nil {
		return c, err
	}
	for _, p := range parts {
		f := fleet.Fitment{VehicleID: c.VehicleID, Date: c.Day, Position: fleet.Position{Axle: p.Axle, Part: p.Part, Side: p.Side}}
		// Who corrects it moves what is noted of it on: see supersedeFitment.
		err := w.t.one([]any{&p.FitmentID}, `
			select id
			from fitments
			where `+recordTables[fleet.FitmentRecord].key+` and set_aside_at is null`+w.t.locking("for key share"), fitmentKeyArgs(&f)...)
		if errors.Is(err, errNoRows) {
			return c, fleet.Conflictf("axle %d, %s: what is fitted was corrected meanwhile: look at it and send the parts again", p.Axle, p.Part)
		}
		if err != nil {
			return c, err
		}
		noted := false
		for _, old := range c.Parts {
			noted = noted || old.FitmentID == p.FitmentID
		}
		if noted {
			continue
		}
		_, err = w.t.exec(`
			insert into job_card_parts (card_id, axle, part, side, number, batch, mm, measured, fitment_id, fitted_by, fitted_at)
			values `+places(11),
			cardID, p.Axle, string(p.Part), string(p.Side), storableOf(p.Number), storableOf(p.Batch), p.MM, p.Measured, p.FitmentID,
			storableOf(p.By), instant(w.t.db.now()))
		if err == nil {
			err = w.t.logCard(&c, "part noted", p.By, fmt.Sprintf("axle %d, %s %s", p.Axle, p.Part, p.Number))
		}
		if err != nil {
			return c, err
		}
	}
	return c, nil
}
