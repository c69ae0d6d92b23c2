package store

import (
	"context"

	"github.com/jmoiron/sqlx"

	"brakewear/forecast"
	"brakewear/internal/auth"
	"brakewear/internal/fleet"
)

// AxleWaiting is what the cost of waiting with an axle is told by.
type AxleWaiting struct {
	Day      forecast.Dist // of its limit
	Damage   float64       // its workshop's figure for an axle that comes in past its limit
	Currency string        // may be blank
}

// Waiting returns the measured axles of the vehicles given that are at depots
// whose workshop somebody has set, booked or not.
func (db *DB) Waiting(ctx context.Context, sc auth.Scope, vehicleIDs []int64) (map[AxleKey]AxleWaiting, error) {
	if len(vehicleIDs) == 0 {
		return map[AxleKey]AxleWaiting{}, nil
	}
	of := map[AxleKey]AxleWaiting{}
	err := db.read(ctx, "find what waiting costs", func(t *tx) error {
		w := where{[]string{"(" + measured + " or c.past_limit = ?)"}, []any{true}}
		w.scope(sc, "c")
		w.among("c.vehicle_id", vehicleIDs)
		return t.each(func(r *sqlx.Rows) error {
			var k AxleKey
			var x AxleWaiting
			var category fleet.Category
			var light, heavy float64
			err := r.Scan(&k.VehicleID, &k.Axle, quantiles{&x.Day}, &category, &light, &heavy, &x.Currency)
			x.Damage = light
			if category.Heavy() {
				x.Damage = heavy
			}
			of[k] = x
			return err
		}, `
			select c.vehicle_id, c.axle, c.day_quantiles, v.category, s.past_light, s.past_heavy, s.currency
			from axle_forecasts c
			join vehicles v on v.id = c.vehicle_id
			join workshops s on s.depot_id = v.depot_id`+w.String(), w.args...)
	})
	return of, err
}
