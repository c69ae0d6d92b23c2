package store

import (
	"context"
	"errors"
	"slices"

	"github.com/jmoiron/sqlx"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
)

// SetAside takes a record out of what counts. The row is kept.
func (db *DB) SetAside(ctx context.Context, sc auth.Scope, rec fleet.Record, why fleet.Reason) (c fleet.Correction, err error) {
	if err := why.Validate(); err != nil {
		return c, err
	}
	err = db.write(ctx, "set aside "+rec.String(), func(t *tx) error {
		return t.reshelve(sc, rec, &c, func() error {
			at, err := t.hold(sc, rec)
			if err != nil {
				return err
			}
			if at.aside != nil {
				return goneBy(rec, at.aside)
			}
			c = fleet.Correction{VehicleID: at.vehicle, Record: rec, Act: fleet.SetAside, Reason: why}
			return t.aside(&c, at)
		})
	})
	return c, err
}

// UndoSetAside makes a record that was set aside count again. One that was
// corrected is fleet.ErrConflict: what stands instead is to be corrected.
func (db *DB) UndoSetAside(ctx context.Context, sc auth.Scope, rec fleet.Record, why fleet.Reason) (c fleet.Correction, err error) {
	if err := why.Validate(); err != nil {
		return c, err
	}
	err = db.write(ctx, "undo setting aside "+rec.String(), func(t *tx) error {
		return t.reshelve(sc, rec, &c, func() error {
			at, err := t.hold(sc, rec)
			switch {
			case err != nil:
				return err
			case at.aside == nil:
				return fleet.Conflictf("%s is not set aside: it counts, and nothing was changed", rec)
			case at.aside.StandsID != 0:
				return goneBy(rec, at.aside)
			}
			if err := t.stillAlone(rec); err != nil {
				return err
			}
			_, err = t.exec(`
				update `+recordTables[rec.Kind].name+`
				set set_aside_reason = null, set_aside_by = null, set_aside_at = null
				where id = ?`, rec.ID)
			if err != nil {
				return err
			}
			c = fleet.Correction{VehicleID: at.vehicle, Record: rec, Act: fleet.Undone, Reason: why, At: db.now()}
			return t.keep(&c, at)
		})
	})
	return c, err
}

// stillAlone refuses to let rec count again beside another row that says the
// same, such as one that was corrected to its value meanwhile.
func (t *tx) stillAlone(rec fleet.Record) error {
	if rec.Kind == fleet.ConditionRecord {
		return nil // its key is unique, whether it counts or not
	}
	var key []any
	self := where{[]string{"r.id = ?"}, []any{rec.ID}}
	var err error
	switch rec.Kind {
	case fleet.ReadingRecord:
		err = t.readings(self, either, func(r *fleet.Reading) { key = readingKeyArgs(r) })
	case fleet.FitmentRecord:
		err = t.fitments(self, either, func(f *fleet.Fitment) { key = fitmentKeyArgs(f) })
	case fleet.OdometerRecord:
		err = t.odometers(self, either, func(o *fleet.Odometer) { key = []any{o.VehicleID, o.Date, o.Km} })
	case fleet.BrakeTestRecord:
		err = t.brakeTests(self, either, func(b *fleet.BrakeTest) { key = brakeTestKey(b) })
	}
	if err != nil {
		return err
	}
	_, err = (&Writer{t: t}).revision(rec, key...)
	return err
}

// Corrections is what was done to the records of one vehicle, and the rows
// that no longer count because of it.
type Corrections struct {
	Log       []fleet.Correction // newest first
	Odometers []fleet.Odometer   // by date, each with its Aside
	Readings  []fleet.Reading
	Fitments  []fleet.Fitment
	// Conditions by date too.
	Conditions []fleet.Condition
}

// Corrections returns what was corrected and set aside of a vehicle.
func (db *DB) Corrections(ctx context.Context, sc auth.Scope, vehicleID int64) (cs Corrections, err error) {
	err = db.read(ctx, "read corrections", func(t *tx) error {
		if err := t.sees(sc, vehicleID); err != nil {
			return err
		}
		err := t.corrections(where{[]string{"vehicle_id = ?"}, []any{vehicleID}}, "", func(c *fleet.Correction) {
			cs.Log = append(cs.Log, *c)
		})
		if err != nil || len(cs.Log) == 0 {
			return err // what was never touched needs no look for what was set aside
		}
		mine := where{[]string{"r.vehicle_id = ?"}, []any{vehicleID}}
		return errors.Join(
			t.odometers(mine, aside, func(o *fleet.Odometer) { cs.Odometers = append(cs.Odometers, *o) }),
			t.readings(mine, aside, func(r *fleet.Reading) { cs.Readings = append(cs.Readings, *r) }),
			t.fitments(mine, aside, func(f *fleet.Fitment) { cs.Fitments = append(cs.Fitments, *f) }),
			t.conditions(mine, aside, func(c *fleet.Condition) { cs.Conditions = append(cs.Conditions, *c) }))
	})
	return cs, err
}

