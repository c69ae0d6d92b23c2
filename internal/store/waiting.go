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

// waiting is what waiting costs with an axle of a vehicle, heavy or not.
func (d depotDamage) waiting(day forecast.Dist, heavy bool) AxleWaiting {
	if heavy {
		return AxleWaiting{day, d.heavy, d.currency}
	}
	return AxleWaiting{day, d.light, d.currency}
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
			var day forecast.Dist
			var category fleet.Category
			var d depotDamage
			err := r.Scan(&k.VehicleID, &k.Axle, quantiles{&day}, &category, &d.light, &d.heavy, &d.currency)
			of[k] = d.waiting(day, category.Heavy())
			return err
		}, `
			select c.vehicle_id, c.axle, c.day_quantiles, v.category, s.past_light, s.past_heavy, s.currency
			from axle_forecasts c
			join vehicles v on v.id = c.vehicle_id
			join workshops s on s.depot_id = v.depot_id`+w.String(), w.args...)
	})
	return of, err
}
