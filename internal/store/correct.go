package store

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/jmoiron/sqlx"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
)

// recordTables are the tables of what can be corrected, with what makes a row
// the same as another.
var recordTables = map[fleet.RecordKind]struct {
	name string
	key  string
}{
	fleet.ReadingRecord:   {"thickness_readings", "vehicle_id = ? and day = ? and axle = ? and part = ? and side = ? and face = ? and mm = ? and tripped = ?"},
	fleet.OdometerRecord:  {"odometer_readings", "vehicle_id = ? and day = ? and km = ?"},
	fleet.FitmentRecord:   {"fitments", "vehicle_id = ? and day = ? and axle = ? and part = ? and side = ? and face = ?"},
	fleet.BrakeTestRecord: {"brake_tests", "vehicle_id = ? and day = ? and content = ?"},
	fleet.ConditionRecord: {"inspection_conditions", "vehicle_id = ? and day = ? and axle = ? and side = ? and kind = ? and note_key = ?"},
}

func readingKeyArgs(r *fleet.Reading) []any {
	p := r.Position
	return []any{r.VehicleID, r.Date, p.Axle, string(p.Part), string(p.Side), string(p.Face), r.MM, r.Tripped}
}

func fitmentKeyArgs(f *fleet.Fitment) []any {
	p := f.Position
	return []any{f.VehicleID, f.Date, p.Axle, string(p.Part), string(p.Side), string(p.Face)}
}

// CorrectionsKind is the kind of the uploads that corrected rows belong to.
const CorrectionsKind = "corrections"

// Correct puts another row in the place of a record, which is kept, and
// returns what was done: to the record first, then to the other readings of
// the visit where the change is for all of them. A record that no longer
// counts is fleet.ErrConflict, and the message says what became of it.
func (db *DB) Correct(ctx context.Context, sc auth.Scope, rec fleet.Record, ch fleet.Change, why fleet.Reason) (done []fleet.Correction, err error) {
	if err := why.Validate(); err != nil {
		return nil, err
	}
	if !slices.Contains(fleet.RecordKinds, rec.Kind) {
		return nil, fleet.Invalidf("record %q: want one of %s", rec.Kind, fleet.OneOf(fleet.RecordKinds))
	}
	if ch.Empty() {
		return nil, fleet.Invalidf("%s: nothing is changed: give a new value, day or odometer", rec)
	}
	up := fleet.Upload{Kind: CorrectionsKind, Name: "Correction of " + rec.String(), By: why.By}
	err = db.TakeIn(ctx, sc, &up, func(w *Writer) error {
		var err error
		done, err = w.correct(rec, ch, why)
		up.Accepted = len(done)
		return err
	})
	return done, err
}

func (w *Writer) correct(rec fleet.Record, ch fleet.Change, why fleet.Reason) (done []fleet.Correction, err error) {
	defer w.end("correct "+rec.String(), &err)
	at, err := w.t.hold(w.sc, rec)
	if err != nil {
		return nil, err
	}
	if at.aside != nil {
		return nil, goneBy(rec, at.aside)
	}
	if err := w.place(at.fleet, at.depot); err != nil {
		return nil, err
	}
	one := func(rec fleet.Record, ch fleet.Change) error {
		stands, err := w.supersede(rec, at, ch)
		if err != nil || stands == 0 {
			return err
		}
		c := fleet.Correction{VehicleID: at.vehicle, Record: rec, Act: fleet.Corrected, StandsID: stands, Reason: why}
		if err := w.t.aside(&c, at); err != nil {
			return err
		}
		done = append(done, c)
		return nil
	}
	others, err := w.t.sameVisit(rec, ch)
	if err != nil {
		return nil, err
	}
	if err := one(rec, ch); err != nil {
		return nil, err
	}
	if len(done) == 0 {
		return nil, fleet.Invalidf("%s: nothing is changed: what was given is what is there", rec)
	}
	rest := fleet.Change{Date: ch.Date, OdometerKm: ch.OdometerKm, NoOdometer: ch.NoOdometer}
	for _, id := range others {
		if err := one(fleet.Record{Kind: rec.Kind, ID: id}, rest); err != nil {
			return nil, err
		}
	}
	return done, nil
}

