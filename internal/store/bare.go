package store

import (
	"cmp"
	"context"
	"iter"

	"brakewear/internal/fleet"
)

// PourBare writes readings into their two tables, what they share of a visit into
// inspections and the rest into its own, with all their keys, indexes and foreign
// keys, in one transaction and as fast as the driver can: no check, no upload, and
// ids that are counted. It is what taking readings in is measured against, for a
// database that is thrown away, which has their vehicles. All of a batch is written
// when the next is asked for, which may reuse it; no visit goes on in the next. Each
// table's rows of a batch are poured within a call of each, so that it can be told
// what one of them takes. It returns how many readings it wrote.
func (db *DB) PourBare(ctx context.Context, batches iter.Seq[[]fleet.Reading], each func(table string, pour func() error) error) (n int, err error) {
	err = db.tend(ctx, "pour bare readings", func(t *tx) error {
		if err := t.planOnce(); err != nil {
			return err
		}
		var visits int64 // so far
		for rs := range batches {
			var all []*fleet.Reading
			var fresh []visit
			of := map[visit]inspection{}
			for i := range rs {
				all = append(all, &rs[i])
				v := visitOf(&rs[i])
				if i > 0 && v == visitOf(&rs[i-1]) || of[v].id != 0 {
					continue
				}
				visits++
				of[v], fresh = inspection{visits, 1, v.day.String()}, append(fresh, v)
			}
			err := each("inspections", func() error { return t.pourInspections(fresh, of) })
			if err != nil {
				return err
			}
			err = each("thickness_readings", func() error { return (&Writer{t: t, upload: 1}).pourReadings(all, of) })
			if err != nil {
				return err
			}
			n += len(rs)
		}
		return nil
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
			err = t.pour("forecast_positions", positionColumns, positionRows(fs, &failed))
			if err := cmp.Or(failed, err); err != nil {
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

// Settle has a server do at once what it does by itself in the minutes after its
// tables were filled, for benchmarks: it would take a processor from whatever is
// measured then, and fleets that are asked were filled days ago.
func (db *DB) Settle(ctx context.Context) error {
	if db.dialect != Postgres {
		return nil
	}
	for _, do := range []string{"vacuum (analyze)", "checkpoint"} {
		if _, err := db.w.ExecContext(ctx, do); err != nil {
			return wrap(ctx, do, err)
		}
	}
	return nil
}
