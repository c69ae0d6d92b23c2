package store

import (
	"context"
	"slices"

	"github.com/jmoiron/sqlx"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
)

// DueVehicle is a vehicle with the latest forecasts of all its axles.
type DueVehicle struct {
	fleet.Vehicle
	Axles []AxleForecast // by number
}

// DueVehicles returns the vehicles of a fleet (0 = of all) of which an axle is
// to be booked by a day, or that have an open booking, by id.
func (db *DB) DueVehicles(ctx context.Context, sc auth.Scope, fleetID int64, by fleet.Date) (vs []DueVehicle, err error) {
	err = db.read(ctx, "list what is to be planned", func(t *tx) error {
		var w where
		w.scope(sc, "v")
		w.only("v.fleet_id", fleetID)
		w.add(`(v.id in (select c.vehicle_id from axle_forecasts c where c.by_due <= ?)
			or v.id in (select b.vehicle_id from bookings b where b.state = ?))`, by, string(fleet.Booked))
		err := t.each(func(r *sqlx.Rows) error {
			var v DueVehicle
			err := r.Scan(scanVehicle(&v.Vehicle)...)
			vs = append(vs, v)
			return err
		}, `select`+vehicleColumns+` from vehicles v`+w.String()+` order by v.id`, w.args...)
		if err != nil {
			return err
		}
		for round := range slices.Chunk(vs, roundVehicles) {
			ids := make([]int64, len(round))
			for i := range round {
				ids[i] = round[i].ID
			}
			fs, err := t.axleForecasts(ids...)
			if err != nil {
				return err
			}
			for i := range round {
				n := 0
				for n < len(fs) && fs[n].VehicleID == round[i].ID {
					n++
				}
				round[i].Axles, fs = fs[:n:n], fs[n:]
			}
		}
		return nil
	})
	return vs, err
}
