package store_test

import (
	"testing"

	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// A depot's newer run is found behind however many of another's.
func TestTakeBackBehindOtherRuns(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ids := mustVehicles(t, db, entry("Bus 1"), entry("Bus 2", of("North", "Mill")))
		quay, mill := depotOf(t, db, "Quay"), depotOf(t, db, "Mill")
		mustPropose(t, db, []fleet.Depot{quay}) // older than what is taken back
		aside := mustPropose(t, db, []fleet.Depot{quay}, visitOf(ids[0], quay.ID, monday, 480)).Visits[0].ID
		open := mustPropose(t, db, []fleet.Depot{mill}, visitOf(ids[1], mill.ID, monday, 480)).Visits[0].ID
		if err := db.DeclineVisits(t.Context(), all, "M. M.", "", []int64{aside, open}); err != nil {
			t.Fatal(err)
		}
		mustPropose(t, db, []fleet.Depot{quay})
		south := mustVehicles(t, db, entry("Bus 3", of("North", "Hill")))
		hill := depotOf(t, db, "Hill")
		for range 101 {
			mustPropose(t, db, []fleet.Depot{hill}, visitOf(south[0], hill.ID, monday, 480))
		}
		if err := db.TakeBackVisits(t.Context(), all, "M. M.", []int64{aside, open}); err != nil {
			t.Fatal(err)
		}
		for id, want := range map[int64]store.VisitState{aside: store.VisitSuperseded, open: store.VisitOpen} {
			vs, err := db.Visits(t.Context(), all, store.VisitQuery{State: want})
			if err != nil {
				t.Fatal(err)
			}
			found := false
			for _, v := range vs {
				found = found || v.ID == id
			}
			if !found {
				t.Errorf("visit %d is not %s", id, want)
			}
		}
	})
}
