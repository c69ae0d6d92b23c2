package pipeline_test

import (
	"errors"
	"strings"
	"testing"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/openid"
	"brakewear/internal/openid/openidtest"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// Whoever comes back from the provider has the account of the address that it
// vouches for, then the one bound to them, and else none.
func TestSignInElsewhere(t *testing.T) {
	srv := openidtest.Start(t)
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ctx := t.Context()
		s := newService(db)
		s.OpenID = srv.Provider("https://brakes.example/back")
		accounts := map[string]int64{}
		for _, name := range []string{"top", "ann", "ben"} {
			a := store.Account{Name: name, Email: name + "@island.example", Grants: []store.Grant{{Role: auth.Admin}}}
			if err := s.AddAccountWithPassword(ctx, all, "test", &a, password); err != nil {
				t.Fatal(err)
			}
			accounts[name] = a.ID
		}
		enter := func(p openidtest.Person) (auth.Who, error) {
			t.Helper()
			secret := auth.NewSecret()
			address, err := s.OpenID.Address(ctx, secret)
			if err != nil {
				t.Fatal(err)
			}
			session, err := s.SignInElsewhere(ctx, secret, srv.Visit(t, address, p), "10.0.0.1", "a browser")
			if err != nil {
				return auth.Who{}, err
			}
			who, err := db.SessionOf(ctx, session)
			if err != nil {
				t.Fatal(err)
			}
			return who, nil
		}
		fresh := func(what string, p openidtest.Person, want int64, kind error, says string) {
			t.Helper()
			who, err := enter(p)
			if who.Account != want || !errors.Is(err, kind) || err != nil && !strings.Contains(err.Error(), says) {
				t.Errorf("%s: got account %d, %v; want %d, %v", what, who.Account, err, want, kind)
			}
		}
		ann := openidtest.Person{Subject: "ann-1", Email: "Ann@island.example", Verified: true}
		unverified := ann
		unverified.Verified = false
		fresh("not verified", unverified, 0, fleet.ErrStranger, "does not vouch")
		fresh("nobody", openidtest.Person{Subject: "x", Email: "nobody@island.example", Verified: true}, 0, fleet.ErrStranger, "no account for nobody@island.example")
		fresh("Ann", ann, accounts["ann"], nil, "")
		fresh("Ann again", ann, accounts["ann"], nil, "")
		fresh("Ann, when her address is no longer vouched for", unverified, accounts["ann"], nil, "")
		moved := ann
		moved.Email = "ben@island.example"
		fresh("Ann, with Ben's address", moved, accounts["ann"], nil, "")
		other := ann
		other.Subject = "ann-2"
		fresh("somebody else with Ann's address", other, 0, fleet.ErrConflict, "another person's there")
		long := ann
		long.Subject = strings.Repeat("s", 256)
		fresh("a subject that is too long", long, 0, fleet.ErrInvalid, "")

		if err := db.StopAccount(ctx, all, "test", accounts["ann"]); err != nil {
			t.Fatal(err)
		}
		fresh("Ann, who left", ann, 0, fleet.ErrStranger, "no account")

		// Whatever goes wrong there, a password still signs in.
		srv.Fail(503, "token")
		defer srv.Fail(0, "")
		fresh("while the provider is broken", openidtest.Person{Subject: "ben-1", Email: "ben@island.example", Verified: true}, 0, openid.ErrUnreachable, "")
		if _, err := s.SignIn(ctx, "ben@island.example", password, "10.0.0.1", "a browser"); err != nil {
			t.Errorf("by password meanwhile: %v", err)
		}
		srv.Fail(0, "")

		// Guesses are bounded like passwords are, by address.
		var err error
		for range 101 {
			if _, err = s.SignInElsewhere(ctx, "secret", nil, "10.0.0.2", "a browser"); !errors.Is(err, openid.ErrRefused) {
				break
			}
		}
		if _, wait := errors.AsType[*fleet.WaitError](err); !wait {
			t.Errorf("after a hundred guesses: got %v, want to wait", err)
		}
		if _, err := s.SignIn(ctx, "ben@island.example", password, "10.0.0.2", "a browser"); err != nil {
			t.Errorf("by password after them: %v", err)
		}
		// A page elsewhere that has browsers open the address, without the secret,
		// makes nobody wait.
		for range 101 {
			if _, err := s.SignInElsewhere(ctx, "", nil, "10.0.0.3", "a browser"); !errors.Is(err, openid.ErrRefused) {
				t.Fatalf("without a secret: got %v, want ErrRefused", err)
			}
		}
		fresh("from another address", openidtest.Person{Subject: "ben-1", Email: "ben@island.example", Verified: true}, accounts["ben"], nil, "")
	})
}
