package store

import (
	"context"
	"fmt"
	"io/fs"

	"github.com/pressly/goose/v3"
	"github.com/pressly/goose/v3/lock"

	"brakewear/internal/fleet"
	"brakewear/migrations"
)

// Migrate brings the schema to the version this program knows. A newer schema
// is refused with fleet.ErrConflict. Several processes may migrate at once.
func (db *DB) Migrate(ctx context.Context) error {
	var reached int64
	for tries := migrateTries; ; tries-- {
		err := db.migrate(ctx)
		if err == nil || ctx.Err() != nil {
			return err
		}
		// SQLite has no lock that spans the migrations: another process may
		// have taken the step first. While one gets ahead, follow it.
		have, want, verr := db.SchemaVersion(ctx)
		if verr != nil || have > want {
			return err
		}
		if have > reached {
			reached, tries = have, migrateTries
		}
		if tries == 0 {
			return err
		}
	}
}

// migrateTries is how often one tries again while the schema stays where it is:
// six processes that meet where none has taken a step need few.
const migrateTries = 5

// newerSchema refuses a database that a newer program has migrated.
func newerSchema(have, known int64) error {
	return fleet.Conflictf("the database has schema version %d and this program knows none above %d: use a newer program", have, known)
}

func (db *DB) migrate(ctx context.Context) error {
	p, err := db.provider()
	if err != nil {
		return err
	}
	have, want, err := p.GetVersions(ctx)
	if err != nil {
		return wrap(ctx, "read the schema's version", err)
	}
	if have > want {
		return newerSchema(have, want)
	}
	if have == want {
		return nil
	}
	if have == 0 {
		if err := db.takesAnyText(ctx); err != nil {
			return err
		}
	}
	_, err = p.Up(ctx)
	return wrap(ctx, "migrate the database", err)
}

// takesAnyText refuses a server's database that cannot hold the names and notes of
// every language: it would fail at the first that it does not know, when there is
// much in it.
func (db *DB) takesAnyText(ctx context.Context) error {
	if db.dialect != Postgres {
		return nil
	}
	var encoding string
	if err := db.r.GetContext(ctx, &encoding, `show server_encoding`); err != nil {
		return wrap(ctx, "read the database's encoding", err)
	}
	if encoding != "UTF8" {
		return fleet.Invalidf("the database's encoding is %s, which has no room for every name: make it anew with createdb --encoding=UTF8 --template=template0", encoding)
	}
	return nil
}

// SchemaVersion returns the version the database has (0 = empty) and the one
// this program wants.
func (db *DB) SchemaVersion(ctx context.Context) (have, want int64, err error) {
	p, err := db.provider()
	if err != nil {
		return 0, 0, err
	}
	have, want, err = p.GetVersions(ctx)
	return have, want, wrap(ctx, "read the schema's version", err)
}

func (db *DB) provider() (*goose.Provider, error) {
	steps, err := fs.Sub(migrations.FS, db.dialect)
	if err != nil {
		return nil, fmt.Errorf("migrations: %w", err)
	}
	dialect := goose.DialectSQLite3
	opts := []goose.ProviderOption{
		goose.WithDisableGlobalRegistry(true),
		goose.WithLogger(goose.NopLogger()),
	}
	if db.dialect == Postgres {
		dialect = goose.DialectPostgres
		locker, err := lock.NewPostgresSessionLocker(lock.WithLockTimeout(1, 300))
		if err != nil {
			return nil, fmt.Errorf("migrations: %w", err)
		}
		opts = append(opts, goose.WithSessionLocker(locker))
	}
	p, err := goose.NewProvider(dialect, db.w.DB, steps, opts...)
	if err != nil {
		return nil, fmt.Errorf("migrations: %w", err)
	}
	return p, nil
}

// newestSchema returns the version that this program brings SQLite files to.
func newestSchema() (int64, error) {
	steps, err := fs.Glob(migrations.FS, SQLite+"/*.sql")
	if err != nil || len(steps) == 0 {
		return 0, fmt.Errorf("migrations: none of %s: %w", SQLite, err)
	}
	return goose.NumericComponent(steps[len(steps)-1])
}
