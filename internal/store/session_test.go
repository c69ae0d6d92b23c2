package store_test

import (
	"errors"
	"testing"
	"time"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// Sessions that are seen are noted together, each as it was seen, and one at once that
// was away for long.
func TestSessionsAreNotedTogether(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ctx := t.Context()
		start := time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)
		now := start
		db.Now = func() time.Time { return now }
		ann, ben := mustAccount(t, db, "ann", on(auth.Admin, 0, 0)), mustAccount(t, db, "ben", on(auth.Admin, 0, 0))
		for _, a := range []store.Account{ann, ben} {
			if err := db.StartSession(ctx, a.ID, a.Name, "a browser"); err != nil {
				t.Fatal(err)
			}
		}
		for _, step := range []struct {
			minute   int
			who      store.Account
			ann, ben int // minutes at which they are noted to be seen
		}{
			{4, ann, 0, 0}, // soon enough after the start
			{6, ann, 6, 0},
			{7, ben, 6, 0},   // another was just noted
			{12, ann, 12, 7}, // which it is time for again
			{75, ann, 75, 7},
			{76, ben, 75, 76}, // away for more than an hour
		} {
			now = start.Add(time.Duration(step.minute) * time.Minute)
			if _, err := db.SessionOf(ctx, step.who.Name); err != nil {
				t.Fatal(err)
			}
			for a, want := range map[*store.Account]int{&ann: step.ann, &ben: step.ben} {
				ss, err := db.Sessions(ctx, auth.Who{Account: a.ID})
				if err != nil || len(ss) != 1 {
					t.Fatalf("%s: got %+v, %v", a.Name, ss, err)
				}
				if got := int(ss[0].SeenAt.Sub(start).Minutes()); got != want {
					t.Errorf("minute %d: %s is noted as seen in minute %d, want %d", step.minute, a.Name, got, want)
				}
			}
		}
	})
}

// A session ends twelve hours after it was last seen, though that was noted together
// with others later, or not yet.
func TestSessionsEndByTheLastLook(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ctx := t.Context()
		start := time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)
		now := start
		db.Now = func() time.Time { return now }
		ann, ben, cal := mustAccount(t, db, "ann", on(auth.Admin, 0, 0)), mustAccount(t, db, "ben", on(auth.Admin, 0, 0)), mustAccount(t, db, "cal", on(auth.Admin, 0, 0))
		enter := func(a store.Account) {
			if err := db.StartSession(ctx, a.ID, a.Name, "a browser"); err != nil {
				t.Fatal(err)
			}
		}
		enter(ann)
		enter(ben)
		for _, step := range []struct {
			minute int
			who    store.Account
			in     bool
		}{
			{58, ann, true},          // written down
			{59, ben, true},          // not yet: another just was
			{12*60 + 57, cal, true},  // takes away sessions that have ended
			{12*60 + 58, ben, true},  // of minute 59
			{12*60 + 59, ann, false}, // of minute 58
			{24*60 + 58, ben, false}, // 12 hours after
			{2 * 24 * 60, cal, false},
		} {
			now = start.Add(time.Duration(step.minute) * time.Minute)
			if step.who.ID == cal.ID && step.in {
				enter(cal)
			}
			_, err := db.SessionOf(ctx, step.who.Name)
			if err != nil && !errors.Is(err, fleet.ErrStranger) {
				t.Fatal(err)
			}
			if got := err == nil; got != step.in {
				t.Errorf("minute %d: %s is signed in: %v, want %v", step.minute, step.who.Name, got, step.in)
			}
			if ss, err := db.Sessions(ctx, auth.Who{Account: step.who.ID}); err != nil || (len(ss) == 1) != step.in {
				t.Errorf("minute %d: sessions of %s: got %+v, %v", step.minute, step.who.Name, ss, err)
			}
		}
	})
}

// TestSessionsOutliveALostNote: who was let in stays in, though it could not be written
// down, and so do those whose note was to go with it.
func TestSessionsOutliveALostNote(t *testing.T) {
	url := storetest.URL(t, store.SQLite)
	db, other := storetest.MustOpen(t, url), storetest.MustOpen(t, url)
	start := time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)
	now := start
	db.Now = func() time.Time { return now }
	for _, name := range []string{"ann", "ben", "cal"} {
		if err := db.StartSession(t.Context(), mustAccount(t, db, name, on(auth.Admin, 0, 0)).ID, name, "a browser"); err != nil {
			t.Fatal(err)
		}
	}
	look := func(name string, minute int) {
		t.Helper()
		now = start.Add(time.Duration(minute) * time.Minute)
		if _, err := db.SessionOf(t.Context(), name); err != nil {
			t.Errorf("minute %d: %s: %v", minute, name, err)
		}
	}
	look("cal", 57) // written down
	look("ann", 59) // noted
	look("ben", 60)
	busy, err := other.WritePool().Beginx() // as a large file does: nobody else writes
	if err != nil {
		t.Fatal(err)
	}
	look("ann", 12*60+30) // half an hour after the end by what is written
	look("ann", 12*60+31)
	if err := busy.Rollback(); err != nil {
		t.Fatal(err)
	}
	look("ben", 12*60+40)
	look("ann", 24*60+20)
}
