package store

import (
	"context"
	_ "embed"
	"fmt"
	"strings"

	"github.com/jmoiron/sqlx"

	"brakewear/internal/fleet"
)

//go:embed check.sql
var checkSQL string

// Broken is a rule that the data do not keep.
type Broken struct {
	Rule string
	Rows int      // that break it
	Some []string // the first of them
}

// someRows bounds Broken.Some: enough to see what they have in common.
const someRows = 10

// Check returns the rules of check.sql that the data break, and how many rules
// there are. Of an embedded database it first asks whether the file is whole:
// fleet.ErrDamaged where it is not. A schema other than this program's is
// fleet.ErrConflict.
func (db *DB) Check(ctx context.Context) (broken []Broken, rules int, err error) {
	have, want, err := db.SchemaVersion(ctx)
	if err != nil {
		return nil, 0, err
	}
	if have > want {
		return nil, 0, newerSchema(have, want)
	}
	if have < want {
		return nil, 0, fleet.Conflictf("the database has schema version %d and this program checks version %d: use the program of that version, or brakewear migrate first", have, want)
	}
	all := checks()
	err = db.read(ctx, "check the data", func(t *tx) error {
		if err := t.whole(); err != nil {
			return err
		}
		for _, c := range append(t.references(), all...) {
			b := Broken{Rule: c.rule}
			err := t.each(func(r *sqlx.Rows) error {
				var what string
				if err := r.Scan(&what); err != nil {
					return err
				}
				if b.Rows++; b.Rows <= someRows {
					b.Some = append(b.Some, what)
				}
				return nil
			}, c.query)
			if err != nil {
				return fmt.Errorf("%s: %w", c.rule, err)
			}
			rules++
			if b.Rows > 0 {
				broken = append(broken, b)
			}
		}
		return nil
	})
	return broken, rules, err
}

// whole asks an SQLite file whether it is.
func (t *tx) whole() error {
	if t.db.dialect != SQLite {
		return nil // the server looks after its own pages
	}
	var faults []string
	err := t.each(func(r *sqlx.Rows) error {
		var s string
		err := r.Scan(&s)
		faults = append(faults, s)
		return err
	}, `pragma integrity_check`)
	if err != nil {
		return err
	}
	if len(faults) != 1 || faults[0] != "ok" {
		return fmt.Errorf("%w: %s", fleet.ErrDamaged, strings.Join(faults, "; "))
	}
	return nil
}

// check is a query for the rows that break a rule.
type check struct{ rule, query string }

// references is the check that what rows refer to is there: PostgreSQL has kept
// it when they were written, and so has SQLite, where no other program wrote.
func (t *tx) references() []check {
	if t.db.dialect != SQLite {
		return nil
	}
	return []check{{
		"What a row refers to is there.",
		`select "table" || ' ' || coalesce(rowid, '') || ': no such ' || parent from pragma_foreign_key_check`,
	}}
}

// checks reads check.sql, whose first paragraph is about itself.
func checks() (cs []check) {
	for _, part := range strings.Split(checkSQL, "\n\n")[1:] {
		rule, query, _ := strings.Cut(part, "\n")
		cs = append(cs, check{strings.TrimPrefix(rule, "-- "), strings.TrimSuffix(strings.TrimSpace(query), ";")})
	}
	return cs
}
