package store

import (
	"context"
	"errors"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
)

// MoveReadings puts the readings of one axle of an inspection where they belong,
// as rows that stand instead: those of the inspection that the reading mv.Reading
// is of, of the same axle, that count. It returns what was done, in the order of
// the readings. Where one of them cannot stand there nothing is changed.
func (db *DB) MoveReadings(ctx context.Context, sc auth.Scope, mv fleet.AxleMove, why fleet.Reason) (done []fleet.Correction, err error) {
	if err := errors.Join(why.Validate(), mv.Validate()); err != nil {
		return nil, err
	}
	rec := fleet.Record{Kind: fleet.ReadingRecord, ID: mv.Reading}
	up := fleet.Upload{Kind: CorrectionsKind, Name: "Readings of another axle, from " + rec.String(), By: why.By}
	err = db.TakeIn(ctx, sc, &up, func(w *Writer) (err error) {
		defer w.end("move "+rec.String(), &err)
		done, err = w.move(rec, mv, why)
		up.Accepted = len(done)
		return err
	})
	return done, err
}

func (w *Writer) move(rec fleet.Record, mv fleet.AxleMove, why fleet.Reason) (done []fleet.Correction, err error) {
	at, err := w.t.hold(w.sc, rec)
	if err != nil {
		return nil, err
	}
	if at.aside != nil {
		return nil, goneBy(rec, at.aside)
	}
	to := at
	if mv.VehicleID != 0 && mv.VehicleID != at.vehicle {
		if to, err = w.t.holderOf(w.sc, mv.VehicleID); err != nil {
			return nil, err
		}
	}
	for _, h := range []holder{at, to} {
		if err := w.place(h.fleet, h.depot); err != nil {
			return nil, err
		}
	}
	all, err := w.t.ofInspection(rec)
	if err != nil {
		return nil, err
	}
	var from int
	for _, r := range all {
		if r.ID == rec.ID {
			from = r.Position.Axle
		}
	}
	if to.vehicle == at.vehicle && mv.Axle == from {
		return nil, fleet.Invalidf("axle %d: that is where these readings are; say another axle, or another vehicle", mv.Axle)
	}
	moved := func(r fleet.Reading) (fleet.Reading, bool) {
		switch {
		case r.Position.Axle == from:
			r.VehicleID, r.Position.Axle = to.vehicle, mv.Axle
		case mv.Swap && r.Position.Axle == mv.Axle:
			r.Position.Axle = from
		default:
			return r, false
		}
		return r, true
	}
	// What two axles that are swapped have alike stays.
	there := map[readingKey]bool{}
	for i := range all {
		if _, ok := moved(all[i]); ok {
			there[readingKeyOf(&all[i])] = true
		}
	}
	for i := range all {
		old := &all[i]
		r, ok := moved(*old)
		if !ok || there[readingKeyOf(&r)] {
			continue
		}
		rec := fleet.Record{Kind: fleet.ReadingRecord, ID: old.ID}
		stands, err := w.standReading(rec, to.fleet, &r)
		if err != nil {
			return nil, err
		}
		c := fleet.Correction{VehicleID: at.vehicle, Record: rec, Act: fleet.Corrected, StandsID: stands, Reason: why}
		if err := w.t.aside(&c, at); err != nil {
			return nil, err
		}
		done = append(done, c)
		if to.vehicle != at.vehicle {
			here := fleet.Correction{
				VehicleID: to.vehicle, Record: fleet.Record{Kind: fleet.ReadingRecord, ID: stands},
				Act: fleet.Moved, Reason: why, At: c.At,
			}
			if err := w.t.keep(&here, to); err != nil {
				return nil, err
			}
		}
	}
	if len(done) == 0 {
		return nil, fleet.Invalidf("axles %d and %d: the same was read on both, so there is nothing to swap", from, mv.Axle)
	}
	return done, nil
}

// holderOf is whom what is recorded of a vehicle belongs to.
func (t *tx) holderOf(sc auth.Scope, vehicleID int64) (holder, error) {
	var w where
	w.add("v.id = ?", vehicleID)
	w.scope(sc, "v")
	var at holder
	err := t.one([]any{&at.fleet, &at.depot, &at.vehicle}, `select v.fleet_id, v.depot_id, v.id from vehicles v`+w.String(), w.args...)
	if errors.Is(err, errNoRows) {
		return at, noVehicle(vehicleID)
	}
	return at, err
}

// ofInspection returns the readings that count of the inspection that a reading is
// of, by id, and keeps them from others until the transaction ends.
func (t *tx) ofInspection(rec fleet.Record) (rs []fleet.Reading, err error) {
	ids, err := t.visitOf(rec.ID, "")
	if err != nil {
		return nil, err
	}
	err = t.readings(where{[]string{"r.id in " + places(len(ids))}, anys(ids)}, counting, func(r *fleet.Reading) { rs = append(rs, *r) })
	return rs, err
}
