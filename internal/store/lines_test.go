package store_test

import (
	"context"
	"database/sql"
	"errors"
	"net/url"
	"path/filepath"
	"testing"
	"time"

	"brakewear/internal/auth"
	"brakewear/internal/faultproxy"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// slack is what a busy machine may take on top of a limit.
const slack = 5 * time.Second

// proxied opens an empty PostgreSQL database through a proxy, with settings
// added to its URL.
func proxied(t *testing.T, settings ...string) (*store.DB, *faultproxy.Proxy) {
	t.Helper()
	p, dsn, err := faultproxy.Postgres(storetest.URL(t, store.Postgres))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { p.Close() })
	return storetest.MustOpen(t, withSettings(t, dsn, settings...)), p
}

func withSettings(t *testing.T, dsn string, settings ...string) string {
	t.Helper()
	u, err := url.Parse(dsn)
	if err != nil {
		t.Fatal(err)
	}
	q := u.Query()
	for i := 0; i+1 < len(settings); i += 2 {
		q.Set(settings[i], settings[i+1])
	}
	u.RawQuery = q.Encode()
	return u.String()
}

// PostgreSQL stands still, and no connection ends. Nobody is held longer than
// the limit, and when it goes on, so does the service.
//
// That is reading, writing, signing in to the server and asking whether it is
// there.
func TestFaultServerStandsStill(t *testing.T) {
	defer store.SetCutAfter(100 * time.Millisecond)()
	const limit = 300 * time.Millisecond
	db, p := proxied(t, "connect_timeout", "2")
	bus := mustVehicles(t, db, entry("Bus 1"))[0]
	for _, c := range []struct {
		name string
		do   func(ctx context.Context) error
	}{
		{"read", func(ctx context.Context) error {
			_, _, _, err := db.Counts(ctx, all)
			return err
		}},
		{"write", func(ctx context.Context) error {
			return db.TakeIn(ctx, all, &fleet.Upload{Kind: "test"}, func(w *store.Writer) error {
				_, err := w.Readings([]fleet.Reading{reading(bus, day(1, 1), 8)})
				return err
			})
		}},
		{"version", func(ctx context.Context) error {
			_, err := db.Version(ctx)
			return err
		}},
		{"ping", db.Ping},
		{"lock", func(ctx context.Context) error {
			_, release, err := db.LockJob(ctx, "refit")
			if release != nil {
				release()
			}
			return err
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			p.Stall()
			ctx, cancel := context.WithTimeout(t.Context(), limit)
			defer cancel()
			begun := time.Now()
			// A server that stands still does not sign anybody in either, which
			// takes no longer than connect_timeout.
			err := within(t, limit+2*time.Second+slack, func() error { return c.do(ctx) })
			if !errors.Is(err, context.DeadlineExceeded) && !errors.Is(err, fleet.ErrUnavailable) {
				t.Errorf("got %v after %v", err, time.Since(begun))
			}
			p.Resume()
			ctx, cancel = context.WithTimeout(t.Context(), slack)
			defer cancel()
			if err := c.do(ctx); err != nil {
				t.Errorf("when it goes on: %v", err)
			}
		})
	}
	if n := count(t, db, "select count(*) from thickness_readings"); n != 1 {
		t.Errorf("got %d readings, want the one that was sent twice", n)
	}
}

// within returns what do returns, and fails the test where it does not.
func within(t *testing.T, limit time.Duration, do func() error) error {
	t.Helper()
	done := make(chan error, 1)
	go func() { done <- do() }()
	select {
	case err := <-done:
		return err
	case <-time.After(limit):
		t.Fatalf("it has not returned after %v", limit)
		return nil
	}
}

