package store

import (
	"context"
	"database/sql"
	"fmt"
	"sync"

	"github.com/jmoiron/sqlx"

	"brakewear/internal/fleet"
)

// readCounting is read for f that counts by t.counted.
func (db *DB) readCounting(ctx context.Context, what string, f func(t *tx) error) (err error) {
	version := db.version // blank in a trial, which sees what nobody else does
	if db.within == nil {
		// Before the transaction begins: what is written meanwhile makes it old.
		if version, err = db.Version(ctx); err != nil {
			return err
		}
	}
	return db.read(ctx, what, func(t *tx) error {
		t.version = version
		return f(t)
	})
}

// counts are what queries counted in one version of the database, by query. The
// zero value is empty and ready.
type counts struct {
	mu      sync.Mutex
	version string
	of      map[string]int
}

// maxCounts is how many counts are kept: every filter that a few hundred people
// use between two writes.
const maxCounts = 1000

// at returns what was counted in a version.
func (k *counts) at(version, query string) (n int, ok bool) {
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.version != version {
		return 0, false
	}
	n, ok = k.of[query]
	return n, ok
}

// keep keeps what was counted after the version was asked for.
func (k *counts) keep(version, query string, n int) {
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.version != version || len(k.of) >= maxCounts {
		k.version, k.of = version, map[string]int{}
	}
	k.of[query] = n
}

// counted returns what a query counts, or what it counted before while nothing
// was written: a list says how long it is on every page and in every order.
func (t *tx) counted(query string, args ...any) (n int, err error) {
	key := fmt.Sprintf("%s %#v", query, args)
	if n, ok := t.db.counts.at(t.version, key); ok && t.version != "" {
		return n, nil
	}
	if err = t.one([]any{&n}, query, args...); err == nil && t.version != "" {
		t.db.counts.keep(t.version, key, n)
	}
	return n, err
}

// fileWatch is the connection by which an SQLite file is watched: it counts
// what the others commit, and only its own counts compare.
type fileWatch struct {
	mu     sync.Mutex
	conn   *sql.Conn
	opened int
}

// Version returns a mark of all that is in the database: while it stays the
// same, every read gives what it gave before, whichever process writes. It
// changes with every write, of other fleets too. On PostgreSQL it is the set
// of transactions that a reader sees, on SQLite the count of commits.
func (db *DB) Version(ctx context.Context) (v string, err error) {
	if db.within != nil {
		return "", fleet.Invalidf("version: a trial has none")
	}
	if db.dialect == SQLite {
		v, err = db.watch.version(ctx, db.r)
		return v, wrap(ctx, "see whether anything was written", err)
	}
	// One statement sees one state without a transaction, whose beginning and end
	// would take longer.
	var started, seen string
	query := `select cast(pg_postmaster_start_time() as text), cast(txid_current_snapshot() as text)`
	trace(ctx, query, nil)
	err = db.r.QueryRowxContext(ctx, query).Scan(&started, &seen)
	return started + " " + seen, wrap(ctx, "see whether anything was written", err)
}

func (w *fileWatch) version(ctx context.Context, r *sqlx.DB) (string, error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.conn == nil {
		conn, err := r.Conn(ctx)
		if err != nil {
			return "", err
		}
		w.conn = conn
		w.opened++
	}
	var n int64
	if err := w.conn.QueryRowContext(ctx, `pragma data_version`).Scan(&n); err != nil {
		w.conn.Close()
		w.conn = nil
		return "", err
	}
	return fmt.Sprintf("%d.%d", w.opened, n), nil
}

func (w *fileWatch) close() {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.conn != nil {
		w.conn.Close()
		w.conn = nil
	}
}
