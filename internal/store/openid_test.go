package store_test

import (
	"errors"
	"strings"
	"sync"
	"testing"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

const issuer = "https://accounts.island.example"

func subject(name string) store.Subject { return store.Subject{Issuer: issuer, Subject: name} }

func TestSubjects(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ctx := t.Context()
		top := mustAccount(t, db, "top", on(auth.Admin, 0, 0))
		ann := mustAccount(t, db, "ann", on(auth.Planner, 0, 0))
		is := func(what string, s store.Subject, want int64) {
			t.Helper()
			if got, err := db.AccountOfSubject(ctx, s); err != nil || got != want {
				t.Errorf("%s: got account %d, %v; want %d", what, got, err, want)
			}
		}
		bind := func(what string, s store.Subject, email string, want int64, kind error) {
			t.Helper()
			got, err := db.BindSubject(ctx, s, email)
			if got != want || !errors.Is(err, kind) {
				t.Errorf("%s: got account %d, %v; want %d, %v", what, got, err, want, kind)
			}
		}
		is("before", subject("a"), 0)
		if has, err := db.HasAdmin(ctx, issuer); err != nil || has {
			t.Errorf("an admin without a way in: got %v, %v", has, err)
		}
		bind("nobody's address", subject("a"), "nobody@island.example", 0, nil)
		bind("an address in capitals", subject("a"), "ANN@island.example", ann.ID, nil)
		is("bound", subject("a"), ann.ID)
		is("another issuer", store.Subject{Issuer: issuer + "/x", Subject: "a"}, 0)
		bind("again", subject("a"), ann.Email, ann.ID, nil)
		bind("with a new address", subject("a"), top.Email, ann.ID, nil)
		bind("another subject", subject("b"), ann.Email, 0, fleet.ErrConflict)
		is("another subject", subject("b"), 0)
		bind("at another issuer", store.Subject{Issuer: issuer + "/x", Subject: "b"}, ann.Email, ann.ID, nil)
		bind("without a subject", subject(""), top.Email, 0, fleet.ErrInvalid)
		bind("with a long one", subject(strings.Repeat("s", 256)), top.Email, 0, fleet.ErrInvalid)
		bind("the admin", subject("top"), top.Email, top.ID, nil)
		for from, want := range map[string]bool{issuer: true, issuer + "/x": false, "": false} {
			if has, err := db.HasAdmin(ctx, from); err != nil || has != want {
				t.Errorf("an admin who signs in elsewhere, the provider being %q: got %v, %v, want %v", from, has, err, want)
			}
		}
		if ss, err := db.SubjectsOf(ctx, all, ann.ID); err != nil || len(ss) != 2 || ss[0].Issuer != issuer || ss[0].Subject != "a" || ss[0].BoundAt.IsZero() {
			t.Errorf("got %+v, %v; want two, the first %s of %s", ss, err, "a", issuer)
		}

		// Whoever is let go of can be bound anew, as somebody else there.
		if err := db.StartSession(ctx, ann.ID, "her session", ""); err != nil {
			t.Fatal(err)
		}
		if err := db.FreeAccount(ctx, all, "test", ann.ID); err != nil {
			t.Fatal(err)
		}
		if _, err := db.SessionOf(ctx, "her session"); !errors.Is(err, fleet.ErrStranger) {
			t.Errorf("the session of who was let go of: got %v, want ErrStranger", err)
		}
		if err := db.FreeAccount(ctx, all, "test", ann.ID); !errors.Is(err, fleet.ErrNotFound) {
			t.Errorf("let go of twice: got %v, want ErrNotFound", err)
		}
		is("let go of", subject("a"), 0)
		bind("anew", subject("b"), ann.Email, ann.ID, nil)

		// An account that ended stays out; one made anew is another.
		if err := db.StopAccount(ctx, all, "test", ann.ID); err != nil {
			t.Fatal(err)
		}
		is("ended", subject("b"), 0)
		bind("ended", subject("b"), ann.Email, 0, nil)
		again := mustAccount(t, db, "ann", on(auth.Planner, 0, 0))
		bind("made anew", subject("b"), ann.Email, again.ID, nil)
	})
}

// Two first sign-ins at once are one person.
func TestSubjectsAtOnce(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		a := mustAccount(t, db, "ann", on(auth.Planner, 0, 0))
		var wg sync.WaitGroup
		for range 8 {
			wg.Go(func() {
				if got, err := db.BindSubject(t.Context(), subject("a"), a.Email); err != nil || got != a.ID {
					t.Errorf("got account %d, %v; want %d", got, err, a.ID)
				}
			})
		}
		wg.Wait()
	})
}

// An admin of a fleet neither sees nor lets go of what reaches beyond it.
func TestSubjectsOfAnotherFleet(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ctx := t.Context()
		ferry, quarry := twoFleets(t, db)
		sc := auth.ScopeOf([]int64{ferry}, nil)
		both := mustAccount(t, db, "both", on(auth.Technician, ferry, 0), on(auth.Planner, quarry, 0))
		other := mustAccount(t, db, "other", on(auth.Manager, quarry, 0))
		for _, a := range []store.Account{both, other} {
			if _, err := db.BindSubject(ctx, subject(a.Name), a.Email); err != nil {
				t.Fatal(err)
			}
		}
		if _, err := db.SubjectsOf(ctx, sc, other.ID); !errors.Is(err, fleet.ErrNotFound) {
			t.Errorf("look at another fleet's: got %v, want ErrNotFound", err)
		}
		if err := db.FreeAccount(ctx, sc, "x", other.ID); !errors.Is(err, fleet.ErrNotFound) {
			t.Errorf("let go of another fleet's: got %v, want ErrNotFound", err)
		}
		if err := db.FreeAccount(ctx, sc, "x", both.ID); !errors.Is(err, fleet.ErrDenied) {
			t.Errorf("let go of one who reaches beyond: got %v, want ErrDenied", err)
		}
	})
}
