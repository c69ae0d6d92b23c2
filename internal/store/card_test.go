package store_test

import (
	"errors"
	"testing"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// The card of a booking is opened, and closed with it, by the depot that it is
// booked at and by the one the vehicle is at home; a card of no booking by the
// latter alone.
func TestCardOfABookingElsewhere(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ids := mustVehicles(t, db, entry("Bus 1", of("North", "Hill")), entry("Bus 2"), entry("Bus 3", of("South", "Bay")), entry("Bus 4", of("North", "Pier")))
		up := fleet.Upload{Kind: "axles"}
		err := db.TakeIn(t.Context(), all, &up, func(w *store.Writer) error {
			_, err := w.Axles([]fleet.Axle{{VehicleID: ids[0], Number: 1, Brake: fleet.DiscBrake}})
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
		quay, hill := depotOf(t, db, "Quay"), depotOf(t, db, "Hill")
		depot := func(d fleet.Depot) auth.Scope { return auth.ScopeOf(nil, []int64{d.ID}) }
		for _, c := range []struct {
			name        string
			scope       auth.Scope
			booked, not bool
		}{
			{"where it is booked", depot(quay), true, false},
			{"where it is at home", depot(hill), true, true},
			{"the fleet", auth.ScopeOf([]int64{quay.FleetID}, nil), true, true},
			{"a third depot", depot(depotOf(t, db, "Pier")), false, false},
			{"another fleet", auth.ScopeOf([]int64{depotOf(t, db, "Bay").FleetID}, nil), false, false},
			{"nothing", auth.Scope{}, false, false},
		} {
			t.Run(c.name, func(t *testing.T) {
				b := mustBook(t, db, job(ids[0], quay.ID, monday))
				card := fleet.Card{VehicleID: ids[0], BookingID: b.ID, Day: monday, Work: b.Work}
				opened, err := db.OpenCard(t.Context(), c.scope, "N. N.", card)
				switch {
				case !c.booked && !errors.Is(err, fleet.ErrNotFound):
					t.Fatalf("open it: got %v, want not found", err)
				case !c.booked:
					_, err = db.EndBooking(t.Context(), all, "N. N.", b.ID, fleet.Withdrawn, "")
				case err != nil || opened.DepotID != quay.ID || opened.FleetID != quay.FleetID:
					t.Fatalf("open it: got %+v, %v", opened, err)
				default:
					_, err = db.CloseCard(t.Context(), c.scope, "N. N.", opened.ID, fleet.CardNotPassed, "")
				}
				if err != nil {
					t.Fatal(err)
				}
				if b, err = db.Booking(t.Context(), all, b.ID); err != nil || c.booked != (b.State == fleet.Done) {
					t.Errorf("the booking after: got %s, %v", b.State, err)
				}
				card.BookingID = 0
				opened, err = db.OpenCard(t.Context(), c.scope, "N. N.", card)
				if (err == nil) != c.not || err != nil && !errors.Is(err, fleet.ErrNotFound) {
					t.Fatalf("a card of no booking: got %v, want one: %v", err, c.not)
				}
				if err == nil {
					_, err = db.CloseCard(t.Context(), c.scope, "N. N.", opened.ID, fleet.CardDropped, "")
					if err != nil {
						t.Error(err)
					}
				}
			})
		}
	})
}
