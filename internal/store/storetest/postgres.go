package storetest

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"net/url"
	"os"
	"sync"
	"sync/atomic"
	"testing"

	_ "github.com/lib/pq" // the driver "postgres"

	"brakewear/internal/pgserver"
	"brakewear/internal/store"
)

// The variables that say where to test and how much has to be there.
const (
	serverVariable  = "TEST_DATABASE_URL"
	requireVariable = "BRAKEWEAR_REQUIRE_POSTGRES"
)

// template is the migrated, empty database that a throw-away server copies
// for each test; copying takes a fraction of migrating.
const template = "brakewear_template"

var databases atomic.Int64 // made by this process

// postgresURL returns the URL of a new database, dropped when the test ends.
func postgresURL(tb testing.TB, migrated bool) string {
	tb.Helper()
	srv, err := server()
	if errors.Is(err, pgserver.ErrNone) && os.Getenv(requireVariable) != "1" {
		tb.Skipf("%v; set %s, or install it (make test does: Debian's package is postgresql)", err, serverVariable)
	}
	if err != nil {
		tb.Fatal(err)
	}
	name := fmt.Sprintf("brakewear_test_%d_%d", os.Getpid(), databases.Add(1))
	create := "create database " + name
	if migrated && srv.template {
		create += " template " + template
	}
	if err := srv.run(create); err != nil {
		tb.Fatal(err)
	}
	tb.Cleanup(func() {
		if err := srv.run("drop database " + name + " with (force)"); err != nil {
			tb.Error(err)
		}
	})
	if migrated && !srv.template {
		migrate(tb, srv.database(name))
	}
	return srv.database(name)
}

// pgServer is a running server with a role that may create databases.
type pgServer struct {
	url      *url.URL // of its database to connect to first
	template bool
	own      *pgserver.Server // a throw-away one; nil when it was given
}

// server returns the server of TEST_DATABASE_URL, or starts a throw-away one,
// once for the process.
var server = sync.OnceValues(func() (*pgServer, error) {
	if given := os.Getenv(serverVariable); given != "" {
		u, err := url.Parse(given)
		if err != nil {
			return nil, fmt.Errorf("%s is not a URL", serverVariable) // it may hold a password
		}
		return &pgServer{url: u}, nil
	}
	own, err := pgserver.Start(pgserver.Fast)
	if err != nil {
		return nil, err
	}
	srv := &pgServer{url: own.URL, own: own}
	return srv, srv.makeTemplate()
})

// database returns the URL of one database of the server.
func (s *pgServer) database(name string) string {
	u := *s.url
	u.Path = "/" + name
	return u.String()
}

// run executes one statement outside of any transaction.
func (s *pgServer) run(statement string) error {
	db, err := sql.Open("postgres", s.url.String())
	if err != nil {
		return err
	}
	defer db.Close()
	if _, err := db.Exec(statement); err != nil {
		return fmt.Errorf("%s: %w", statement, err)
	}
	return nil
}

func (s *pgServer) makeTemplate() error {
	// An order that a server collates by a language shows where a query
	// forgot to ask for bytes. Not every server can.
	create := "create database " + template
	if s.run(create+" template template0 locale_provider icu icu_locale 'en'") != nil {
		if err := s.run(create); err != nil {
			return err
		}
	}
	ctx := context.Background()
	db, err := store.Open(ctx, s.database(template))
	if err != nil {
		return err
	}
	s.template = true
	return errors.Join(db.Migrate(ctx), db.Close())
}
