package store_test

import (
	"strings"
	"testing"
	"time"

	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// A proposal knows nothing of what was done while it was worked out, nor, by a clock that
// is behind, of what people did after.
func TestAcceptMovedMeanwhile(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ids := mustVehicles(t, db, entry("Bus 1"), entry("Bus 2"), entry("Bus 3"), entry("Bus 4"))
		quay := depotOf(t, db, "Quay")
		now := (monday - 3).Time()
		db.Now = func() time.Time { now = now.Add(time.Second); return now }
		accept := func(p store.Proposal) []store.Outcome {
			t.Helper()
			var open []int64
			for _, v := range p.Visits {
				open = append(open, v.ID)
			}
			got, err := db.AcceptVisits(t.Context(), all, "M. M.", open)
			if err != nil {
				t.Fatal(err)
			}
			return got
		}
		var booked []store.Visit
		for i, id := range ids {
			booked = append(booked, visitOf(id, quay.ID, monday+fleet.Date(i), 480))
		}
		var bookings []fleet.Booking
		for _, o := range accept(mustPropose(t, db, []fleet.Depot{quay}, booked...)) {
			bookings = append(bookings, o.Booking)
		}
		at := func(i int, advice store.Advice, starts fleet.Clock) store.Visit {
			v := visitOf(ids[i], quay.ID, monday+fleet.Date(i), starts)
			v.Advice, v.BookingID = advice, bookings[i].ID
			return v
		}
		byHand := func(i int) {
			t.Helper()
			if _, err := db.MoveBooking(t.Context(), all, "N. N.", bookings[i].ID, fleet.Slot{DepotID: quay.ID, Day: monday + 7 + fleet.Date(i)}, ""); err != nil {
				t.Fatal(err)
			}
		}
		more := mustPropose(t, db, []fleet.Depot{quay}, at(1, store.AdviseExtend, 600))
		read := db.Now()
		byHand(0)
		accept(more)
		p := store.Proposal{FleetID: quay.FleetID, At: read, AsOf: monday - 1, Until: monday + 59,
			Visits: []store.Visit{at(0, store.AdviseExtend, 480), at(1, store.AdviseMove, 720), at(2, store.AdviseMove, 720), at(3, store.AdviseWithdraw, 480)}}
		if err := db.SaveProposal(t.Context(), all, &p, []int64{quay.ID}); err != nil {
			t.Fatal(err)
		}
		now = read.Add(-time.Minute)
		byHand(2)
		byHand(3)
		for _, o := range accept(p) {
			if o.Fault == nil || !strings.Contains(o.Fault.Error(), "since this was proposed: ") {
				t.Errorf("%s of %s: got %v, want that it was moved", o.Visit.Advice, o.Visit.Vehicle, o.Fault)
			}
		}
	})
}
