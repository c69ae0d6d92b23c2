package store

import (
	"context"
	"slices"
	"time"

	"github.com/jmoiron/sqlx"
)

// Writer and reader pools, for tests that look behind the methods.
func (db *DB) WritePool() *sqlx.DB { return db.w }
func (db *DB) ReadPool() *sqlx.DB  { return db.r }

const CleanUpRows = cleanUpRows

var (
	KindOfState = kindOfState
	SortKey     = sortKey
	SQLiteDSN   = sqliteDSN
)

type (
	Instant   = instant
	Number    = number
	Quantiles = quantiles
)

// MigrateTo is Migrate of a program that knew the schema up to a version.
func (db *DB) MigrateTo(ctx context.Context, version int64) error {
	p, err := db.provider()
	if err == nil {
		_, err = p.UpTo(ctx, version)
	}
	return err
}

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

const FewRows = fewRows

// Staged puts parts of rows on a stage, one in place of the other, and returns the
// texts of the rows that a statement sees after each. Their columns are those of
// StagedColumns.
func (db *DB) Staged(ctx context.Context, inTable bool, parts ...[][]any) (seen [][]string, err error) {
	s := stage{name: "staged_any", from: "axle_forecasts", columns: StagedColumns}
	err = db.tend(ctx, "try a stage", func(t *tx) error {
		fill := t.fill
		if inTable {
			fill = t.fillTable
		}
		for _, rows := range parts {
			if err := fill(s, slices.Values(rows)); err != nil {
				return err
			}
			var texts []string
			err := t.each(func(r *sqlx.Rows) error {
				var text string
				err := r.Scan(&text)
				texts = append(texts, text)
				return err
			}, `select CAST(s AS text) from staged_any s where vehicle_id > ? order by vehicle_id`, 0)
			if err != nil {
				return err
			}
			seen = append(seen, texts)
		}
		return nil
	})
	return seen, err
}

// StagedColumns are one of each type.
var StagedColumns = []string{"vehicle_id", "axle", "book_by", "past_limit", "risk", "warnings", "km_quantiles"}
