package store_test

import (
	"database/sql"
	"strings"
	"testing"

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
