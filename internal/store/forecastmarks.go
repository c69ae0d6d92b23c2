package store

import (
	"context"
	"slices"

	"github.com/jmoiron/sqlx"

	"brakewear/internal/fleet"
)

// ForecastMarks tell what is stored of vehicles. Another mark later says that somebody
// stored newer forecasts meanwhile, or found more or less: a vehicle without axles has no
// forecasts. What is only worded or figured anew of one, or opened again, goes unnoticed.
type ForecastMarks map[int64]forecastMark

type forecastMark struct {
	written int64 // what its forecasts were stored by last
	found   int64 // sum of the ids of the findings that are seen
}

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
			var id int64
			var m forecastMark
			err := r.Scan(&id, &m.written, &m.found)
			ms[id] = m
			return err
		}, `
			select vehicle_id, max(written), CAST(sum(found) AS bigint)
			from (
				select vehicle_id, written, 0 as found
				from axle_forecasts`+w.String()+`
				union all
				select vehicle_id, 0, id
				from findings`+w.String()+` and state <> ?) marks
			group by vehicle_id`, append(slices.Concat(w.args, w.args), string(fleet.NoLonger))...)
	})
}
