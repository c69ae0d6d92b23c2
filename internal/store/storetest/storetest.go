// Package storetest opens fresh, migrated, empty databases for tests, of both
// kinds.
package storetest

import (
	"context"
	"path/filepath"
	"testing"

	"brakewear/internal/store"
)

// Each runs f on each kind of database, as a subtest named after it.
func Each(t *testing.T, f func(t *testing.T, db *store.DB)) {
	for _, dialect := range []string{store.SQLite, store.Postgres} {
		t.Run(dialect, func(t *testing.T) { f(t, Open(t, dialect)) })
	}
}

// Open returns an empty database of the dialect, migrated; it is gone when
// the test ends. Where there is no PostgreSQL it skips the test, or fails it
// when BRAKEWEAR_REQUIRE_POSTGRES is set.
func Open(tb testing.TB, dialect string) *store.DB {
	tb.Helper()
	db := MustOpen(tb, URL(tb, dialect))
	if err := db.Migrate(context.Background()); err != nil {
		tb.Fatal(err)
	}
	return db
}

// URL returns what store.Open takes for an empty database of the dialect; a
// PostgreSQL one is migrated already.
func URL(tb testing.TB, dialect string) string {
	tb.Helper()
	if dialect == store.Postgres {
		return postgresURL(tb)
	}
	return filepath.Join(tb.TempDir(), "brakewear.db")
}

// MustOpen opens the database at url and closes it when the test ends.
func MustOpen(tb testing.TB, url string) *store.DB {
	tb.Helper()
	db, err := store.Open(context.Background(), url)
	if err != nil {
		tb.Fatal(err)
	}
	tb.Cleanup(func() {
		if err := db.Close(); err != nil {
			tb.Error(err)
		}
	})
	return db
}
