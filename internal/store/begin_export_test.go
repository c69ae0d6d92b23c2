package store

import "context"

// ReadBy reads one value in a transaction that begins with settings, and returns
// the version that it saw.
func (db *DB) ReadBy(ctx context.Context, query string, settings ...string) (value, version string, err error) {
	err = db.readBy(ctx, &opening{settings: settings, seen: true}, "try", func(t *tx) error {
		version = t.version
		return t.one([]any{&value}, query)
	})
	return value, version, err
}
