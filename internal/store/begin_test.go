package store_test

import (
	"database/sql"
	"strings"
	"testing"

	"brakewear/internal/auth"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// A transaction on a server begins with its settings and knows what it sees, all by
// one message; they end with it, and one that is refused leaves a connection that works.
func TestBeginsWithSettings(t *testing.T) {
	db := storetest.Open(t, store.Postgres)
	db.ReadPool().SetMaxOpenConns(1) // that what is left behind is met again
	for _, setting := range []string{"off", "on", "off"} {
		got, version, err := db.ReadBy(t.Context(), "show enable_hashjoin", "enable_hashjoin = "+setting)
		if err != nil || got != setting {
			t.Errorf("set to %s: got %q, %v", setting, got, err)
		}
		if now, err := db.Version(t.Context()); err != nil || version != now {
			t.Errorf("sees %q, which is now %q, %v", version, now, err)
		}
	}
	if got, _, err := db.ReadBy(t.Context(), "show enable_hashjoin"); err != nil || got != "on" {
		t.Errorf("set off in a transaction before: got %q, %v", got, err)
	}
	if got, _, err := db.ReadBy(t.Context(), "show transaction_isolation"); err != nil || got != "repeatable read" {
		t.Errorf("got isolation %q, %v", got, err)
	}
	if got, _, err := db.ReadBy(t.Context(), "show transaction_read_only"); err != nil || got != "on" {
		t.Errorf("got read only %q, %v", got, err)
	}
	for range 3 {
		if got, _, err := db.ReadBy(t.Context(), "select 1", "no_such_setting = off"); err == nil {
			t.Errorf("a setting that there is none of: got %q", got)
		}
	}
	if got, _, err := db.ReadBy(t.Context(), "show enable_hashjoin", "enable_hashjoin = off"); err != nil || got != "off" {
		t.Errorf("after one that was refused: got %q, %v", got, err)
	}
}

// A level that a transaction does not begin at is refused, and not left out.
func TestBeginsAtLevel(t *testing.T) {
	db := storetest.Open(t, store.Postgres)
	for level, known := range map[sql.IsolationLevel]bool{
		sql.LevelDefault:        true,
		sql.LevelRepeatableRead: true,
		sql.LevelReadCommitted:  false,
		sql.LevelSerializable:   false,
	} {
		err := db.BeginAt(t.Context(), level)
		if known != (err == nil) || !known && !strings.Contains(err.Error(), level.String()) {
			t.Errorf("%s: got %v, want it to begin: %v", level, err, known)
		}
	}
}

// The plan of what every request asks is made once for a connection, and that of a
// list for each time it is read.
func TestKeepsPlansOfWhatIsFoundByKeys(t *testing.T) {
	ctx := t.Context()
	db := storetest.Open(t, store.Postgres)
	db.ReadPool().SetMaxOpenConns(1) // which has prepared all
	session, err := storetest.SignIn(ctx, db, "Ann", auth.Grant{Role: auth.Admin})
	if err != nil {
		t.Fatal(err)
	}
	for range 3 {
		who, err := db.SessionOf(ctx, session)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := db.Sessions(ctx, who); err != nil {
			t.Fatal(err)
		}
	}
	for what, want := range map[string]string{
		"where s.sha256 = ":              "3 kept, 0 anew",
		"order by seen_at desc, id desc": "0 kept, 3 anew",
	} {
		got, _, err := db.ReadBy(ctx, `
			select sum(generic_plans) || ' kept, ' || sum(custom_plans) || ' anew'
			from pg_prepared_statements
			where strpos(statement, '`+what+`') > 0`)
		if err != nil || got != want {
			t.Errorf("%s: got %s, %v, want %s", what, got, err, want)
		}
	}
}
