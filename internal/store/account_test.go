package store_test

import (
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
	"brakewear/internal/units"
)

func mustAccount(t *testing.T, db *store.DB, name string, grants ...store.Grant) store.Account {
	t.Helper()
	a := store.Account{Name: name, Email: name + "@island.example", Grants: grants}
	if err := db.AddAccount(t.Context(), all, "test", &a); err != nil {
		t.Fatal(err)
	}
	return a
}

func on(role auth.Role, fleetID, depotID int64) store.Grant {
	return store.Grant{Role: role, Place: store.Place{FleetID: fleetID, DepotID: depotID}}
}

// twoFleets puts a vehicle each into the fleets Ferry and Quarry, and returns their ids.
func twoFleets(t *testing.T, db *store.DB) (ferry, quarry int64) {
	t.Helper()
	mustVehicles(t, db, entry("Bus 1", of("Ferry", "Harbour")), entry("Cart 1", of("Quarry", "Pit")))
	fs, err := db.Fleets(t.Context(), all)
	if err != nil || len(fs) != 2 {
		t.Fatalf("%d fleets, %v", len(fs), err)
	}
	return fs[0].ID, fs[1].ID
}

// Somebody who looks after the accounts of one fleet reaches neither beyond it
// nor those who do.
func TestAccountsOfAFleet(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ctx := t.Context()
		ferry, quarry := twoFleets(t, db)
		sc := auth.ScopeOf([]int64{ferry}, nil)
		top := mustAccount(t, db, "top", on(auth.Admin, 0, 0))
		mine := mustAccount(t, db, "mine", on(auth.Technician, ferry, 0))
		both := mustAccount(t, db, "both", on(auth.Technician, ferry, 0), on(auth.Planner, quarry, 0))
		other := mustAccount(t, db, "other", on(auth.Manager, quarry, 0))
		whole := on(auth.Admin, 0, 0)
		elsewhere := on(auth.Planner, quarry, 0)
		here := on(auth.Planner, ferry, 0)
		for _, c := range []struct {
			name string
			do   func() error
			want error // nil = it is done
		}{
			{"look at another fleet's", func() error { _, err := db.Account(ctx, sc, other.ID); return err }, fleet.ErrNotFound},
			{"link to everything's admin", func() error { return db.AddLink(ctx, sc, "x", top.ID, "s1") }, fleet.ErrNotFound},
			{"link to one who reaches beyond", func() error { return db.AddLink(ctx, sc, "x", both.ID, "s2") }, fleet.ErrDenied},
			{"stop one who reaches beyond", func() error { return db.StopAccount(ctx, sc, "x", both.ID) }, fleet.ErrDenied},
			{"stop everything's admin", func() error { return db.StopAccount(ctx, sc, "x", top.ID) }, fleet.ErrNotFound},
			{"make an admin of everything", func() error { return db.GiveGrant(ctx, sc, "x", mine.ID, &whole) }, fleet.ErrDenied},
			{"give a role on another fleet", func() error { return db.GiveGrant(ctx, sc, "x", mine.ID, &elsewhere) }, fleet.ErrNotFound},
			{"end a role on another fleet", func() error { return db.EndGrant(ctx, sc, "x", both.ID, both.Grants[1].ID) }, fleet.ErrNotFound},
			{"give a role here", func() error { return db.GiveGrant(ctx, sc, "x", mine.ID, &here) }, nil},
			{"give it twice", func() error { return db.GiveGrant(ctx, sc, "x", mine.ID, &here) }, fleet.ErrConflict},
			{"link to mine", func() error { return db.AddLink(ctx, sc, "x", mine.ID, "s3") }, nil},
			{"end a role here", func() error { return db.EndGrant(ctx, sc, "x", mine.ID, here.ID) }, nil},
			{"sign out one who reaches beyond", func() error { return db.EndSessionsOf(ctx, sc, "x", both.ID) }, fleet.ErrDenied},
			{"sign out everything's admin", func() error { return db.EndSessionsOf(ctx, sc, "x", top.ID) }, fleet.ErrNotFound},
			{"sign out mine", func() error { return db.EndSessionsOf(ctx, sc, "x", mine.ID) }, nil},
			{"stop mine", func() error { return db.StopAccount(ctx, sc, "x", mine.ID) }, nil},
			{"stop the last admin", func() error { return db.StopAccount(ctx, all, "x", top.ID) }, fleet.ErrConflict},
			{"end the last admin's role", func() error { return db.EndGrant(ctx, all, "x", top.ID, top.Grants[0].ID) }, fleet.ErrConflict},
			{"the same address again", func() error {
				return db.AddAccount(ctx, all, "x", &store.Account{Name: "Top", Email: "TOP@island.example", Grants: []store.Grant{on(auth.Planner, ferry, 0)}})
			}, fleet.ErrConflict},
			{"an account without a role", func() error {
				return db.AddAccount(ctx, all, "x", &store.Account{Name: "N", Email: "n@island.example"})
			}, fleet.ErrInvalid},
		} {
			if err := c.do(); c.want == nil && err != nil || c.want != nil && !errors.Is(err, c.want) {
				t.Errorf("%s: got %v, want %v", c.name, err, c.want)
			}
		}
		as, err := db.Accounts(ctx, sc)
		if err != nil {
			t.Fatal(err)
		}
		for _, a := range as {
			if a.ID == top.ID || a.ID == other.ID {
				t.Errorf("%s shows to an admin of another fleet", a.Name)
			}
			if a.ID == both.ID && (len(a.Grants) != 1 || a.Grants[0].FleetID != ferry || !a.Elsewhere) {
				t.Errorf("%s: got roles %+v, elsewhere %t; want the one on this fleet, and that there are others", a.Name, a.Grants, a.Elsewhere)
			}
		}
	})
}

