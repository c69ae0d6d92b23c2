package store_test

import (
	"errors"
	"net/url"
	"strings"
	"testing"

	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// A server that does not let one in, or has not what was asked for, is told of with
// what to do, and as a setting that can be mended.
func TestOpenSaysWhatToDo(t *testing.T) {
	address := storetest.EmptyURL(t, store.Postgres)
	with := func(change func(u *url.URL)) string {
		u, err := url.Parse(address)
		if err != nil {
			t.Fatal(err)
		}
		change(u)
		return u.String()
	}
	for _, c := range []struct{ name, url, want string }{
		{"no such database", with(func(u *url.URL) { u.Path = "/none" }), "make it with createdb"},
		{"no such user", with(func(u *url.URL) { u.User = url.UserPassword("nobody_here", "secret") }), "correct the user or password"},
	} {
		t.Run(c.name, func(t *testing.T) {
			db, err := store.Open(t.Context(), c.url)
			if err == nil {
				db.Close()
			}
			if !errors.Is(err, fleet.ErrInvalid) || !strings.Contains(err.Error(), c.want) || strings.Contains(err.Error(), "secret") {
				t.Errorf("got %v, want an invalid setting with %q", err, c.want)
			}
		})
	}
}

// A database that cannot hold every name is refused while it is empty.
func TestMigrateWantsUTF8(t *testing.T) {
	outer := storetest.MustOpen(t, storetest.EmptyURL(t, store.Postgres))
	const name = "brakewear_latin"
	mustExec(t, outer, `create database `+name+` encoding 'LATIN1' template template0 locale 'C'`)
	t.Cleanup(func() { mustExec(t, outer, `drop database `+name+` with (force)`) })
	u, err := url.Parse(storetest.EmptyURL(t, store.Postgres))
	if err != nil {
		t.Fatal(err)
	}
	u.Path = "/" + name
	db := storetest.MustOpen(t, u.String())
	if err := db.Migrate(t.Context()); !errors.Is(err, fleet.ErrInvalid) || !strings.Contains(err.Error(), "encoding is LATIN1") {
		t.Errorf("got %v, want it refused with what to do", err)
	}
}
