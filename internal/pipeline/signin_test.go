package pipeline_test

import (
	"errors"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/mail/mailtest"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

const (
	password = "four plain words here"
	another  = "four other words here"
)

// Who was given a link before the first start is let in by that alone, as long as it
// is good: what serve prints may be read by others.
func TestNoFirstAccountBesideAnInvited(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ctx := t.Context()
		d := newDesk(t, db, nil)
		if _, err := d.AddAccount(ctx, all, "N. N.", &store.Account{Name: "Bo", Email: "bo@island.example", Grants: []store.Grant{{Role: auth.Admin, Place: store.Place{FleetID: 1}}}}); err != nil {
			t.Fatal(err)
		}
		if link, err := d.FirstAccount(ctx); err != nil || link == "" {
			t.Errorf("beside an admin of one fleet: got %q, %v; want a link", link, err)
		}
		if _, err := d.AddAccount(ctx, all, "N. N.", &store.Account{Name: "Ada", Email: "ada@island.example", Grants: []store.Grant{{Role: auth.Admin}}}); err != nil {
			t.Fatal(err)
		}
		if link, err := d.FirstAccount(ctx); err != nil || link != "" {
			t.Errorf("beside one with a link: got %q, %v; want none", link, err)
		}
		*d.at = d.at.Add(store.LinkLife + time.Minute)
		if link, err := d.FirstAccount(ctx); err != nil || link == "" {
			t.Errorf("when her link is too old: got %q, %v; want another", link, err)
		}
	})
}

func TestSignIn(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ctx := t.Context()
		srv := mailtest.Start(t, mailtest.Options{})
		d := newDesk(t, db, srv)
		link, err := d.FirstAccount(ctx)
		if err != nil || !strings.HasPrefix(link, pipeline.LinkPath) {
			t.Fatalf("got %q, %v", link, err)
		}
		again, err := d.FirstAccount(ctx) // the first start was cut short
		if err != nil || again == link || again == "" {
			t.Fatalf("got %q, %v; want another link", again, err)
		}
		use := func(link, password string) (pipeline.Entered, error) {
			return d.UseLink(ctx, strings.TrimPrefix(link, pipeline.LinkPath), password, "a browser")
		}
		if _, err := use(link, "short"); !errors.Is(err, fleet.ErrInvalid) {
			t.Errorf("a short password: got %v, want ErrInvalid", err)
		}
		session, err := use(link, password)
		if err != nil {
			t.Fatal(err)
		}
		who, err := db.SessionOf(ctx, session.Session)
		if err != nil || !who.Scope(auth.Run).All() {
			t.Fatalf("got %+v, %v; want an admin of everything", who, err)
		}
		if link, err := d.FirstAccount(ctx); err != nil || link != "" {
			t.Errorf("a first account where there is one: got %q, %v", link, err)
		}
		if _, err := use(again, another); !errors.Is(err, fleet.ErrNotFound) {
			t.Errorf("the other link after a password was chosen: got %v, want ErrNotFound", err)
		}

		enter := func(email, password, origin string) error {
			_, err := d.Service.SignIn(ctx, email, password, origin, "a browser")
			return err
		}
		known, unknown := enter(pipeline.FirstEmail, "wrong", "10.0.0.1"), enter("nobody@island.example", "wrong", "10.0.0.1")
		if !errors.Is(known, fleet.ErrStranger) || unknown == nil || known.Error() != unknown.Error() {
			t.Errorf("got %v for a wrong password and %v for no account, want the same", known, unknown)
		}
		if err := enter(strings.ToUpper(pipeline.FirstEmail), password, "10.0.0.1"); err != nil {
			t.Errorf("an address in capitals: %v", err)
		}
		for range 6 {
			err = enter(pipeline.FirstEmail, "wrong", "10.0.0.2")
			if !errors.Is(err, fleet.ErrStranger) {
				t.Fatalf("got %v, want ErrStranger", err)
			}
		}
		if _, wait := errors.AsType[*fleet.WaitError](enter(pipeline.FirstEmail, password, "10.0.0.2")); !wait {
			t.Error("the right password after six wrong ones: want to wait")
		}
		if err := enter(pipeline.FirstEmail, password, "10.0.0.3"); err != nil {
			t.Errorf("from another address: %v; a stranger's guesses must not lock the owner out", err)
		}
		*d.at = d.at.Add(16 * time.Minute)
		if err := enter(pipeline.FirstEmail, password, "10.0.0.2"); err != nil {
			t.Errorf("16 minutes later: %v", err)
		}

		if err := d.ChangePassword(ctx, who, "wrong", another); !errors.Is(err, fleet.ErrDenied) {
			t.Errorf("a change without the present password: got %v, want ErrDenied", err)
		}
		if err := d.ChangePassword(ctx, who, password, another); err != nil {
			t.Fatal(err)
		}
		if err := enter(pipeline.FirstEmail, password, "10.0.0.4"); !errors.Is(err, fleet.ErrStranger) {
			t.Errorf("the old password: got %v, want ErrStranger", err)
		}
	})
}

