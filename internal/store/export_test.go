package store

import (
	"context"
	"time"

	"github.com/jmoiron/sqlx"
)

// Writer and reader pools, for tests that look behind the methods.
func (db *DB) WritePool() *sqlx.DB { return db.w }
func (db *DB) ReadPool() *sqlx.DB  { return db.r }

var (
	KindOfState = kindOfState
	SortKey     = sortKey
	SQLiteDSN   = sqliteDSN
)

type (
	Instant = instant
	Number  = number
)

// SetLockChecked sets how often a lock is made sure of, until undo.
func SetLockChecked(every time.Duration) (undo func()) {
	old := lockChecked
	lockChecked = every
	return func() { lockChecked = old }
}

// SetCutAfter sets when a connection is cut whose server does not answer, until
// undo.
func SetCutAfter(d time.Duration) (undo func()) {
	old := cutAfter
	cutAfter = d
	return func() { cutAfter = old }
}

const RoundVehicles = roundVehicles

// Bounds of one account's ways in.
const (
	MaxSessions = maxSessions
	MaxLinks    = maxLinks
	MaxTokens   = maxTokens
)

const FailuresLogged = failuresLogged

var ErrUntold = errUntold

// Untold makes a change of which it tells the log of changes nothing.
func (db *DB) Untold(ctx context.Context, what, statement string, args ...any) error {
	return db.write(ctx, what, func(t *tx) error {
		_, err := t.exec(statement, args...)
		return err
	})
}

// CopyLine is a row as a line of COPY's text format.
func CopyLine(row ...any) (string, error) {
	b, err := appendCopy(nil, row)
	return string(b), err
}
