package pipeline_test

import (
	"encoding/base64"
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// keys are made of one byte each.
func keys(t *testing.T, of ...byte) auth.Keys {
	t.Helper()
	var texts []string
	for _, b := range of {
		texts = append(texts, base64.StdEncoding.EncodeToString(slices.Repeat([]byte{b}, 32)))
	}
	ks, err := auth.ParseKeys(strings.Join(texts, ","))
	if err != nil {
		t.Fatal(err)
	}
	return ks
}

// The secret of a second factor is sealed when a key is set, kept under a newer
// one when that is set before it, and lets its owner in all the while. Who set
// another key is not locked out: recovery codes count, and it can be taken off.
func TestSecondSealed(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ctx := t.Context()
		w := newSecond(t, db)
		session := w.enter("10.0.0.1").Session
		recovery := w.set(session)
		plain := strings.ReplaceAll(w.key, " ", "")
		signIn := func(code string) error {
			_, _, err := w.FinishSignIn(ctx, w.enter("10.0.0.1").Begun, code, "10.0.0.1", "a browser")
			return err
		}
		for _, c := range []struct {
			name         string
			keys         auth.Keys
			sealed, lost int // by a start with the keys
			kept         bool
			code         error // of a code of the app
		}{
			{"no key", nil, 0, 0, true, nil},
			{"a key", keys(t, 1), 1, 0, false, nil},
			{"started again", keys(t, 1), 0, 0, false, nil},
			{"a newer key", keys(t, 2, 1), 1, 0, false, nil},
			{"the newer alone", keys(t, 2), 0, 0, false, nil},
			{"the older alone", keys(t, 1), 0, 1, false, fleet.ErrConflict},
			{"no key any more", nil, 0, 1, false, fleet.ErrConflict},
			{"the newer again", keys(t, 2), 0, 0, false, nil},
		} {
			w.Keys = c.keys
			sealed, lost, err := w.SealSeconds(ctx)
			if err != nil || sealed != c.sealed || lost != c.lost {
				t.Errorf("%s: got %d sealed, %d lost, %v; want %d and %d", c.name, sealed, lost, err, c.sealed, c.lost)
			}
			kept, err := db.KeptSeconds(ctx)
			if err != nil || len(kept) != 1 || strings.Contains(kept[0].Secret, plain) != c.kept {
				t.Errorf("%s: kept as %+v, %v", c.name, kept, err)
			}
			*w.at = w.at.Add(time.Minute) // each code counts once
			if err := signIn(w.code()); c.code == nil && err != nil || !errors.Is(err, c.code) {
				t.Errorf("%s: a code: got %v, want %v", c.name, err, c.code)
			}
		}
		w.Keys = keys(t, 3)
		if err := signIn(recovery[0]); err != nil {
			t.Errorf("a recovery code without the key: %v", err)
		}
		if err := w.EndSecond(ctx, w.who(session), password); err != nil {
			t.Fatalf("taken off without the key: %v", err)
		}
		w.set(session)
		kept, err := db.KeptSeconds(ctx)
		if err != nil || len(kept) != 1 || !auth.Sealed(kept[0].Secret) {
			t.Errorf("set up with a key: kept as %+v, %v", kept, err)
		}
		*w.at = w.at.Add(time.Minute)
		if err := signIn(w.code()); err != nil {
			t.Errorf("a code of one set up with a key: %v", err)
		}
	})
}