// holder is whom a record belongs to, and whether it counts.
type holder struct {
	fleet, depot, vehicle int64
	aside                 *fleet.Aside
}

// hold reads where rec stands and keeps it from others until the transaction
// ends.
func (t *tx) hold(sc auth.Scope, rec fleet.Record) (holder, error) {
	return t.at(sc, rec, t.locking("for update of r"))
}

// at reads where rec stands.
func (t *tx) at(sc auth.Scope, rec fleet.Record, lock string) (holder, error) {
	table, ok := recordTables[rec.Kind]
	if !ok {
		return holder{}, fleet.Invalidf("record %q: want one of %s", rec.Kind, fleet.OneOf(fleet.RecordKinds))
	}
	var w where
	w.add("r.id = ?", rec.ID)
	w.scope(sc, "v")
	var at holder
	var a asideRow
	err := t.one(append([]any{&at.fleet, &at.depot, &at.vehicle}, either.dest(&a)...), `
		select v.fleet_id, v.depot_id, v.id`+either.columns()+`
		from `+table.name+` r
		join vehicles v on v.id = r.vehicle_id`+w.String()+lock, w.args...)
	if errors.Is(err, errNoRows) {
		return at, fleet.NotFoundf("%s: there is none, or none that you may change", rec)
	}
	at.aside = a.aside()
	return at, err
}

// goneBy says what became of a record that no longer counts.
func goneBy(rec fleet.Record, a *fleet.Aside) error {
	on := fleet.DateOf(a.At.UTC())
	if a.StandsID != 0 {
		return fleet.Conflictf("%s was corrected by %s on %s (%s): nothing was changed; look at what stands instead, %s",
			rec, a.By, on, a.Why, fleet.Record{Kind: rec.Kind, ID: a.StandsID})
	}
	return fleet.Conflictf("%s was set aside by %s on %s (%s): nothing was changed; undo that first", rec, a.By, on, a.Why)
}

// sameVisit returns the other readings of the same inspection that count,
// where the change is for all of them.
func (t *tx) sameVisit(rec fleet.Record, ch fleet.Change) (ids []int64, err error) {
	if !ch.WholeVisit {
		return nil, nil
	}
	if rec.Kind != fleet.ReadingRecord {
		return nil, fleet.Invalidf("%s: only a reading belongs to a visit", rec)
	}
	return t.visitOf(rec.ID, " and r.id <> o.id")
}

// visitOf returns the readings that count of the inspection that a reading is of,
// as far as a further condition on them, r, and it, o, goes, and keeps them from
// others until the transaction ends.
func (t *tx) visitOf(reading int64, and string) (ids []int64, err error) {
	err = t.each(func(r *sqlx.Rows) error {
		var id int64
		err := r.Scan(&id)
		ids = append(ids, id)
		return err
	}, `
		select r.id
		from thickness_readings r
		join thickness_readings o on o.inspection_id = r.inspection_id
			and o.vehicle_id = r.vehicle_id and o.day = r.day
		where o.id = ? and r.set_aside_at is null`+and+`
		order by r.id`+t.locking("for update of r"), reading)
	return ids, err
}

