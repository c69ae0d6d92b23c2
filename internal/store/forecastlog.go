package store

import (
	"context"
	"time"

	"github.com/jmoiron/sqlx"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
)

// Logged is an axle's forecast as the log keeps it. What is not known is NaN.
type Logged struct {
	Axle        int
	AsOf        fleet.Date
	LoggedAt    time.Time
	Model       string
	Readings    int
	PastLimit   bool
	Part        fleet.Part // first to reach its limit; blank = not known
	ThicknessMM float64    // as estimated
	LimitMM     float64
	Rate        float64 // mm per 10,000 km
	OdometerKm  float64 // on the day it is as of
	// At even odds: days since 1970-01-01, and the odometer.
	DayAtLimit, KmAtLimit float64
}

// LoggedForecasts returns what was forecast of a vehicle as of a day and later, by
// axle, newest first.
func (db *DB) LoggedForecasts(ctx context.Context, sc auth.Scope, vehicleID int64, from fleet.Date) (ls []Logged, err error) {
	err = db.read(ctx, "read the forecast log of a vehicle", func(t *tx) error {
		if err := t.loggedLater(sc, vehicleID, from, func(l Logged) { ls = append(ls, l) }); err != nil {
			return err
		}
		return t.send()
	})
	return ls, err
}

// loggedLater asks for them with the next that somebody waits for, see laterEach.
func (t *tx) loggedLater(sc auth.Scope, vehicleID int64, from fleet.Date, fn func(Logged)) error {
	var w where
	w.add("l.vehicle_id = ?", vehicleID)
	w.add("l.as_of >= ?", from)
	w.vehicles(sc, "l.vehicle_id")
	return t.laterEach(func(r *sqlx.Rows) error {
		var l Logged
		err := r.Scan(
			&l.Axle, &l.AsOf, (*instant)(&l.LoggedAt), &l.Model, &l.Readings, &l.PastLimit, &l.Part,
			(*number)(&l.ThicknessMM), (*number)(&l.LimitMM), (*number)(&l.Rate), (*number)(&l.OdometerKm),
			(*number)(&l.DayAtLimit), (*number)(&l.KmAtLimit))
		fn(l)
		return err
	}, `
		select
			l.axle, l.as_of, l.logged_at, l.model, l.readings, l.past_limit, coalesce(l.part, ''),
			l.thickness_mm, l.limit_mm, l.rate, l.odometer_km,
			l.day_p50, l.km_p50
		from forecast_log l`+w.String()+`
		order by l.axle, l.as_of desc`, w.args...)
}
