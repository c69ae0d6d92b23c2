package store

import (
	"context"
	"strings"
	"time"

	"github.com/jmoiron/sqlx"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
)

// Kept is one line of the track record: a set that came off, and what was
// forecast of it so many days before. Distances are on the vehicle's continuous
// scale, days count from 1970-01-01; NaN where not known.
type Kept struct {
	VehicleID int64
	Axle      int
	Part      fleet.Part
	Fitted    fleet.Date // or first read
	Removed   fleet.Date
	LeftMM    float64 // above the limit; negative past it
	LeftShare float64 // of the usable lining
	CrossDay  float64 // where it met its limit or would have
	CrossKm   float64

	Ahead    int         // days before Removed
	Promised *fleet.Date // day of the forecast; nil when there was none
	Replayed bool        // made afterwards, from what was known that day
	AtKm     float64     // the total on that day
	Day      [3]float64  // its 10, 50 and 90 % quantiles of the limit
	Km       [3]float64

	// Of the vehicle as it is now; not written.
	Number   string
	Category fleet.Category
	Depot    string
}

// Promise is one forecast in the log. Its km are the dashboard's of that day.
type Promise struct {
	VehicleID  int64
	Axle       int
	AsOf       fleet.Date
	LoggedAt   time.Time
	OdometerKm float64
	Day, Km    [3]float64 // 10, 50 and 90 % quantiles of the limit
}

// keptColumns in the order of stagedKept and of scanKept.
var keptColumns = []string{
	"vehicle_id", "axle", "part", "removed", "ahead", "fitted",
	"left_mm", "left_share", "cross_day", "cross_km",
	"promised", "replayed", "at_km",
	"day_p10", "day_p50", "day_p90", "km_p10", "km_p50", "km_p90",
}

var stagedKept = stage{name: "staged_kept", from: "track_record", columns: keptColumns}

// KeepRecord replaces the track record of the vehicles given by rows, which
// concern no other.
func (db *DB) KeepRecord(ctx context.Context, sc auth.Scope, vehicleIDs []int64, rows []Kept) error {
	return db.tend(ctx, "keep the track record", func(t *tx) error {
		var w where
		w.among("vehicle_id", vehicleIDs)
		w.vehicles(sc, "vehicle_id")
		if err := t.later(`delete from track_record`+w.String(), w.args...); err != nil {
			return err
		}
		err := t.fill(stagedKept, func(yield func([]any) bool) {
			for i := range rows {
				k := &rows[i]
				row := []any{
					k.VehicleID, k.Axle, string(k.Part), k.Removed, k.Ahead, k.Fitted,
					k.LeftMM, k.LeftShare, number(k.CrossDay), number(k.CrossKm),
					k.Promised, k.Replayed, number(k.AtKm),
					number(k.Day[0]), number(k.Day[1]), number(k.Day[2]),
					number(k.Km[0]), number(k.Km[1]), number(k.Km[2]),
				}
				if !yield(row) {
					return
				}
			}
		})
		if err != nil {
			return err
		}
		if err := t.checkVehicles(sc, stagedKept.name); err != nil {
			return err
		}
		return t.later(`
			insert into track_record (fleet_id, ` + strings.Join(keptColumns, ", ") + `)
			select v.fleet_id, s.` + strings.Join(keptColumns, ", s.") + `
			from staged_kept s
			join vehicles v on v.id = s.vehicle_id
			where true
			order by s.vehicle_id, s.axle, s.part, s.removed, s.ahead`)
	})
}

// RecordQuery narrows the track record.
type RecordQuery struct {
	Since        fleet.Date     // removed on this day or later
	Fleet, Depot int64          // 0 = all
	Category     fleet.Category // "" = all
}

// TrackRecord returns the track record, latest removal first.
func (db *DB) TrackRecord(ctx context.Context, sc auth.Scope, q RecordQuery) (rows []Kept, err error) {
	err = db.EachKept(ctx, sc, q, func(k *Kept) { rows = append(rows, *k) })
	return rows, err
}

// EachKept calls fn for each line of TrackRecord: there are hundreds of thousands in a
// large fleet.
func (db *DB) EachKept(ctx context.Context, sc auth.Scope, q RecordQuery, fn func(*Kept)) error {
	return db.read(ctx, "read the track record", func(t *tx) error {
		var w where
		w.scope(sc, "v")
		w.only("v.fleet_id", q.Fleet)
		w.only("v.depot_id", q.Depot)
		if q.Category != "" {
			w.add("v.category = ?", string(q.Category))
		}
		if q.Since != 0 {
			w.add("k.removed >= ?", q.Since)
		}
		return t.each(func(r *sqlx.Rows) error {
			var k Kept
			err := r.Scan(
				&k.VehicleID, &k.Axle, &k.Part, &k.Removed, &k.Ahead, &k.Fitted,
				&k.LeftMM, &k.LeftShare, (*number)(&k.CrossDay), (*number)(&k.CrossKm),
				&k.Promised, &k.Replayed, (*number)(&k.AtKm),
				(*number)(&k.Day[0]), (*number)(&k.Day[1]), (*number)(&k.Day[2]),
				(*number)(&k.Km[0]), (*number)(&k.Km[1]), (*number)(&k.Km[2]),
				&k.Number, &k.Category, &k.Depot)
			if err == nil {
				fn(&k)
			}
			return err
		}, `
			select k.`+strings.Join(keptColumns, ", k.")+`, v.number, v.category, d.name
			from track_record k
			join vehicles v on v.id = k.vehicle_id
			join depots d on d.id = v.depot_id`+w.String()+`
			order by k.removed desc, k.vehicle_id, k.axle, k.part, k.ahead`, w.args...)
	})
}

// Promises returns what was forecast of the vehicles given, by vehicle and axle,
// oldest first.
func (db *DB) Promises(ctx context.Context, sc auth.Scope, vehicleIDs []int64) (ps []Promise, err error) {
	if len(vehicleIDs) == 0 {
		return nil, nil
	}
	err = db.read(ctx, "read the forecast log", func(t *tx) error {
		var w where
		w.add("l.vehicle_id in "+places(len(vehicleIDs)), anys(vehicleIDs)...)
		w.vehicles(sc, "l.vehicle_id")
		return t.each(func(r *sqlx.Rows) error {
			var p Promise
			err := r.Scan(
				&p.VehicleID, &p.Axle, &p.AsOf, (*instant)(&p.LoggedAt), (*number)(&p.OdometerKm),
				(*number)(&p.Day[0]), (*number)(&p.Day[1]), (*number)(&p.Day[2]),
				(*number)(&p.Km[0]), (*number)(&p.Km[1]), (*number)(&p.Km[2]))
			ps = append(ps, p)
			return err
		}, `
			select
				l.vehicle_id,
				l.axle,
				l.as_of,
				l.logged_at,
				l.odometer_km,
				l.day_p10,
				l.day_p50,
				l.day_p90,
				l.km_p10,
				l.km_p50,
				l.km_p90
			from forecast_log l`+w.String()+`
			order by l.vehicle_id, l.axle, l.as_of`, w.args...)
	})
	return ps, err
}