// A link that an admin of one fleet made ends when the account gets more; one
// that an admin of everything made goes on.
func TestLinksEndWithMoreRoles(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ctx := t.Context()
		mustVehicles(t, db, store.VehicleEntry{Fleet: "Ferry", Depot: "Harbour", Vehicle: fleet.Vehicle{Number: "Bus 1"}})
		fs, err := db.Fleets(ctx, all)
		if err != nil || len(fs) != 1 {
			t.Fatalf("%d fleets, %v", len(fs), err)
		}
		ann := mustAccount(t, db, "ann", on(auth.Technician, fs[0].ID, 0))
		if err := db.AddLink(ctx, auth.ScopeOf([]int64{fs[0].ID}, nil), "of a fleet", ann.ID, "of a fleet"); err != nil {
			t.Fatal(err)
		}
		if err := db.AddLink(ctx, all, "of all", ann.ID, "of all"); err != nil {
			t.Fatal(err)
		}
		whole := on(auth.Admin, 0, 0)
		if err := db.GiveGrant(ctx, all, "test", ann.ID, &whole); err != nil {
			t.Fatal(err)
		}
		if _, _, err := db.LinkOf(ctx, "of a fleet"); !errors.Is(err, fleet.ErrNotFound) {
			t.Errorf("a link by an admin of a fleet, to one who is admin of everything by now: got %v, want ErrNotFound", err)
		}
		if _, _, err := db.LinkOf(ctx, "of all"); err != nil {
			t.Errorf("a link by an admin of everything: %v", err)
		}
	})
}

// A password chosen by a link that an admin of one fleet made, who may have it,
// ends with what came of it when the account gets more than that fleet.
func TestPasswordsEndWithMoreRoles(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ctx := t.Context()
		ferry, quarry := twoFleets(t, db)
		ds, err := db.Depots(ctx, all)
		if err != nil || len(ds) != 2 {
			t.Fatalf("%d depots, %v", len(ds), err)
		}
		harbour := ds[0].ID
		if ds[0].FleetID != ferry {
			harbour = ds[1].ID
		}
		for i, c := range []struct {
			name      string
			has, gets store.Grant
			maker     auth.Scope
			ends      bool
		}{
			{"everything, by a fleet's", on(auth.Technician, ferry, 0), on(auth.Technician, 0, 0), auth.ScopeOf([]int64{ferry}, nil), true},
			{"another fleet, by a fleet's", on(auth.Technician, ferry, 0), on(auth.Technician, quarry, 0), auth.ScopeOf([]int64{ferry}, nil), true},
			{"the whole fleet, by a depot's", on(auth.Technician, ferry, harbour), on(auth.Technician, ferry, 0), auth.ScopeOf(nil, []int64{harbour}), true},
			{"more on the same fleet, by the fleet's", on(auth.Technician, ferry, 0), on(auth.Admin, ferry, 0), auth.ScopeOf([]int64{ferry}, nil), false},
			{"a depot of it, by the fleet's", on(auth.Technician, ferry, 0), on(auth.Admin, ferry, harbour), auth.ScopeOf([]int64{ferry}, nil), false},
			{"everything, by everything's", on(auth.Technician, ferry, 0), on(auth.Admin, 0, 0), all, false},
		} {
			a := mustAccount(t, db, fmt.Sprintf("ann-%d", i), c.has)
			link, session, token := auth.NewSecret(), auth.NewSecret(), auth.NewSecret()
			if err := db.AddLink(ctx, c.maker, "maker", a.ID, link); err != nil {
				t.Fatal(err)
			}
			if _, err := db.UseLink(ctx, link, "hash"); err != nil {
				t.Fatal(err)
			}
			if err := db.StartSession(ctx, a.ID, session, ""); err != nil {
				t.Fatal(err)
			}
			who, err := db.SessionOf(ctx, session)
			if err != nil {
				t.Fatal(err)
			}
			// Whoever knows it changes it, and makes a token: that helps neither.
			if err := db.ChangePassword(ctx, who, "other hash"); err != nil {
				t.Fatal(err)
			}
			if err := db.AddToken(ctx, who, &store.Token{Name: "press", Rights: []auth.Right{auth.See}, Until: db.Now().Add(time.Hour)}, token); err != nil {
				t.Fatal(err)
			}
			if err := db.GiveGrant(ctx, all, "test", a.ID, &c.gets); err != nil {
				t.Fatal(err)
			}
			_, hash, err := db.PasswordOf(ctx, a.Email)
			if err != nil {
				t.Fatal(err)
			}
			_, in := db.SessionOf(ctx, session)
			_, by := db.TokenOf(ctx, token)
			if got := []bool{hash == "", in != nil, by != nil}; got[0] != c.ends || got[1] != c.ends || got[2] != c.ends {
				t.Errorf("%s: password, session and token ended: got %v, want %t of each", c.name, got, c.ends)
			}
		}
	})
}

