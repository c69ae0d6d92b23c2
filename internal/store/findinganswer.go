package store

import (
	"context"
	"errors"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
)

// NoteFinding keeps that somebody looked at a finding. One that somebody else
// looked at meanwhile, or that is no longer seen, is fleet.ErrConflict.
func (db *DB) NoteFinding(ctx context.Context, sc auth.Scope, id int64, note fleet.Reason) (vehicle int64, err error) {
	if err := note.Validate(); err != nil {
		return 0, err
	}
	err = db.write(ctx, "note a finding", func(t *tx) error {
		f, err := t.openFinding(sc, id)
		if err != nil {
			return err
		}
		vehicle = f.VehicleID
		return t.note(&f, fleet.NoAnswer, note)
	})
	return vehicle, err
}

// RefuseFitment keeps that the change of parts a finding suspects did not take
// place: it is never suggested again between those days.
func (db *DB) RefuseFitment(ctx context.Context, sc auth.Scope, id int64, note fleet.Reason) (vehicle int64, err error) {
	if err := note.Validate(); err != nil {
		return 0, err
	}
	err = db.write(ctx, "refuse a fitment", func(t *tx) error {
		f, err := t.openSuggestion(sc, id)
		if err != nil {
			return err
		}
		vehicle = f.VehicleID
		return t.note(&f, fleet.Refused, note)
	})
	return vehicle, err
}

// ConfirmFitment records the fitment that a finding suspects, with the day,
// odometer and value given.
func (db *DB) ConfirmFitment(ctx context.Context, sc auth.Scope, id int64, fit fleet.Fitment, note fleet.Reason) (vehicle int64, err error) {
	if err := note.Validate(); err != nil {
		return 0, err
	}
	up := fleet.Upload{Kind: "fitments", Name: "Fitment confirmed", By: note.By, Accepted: 1}
	err = db.TakeIn(ctx, sc, &up, func(w *Writer) (err error) {
		defer w.end("confirm a fitment", &err)
		f, err := w.t.openSuggestion(sc, id)
		if err != nil {
			return err
		}
		s := f.Suggested
		if fit.Date < s.After || fit.Date > s.Before {
			return fleet.Invalidf("day %s: the readings say from %s to %s", fit.Date.Written(), s.After.Written(), s.Before.Written())
		}
		vehicle = f.VehicleID
		fit.VehicleID, fit.Position = f.VehicleID, f.Position
		c, err := w.Fitments([]fleet.Fitment{fit})
		if err == nil && c.Added == 0 { // its like may have been set aside
			c.Added, err = w.FittedAgain([]fleet.Fitment{fit}, db.now())
		}
		if err != nil {
			return err
		}
		if c.Added == 0 {
			return fleet.Conflictf("a fitment of the %s on %s is there already: look at the vehicle's history", fit.Position, fit.Date.Written())
		}
		return w.t.note(&f, fleet.Confirmed, note)
	})
	return vehicle, err
}

// openFinding returns a finding that is open, kept from others until the
// transaction ends.
func (t *tx) openFinding(sc auth.Scope, id int64) (FindingRow, error) {
	if t.db.dialect == Postgres {
		var one int
		err := t.one([]any{&one}, `select 1 from findings where id = ? for update`, id)
		if errors.Is(err, errNoRows) {
			return FindingRow{}, noFinding(id)
		}
		if err != nil {
			return FindingRow{}, err
		}
	}
	f, err := t.finding(sc, id)
	switch {
	case err != nil:
		return f, err
	case f.State == fleet.LookedAt:
		return f, fleet.Conflictf("finding %d was looked at by %s on %s (%s): nothing was changed",
			id, f.Note.By, fleet.DateOf(f.NoteAt), f.Note.Why)
	case f.State == fleet.NoLonger:
		return f, fleet.Conflictf("finding %d is no longer seen: nothing was changed; look at the vehicle as it stands now", id)
	}
	return f, nil
}

func (t *tx) openSuggestion(sc auth.Scope, id int64) (FindingRow, error) {
	f, err := t.openFinding(sc, id)
	if err == nil && f.Suggested == nil {
		err = fleet.Invalidf("finding %d suggests no fitment", id)
	}
	return f, err
}

func (t *tx) note(f *FindingRow, a fleet.Answer, note fleet.Reason) error {
	_, err := t.exec(`
		update findings
		set state = ?, answer = ?, note = ?, note_by = ?, note_at = ?, note_figure = figure
		where id = ?`,
		string(fleet.LookedAt), string(a), storableOf(note.Why), storableOf(note.By), instant(t.db.now()), f.ID)
	if err != nil {
		return err
	}
	e := entry{act: "looked at", record: "finding", id: f.ID, by: note.By, detail: note.Why}
	if a != fleet.NoAnswer {
		e.act = "fitment " + string(a)
	}
	if err := t.one([]any{&e.fleet, &e.depot}, `select fleet_id, depot_id from vehicles where id = ?`, f.VehicleID); err != nil {
		return err
	}
	return t.log(e)
}
