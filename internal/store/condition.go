package store

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"

	"github.com/jmoiron/sqlx"

	"brakewear/internal/fleet"
)

// conditionKey is what makes a condition the same as another.
type conditionKey struct {
	vehicle int64
	day     fleet.Date
	axle    int
	side    fleet.Side
	kind    fleet.ConditionKind
	note    string
}

// Conditions adds what was seen at inspections. A condition is already there
// when the vehicle has one of the same date, axle, side, kind and note, even if
// it was set aside. They come by the dozen, not by the million.
func (w *Writer) Conditions(cs []fleet.Condition) (c Counts, err error) {
	defer w.end("store conditions", &err)
	if len(cs) == 0 {
		return c, nil
	}
	visits := map[visit]bool{}
	for i := range cs {
		if err := cs[i].Validate(); err != nil {
			return c, err
		}
		if !storable(cs[i].Note) {
			return c, fleet.Invalidf("note %q: it holds bytes that are no text; send it as UTF-8", cs[i].Note)
		}
		visits[conditionVisit(&cs[i])] = true
	}
	if err := w.fillVisits(visits); err != nil {
		return c, err
	}
	if err := enter(w, cs, func(x *fleet.Condition) int64 { return x.VehicleID }); err != nil {
		return c, err
	}
	seen := map[conditionKey]bool{}
	var added []*fleet.Condition
	clear(visits)
	for i := range cs {
		x := &cs[i]
		k := conditionKey{x.VehicleID, x.Date, x.Axle, x.Side, x.Kind, noteKey(x.Note)}
		if !seen[k] {
			if seen[k], err = w.conditionThere(k); err != nil {
				return c, err
			}
		}
		if seen[k] {
			c.Repeated++
			continue
		}
		seen[k] = true
		visits[conditionVisit(x)] = true
		added = append(added, x)
	}
	if len(added) == 0 {
		return c, nil
	}
	if err := w.fillVisits(visits); err != nil {
		return c, err
	}
	inspections, err := w.inspections(len(visits))
	if err != nil {
		return c, err
	}
	for _, x := range added {
		in := inspections[conditionVisit(x)]
		_, err := w.t.exec(`
			insert into inspection_conditions (
				fleet_id, vehicle_id, inspection_id, day,
				axle, side, kind, note, note_key, upload_id)
			values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`,
			in.fleet, x.VehicleID, in.id, x.Date,
			x.Axle, string(x.Side), string(x.Kind), x.Note, noteKey(x.Note), w.upload)
		if err != nil {
			return c, err
		}
		c.Added++
	}
	return c, nil
}

func conditionVisit(c *fleet.Condition) visit {
	return visitOf(&fleet.Reading{VehicleID: c.VehicleID, Date: c.Date, OdometerKm: c.OdometerKm, Technician: c.Technician})
}

// noteKey stands for a note in a key, where a page of text would be too long.
func noteKey(note string) string {
	if note == "" {
		return ""
	}
	sum := sha256.Sum256([]byte(note))
	return hex.EncodeToString(sum[:16])
}

func (w *Writer) conditionThere(k conditionKey) (bool, error) {
	var one int
	err := w.t.one([]any{&one}, `
		select 1
		from inspection_conditions
		where vehicle_id = ? and day = ? and axle = ? and side = ? and kind = ? and note_key = ?`,
		k.vehicle, k.day, k.axle, string(k.side), string(k.kind), k.note)
	if errors.Is(err, errNoRows) {
		return false, nil
	}
	return err == nil, err
}

// conditions calls fn for the conditions r of kind k that w admits, by vehicle and
// date.
func (t *tx) conditions(w where, k which, fn func(c *fleet.Condition)) error {
	w = k.of(w)
	return t.each(func(r *sqlx.Rows) error {
		var c fleet.Condition
		var a asideRow
		err := r.Scan(append([]any{
			&c.ID,
			&c.VehicleID,
			&c.Axle,
			&c.Side,
			&c.Kind,
			&c.Note,
			&c.Date,
			&c.OdometerKm,
			&c.Technician,
			&c.UploadID}, k.dest(&a)...)...)
		if err != nil {
			return err // a row half read is no row
		}
		c.Aside = a.aside()
		fn(&c)
		return nil
	}, `
		select
			r.id,
			r.vehicle_id,
			r.axle,
			r.side,
			r.kind,
			r.note,
			r.day,
			i.odometer_km,
			i.technician,
			r.upload_id`+k.columns()+`
		from inspection_conditions r
		join inspections i on i.id = r.inspection_id`+w.String()+`
		order by r.vehicle_id, r.day, r.axle, r.side, r.id`, w.args...)
}