// Two who are admins of everything, and stop each other at the same moment: one
// is left.
func TestAnAdminIsLeft(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		last := mustAccount(t, db, "admin", on(auth.Admin, 0, 0))
		for i := range 40 {
			other := mustAccount(t, db, fmt.Sprint("admin", i), on(auth.Admin, 0, 0))
			ends := make(chan error, 2)
			go func() { ends <- db.StopAccount(t.Context(), all, "test", last.ID) }()
			go func() { ends <- db.EndGrant(t.Context(), all, "test", other.ID, other.Grants[0].ID) }()
			refused := 0
			for range 2 {
				if err := <-ends; errors.Is(err, fleet.ErrConflict) {
					refused++
				} else if err != nil {
					t.Fatal(err)
				}
			}
			if refused != 1 {
				t.Fatalf("%d of the two were refused, want 1", refused)
			}
			if _, err := db.Account(t.Context(), all, last.ID); errors.Is(err, fleet.ErrNotFound) {
				last = other
			}
		}
	})
}

func TestRenameAccount(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ann := mustAccount(t, db, "ann", on(auth.Admin, 0, 0))
		mustAccount(t, db, "bo", on(auth.Admin, 0, 0))
		who := auth.Who{Account: ann.ID}
		for _, c := range []struct {
			name, email string
			want        error // nil = it is done
		}{
			{"", "ann@island.example", fleet.ErrInvalid},
			{"Ann", "", fleet.ErrInvalid},
			{"Ann", "BO@island.example", fleet.ErrConflict},
			{"Ann", "Ann@island.example", nil}, // her own, written otherwise
			{" Ann of the Quay ", "quay@island.example", nil},
		} {
			if err := db.RenameAccount(t.Context(), who, c.name, c.email); c.want == nil && err != nil || c.want != nil && !errors.Is(err, c.want) {
				t.Errorf("%q, %q: got %v, want %v", c.name, c.email, err, c.want)
			}
		}
		a, err := db.Account(t.Context(), all, ann.ID)
		if err != nil || a.Name != "Ann of the Quay" || a.Email != "quay@island.example" {
			t.Errorf("got %+v, %v", a, err)
		}
		if id, _, err := db.PasswordOf(t.Context(), "QUAY@island.example"); err != nil || id != ann.ID {
			t.Errorf("by the new address: got account %d, %v; want %d", id, err, ann.ID)
		}
		if id, _, err := db.PasswordOf(t.Context(), "ann@island.example"); err != nil || id != 0 {
			t.Errorf("by the old address: got account %d, %v; want none", id, err)
		}
	})
}

