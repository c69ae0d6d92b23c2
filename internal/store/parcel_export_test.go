package store

import (
	"context"
	"fmt"

	"github.com/jmoiron/sqlx"
)

// Statement is one of a transaction.
type Statement struct {
	Query string
	Args  []any
	Later bool // nobody waits for it; else its rows are read
}

// Run runs statements in a transaction, all at once or one by one, and returns the rows
// read, written out.
func (db *DB) Run(ctx context.Context, atOnce bool, ss ...Statement) (rows []string, err error) {
	err = db.tend(ctx, "run statements", func(t *tx) error {
		read := func(r *sqlx.Rows) error {
			vs, err := r.SliceScan()
			rows = append(rows, fmt.Sprintf("%#v", vs))
			return err
		}
		all := func() error {
			for _, s := range ss {
				do := func() error { return t.each(read, s.Query, s.Args...) }
				if s.Later {
					do = func() error { return t.later(s.Query, s.Args...) }
				}
				if err := do(); err != nil {
					return err
				}
			}
			return nil
		}
		if atOnce {
			return t.gather(all)
		}
		return all()
	})
	return rows, err
}

// MaxKept is how many statements a connection keeps.
const MaxKept = maxKept