// The line to PostgreSQL is cut while rows are sent, or made final. Sent again,
// they are there once.
func TestFaultLineIsCut(t *testing.T) {
	for _, c := range []struct {
		name   string
		at     string
		passes bool
		want   error
		stored int
	}{
		{"in the midst", "an upload to cut", false, fleet.ErrUnavailable, 0},
		{"in the midst, after it was run", "an upload to cut", true, fleet.ErrUnavailable, 0},
		{"before the commit", "COMMIT", false, fleet.ErrUnsure, 0},
		{"after the commit", "COMMIT", true, fleet.ErrUnsure, 1},
	} {
		t.Run(c.name, func(t *testing.T) {
			db, p := proxied(t)
			bus := mustVehicles(t, db, entry("Bus 1"))[0]
			send := func() (store.Counts, error) {
				var got store.Counts
				err := db.TakeIn(t.Context(), all, &fleet.Upload{Kind: "test", Name: "an upload to cut"}, func(w *store.Writer) (err error) {
					got, err = w.Readings([]fleet.Reading{reading(bus, day(1, 1), 8)})
					return err
				})
				return got, err
			}
			sprung := p.CutAt(c.at, c.passes)
			if _, err := send(); !errors.Is(err, c.want) {
				t.Errorf("got %v, want %v", err, c.want)
			}
			<-sprung
			got, err := send()
			if err != nil {
				t.Fatalf("sent again: %v", err)
			}
			if got.Repeated != c.stored || got.Added != 1-c.stored {
				t.Errorf("sent again: got %+v, want %d repeated", got, c.stored)
			}
			if n := count(t, db, "select count(*) from thickness_readings"); n != 1 {
				t.Errorf("got %d readings, want 1", n)
			}
		})
	}
}

// All connections to PostgreSQL died and nobody was told. What comes next takes
// a new one.
func TestFaultPoolIsDead(t *testing.T) {
	db, p := proxied(t)
	var held []func()
	for range 8 {
		conn, err := db.WritePool().Connx(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		held = append(held, func() { conn.Close() })
	}
	for _, release := range held {
		release()
	}
	p.Cut()
	time.Sleep(50 * time.Millisecond) // until the ends know
	for range 8 {
		if _, _, _, err := db.Counts(t.Context(), all); err != nil {
			t.Fatal(err)
		}
	}
	p.Cut()
	time.Sleep(50 * time.Millisecond)
	if err := db.Ping(t.Context()); err != nil {
		t.Errorf("ping: %v", err)
	}
}

// The limits of a connection are ours, unless the URL or the server has
// others.
func TestConnectionLimits(t *testing.T) {
	db, _ := proxied(t, "lock_timeout", "1234")
	for name, want := range map[string]string{
		"statement_timeout":                   "1h",
		"lock_timeout":                        "1234ms",
		"idle_in_transaction_session_timeout": "5min",
		"jit":                                 "off",
	} {
		var got string
		if err := db.ReadPool().GetContext(t.Context(), &got, "show "+name); err != nil || got != want {
			t.Errorf("%s: got %s, %v; want %s", name, got, err, want)
		}
	}
}

// Another transaction holds what is asked for, without an end. It is not waited
// for for ever.
func TestFaultLockIsHeld(t *testing.T) {
	db, _ := proxied(t, "lock_timeout", "100")
	bus := mustVehicles(t, db, entry("Bus 1"))[0]
	x, err := db.WritePool().Beginx()
	if err != nil {
		t.Fatal(err)
	}
	defer x.Rollback()
	if _, err := x.Exec("lock table thickness_readings in exclusive mode"); err != nil {
		t.Fatal(err)
	}
	err = within(t, slack, func() error {
		return db.TakeIn(t.Context(), all, &fleet.Upload{Kind: "test"}, func(w *store.Writer) error {
			_, err := w.Readings([]fleet.Reading{reading(bus, day(1, 1), 8)})
			return err
		})
	})
	if !errors.Is(err, fleet.ErrUnavailable) {
		t.Errorf("got %v", err)
	}
}

// A process stands still in the midst of a transaction. The server ends that,
// and nothing of it stays.
func TestFaultIdleTransaction(t *testing.T) {
	db, _ := proxied(t, "idle_in_transaction_session_timeout", "100")
	err := db.TakeIn(t.Context(), all, &fleet.Upload{Kind: "test"}, func(w *store.Writer) error {
		time.Sleep(500 * time.Millisecond)
		_, err := w.Vehicles([]store.VehicleEntry{entry("Bus 1")})
		return err
	})
	if !errors.Is(err, fleet.ErrUnavailable) {
		t.Errorf("got %v", err)
	}
	if n := count(t, db, "select count(*) from uploads"); n != 0 {
		t.Errorf("%d uploads stay", n)
	}
}

// Another process writes to the SQLite file for long. Nobody waits beyond the
// limit.
func TestFaultFileIsHeld(t *testing.T) {
	path := storetest.URL(t, store.SQLite)
	db := storetest.MustOpen(t, path)
	free := holdFile(t, path)
	ctx, cancel := context.WithTimeout(t.Context(), 200*time.Millisecond)
	defer cancel()
	write := func(ctx context.Context) error {
		return db.TakeIn(ctx, all, &fleet.Upload{Kind: "test"}, func(*store.Writer) error { return nil })
	}
	if err := within(t, slack, func() error { return write(ctx) }); !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("got %v", err)
	}
	// One that has the time waits.
	done := make(chan error, 1)
	go func() { done <- write(t.Context()) }()
	time.Sleep(time.Second) // longer than one attempt
	free()
	if err := <-done; err != nil {
		t.Errorf("freed in the meantime: %v", err)
	}
}