// One account cannot fill the database with ways in: the oldest session and link
// go, and tokens are refused.
func TestBoundsOfWaysIn(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ctx := t.Context()
		now := time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)
		db.Now = func() time.Time { return now }
		a := mustAccount(t, db, "ann", on(auth.Admin, 0, 0))
		for i := range store.MaxSessions + 1 {
			now = now.Add(time.Second)
			if err := db.StartSession(ctx, a.ID, fmt.Sprint("session ", i), "a browser"); err != nil {
				t.Fatal(err)
			}
		}
		for i := range store.MaxLinks + 1 {
			now = now.Add(time.Second)
			if err := db.AddLink(ctx, all, "test", a.ID, fmt.Sprint("link ", i)); err != nil {
				t.Fatal(err)
			}
		}
		if _, err := db.SessionOf(ctx, "session 0"); !errors.Is(err, fleet.ErrStranger) {
			t.Errorf("the oldest session: got %v, want ErrStranger", err)
		}
		who, err := db.SessionOf(ctx, "session 1")
		if err != nil {
			t.Errorf("the second session: %v", err)
		}
		if _, _, err := db.LinkOf(ctx, "link 0"); !errors.Is(err, fleet.ErrNotFound) {
			t.Errorf("the oldest link: got %v, want ErrNotFound", err)
		}
		if _, _, err := db.LinkOf(ctx, "link 1"); err != nil {
			t.Errorf("the second link: %v", err)
		}
		for i := range 2 * store.MaxLinks { // in the same moment
			link := fmt.Sprint("link at once ", i)
			if err := db.AddLink(ctx, all, "test", a.ID, link); err != nil {
				t.Fatal(err)
			}
			if _, _, err := db.LinkOf(ctx, link); err != nil {
				t.Errorf("link %d of one moment: %v", i, err)
			}
		}
		var first store.Token
		for i := range store.MaxTokens + 1 {
			k := store.Token{Name: "telematics", Rights: []auth.Right{auth.See}, Until: now.Add(time.Hour)}
			err := db.AddToken(ctx, who, &k, fmt.Sprint("token ", i))
			if i == 0 {
				first = k
			}
			if over := i == store.MaxTokens; over && !errors.Is(err, fleet.ErrConflict) || !over && err != nil {
				t.Fatalf("token %d: got %v", i+1, err)
			}
		}
		if err := db.EndToken(ctx, auth.Who{Account: a.ID + 1}, first.ID); !errors.Is(err, fleet.ErrNotFound) {
			t.Errorf("another account's token: got %v, want ErrNotFound", err)
		}
		if err := db.EndToken(ctx, who, first.ID); err != nil {
			t.Error(err)
		}
		if _, err := db.TokenOf(ctx, "token 0"); !errors.Is(err, fleet.ErrStranger) {
			t.Errorf("a token that was ended: got %v, want ErrStranger", err)
		}
		if err := db.EndOtherSessions(ctx, who); err != nil {
			t.Fatal(err)
		}
		if ss, err := db.Sessions(ctx, who); err != nil || len(ss) != 1 || ss[0].ID != who.Session {
			t.Errorf("after the others were ended: got %+v, %v; want the present one", ss, err)
		}
	})
}

// Sessions, links and tokens end when they are to, and are kept as hashes.
func TestWaysIn(t *testing.T) {
	for _, dialect := range []string{store.SQLite, store.Postgres} {
		t.Run(dialect, func(t *testing.T) { waysIn(t, storetest.URL(t, dialect)) })
	}
}

