package store

import (
	"context"
	"slices"

	"github.com/jmoiron/sqlx"
)

// ForecastMarks are what the forecasts of vehicles were stored by last, none of a vehicle
// that has none. Another mark later says that somebody stored newer ones meanwhile.
type ForecastMarks map[int64]int64

// ForecastMarks returns those of vehicles.
func (db *DB) ForecastMarks(ctx context.Context, vehicles []int64) (ForecastMarks, error) {
	ms := ForecastMarks{}
	for ids := range slices.Chunk(vehicles, roundVehicles) {
		var w where
		w.among("vehicle_id", roundedUp(ids))
		if err := db.forecastMarks(ctx, ms, w); err != nil {
			return nil, err
		}
	}
	return ms, nil
}

// ForecastMarksBetween returns those of the vehicles with ids from first to last.
func (db *DB) ForecastMarksBetween(ctx context.Context, first, last int64) (ForecastMarks, error) {
	ms := ForecastMarks{}
	var w where
	w.add("vehicle_id between ? and ?", first, last)
	return ms, db.forecastMarks(ctx, ms, w)
}

func (db *DB) forecastMarks(ctx context.Context, ms ForecastMarks, w where) error {
	return db.find(ctx, "see what forecasts there are", func(t *tx) error {
		return t.each(func(r *sqlx.Rows) error {
			var id, written int64
			err := r.Scan(&id, &written)
			ms[id] = written
			return err
		}, `select vehicle_id, max(written) from axle_forecasts`+w.String()+` group by vehicle_id`, w.args...)
	})
}
