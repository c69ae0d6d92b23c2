package store

import (
	"context"
	"database/sql"
	"fmt"
	"sync"

	"github.com/jmoiron/sqlx"

	"brakewear/internal/fleet"
)

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
	err = db.read(ctx, "see whether anything was written", func(t *tx) error {
		var started, seen string
		err := t.one([]any{&started, &seen}, `select cast(pg_postmaster_start_time() as text), cast(txid_current_snapshot() as text)`)
		v = started + " " + seen
		return err
	})
	return v, err
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
