package store

import (
	"time"

	"github.com/jmoiron/sqlx"
)

// Writer and reader pools, for tests that look behind the methods.
func (db *DB) WritePool() *sqlx.DB { return db.w }
func (db *DB) ReadPool() *sqlx.DB  { return db.r }

var (
	KindOfState = kindOfState
	SortKey     = sortKey
	Like        = like
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

const RoundVehicles = roundVehicles

// Bounds of one account's ways in.
const (
	MaxSessions = maxSessions
	MaxLinks    = maxLinks
	MaxTokens   = maxTokens
)
