package pipeline_test

import (
	"errors"
	"fmt"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/pquerna/otp/totp"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// withSecond is Ann, who signs in with a password, and what her app knows.
type withSecond struct {
	*desk
	ann store.Account
	key string // of her app
}

// newSecond adds Ann, who has no second factor yet.
func newSecond(t *testing.T, db *store.DB) *withSecond {
	t.Helper()
	w := &withSecond{desk: newDesk(t, db, nil)}
	w.ann = store.Account{Name: "Ann", Email: "ann@island.example", Grants: []store.Grant{{Role: auth.Planner}}}
	if err := w.AddAccountWithPassword(t.Context(), all, "test", &w.ann, password); err != nil {
		t.Fatal(err)
	}
	return w
}

// code is what the app shows now: of the library's own working out.
func (w *withSecond) code() string {
	w.t.Helper()
	code, err := totp.GenerateCode(strings.ReplaceAll(w.key, " ", ""), *w.at)
	if err != nil {
		w.t.Fatal(err)
	}
	return code
}

// enter gives the password, from an address.
func (w *withSecond) enter(origin string) pipeline.Entered {
	w.t.Helper()
	e, err := w.SignIn(w.t.Context(), w.ann.Email, password, origin, "a browser")
	if err != nil {
		w.t.Fatal(err)
	}
	return e
}

// who is whose session a secret is.
func (w *withSecond) who(session string) auth.Who {
	w.t.Helper()
	who, err := w.DB.SessionOf(w.t.Context(), session)
	if err != nil {
		w.t.Fatal(err)
	}
	return who
}

// set sets her second factor up from a session, and returns recovery codes.
func (w *withSecond) set(session string) []string {
	w.t.Helper()
	ctx, who := w.t.Context(), w.who(session)
	up, err := w.BeginSecond(ctx, who, password)
	if err != nil {
		w.t.Fatal(err)
	}
	w.key = up.Secret
	codes, err := w.ConfirmSecond(ctx, who, w.code())
	if err != nil {
		w.t.Fatal(err)
	}
	return codes
}

// After the password comes the code: each counts once, and wrong ones are
// bounded.
func TestSecondFactor(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ctx := t.Context()
		w := newSecond(t, db)
		elsewhere, session := w.enter("10.0.0.1").Session, w.enter("10.0.0.1").Session
		if session == "" {
			t.Fatal("without a second factor: want a session at once")
		}
		who := w.who(session)
		if _, err := w.BeginSecond(ctx, who, another); !errors.Is(err, fleet.ErrDenied) {
			t.Errorf("begun with a wrong password: got %v, want ErrDenied", err)
		}
		if _, err := w.ConfirmSecond(ctx, who, "123456"); !errors.Is(err, fleet.ErrConflict) {
			t.Errorf("confirmed before it was begun: got %v, want ErrConflict", err)
		}
		if up, err := w.BeginSecond(ctx, who, password); err != nil || up.QR == "" || len(strings.ReplaceAll(up.Secret, " ", "")) != 32 {
			t.Fatalf("got %+v, %v", up, err)
		}
		if _, err := w.ConfirmSecond(ctx, who, "12345"); !errors.Is(err, fleet.ErrDenied) {
			t.Errorf("a wrong first code: got %v, want ErrDenied", err)
		}
		if w.enter("10.0.0.1").Session == "" {
			t.Error("before the first code was right: want no code asked for")
		}
		recovery := w.set(session)
		if _, err := db.SessionOf(ctx, elsewhere); !errors.Is(err, fleet.ErrStranger) {
			t.Errorf("a session begun without it: got %v, want it ended", err)
		}
		if who := w.who(session); who.Account != w.ann.ID {
			t.Errorf("the session it was set up in: got %+v", who)
		}
		if _, err := w.BeginSecond(ctx, who, password); !errors.Is(err, fleet.ErrConflict) {
			t.Errorf("begun again while in force: got %v, want ErrConflict", err)
		}

		give := func(code, origin string) (string, error) {
			e := w.enter(origin)
			if e.Session != "" || e.Begun == "" {
				t.Fatalf("got %+v, want a code asked for", e)
			}
			if _, err := db.SessionOf(ctx, e.Begun); !errors.Is(err, fleet.ErrStranger) {
				t.Errorf("a sign-in that waits for its code, as a session: got %v", err)
			}
			session, again, err := w.FinishSignIn(ctx, e.Begun, code, origin, "a browser")
			if len(again) > 0 {
				t.Errorf("recovery codes shown again: %v", again)
			}
			if err == nil {
				if _, _, err := w.FinishSignIn(ctx, e.Begun, code, origin, "a browser"); !errors.Is(err, fleet.ErrStranger) {
					t.Errorf("a sign-in finished twice: got %v, want ErrStranger", err)
				}
			}
			return session, err
		}
		if _, err := give(w.code(), "10.0.0.1"); !errors.Is(err, fleet.ErrDenied) {
			t.Errorf("the code that put it in force: got %v, want it used up", err)
		}
		*w.at = w.at.Add(30 * time.Second)
		session, err := give(w.code(), "10.0.0.1")
		if err != nil {
			t.Fatal(err)
		}
		w.who(session)
		if _, err := give(w.code(), "10.0.0.1"); !errors.Is(err, fleet.ErrDenied) {
			t.Errorf("a code twice: got %v, want ErrDenied", err)
		}
		if _, err := give(strings.ToLower(recovery[0]), "10.0.0.1"); err != nil {
			t.Errorf("a recovery code: %v", err)
		}
		if _, err := give(recovery[0], "10.0.0.1"); !errors.Is(err, fleet.ErrDenied) {
			t.Errorf("a recovery code twice: got %v, want ErrDenied", err)
		}
		if f, err := db.SecondOf(ctx, w.ann.ID); err != nil || f.Recovery != 9 {
			t.Errorf("got %d codes left, %v, want 9", f.Recovery, err)
		}

		*w.at = w.at.Add(30 * time.Second)
		e := w.enter("10.0.0.9")
		for range 6 {
			if _, _, err := w.FinishSignIn(ctx, e.Begun, "abc", "10.0.0.9", "a browser"); !errors.Is(err, fleet.ErrDenied) {
				t.Fatalf("a wrong code: got %v, want ErrDenied", err)
			}
		}
		_, _, err = w.FinishSignIn(ctx, e.Begun, w.code(), "10.0.0.9", "a browser")
		if _, wait := errors.AsType[*fleet.WaitError](err); !wait {
			t.Errorf("the right code after six wrong ones: got %v, want to wait", err)
		}
		if _, err := give(w.code(), "10.0.0.2"); err != nil {
			t.Errorf("from elsewhere: %v", err)
		}
		for i := range 11 { // with the six above and three that were used up, 20
			e := w.enter(fmt.Sprintf("10.0.1.%d", i))
			if _, _, err := w.FinishSignIn(ctx, e.Begun, "abc", fmt.Sprintf("10.0.1.%d", i), "a browser"); !errors.Is(err, fleet.ErrDenied) {
				t.Fatalf("wrong code %d: got %v, want ErrDenied", i, err)
			}
		}
		e = w.enter("10.0.0.3")
		_, _, err = w.FinishSignIn(ctx, e.Begun, recovery[1], "10.0.0.3", "a browser")
		if _, wait := errors.AsType[*fleet.WaitError](err); !wait {
			t.Errorf("after 20 wrong codes for the account: got %v, want to wait", err)
		}

		*w.at = w.at.Add(16 * time.Minute)
		e = w.enter("10.0.0.1")
		*w.at = w.at.Add(10 * time.Minute)
		if _, _, err := w.FinishSignIn(ctx, e.Begun, w.code(), "10.0.0.1", "a browser"); !errors.Is(err, fleet.ErrStranger) {
			t.Errorf("ten minutes after the password: got %v, want ErrStranger", err)
		}
		renewed, err := w.RenewRecovery(ctx, w.who(session), password)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := give(recovery[2], "10.0.0.1"); !errors.Is(err, fleet.ErrDenied) {
			t.Errorf("a recovery code that was replaced: got %v, want ErrDenied", err)
		}
		if _, err := give(renewed[0], "10.0.0.1"); err != nil {
			t.Errorf("a new recovery code: %v", err)
		}

		var acts []string
		ds, err := db.Deeds(ctx, all, store.DeedQuery{Limit: store.MaxLimit})
		if err != nil {
			t.Fatal(err)
		}
		for _, x := range ds {
			acts = append(acts, x.By+": "+x.Act+x.Detail)
		}
		told := strings.Join(acts, "\n")
		for _, want := range []string{"Ann: second factor begun", "Ann: second factor in force", "Ann: recovery code used", "Ann: recovery codes made", "Ann: password right, code awaited", ": sign-in failed"} {
			if !strings.Contains(told, want) {
				t.Errorf("the log does not say %q", want)
			}
		}
		if key := strings.ReplaceAll(w.key, " ", ""); strings.Contains(told, key) || strings.Contains(told, recovery[0]) {
			t.Error("the log holds a secret")
		}
	})
}

