// Package storetest opens fresh, migrated, empty databases for tests, of both
// kinds. It never touches one that it did not make.
package storetest

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"sync"
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
	return MustOpen(tb, URL(tb, dialect))
}

// URL returns what store.Open takes for an empty, migrated database of the
// dialect; it is gone when the test ends.
func URL(tb testing.TB, dialect string) string {
	tb.Helper()
	if dialect == store.Postgres {
		return postgresURL(tb, true)
	}
	url := EmptyURL(tb, dialect)
	if err := MakeFile(url); err != nil {
		tb.Fatal(err)
	}
	return url
}

// MakeFile writes an empty, migrated SQLite database to a new file.
func MakeFile(file string) error {
	bytes, err := migratedFile()
	if err != nil {
		return err
	}
	return os.WriteFile(file, bytes, 0o600)
}

// migratedFile is what such a file holds, made once for the process: copying takes a
// fraction of migrating.
var migratedFile = sync.OnceValues(func() ([]byte, error) {
	dir, err := os.MkdirTemp("", "brakewear-test-*")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(dir)
	file := filepath.Join(dir, "brakewear.db")
	if err := migrateURL(file); err != nil {
		return nil, err
	}
	return os.ReadFile(file)
})

// EmptyURL is URL for a database without any tables.
func EmptyURL(tb testing.TB, dialect string) string {
	tb.Helper()
	if dialect == store.Postgres {
		return postgresURL(tb, false)
	}
	return filepath.Join(tb.TempDir(), "brakewear.db")
}

func migrate(tb testing.TB, url string) {
	tb.Helper()
	if err := migrateURL(url); err != nil {
		tb.Fatal(err)
	}
}

func migrateURL(url string) error {
	ctx := context.Background()
	db, err := store.Open(ctx, url)
	if err != nil {
		return err
	}
	return errors.Join(db.Migrate(ctx), db.Close())
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