// CorrectionLog returns a page of Corrections' log: older than the correction before,
// or the newest when that is 0.
func (db *DB) CorrectionLog(ctx context.Context, sc auth.Scope, vehicleID, before int64, limit int) (cs []fleet.Correction, err error) {
	err = db.read(ctx, "list corrections", func(t *tx) error {
		if err := t.sees(sc, vehicleID); err != nil {
			return err
		}
		var w where
		w.add("vehicle_id = ?", vehicleID)
		if before != 0 {
			w.add("id < ?", before)
		}
		return t.corrections(w, " limit ?", func(c *fleet.Correction) { cs = append(cs, *c) }, limitOf(limit))
	})
	return cs, err
}

// corrections calls fn for the corrections that w admits, newest first.
func (t *tx) corrections(w where, limit string, fn func(c *fleet.Correction), args ...any) error {
	return t.each(func(r *sqlx.Rows) error {
		var c fleet.Correction
		if err := r.Scan(&c.ID, &c.VehicleID, &c.Record.Kind, &c.Record.ID, &c.Act, &c.StandsID, &c.Why, &c.By, (*instant)(&c.At)); err != nil {
			return err // a row half read is no row
		}
		fn(&c)
		return nil
	}, `
		select id, vehicle_id, record, record_id, act, coalesce(stands_id, 0), reason, done_by, done_at
		from corrections`+w.String()+`
		order by id desc`+limit, append(w.args, args...)...)
}

// RecordView is one record with what a person who corrects it wants to know.
type RecordView struct {
	VehicleEntry
	Reading   *fleet.Reading // one of the four
	Odometer  *fleet.Odometer
	Fitment   *fleet.Fitment
	Condition *fleet.Condition
	Others    int                // other readings of its visit that count
	Log       []fleet.Correction // newest first

	// Of a fitment that a closed job card noted: what becomes of the shelf when it is set
	// aside or, having been set aside, counts again.
	Shelf fleet.Shelf
	Moves []ShelfMove
}

// Record returns one record, whether it counts or not.
func (db *DB) Record(ctx context.Context, sc auth.Scope, rec fleet.Record) (v RecordView, err error) {
	err = db.read(ctx, "read "+rec.String(), func(t *tx) error {
		table := recordTables[rec.Kind]
		if !slices.Contains(fleet.RecordKinds, rec.Kind) && rec.Kind != fleet.ConditionRecord {
			return fleet.Invalidf("record %q: want one of %s", rec.Kind, fleet.OneOf(fleet.RecordKinds))
		}
		var w where
		w.add("r.id = ?", rec.ID)
		w.scope(sc, "v")
		err := t.one(append(scanVehicle(&v.Vehicle), &v.Fleet, &v.Depot), `
			select`+vehicleColumns+`,
				f.name,
				d.name
			from `+table.name+` r
			join vehicles v on v.id = r.vehicle_id
			join fleets f on f.id = v.fleet_id
			join depots d on d.id = v.depot_id`+w.String(), w.args...)
		if errors.Is(err, errNoRows) {
			return fleet.NotFoundf("%s: there is none, or none that you may see", rec)
		}
		if err != nil {
			return err
		}
		self := where{[]string{"r.id = ?"}, []any{rec.ID}}
		switch rec.Kind {
		case fleet.ReadingRecord:
			err = t.readings(self, either, func(r *fleet.Reading) { c := *r; v.Reading = &c })
			if err == nil {
				err = t.one([]any{&v.Others}, `
					select count(*)
					from thickness_readings r
					join thickness_readings o on o.inspection_id = r.inspection_id
						and o.vehicle_id = r.vehicle_id and o.day = r.day
					where o.id = ? and r.id <> o.id and r.set_aside_at is null`, rec.ID)
			}
		case fleet.FitmentRecord:
			err = t.fitments(self, either, func(f *fleet.Fitment) { c := *f; v.Fitment = &c })
			if err == nil {
				v.Shelf, v.Moves, err = t.shelfAhead(rec.ID, v.Fitment.Aside != nil)
			}
		case fleet.OdometerRecord:
			err = t.odometers(self, either, func(o *fleet.Odometer) { c := *o; v.Odometer = &c })
		case fleet.ConditionRecord:
			err = t.conditions(self, either, func(c *fleet.Condition) { v.Condition = c })
		}
		if err != nil {
			return err
		}
		// Also the one that made it stand instead of another.
		log := where{
			[]string{"vehicle_id = ?", "record = ?", "(record_id = ? or stands_id = ?)"},
			[]any{v.ID, string(rec.Kind), rec.ID, rec.ID},
		}
		return t.corrections(log, "", func(c *fleet.Correction) { v.Log = append(v.Log, *c) })
	})
	return v, err
}