// A new password, by whatever way, takes the place of no code; nor does a
// sign-in begun with the old one go on.
func TestSecondFactorStays(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ctx := t.Context()
		w := newSecond(t, db)
		session := w.enter("10.0.0.1").Session
		w.set(session)
		token := auth.NewSecret()
		k := store.Token{Name: "press", Rights: []auth.Right{auth.See}, Until: w.at.Add(24 * time.Hour)}
		if err := db.AddToken(ctx, w.who(session), &k, token); err != nil {
			t.Fatal(err)
		}
		begun := w.enter("10.0.0.1").Begun
		link, err := w.MakeLink(ctx, all, "test", w.ann.ID)
		if err != nil {
			t.Fatal(err)
		}
		*w.at = w.at.Add(time.Minute)
		e, err := w.UseLink(ctx, strings.TrimPrefix(link, pipeline.LinkPath), another, "a browser")
		if err != nil || e.Session != "" || e.Begun == "" {
			t.Fatalf("a password by a link: got %+v, %v, want a code asked for", e, err)
		}
		if _, _, err := w.FinishSignIn(ctx, begun, w.code(), "10.0.0.1", "a browser"); !errors.Is(err, fleet.ErrStranger) {
			t.Errorf("begun with the old password: got %v, want ErrStranger", err)
		}
		if session, _, err = w.FinishSignIn(ctx, e.Begun, w.code(), "10.0.0.1", "a browser"); err != nil {
			t.Fatal(err)
		}
		if _, err := db.TokenOf(ctx, token); err != nil {
			t.Errorf("a token: %v, want it to work without a code", err)
		}

		// Who lost it asks an admin of all her places, and nobody else.
		if err := db.EndSecond(ctx, auth.ScopeOf(nil, []int64{w.harbour}), "Bo", w.ann.ID); !errors.Is(err, fleet.ErrNotFound) {
			t.Errorf("taken off by an admin of a depot: got %v, want ErrNotFound", err)
		}
		if err := db.EndSecond(ctx, all, "Bo", w.ann.ID); err != nil {
			t.Fatal(err)
		}
		if _, err := db.SessionOf(ctx, session); !errors.Is(err, fleet.ErrStranger) {
			t.Errorf("her session then: got %v, want it ended", err)
		}
		if err := db.EndSecond(ctx, all, "Bo", w.ann.ID); !errors.Is(err, fleet.ErrNotFound) {
			t.Errorf("taken off twice: got %v, want ErrNotFound", err)
		}
		e, err = w.SignIn(ctx, w.ann.Email, another, "10.0.0.1", "a browser")
		if err != nil || e.Session == "" {
			t.Errorf("signed in then: got %+v, %v, want a session", e, err)
		}
	})
}