// supersede adds the row that is to stand instead of rec, and returns its id;
// 0 when it would say the same.
func (w *Writer) supersede(rec fleet.Record, at holder, ch fleet.Change) (int64, error) {
	self := where{[]string{"r.id = ?"}, []any{rec.ID}}
	switch rec.Kind {
	case fleet.ReadingRecord:
		var old fleet.Reading
		if err := w.t.readings(self, either, func(d *fleet.Reading) { old = *d }); err != nil {
			return 0, err
		}
		return w.supersedeReading(rec, at, &old, ch)
	case fleet.FitmentRecord:
		var old fleet.Fitment
		if err := w.t.fitments(self, either, func(f *fleet.Fitment) { old = *f }); err != nil {
			return 0, err
		}
		return w.supersedeFitment(rec, at, &old, ch)
	}
	var old fleet.Odometer
	if err := w.t.odometers(self, either, func(o *fleet.Odometer) { old = *o }); err != nil {
		return 0, err
	}
	if ch.Position != nil || ch.MM != nil || ch.NoOdometer {
		return 0, fleet.Invalidf("%s: only its day and its km can be corrected; set it aside if there was none", rec)
	}
	o := old
	ch.Odometer(&o)
	if err := o.Validate(); err != nil {
		return 0, err
	}
	if o == old {
		return 0, nil
	}
	revision, err := w.revision(rec, o.VehicleID, o.Date, o.Km)
	if err != nil {
		return 0, err
	}
	var id int64
	err = w.t.one([]any{&id}, `
		insert into odometer_readings (fleet_id, vehicle_id, day, km, upload_id, revision)
		values (?, ?, ?, ?, ?, ?)
		returning id`, at.fleet, o.VehicleID, o.Date, o.Km, w.upload, revision)
	return id, err
}

func (w *Writer) supersedeReading(rec fleet.Record, at holder, old *fleet.Reading, ch fleet.Change) (int64, error) {
	r := *old
	ch.Reading(&r)
	if err := r.Validate(); err != nil {
		return 0, err
	}
	if sameReading(&r, old) {
		return 0, nil
	}
	return w.standReading(rec, at.fleet, &r)
}

// standReading adds the reading that is to stand instead of rec, in a fleet, and
// returns its id.
func (w *Writer) standReading(rec fleet.Record, fleetID int64, r *fleet.Reading) (int64, error) {
	if err := w.t.fits(r.VehicleID, r.Position); err != nil {
		return 0, err
	}
	revision, err := w.revision(rec, readingKeyArgs(r)...)
	if err != nil {
		return 0, err
	}
	v := visitOf(r)
	if err := w.fillVisits(map[visit]bool{v: true}); err != nil {
		return 0, err
	}
	inspections, err := w.inspections(1)
	if err != nil {
		return 0, err
	}
	var id int64
	err = w.t.one([]any{&id}, `
		insert into thickness_readings (
			fleet_id, vehicle_id, inspection_id, day,
			axle, part, side, face, mm, tripped,
			given, unit, gauge, note, upload_id, line, revision)
		values `+places(17)+`
		returning id`,
		fleetID, r.VehicleID, inspections[v].id, r.Date,
		r.Position.Axle, string(r.Position.Part), string(r.Position.Side), string(r.Position.Face), r.MM, r.Tripped,
		storableOf(r.Given), storableOf(r.Unit), r.Gauge, r.Note, w.upload, 0, revision)
	return id, err
}

func (w *Writer) supersedeFitment(rec fleet.Record, at holder, old *fleet.Fitment, ch fleet.Change) (int64, error) {
	f := *old
	ch.Fitment(&f)
	if err := f.Validate(); err != nil {
		return 0, err
	}
	if f.Position == old.Position && f.Date == old.Date && f.MM == old.MM && sameKm(f.OdometerKm, old.OdometerKm) {
		return 0, nil
	}
	if err := w.t.fits(f.VehicleID, f.Position); err != nil {
		return 0, err
	}
	revision, err := w.revision(rec, fitmentKeyArgs(&f)...)
	if err != nil {
		return 0, err
	}
	var id int64
	err = w.t.one([]any{&id}, `
		insert into fitments (
			fleet_id, vehicle_id, day, axle, part, side, face,
			odometer_km, mm, upload_id, line, revision)
		values `+places(12)+`
		returning id`,
		at.fleet, f.VehicleID, f.Date, f.Position.Axle, string(f.Position.Part), string(f.Position.Side), string(f.Position.Face),
		f.OdometerKm, f.MM, w.upload, 0, revision)
	if err == nil { // a job card undoes what stands
		_, err = w.t.exec(`update job_card_parts set fitment_id = ? where fitment_id = ?`, id, rec.ID)
	}
	return id, err
}

