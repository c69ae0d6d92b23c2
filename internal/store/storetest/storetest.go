// Package storetest opens fresh, migrated, empty databases for tests.
package storetest

import (
	"testing"

	"brakewear/internal/store"
)

// Each runs f once on each kind of database, as a subtest named after it.
func Each(t *testing.T, f func(t *testing.T, db *store.DB)) {
	for _, dialect := range []string{store.SQLite, store.Postgres} {
		t.Run(dialect, func(t *testing.T) { f(t, Open(t, dialect)) })
	}
}

// Open returns an empty database of the dialect, closed when the test ends.
func Open(tb testing.TB, dialect string) *store.DB {
	tb.Skip("under construction")
	return nil
}
