package store

import (
	"context"
	"database/sql"
)

// ReadBy reads one value in a transaction that begins with settings, and returns
// the version that it saw.
func (db *DB) ReadBy(ctx context.Context, query string, settings ...string) (value, version string, err error) {
	err = db.readBy(ctx, &opening{settings: settings, seen: true}, "try", func(t *tx) error {
		version = t.version
		return t.one([]any{&value}, query)
	})
	return value, version, err
}

// BeginAt begins a transaction with a setting at an isolation level, and undoes it.
func (db *DB) BeginAt(ctx context.Context, level sql.IsolationLevel) error {
	_, end, err := db.begin(ctx, db.r, &opening{opt: &sql.TxOptions{Isolation: level}, settings: joinByIndex})
	if err == nil {
		end()
	}
	return err
}