func waysIn(t *testing.T, url string) {
	db := storetest.MustOpen(t, url)
	ctx := t.Context()
	now := time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)
	db.Now = func() time.Time { return now }
	a := mustAccount(t, db, "ann", on(auth.Admin, 0, 0))
	secrets := []string{auth.NewSecret(), auth.NewSecret(), auth.NewSecret(), auth.NewSecret()}
	in := func(secret string) bool {
		t.Helper()
		_, err := db.SessionOf(ctx, secret)
		if err != nil && !errors.Is(err, fleet.ErrStranger) {
			t.Fatal(err)
		}
		return err == nil
	}
	start := func(secret string) {
		t.Helper()
		if err := db.StartSession(ctx, a.ID, secret, "a browser"); err != nil {
			t.Fatal(err)
		}
	}
	start(secrets[0])
	if !in(secrets[0]) || in("another") || in("") {
		t.Error("a session is known by its secret, and by nothing else")
	}
	now = now.Add(12*time.Hour + time.Minute)
	if in(secrets[0]) {
		t.Error("12 hours without a look: still signed in")
	}
	start(secrets[0] + "b")
	for range 14 * 24 / 8 {
		now = now.Add(8 * time.Hour)
		in(secrets[0] + "b")
	}
	if now = now.Add(time.Minute); in(secrets[0] + "b") {
		t.Error("after 14 days: still signed in, for all the looks between")
	}

	start(secrets[0] + "c")
	start(secrets[1])
	who, err := db.SessionOf(ctx, secrets[1])
	if err != nil {
		t.Fatal(err)
	}
	k := store.Token{Name: "telematics", Rights: []auth.Right{auth.See, auth.Measure}, Until: now.Add(48 * time.Hour)}
	if err := db.AddToken(ctx, who, &k, secrets[2]); err != nil {
		t.Fatal(err)
	}
	by, err := db.TokenOf(ctx, secrets[2])
	if err != nil || !by.May(auth.Measure) || by.May(auth.Plan) {
		t.Errorf("token: got %+v, %v; want one that may measure and not plan", by, err)
	}
	if err := db.AddToken(ctx, by, &store.Token{Name: "more", Rights: []auth.Right{auth.People}, Until: k.Until}, "x"); !errors.Is(err, fleet.ErrDenied) {
		t.Errorf("a token that may more than its maker: got %v, want ErrDenied", err)
	}

	if err := db.AddLink(ctx, all, "test", a.ID, secrets[3]); err != nil {
		t.Fatal(err)
	}
	for _, table := range []string{"sessions", "links", "api_tokens"} {
		for _, row := range storetest.Dump(t, url, "select * from "+table) {
			for _, s := range secrets {
				if strings.Contains(row, s) {
					t.Errorf("%s keeps a secret as it is", table)
				}
			}
		}
	}
	if _, err := db.UseLink(ctx, secrets[3], "hash"); err != nil {
		t.Fatal(err)
	}
	if _, err := db.UseLink(ctx, secrets[3], "hash"); !errors.Is(err, fleet.ErrNotFound) {
		t.Errorf("a link used twice: got %v, want ErrNotFound", err)
	}
	if in(secrets[1]) || in(secrets[0]+"c") {
		t.Error("a new password by a link: still signed in elsewhere")
	}
	if err := db.AddLink(ctx, all, "test", a.ID, "late"); err != nil {
		t.Fatal(err)
	}
	now = now.Add(store.LinkLife + time.Minute)
	if _, _, err := db.LinkOf(ctx, "late"); !errors.Is(err, fleet.ErrNotFound) {
		t.Errorf("a link of the day before: got %v, want ErrNotFound", err)
	}
	now = now.Add(24 * time.Hour)
	if _, err := db.TokenOf(ctx, secrets[2]); !errors.Is(err, fleet.ErrStranger) {
		t.Errorf("a token past its end: got %v, want ErrStranger", err)
	}

	// Whoever is stopped is out at once.
	mustAccount(t, db, "bo", on(auth.Admin, 0, 0))
	start("last")
	if err := db.StopAccount(ctx, all, "test", a.ID); err != nil {
		t.Fatal(err)
	}
	if in("last") {
		t.Error("a stopped account is still signed in")
	}
}

// How a reader wants quantities said comes with the session; nobody else's
// changes.
func TestSetReader(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ctx := t.Context()
		mine := mustAccount(t, db, "mine", on(auth.Technician, 0, 0))
		other := mustAccount(t, db, "other", on(auth.Technician, 0, 0))
		for _, a := range []store.Account{mine, other} {
			if err := db.StartSession(ctx, a.ID, "secret of "+a.Name, "test"); err != nil {
				t.Fatal(err)
			}
		}
		who := func(name string) auth.Who {
			w, err := db.SessionOf(ctx, "secret of "+name)
			if err != nil {
				t.Fatal(err)
			}
			return w
		}
		if got := who("mine").Reader; got != (units.Reader{}) {
			t.Errorf("before: got %+v, want none", got)
		}
		want := units.Reader{DistanceIn: units.Miles, ThicknessIn: units.Inches, DaysAs: units.ISO, Zone: "Pacific/Auckland"}
		if err := db.SetReader(ctx, who("mine"), want); err != nil {
			t.Fatal(err)
		}
		if err := db.SetReader(ctx, who("mine"), units.Reader{DistanceIn: "furlong"}); !errors.Is(err, fleet.ErrInvalid) {
			t.Errorf("furlongs: got %v, want ErrInvalid", err)
		}
		if got := who("mine").Reader; got != want {
			t.Errorf("got %+v, want %+v", got, want)
		}
		if got := who("other").Reader; got != (units.Reader{}) {
			t.Errorf("somebody else's: got %+v, want none", got)
		}
	})
}
