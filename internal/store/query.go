package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"

	"github.com/jmoiron/sqlx"

	"brakewear/internal/fleet"
)

// ready puts before a query what it needs of stages. The dialect's placeholders come in
// where it is run: of most statements to a server only when it prepares them.
func (t *tx) ready(query string, args []any) (string, []any) {
	query, args = t.withFew(query, args)
	if t.ctx.Value(traceKey{}) != nil {
		trace(t.ctx, t.Rebind(query), args)
	}
	return query, args
}

func trace(ctx context.Context, query string, args []any) {
	if see, ok := ctx.Value(traceKey{}).(func(string, []any)); ok {
		see(query, args)
	}
}

// ask calls scan for every row of one query that finds them by keys and sees one
// state by itself: to begin and to end a transaction for it would be two more ways to
// the server and back.
func (db *DB) ask(ctx context.Context, what string, scan func(r *sqlx.Rows) error, query string, args ...any) error {
	if db.within != nil {
		return db.read(ctx, what, func(t *tx) error { return t.each(scan, query, args...) })
	}
	end, err := db.turn(ctx)
	if err != nil {
		return wrap(ctx, what, err)
	}
	defer end()
	query = db.r.Rebind(query)
	if db.dialect == Postgres {
		(&opening{settings: []string{keepPlans}, byKey: true}).trace(ctx)
	}
	trace(ctx, query, args)
	for try := 0; ; try++ {
		err := db.askOn(ctx, scan, query, args)
		if err == nil || try == maxServerConns || ctx.Err() != nil || !errors.Is(err, errStale) {
			return wrap(ctx, what, err)
		}
	}
}

// askOn asks on one connection. errStale is as for beginOn: another connection may
// answer, and nothing was scanned yet.
func (db *DB) askOn(ctx context.Context, scan func(r *sqlx.Rows) error, query string, args []any) error {
	conn, err := db.r.Connx(ctx)
	if err != nil {
		return err
	}
	defer conn.Close()
	defer db.lines.guard(ctx, conn)()
	rows, err := conn.QueryxContext(ctx, query, args...)
	if err != nil {
		if db.dialect == Postgres && kindOf(err) == fleet.ErrUnavailable {
			err = fmt.Errorf("%w: %w", errStale, err)
		}
		return err
	}
	return eachRow(rows, scan)
}

type traceKey struct{}

// WithTrace makes see get every statement that is run for ctx, with its
// arguments, before it is run: to count them or to ask for their plans. Where a
// server forgets what it was set to for those before, it gets "begin".
func WithTrace(ctx context.Context, see func(query string, args []any)) context.Context {
	return context.WithValue(ctx, traceKey{}, see)
}

func (t *tx) exec(query string, args ...any) (sql.Result, error) {
	if t.held {
		return nil, errNotHeld
	}
	if err := t.send(); err != nil {
		return nil, err
	}
	query, args = t.ready(query, args)
	return t.ExecContext(t.ctx, t.Rebind(query), args...)
}

// locking is what ends a query that holds the rows it finds until the transaction ends;
// nothing on SQLite, whose writers take turns.
func (t *tx) locking(clause string) string {
	if t.db.dialect == SQLite {
		return ""
	}
	return " " + clause
}

// count runs a statement and returns how many rows it changed.
func (t *tx) count(query string, args ...any) (int, error) {
	res, err := t.exec(query, args...)
	if err != nil {
		return 0, err
	}
	n, err := res.RowsAffected()
	return int(n), err
}

// errNoRows is what one returns when there is none; the caller, who knows what
// was looked for, makes fleet.ErrNotFound of it.
var errNoRows = sql.ErrNoRows

// one scans the first row of query into dest.
func (t *tx) one(dest []any, query string, args ...any) error {
	if t.held {
		return errNotHeld
	}
	if t.gathering {
		return errors.New("one row is asked for by itself")
	}
	if len(t.waiting) > 0 {
		found := false
		err := t.each(func(r *sqlx.Rows) error {
			if found {
				return nil
			}
			found = true
			return r.Scan(dest...)
		}, query, args...)
		if err == nil && !found {
			err = errNoRows
		}
		return err
	}
	query, args = t.ready(query, args)
	return t.QueryRowxContext(t.ctx, t.Rebind(query), args...).Scan(dest...)
}

// each calls scan for every row of query.
func (t *tx) each(scan func(r *sqlx.Rows) error, query string, args ...any) error {
	if t.held {
		return errNotHeld
	}
	query, args = t.ready(query, args)
	if t.gathering || len(t.waiting) > 0 {
		t.waiting = append(t.waiting, statement{query, args, scan})
		if t.gathering {
			return nil
		}
		return t.send()
	}
	rows, err := t.QueryxContext(t.ctx, t.Rebind(query), args...)
	if err != nil {
		return err
	}
	return eachRow(rows, scan)
}

func eachRow(rows *sqlx.Rows, scan func(r *sqlx.Rows) error) error {
	defer rows.Close()
	for rows.Next() {
		if err := scan(rows); err != nil {
			return err
		}
	}
	return rows.Err()
}
