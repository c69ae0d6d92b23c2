package store

import (
	"context"
	"database/sql"
	"math"
	"slices"
	"strconv"
	"time"

	"github.com/jmoiron/sqlx"

	"brakewear/forecast"
	"brakewear/internal/auth"
	"brakewear/internal/fleet"
)

// History is all that is known of one vehicle and still counts: what was set
// aside is left out. Axles come by number, the rest by date.
type History struct {
	Vehicle      fleet.Vehicle
	Fleet, Depot string
	RuleSet      string // id, of the fleet; blank = none picked
	Thresholds   bool   // the fleet has had some of its own
	Axles        []fleet.Axle
	Limits       []fleet.AxleLimit // the workshop's own, in force
	Odometers    []fleet.Odometer
	Swaps        []fleet.ClusterSwap
	Readings     []fleet.Reading
	Fitments     []fleet.Fitment
	BrakeTests   []fleet.BrakeTest
	Conditions   []fleet.Condition
	Rotors       []fleet.RotorMeasure
	// Refused are changes of parts that somebody says did not take place.
	Refused []fleet.SuggestedFitment
	// Memory is of what the model worked out of it, where one who reads it works
	// on it more than once; it is not stored.
	Memory *forecast.Memory
}

// roundVehicles is how many vehicles one round of queries reads: enough to
// make the queries' own cost small, and a few MB.
const roundVehicles = 256

// EachHistory calls fn for each vehicle of ids, or for all when ids is nil, in
// the order of their ids, and stops at fn's first error. What sc does not see
// is left out, and how readings were written down: value and unit as given, note and
// line. fn may keep h, and may use the DB: no rows are open. Each
// vehicle is read in one state of the database, not all of them together.
func (db *DB) EachHistory(ctx context.Context, sc auth.Scope, ids []int64, fn func(h *History) error) error {
	if ids == nil {
		return db.EachHistoryBetween(ctx, sc, 1, math.MaxInt64, fn)
	}
	ids = slices.Compact(slices.Sorted(slices.Values(ids)))
	for some := range slices.Chunk(ids, roundVehicles) {
		var w where
		w.scope(sc, "v")
		w.add("v.id in "+places(len(some)), anys(some)...)
		if _, err := db.round(ctx, w, some, fn); err != nil {
			return err
		}
	}
	return nil
}

// EachHistoryBetween is EachHistory for the vehicles with ids from first to
// last, both included.
func (db *DB) EachHistoryBetween(ctx context.Context, sc auth.Scope, first, last int64, fn func(h *History) error) error {
	for {
		var w where
		w.scope(sc, "v")
		w.add("v.id between ? and ?", first, last)
		hs, err := db.round(ctx, w, nil, fn)
		if err != nil || len(hs) < roundVehicles {
			return err
		}
		first = hs[len(hs)-1].Vehicle.ID + 1
	}
}

// round calls fn with each of the next vehicles that w admits, and returns them. ids
// are as for histories.
func (db *DB) round(ctx context.Context, w where, ids []int64, fn func(h *History) error) ([]*History, error) {
	hs, err := db.histories(ctx, w, ids, 0, nil)
	if err != nil {
		return nil, err
	}
	for _, h := range hs {
		if err := fn(h); err != nil {
			return nil, err
		}
	}
	return hs, nil
}

// VehiclesBetween calls fn with the id and number of each vehicle with an id
// from first to last, in order.
func (db *DB) VehiclesBetween(ctx context.Context, sc auth.Scope, first, last int64, fn func(id int64, number string)) error {
	return db.read(ctx, "list vehicles", func(t *tx) error {
		var w where
		w.scope(sc, "v")
		w.add("v.id between ? and ?", first, last)
		return t.each(func(r *sqlx.Rows) error {
			var id int64
			var number string
			if err := r.Scan(&id, &number); err != nil {
				return err // a row half read is no row
			}
			fn(id, number)
			return nil
		}, `
			select v.id, v.number
			from vehicles v`+w.String()+`
			order by v.id`, w.args...)
	})
}

// History returns the history of one vehicle.
func (db *DB) History(ctx context.Context, sc auth.Scope, vehicleID int64) (History, error) {
	return db.history(ctx, sc, vehicleID, nil)
}

func noVehicle(id int64) error {
	return fleet.NotFoundf("vehicle %d: there is none, or none that you may see", id)
}