// holdFile writes to an SQLite file as another process does, until free.
func holdFile(t *testing.T, path string) (free func()) {
	t.Helper()
	other, err := sql.Open("sqlite", "file:"+filepath.ToSlash(path)+"?_txlock=immediate")
	if err != nil {
		t.Fatal(err)
	}
	x, err := other.Begin()
	if err != nil {
		t.Fatal(err)
	}
	return func() {
		if err := errors.Join(x.Rollback(), other.Close()); err != nil {
			t.Error(err)
		}
	}
}

// The database only reads, or takes in a large file. Who is signed in, or has a
// token, still sees pages.
func TestFaultSignedInOnReadOnly(t *testing.T) {
	for _, dialect := range []string{store.SQLite, store.Postgres} {
		t.Run(dialect, func(t *testing.T) {
			dsn := storetest.URL(t, dialect)
			db := storetest.MustOpen(t, dsn)
			ctx := t.Context()
			a := mustAccount(t, db, "ann", on(auth.Admin, 0, 0))
			if err := db.StartSession(ctx, a.ID, "session", "a browser"); err != nil {
				t.Fatal(err)
			}
			who, err := db.SessionOf(ctx, "session")
			if err != nil {
				t.Fatal(err)
			}
			k := store.Token{Name: "telematics", Rights: []auth.Right{auth.See}, Until: time.Now().Add(48 * time.Hour)}
			if err := db.AddToken(ctx, who, &k, "token"); err != nil {
				t.Fatal(err)
			}
			if dialect == store.Postgres {
				// What a standby says (PostgreSQL manual, appendix A).
				storetest.Exec(t, dsn, `
					create function stand_by() returns trigger language plpgsql
					as $$ begin raise exception 'cannot execute UPDATE in a read-only transaction' using errcode = '25006'; end $$;
					create trigger stand_by before update on sessions execute function stand_by();
					create trigger stand_by before update on api_tokens execute function stand_by()`)
			} else {
				defer holdFile(t, dsn)()
			}
			db.Now = func() time.Time { return time.Now().Add(time.Hour) } // long since the last note
			begun := time.Now()
			if who, err := db.SessionOf(ctx, "session"); err != nil || who.Name != "ann" {
				t.Errorf("session: got %q, %v", who.Name, err)
			}
			if who, err := db.TokenOf(ctx, "token"); err != nil || !who.May(auth.See) {
				t.Errorf("token: got %+v, %v", who, err)
			}
			if took := time.Since(begun); took > slack {
				t.Errorf("both took %v", took)
			}
		})
	}
}