// Where the rule wants a second factor, who has none sets it up at sign-in.
func TestSecondRule(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ctx := t.Context()
		w := newSecond(t, db)
		w.Second = pipeline.SecondAdmins
		if w.enter("10.0.0.1").Session == "" {
			t.Error("a planner, where admins must: want a session")
		}
		if err := db.GiveGrant(ctx, all, "test", w.ann.ID, &store.Grant{Role: auth.Admin}); err != nil {
			t.Fatal(err)
		}
		for _, rule := range []pipeline.SecondRule{pipeline.SecondAdmins, pipeline.SecondAll} {
			w.Second = rule
			e := w.enter("10.0.0.1")
			b, err := w.BegunSignIn(ctx, e.Begun)
			if err != nil || b.SetUp == nil || b.Name != "Ann" {
				t.Fatalf("%s: got %+v, %v, want it set up", rule, b, err)
			}
			w.key = b.SetUp.Secret
			if again, err := w.BegunSignIn(ctx, e.Begun); err != nil || again.SetUp.Secret != w.key {
				t.Errorf("%s: the page opened again: got %+v, %v, want the same key", rule, again, err)
			}
			if _, _, err := w.FinishSignIn(ctx, e.Begun, "abc", "10.0.0.1", "a browser"); !errors.Is(err, fleet.ErrDenied) {
				t.Errorf("%s: a wrong first code: got %v, want ErrDenied", rule, err)
			}
			session, codes, err := w.FinishSignIn(ctx, e.Begun, w.code(), "10.0.0.1", "a browser")
			if err != nil || len(codes) != 10 {
				t.Fatalf("%s: got %d recovery codes, %v", rule, len(codes), err)
			}
			if b, err := w.BegunSignIn(ctx, w.enter("10.0.0.1").Begun); err != nil || b.SetUp != nil {
				t.Errorf("%s: once it is in force: got %+v, %v, want the key kept to itself", rule, b, err)
			}
			if err := w.EndSecond(ctx, w.who(session), another); !errors.Is(err, fleet.ErrDenied) {
				t.Errorf("%s: taken off with a wrong password: got %v, want ErrDenied", rule, err)
			}
			if err := w.EndSecond(ctx, w.who(session), password); err != nil {
				t.Errorf("%s: taken off: %v", rule, err)
			}
		}
	})
}

// Many wrong codes at once are bounded as one after the other are.
func TestCodesAtOnce(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		w := newSecond(t, db)
		w.set(w.enter("10.0.0.1").Session)
		begun := w.enter("10.0.0.1").Begun
		var wg sync.WaitGroup
		var denied atomic.Int32
		for i := range 100 {
			wg.Go(func() {
				_, _, err := w.FinishSignIn(t.Context(), begun, "12345", fmt.Sprint("10.0.1.", i), "a browser")
				if errors.Is(err, fleet.ErrDenied) {
					denied.Add(1)
				} else if _, wait := errors.AsType[*fleet.WaitError](err); !wait {
					t.Errorf("got %v", err)
				}
			})
		}
		wg.Wait()
		if got := denied.Load(); got != 20 { // wrong codes borne for one account, as the security page says
			t.Errorf("got %d codes looked at, want 20", got)
		}
	})
}