// A link by e-mail goes to who has an account, and nobody learns who has one.
func TestMailLink(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ctx := t.Context()
		srv := mailtest.Start(t, mailtest.Options{})
		d := newDesk(t, db, srv)
		a := store.Account{Name: "Ann", Email: "ann@island.example", Grants: []store.Grant{{Role: auth.Planner}}}
		if _, err := d.AddAccount(ctx, all, "test", &a); err != nil {
			t.Fatal(err)
		}
		for _, email := range []string{"ann@island.example", "nobody@island.example"} {
			if err := d.MailLink(ctx, email, "10.0.0.1"); err != nil {
				t.Errorf("%s: %v", email, err)
			}
		}
		got := srv.Received()
		if len(got) != 1 {
			t.Fatalf("%d mails, want one to Ann", len(got))
		}
		for range 2 {
			if err := d.MailLink(ctx, "ann@island.example", "10.0.0.1"); err != nil {
				t.Fatal(err)
			}
		}
		if _, wait := errors.AsType[*fleet.WaitError](d.MailLink(ctx, "ann@island.example", "10.0.0.9")); !wait {
			t.Error("a fourth mail within the hour: want to wait")
		}
		d.Mail = nil
		if err := d.MailLink(ctx, "ann@island.example", "10.0.0.1"); !errors.Is(err, fleet.ErrConflict) {
			t.Errorf("without a mail server: got %v, want ErrConflict", err)
		}
	})
}

// Whoever sits at a browser that was left open can neither guess the password
// nor have links mailed elsewhere.
func TestPresentPassword(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ctx := t.Context()
		d := newDesk(t, db, nil)
		ann := store.Account{Name: "Ann", Email: "ann@island.example", Grants: []store.Grant{{Role: auth.Admin}}}
		if err := d.AddAccountWithPassword(ctx, auth.AllFleets(), "test", &ann, password); err != nil {
			t.Fatal(err)
		}
		who := auth.Who{Account: ann.ID, Name: ann.Name, Email: ann.Email}
		if err := d.Service.RenameAccount(ctx, who, "Ann of the Quay", ann.Email, ""); err != nil {
			t.Errorf("another name: %v", err)
		}
		for range 5 {
			if err := d.Service.RenameAccount(ctx, who, "Ann", "quay@island.example", another); !errors.Is(err, fleet.ErrDenied) {
				t.Fatalf("another address, a wrong password: got %v, want ErrDenied", err)
			}
		}
		if err := d.ChangePassword(ctx, who, another, another); !errors.Is(err, fleet.ErrDenied) {
			t.Errorf("a new password, a wrong one: got %v, want ErrDenied", err)
		}
		// Six in all.
		err := d.ChangePassword(ctx, who, password, another)
		if _, waits := errors.AsType[*fleet.WaitError](err); !waits {
			t.Errorf("after six: got %v, want to wait", err)
		}
		if _, err := d.Service.SignIn(ctx, ann.Email, password, "10.0.0.1", "a browser"); err != nil {
			t.Errorf("she is not locked out of signing in: %v", err)
		}
	})
}

// Of many wrong passwords sent at one moment no more are tried than of as many one
// after the other, however long each waits for its turn.
func TestPasswordsAtOneMoment(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		d := newDesk(t, db, nil)
		var tried, waits atomic.Int32
		var sent sync.WaitGroup
		for range 12 {
			sent.Go(func() {
				_, err := d.Service.SignIn(t.Context(), "ann@island.example", "a wrong one", "10.0.0.1", "a browser")
				_, wait := errors.AsType[*fleet.WaitError](err)
				switch {
				case wait:
					waits.Add(1)
				case errors.Is(err, fleet.ErrStranger):
					tried.Add(1)
				default:
					t.Error(err)
				}
			})
		}
		sent.Wait()
		if tried.Load() > 6 || tried.Load()+waits.Load() != 12 { // failuresByPair
			t.Errorf("%d were tried and %d waited, want 6 at most and the rest", tried.Load(), waits.Load())
		}
	})
}

// What strangers try from many addresses locks nobody out where they signed in
// from of late, and everywhere else.
func TestStrangersLockNobodyOut(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		d := newDesk(t, db, nil)
		ann := store.Account{Name: "Ann", Email: "ann@island.example", Grants: []store.Grant{{Role: auth.Planner}}}
		if err := d.AddAccountWithPassword(t.Context(), all, "test", &ann, password); err != nil {
			t.Fatal(err)
		}
		enter := func(client string) error {
			ctx := auth.WithOrigin(t.Context(), auth.Origin{Via: auth.ViaPage, From: client})
			_, err := d.Service.SignIn(ctx, ann.Email, password, auth.Network(client), "a browser")
			return err
		}
		for _, client := range []string{"10.0.0.1", "2001:db8:0:1::5"} { // documentation: RFC 3849
			if err := enter(client); err != nil {
				t.Fatal(err)
			}
		}
		failures := func() {
			var many []string
			for range 60 { // failuresByEmail
				many = append(many, "email "+ann.Email)
			}
			if err := db.NoteFailure(t.Context(), many...); err != nil {
				t.Fatal(err)
			}
		}
		failures()
		for client, lets := range map[string]bool{"10.0.0.1": true, "2001:db8:0:1::9": true, "10.0.0.2": false, "2001:db8:0:2::5": false} {
			err := enter(client)
			if _, wait := errors.AsType[*fleet.WaitError](err); wait == lets || lets && err != nil {
				t.Errorf("from %s: got %v, want to be let in: %v", client, err, lets)
			}
		}
		*d.at = d.at.Add(61 * 24 * time.Hour)
		failures()
		if _, wait := errors.AsType[*fleet.WaitError](enter("10.0.0.1")); !wait {
			t.Error("two months later: want to wait there too")
		}
	})
}
