package store

import (
	"context"
	"errors"
	"time"

	"github.com/jmoiron/sqlx"
)

// DB is one database. It is safe for use by many goroutines.
type DB struct {
	// Now gives the time that rows are stamped with; time.Now unless a test
	// sets another before it shares the DB.
	Now func() time.Time

	dialect string
	w       *sqlx.DB // writes, and reads within a writing transaction
	r       *sqlx.DB // reads
}

// The two kinds of database, as Dialect names them.
const (
	SQLite   = "sqlite"
	Postgres = "postgres"
)

var errUnfinished = errors.New("store: under construction")

// Open opens the database at url: "postgres://…" or "postgresql://…" is a
// server, anything else the path of an SQLite file, which is made when it is
// not there. It does not migrate.
func Open(ctx context.Context, url string) (*DB, error) { return nil, errUnfinished }

// Close closes all connections.
func (db *DB) Close() error { return errUnfinished }

// Ping says whether the database answers.
func (db *DB) Ping(ctx context.Context) error { return errUnfinished }

// Dialect returns SQLite or Postgres.
func (db *DB) Dialect() string { return db.dialect }

// Migrate brings the schema to the version this program knows. A newer schema
// is refused with fleet.ErrConflict.
func (db *DB) Migrate(ctx context.Context) error { return errUnfinished }

// SchemaVersion returns the version the database has (0 = empty) and the one
// this program wants.
func (db *DB) SchemaVersion(ctx context.Context) (have, want int64, err error) {
	return 0, 0, errUnfinished
}
