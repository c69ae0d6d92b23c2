package store

import (
	"cmp"
	"context"
	"iter"

	"brakewear/internal/fleet"
)

// PourBare writes readings into their table, with its key and index, in one
// transaction and as fast as the driver can: no check, no visit, no upload. It
// is what taking readings in is measured against, for a database that is thrown
// away. It returns how many it wrote; a batch may be reused once the next is
// asked for.
func (db *DB) PourBare(ctx context.Context, batches iter.Seq[[]fleet.Reading]) (n int, err error) {
	err = db.tend(ctx, "pour bare readings", func(t *tx) error {
		row := make([]any, len(readingColumns))
		return t.pour("thickness_readings", readingColumns, func(yield func([]any) bool) {
			for rs := range batches {
				for i := range rs {
					r := &rs[i]
					row = append(row[:0],
						1, r.VehicleID, r.VehicleID, r.Date,
						r.Position.Axle, string(r.Position.Part), string(r.Position.Side), string(r.Position.Face),
						r.MM, r.Tripped,
						r.Given, r.Unit, r.Gauge, r.Note,
						1, r.Line)
					if !yield(row) {
						return
					}
					n++
				}
			}
		})
	})
	return n, err
}

// PourForecasts writes forecasts of vehicles into their tables, as PourBare does
// with readings, for a database that has the vehicles and no forecasts of them.
// It returns how many axles it wrote.
func (db *DB) PourForecasts(ctx context.Context, batches iter.Seq[[]AxleForecast]) (n int, err error) {
	err = db.tend(ctx, "pour bare forecasts", func(t *tx) error {
		for fs := range batches {
			var failed error
			err := t.pour("axle_forecasts", append([]string{"fleet_id", "depot_id"}, stagedForecasts.columns...), after(forecastRows(fs, &failed), 1, 1))
			if err := cmp.Or(failed, err); err != nil {
				return err
			}
			if err := t.pour("position_forecasts", append([]string{"fleet_id"}, stagedPositions.columns...), after(positionRows(fs), 1)); err != nil {
				return err
			}
			n += len(fs)
		}
		return nil
	})
	return n, err
}

// after puts values before those of each row.
func after(rows iter.Seq[[]any], first ...any) iter.Seq[[]any] {
	return func(yield func([]any) bool) {
		var all []any
		for row := range rows {
			all = append(append(all[:0], first...), row...)
			if !yield(all) {
				return
			}
		}
	}
}