func sameReading(a, b *fleet.Reading) bool {
	return a.Position == b.Position && a.Date == b.Date && a.MM == b.MM && a.Tripped == b.Tripped &&
		sameKm(a.OdometerKm, b.OdometerKm)
}

func sameKm(a, b *float64) bool {
	if a == nil || b == nil {
		return a == b
	}
	return *a == *b
}

// fits checks that the vehicle has such a part.
func (t *tx) fits(vehicle int64, p fleet.Position) error {
	var brake fleet.Brake
	err := t.one([]any{&brake}, `select brake from axles where vehicle_id = ? and number = ?`, vehicle, p.Axle)
	switch {
	case errors.Is(err, errNoRows):
		return fleet.Invalidf("axle %d: the vehicle has none known; correct the axle", p.Axle)
	case err != nil:
		return err
	case !p.Part.Of(brake):
		return fleet.Invalidf("axle %d has a %s brake, which has no %s: correct the part", p.Axle, brake, p.Part)
	}
	return nil
}

// revision returns the number of the next row with the key, or a conflict
// when one that counts, other than rec, says the same already.
func (w *Writer) revision(rec fleet.Record, key ...any) (int, error) {
	table := recordTables[rec.Kind]
	next := 0
	var same int64
	err := w.t.each(func(r *sqlx.Rows) error {
		var id int64
		var revision int
		var at *instant
		if err := r.Scan(&id, &revision, &at); err != nil {
			return err
		}
		next = max(next, revision+1)
		if at == nil && id != rec.ID {
			same = id
		}
		return nil
	}, `select id, revision, set_aside_at from `+table.name+` where `+table.key, key...)
	if err == nil && same != 0 {
		err = fleet.Conflictf("%s: %s says the same already: nothing was changed; set this one aside instead",
			rec, fleet.Record{Kind: rec.Kind, ID: same})
	}
	return next, err
}

// aside takes the record of c out of what counts, and keeps c.
func (t *tx) aside(c *fleet.Correction, at holder) error {
	c.At = t.db.now()
	var stands any
	if c.StandsID != 0 {
		stands = c.StandsID
	}
	n, err := t.count(`
		update `+recordTables[c.Record.Kind].name+`
		set superseded_by = ?, set_aside_reason = ?, set_aside_by = ?, set_aside_at = ?
		where id = ? and set_aside_at is null`,
		stands, storableOf(c.Why), storableOf(c.By), instant(c.At), c.Record.ID)
	if err == nil && n != 1 {
		err = fmt.Errorf("%s: %d rows set aside, want 1", c.Record, n)
	}
	if err != nil {
		return err
	}
	return t.keep(c, at)
}

// keep adds c, with its time, to what was done, and tells the log of changes.
func (t *tx) keep(c *fleet.Correction, at holder) error {
	var stands any
	if c.StandsID != 0 {
		stands = c.StandsID
	}
	err := t.one([]any{&c.ID}, `
		insert into corrections (
			fleet_id, vehicle_id, record, record_id, act, stands_id, reason, done_by, done_at)
		values `+places(9)+`
		returning id`,
		at.fleet, c.VehicleID, string(c.Record.Kind), c.Record.ID, string(c.Act), stands,
		storableOf(c.Why), storableOf(c.By), instant(c.At))
	if err != nil {
		return err
	}
	return t.log(entry{act: strings.ReplaceAll(string(c.Act), "_", " "), record: string(c.Record.Kind), id: c.Record.ID, fleet: at.fleet, depot: at.depot, by: c.By, detail: c.Why})
}
