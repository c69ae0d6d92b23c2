package store

import (
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
	err = db.write(ctx, "pour bare readings", func(t *tx) error {
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