// histories reads the first roundVehicles vehicles v that w admits, a query a
// table, more records than all need, and what is around the last of them, unless that is nil. Where w admits none
// but those of ids, a server is asked for all of it at once; nil = which, is not known.
func (db *DB) histories(ctx context.Context, w where, ids []int64, more Records, around *Around) (hs []*History, err error) {
	err = db.find(ctx, "read histories", func(t *tx) error {
		if !t.byKey { // within another, which began without
			if err := t.set(byRound); err != nil {
				return err
			}
		}
		of := make(map[int64]*History, len(ids))
		var some Records // of those that are rare
		vehicle := func(r *sqlx.Rows) error {
			h := &History{}
			var has [len(rare)]bool
			dest := append(scanVehicle(&h.Vehicle), &h.Fleet, &h.Depot, &h.RuleSet, &h.Thresholds)
			for i := range has {
				dest = append(dest, &has[i])
			}
			err := r.Scan(append(dest, around.dest()...)...)
			hs = append(hs, h)
			of[h.Vehicle.ID] = h
			for i, one := range has {
				if one {
					some |= rare[i]
				}
			}
			return err
		}
		query := `
			select` + vehicleColumns + `,
				f.name,
				d.name,
				f.rule_set,
				exists (select 1 from own_thresholds x where x.fleet_id = v.fleet_id),
				exists (select 1 from cluster_swaps x where x.vehicle_id = v.id),
				exists (select 1 from axle_limits x where x.vehicle_id = v.id),
				exists (select 1 from brake_tests x where x.vehicle_id = v.id),
				exists (select 1 from inspection_conditions x where x.vehicle_id = v.id),
				exists (select 1 from job_cards x where x.vehicle_id = v.id),
				exists (select 1 from findings x where x.vehicle_id = v.id and x.kind = ? and x.answer = ?)` + around.columns() + `
			from vehicles v
			join fleets f on f.id = v.fleet_id
			join depots d on d.id = v.depot_id` + w.String() + `
			order by v.id
			limit ` + strconv.Itoa(roundVehicles)
		args := append([]any{string(fleet.PartChange), string(fleet.Refused)}, w.args...)
		what := AxleRecords | OdometerRecords | ReadingRecords | FitmentRecords | more
		if ids == nil {
			if err := t.each(vehicle, query, args...); err != nil || len(hs) == 0 {
				return err
			}
			return t.fillHistories(of, idsOf(hs), what|some)
		}
		err := t.gather(func() error {
			if err := t.each(vehicle, query, args...); err != nil {
				return err
			}
			return t.askRecords(of, anys(ids), what)
		})
		if err != nil || some == 0 {
			return err
		}
		return t.fillHistories(of, idsOf(hs), some)
	})
	return hs, err
}

func idsOf(hs []*History) []any {
	ids := make([]any, len(hs))
	for i, h := range hs {
		ids[i] = h.Vehicle.ID
	}
	return ids
}

// which says which rows of a table of measured values to read.
type which int

const (
	counting which = iota // those that count
	aside                 // those that do not
	either
	bare // those that count, without how they were written down
)

func (k which) counts() bool { return k == counting || k == bare }

// columns are those of r that rows which count have no use for.
func (k which) columns() string {
	if k.counts() {
		return ""
	}
	return `,
			r.set_aside_reason,
			r.set_aside_by,
			r.set_aside_at,
			r.superseded_by`
}

// of adds which rows r to read to w.
func (k which) of(w where) where {
	switch {
	case k.counts():
		return where{append(slices.Clip(w.conds), "r.set_aside_at is null"), w.args}
	case k == aside:
		return where{append(slices.Clip(w.conds), "r.set_aside_at is not null"), w.args}
	}
	return w
}

// asideRow is what is in columns.
type asideRow struct {
	why, by sql.NullString
	at      *instant
	stands  sql.NullInt64
}

func (k which) dest(a *asideRow) []any {
	if k.counts() {
		return nil
	}
	return []any{&a.why, &a.by, &a.at, &a.stands}
}

func (a *asideRow) aside() *fleet.Aside {
	if a.at == nil {
		return nil
	}
	return &fleet.Aside{
		Reason:   fleet.Reason{Why: a.why.String, By: a.by.String},
		At:       time.Time(*a.at),
		StandsID: a.stands.Int64,
	}
}

// odometers calls fn for the odometer readings r of kind k that w admits, by
// date. o is fn's until it returns, as in the two methods after.
func (t *tx) odometers(w where, k which, fn func(o *fleet.Odometer)) error {
	var o fleet.Odometer
	var a asideRow
	dest := append([]any{&o.ID, &o.VehicleID, &o.Date, &o.Km, &o.UploadID}, k.dest(&a)...)
	w = k.of(w)
	return t.each(func(r *sqlx.Rows) error {
		if err := r.Scan(dest...); err != nil {
			return err // a row half read is no row
		}
		o.Aside = a.aside()
		fn(&o)
		return nil
	}, `
		select r.id, r.vehicle_id, r.day, r.km, r.upload_id`+k.columns()+`
		from odometer_readings r`+w.String()+`
		order by r.vehicle_id, r.day, r.km, r.revision`, w.args...)
}

