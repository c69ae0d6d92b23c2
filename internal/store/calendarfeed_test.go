package store_test

import (
	"errors"
	"testing"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

func TestCalendarFeed(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ids := mustVehicles(t, db, entry("Bus 1"), entry("Bus 2", of("South", "Mill")))
		quay, mill := depotOf(t, db, "Quay"), depotOf(t, db, "Mill")
		north, south := auth.ScopeOf([]int64{quay.FleetID}, nil), auth.ScopeOf(nil, []int64{mill.ID})
		add := func(sc auth.Scope, f store.CalendarFeed, secret string) (store.CalendarFeed, error) {
			err := db.AddCalendarFeed(t.Context(), sc, &f, secret)
			return f, err
		}
		depot, err := add(all, store.CalendarFeed{DepotID: quay.ID, MadeBy: "N. N."}, "sesame")
		if err != nil {
			t.Fatal(err)
		}
		if _, err := add(all, store.CalendarFeed{VehicleID: ids[1], MadeBy: "N. N."}, "poppy"); err != nil {
			t.Fatal(err)
		}
		for _, c := range []struct {
			name string
			sc   auth.Scope
			feed store.CalendarFeed
			want error
		}{
			{"of nothing", all, store.CalendarFeed{}, fleet.ErrInvalid},
			{"of both", all, store.CalendarFeed{DepotID: quay.ID, VehicleID: ids[0]}, fleet.ErrInvalid},
			{"of no depot", all, store.CalendarFeed{DepotID: 999}, fleet.ErrNotFound},
			{"of another's depot", south, store.CalendarFeed{DepotID: quay.ID}, fleet.ErrNotFound},
			{"of another's vehicle", south, store.CalendarFeed{VehicleID: ids[0]}, fleet.ErrNotFound},
		} {
			if _, err := add(c.sc, c.feed, "x"); !errors.Is(err, c.want) {
				t.Errorf("%s: got %v, want %v", c.name, err, c.want)
			}
		}
		for _, c := range []struct {
			sc   auth.Scope
			want int
		}{{all, 2}, {north, 1}, {south, 1}, {auth.Scope{}, 0}} {
			if fs, err := db.CalendarFeeds(t.Context(), c.sc); err != nil || len(fs) != c.want {
				t.Errorf("%+v sees %d, %v; want %d", c.sc, len(fs), err, c.want)
			}
		}

		for range 2 {
			got, err := db.CalendarFeedOf(t.Context(), "sesame", day(3, 1))
			if err != nil || got.ID != depot.ID || got.Depot != "Quay" || got.Fleet != "North" || got.VehicleID != 0 {
				t.Errorf("got %+v, %v", got, err)
			}
		}
		if got, err := db.CalendarFeedOf(t.Context(), "poppy", day(3, 1)); err != nil || got.Vehicle != "Bus 2" || got.Depot != "Mill" || got.ReadOn != nil {
			t.Errorf("got %+v, %v", got, err)
		}
		fs, err := db.CalendarFeeds(t.Context(), north)
		if err != nil || fs[0].ReadOn == nil || *fs[0].ReadOn != day(3, 1) {
			t.Errorf("got %+v, %v; want when it was read", fs, err)
		}
		if n := count(t, db, "select count(*) from calendar_feeds where sha256 like '%sesame%'"); n != 0 {
			t.Error("the secret itself is kept")
		}

		if err := db.RevokeCalendarFeed(t.Context(), south, depot.ID, "M. M."); !errors.Is(err, fleet.ErrNotFound) {
			t.Errorf("another's withdrawn: got %v, want not found", err)
		}
		for range 2 {
			if err := db.RevokeCalendarFeed(t.Context(), north, depot.ID, "M. M."); err != nil {
				t.Error(err)
			}
		}
		if _, err := db.CalendarFeedOf(t.Context(), "sesame", day(3, 1)); !errors.Is(err, fleet.ErrNotFound) {
			t.Errorf("withdrawn: got %v, want not found", err)
		}
	})
}
