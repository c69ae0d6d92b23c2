package store_test

import (
	"strings"
	"testing"
	"time"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// The clock jumps back a day. Who is signed in stays so, links, tokens and
// request keys go on, wrong passwords of the day that was do not count twice as
// long, uploads keep their order, and a lock left behind is not held for a day.
func TestFaultClockBack(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ctx := t.Context()
		now := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
		db.Now = func() time.Time { return now }
		a := mustAccount(t, db, "ann", on(auth.Admin, 0, 0))
		session, link, token := auth.NewSecret(), auth.NewSecret(), auth.NewSecret()
		if err := db.StartSession(ctx, a.ID, session, "test"); err != nil {
			t.Fatal(err)
		}
		who, err := db.SessionOf(ctx, session)
		if err != nil {
			t.Fatal(err)
		}
		if err := db.AddLink(ctx, all, "test", a.ID, link); err != nil {
			t.Fatal(err)
		}
		if err := db.AddToken(ctx, who, &store.Token{Name: "feed", Rights: auth.Rights[:1], Until: now.AddDate(0, 1, 0)}, token); err != nil {
			t.Fatal(err)
		}
		for range 5 {
			if err := db.NoteWrongPassword(ctx, a.ID, "ann"); err != nil {
				t.Fatal(err)
			}
		}
		keyed := func(key string) int64 {
			t.Helper()
			up := fleet.Upload{Kind: "test", By: "feed", Key: key}
			if err := db.TakeIn(ctx, all, &up, func(*store.Writer) error { return nil }); err != nil {
				t.Fatal(err)
			}
			return up.ID
		}
		first := keyed("before")
		if _, release, err := db.LockJob(ctx, "left"); err != nil || release == nil {
			t.Fatal(err)
		} else if db.Dialect() == store.Postgres {
			release() // there it ends with its connection
		} else {
			t.Cleanup(release)
		}

		now = now.Add(-24 * time.Hour)
		if _, err := db.SessionOf(ctx, session); err != nil {
			t.Errorf("signed in: %v", err)
		}
		if _, _, err := db.LinkOf(ctx, link); err != nil {
			t.Errorf("a link: %v", err)
		}
		if _, err := db.TokenOf(ctx, token); err != nil {
			t.Errorf("a token: %v", err)
		}
		if n, _, err := db.Failures(ctx, "ann", now.Add(-15*time.Minute)); err != nil || n != 0 {
			t.Errorf("wrong passwords: %d of the day to come count, %v", n, err)
		}
		if up, err := db.UploadByKey(ctx, all, "feed", "before"); err != nil || up.ID != first {
			t.Errorf("a request key: got upload %d, %v; want %d", up.ID, err, first)
		}
		second := keyed("after")
		ups, err := db.Uploads(ctx, all, 10, 0)
		if err != nil || len(ups) != 2 || ups[0].ID != second || ups[1].ID != first {
			t.Errorf("uploads: got %+v, %v; want what came last first", ups, err)
		}
		_, release, err := db.LockJob(ctx, "left")
		if err != nil || release == nil {
			t.Errorf("a lock that was left behind is still held: %v", err)
		} else {
			release()
		}
		if broken, _, err := db.Check(ctx); err != nil || len(broken) > 0 {
			t.Errorf("afterwards: %+v, %v", broken, err)
		}
	})
}

// A date is of the year 2100, as by a slip of the finger. A booking, a closure,
// an absence and a planned visit are refused and say why; what is likely is not.
func TestFaultYear2100(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ctx := t.Context()
		db.Now = func() time.Time { return time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC) }
		bus := mustVehicles(t, db, entry("Bus 1"))[0]
		ds, err := db.Depots(ctx, all)
		if err != nil {
			t.Fatal(err)
		}
		depot := ds[0].ID
		for _, c := range []struct {
			name string
			do   func(d fleet.Date) error
		}{
			{"booking", func(d fleet.Date) error {
				_, err := db.Book(ctx, all, "test", fleet.Booking{VehicleID: bus, Hours: 1, Slot: fleet.Slot{DepotID: depot, Day: d, Minutes: 60},
					Work: []fleet.WorkItem{{Axle: 1, Item: fleet.ItemPads, Quantity: 1}}})
				return err
			}},
			{"closure", func(d fleet.Date) error {
				return db.AddClosures(ctx, all, []fleet.Closure{{DepotID: depot, First: d, Last: d, Reason: "holiday"}})
			}},
			{"absence", func(d fleet.Date) error {
				return db.AddAbsence(ctx, all, fleet.Absence{VehicleID: bus, First: &d, Last: &d, Reason: "hired out"})
			}},
			{"planned visit", func(d fleet.Date) error {
				return db.AddPlannedVisit(ctx, all, fleet.PlannedVisit{VehicleID: bus, DepotID: depot, Day: d, What: "service"})
			}},
		} {
			err := c.do(fleet.NewDate(2100, 3, 1))
			if !isInvalid(err) || !strings.Contains(err.Error(), "1 Mar 2100") || !strings.Contains(err.Error(), "correct the year") {
				t.Errorf("%s: got %v", c.name, err)
			}
			if err := c.do(fleet.NewDate(2026, 9, 1)); err != nil { // a Tuesday
				t.Errorf("%s within the year: %v", c.name, err)
			}
		}
	})
}