// columnsOf returns the columns of readings r of kind k, but for those of their visits
// and of what was set aside, and where they go in d.
func (k which) columnsOf(d *fleet.Reading) (columns string, dest []any) {
	columns = "r.id, r.vehicle_id, r.axle, r.part, r.side, r.face, r.day, r.mm, r.gauge, r.tripped, r.upload_id"
	dest = []any{
		&d.ID,
		&d.VehicleID,
		&d.Position.Axle,
		&d.Position.Part,
		&d.Position.Side,
		&d.Position.Face,
		&d.Date,
		&d.MM,
		&d.Gauge,
		&d.Tripped,
		&d.UploadID,
	}
	if k != bare {
		columns += ", r.given, r.unit, r.note, r.line"
		dest = append(dest, &d.Given, &d.Unit, &d.Note, &d.Line)
	}
	return columns, dest
}

const readingsOrder = `
		order by r.vehicle_id, r.day, r.axle, r.part, r.side, r.face, r.mm, r.tripped, r.revision`

func (t *tx) readings(w where, k which, fn func(d *fleet.Reading)) error {
	var d fleet.Reading
	var a asideRow
	columns, dest := k.columnsOf(&d)
	dest = append(append(dest, &d.OdometerKm, &d.Technician), k.dest(&a)...)
	w = k.of(w)
	return t.each(func(r *sqlx.Rows) error {
		d = fleet.Reading{} // no pointer of the row before
		if err := r.Scan(dest...); err != nil {
			return err // a row half read is no row
		}
		d.Aside = a.aside()
		fn(&d)
		return nil
	}, `
		select `+columns+`, i.odometer_km, i.technician`+k.columns()+`
		from thickness_readings r
		join inspections i on i.id = r.inspection_id`+w.String()+readingsOrder, w.args...)
}

// readingsOf is readings of vehicles, of a kind that counts. A visit has several, and to
// look it up for each took a server as long again as to read them: visits are read first.
// A reading of one that was stored after them is of a later state.
func (t *tx) readingsOf(vehicles []any, k which, fn func(d *fleet.Reading)) error {
	type inspected struct {
		km         *float64
		technician string
	}
	visits := map[int64]inspected{}
	in := places(len(vehicles))
	err := t.each(func(r *sqlx.Rows) error {
		var id int64
		var v inspected
		err := r.Scan(&id, &v.km, &v.technician)
		visits[id] = v
		return err
	}, `select id, odometer_km, technician from inspections where vehicle_id in `+in, vehicles...)
	if err != nil {
		return err
	}
	var d fleet.Reading
	var visit int64
	columns, dest := k.columnsOf(&d)
	dest = append(dest, &visit)
	return t.each(func(r *sqlx.Rows) error {
		if err := r.Scan(dest...); err != nil {
			return err // a row half read is no row
		}
		v, there := visits[visit]
		if !there {
			return nil
		}
		d.OdometerKm, d.Technician = v.km, v.technician
		fn(&d)
		return nil
	}, `
		select `+columns+`, r.inspection_id
		from thickness_readings r
		where r.vehicle_id in `+in+` and r.set_aside_at is null`+readingsOrder, vehicles...)
}

func (t *tx) fitments(w where, k which, fn func(f *fleet.Fitment)) error {
	var f fleet.Fitment
	var a asideRow
	dest := append([]any{
		&f.ID,
		&f.VehicleID,
		&f.Position.Axle,
		&f.Position.Part,
		&f.Position.Side,
		&f.Position.Face,
		&f.Date,
		&f.OdometerKm,
		&f.MM,
		&f.UploadID,
		&f.Line,
	}, k.dest(&a)...)
	w = k.of(w)
	return t.each(func(r *sqlx.Rows) error {
		f = fleet.Fitment{} // no pointer of the row before
		if err := r.Scan(dest...); err != nil {
			return err // a row half read is no row
		}
		f.Aside = a.aside()
		fn(&f)
		return nil
	}, `
		select
			r.id,
			r.vehicle_id,
			r.axle,
			r.part,
			r.side,
			r.face,
			r.day,
			r.odometer_km,
			r.mm,
			r.upload_id,
			r.line`+k.columns()+`
		from fitments r`+w.String()+`
		order by r.vehicle_id, r.day, r.axle, r.part, r.side, r.face, r.revision`, w.args...)
}
