package store_test

import (
	"fmt"
	"slices"
	"testing"

	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// What many pages ask for is kept while nothing is written, and right after a
// write of any process; who got it may change what he got.
func TestListsRightAfterWrite(t *testing.T) {
	for _, dialect := range []string{store.SQLite, store.Postgres} {
		t.Run(dialect, func(t *testing.T) {
			url := storetest.URL(t, dialect)
			db, other := storetest.MustOpen(t, url), storetest.MustOpen(t, url)
			ids := mustVehicles(t, db, entry("Bus 1"), entry("Bus 2", of("South", "Hill")))
			look := func(x *store.DB) (got []string) {
				t.Helper()
				err := x.OneState(t.Context(), "look", "", func(state *store.DB) error {
					fleets, err := state.Fleets(t.Context(), all)
					if err != nil {
						return err
					}
					for i := range fleets {
						got = append(got, "fleet "+fleets[i].Name)
						fleets[i].Name = "changed"
					}
					depots, _, err := state.DepotsToChoose(t.Context(), all, 0, 0, 50)
					if err != nil {
						return err
					}
					for i := range depots {
						got = append(got, "depot "+depots[i].Name)
						depots[i].Name = "changed"
					}
					booked, err := state.BookedAxles(t.Context(), all, ids)
					if err != nil {
						return err
					}
					for k, b := range booked {
						got = append(got, fmt.Sprintf("booked %d %d %s", k.VehicleID, k.Axle, b.Day))
						delete(booked, k)
					}
					vs, err := state.Visits(t.Context(), all, store.VisitQuery{Vehicles: ids, State: store.VisitOpen})
					for i := range vs {
						got = append(got, fmt.Sprintf("proposed %d %s", vs[i].VehicleID, vs[i].Day))
						vs[i].VehicleID = 0
					}
					return err
				})
				if err != nil {
					t.Fatal(err)
				}
				slices.Sort(got)
				return got
			}
			check := func(want ...string) {
				t.Helper()
				slices.Sort(want)
				for _, x := range []*store.DB{db, other} {
					for range 2 { // read, and remembered
						if got := look(x); !slices.Equal(got, want) {
							t.Errorf("got %q, want %q", got, want)
						}
					}
				}
			}
			want := []string{"fleet North", "fleet South", "depot Quay", "depot Hill"}
			check(want...)
			mustVehicles(t, other, entry("Bus 3", of("South", "Bay")))
			want = append(want, "depot Bay")
			check(want...)
			depots, err := db.Depots(t.Context(), all)
			if err != nil {
				t.Fatal(err)
			}
			quay := depots[slices.IndexFunc(depots, func(d fleet.Depot) bool { return d.Name == "Quay" })]
			mustPropose(t, other, []fleet.Depot{quay}, visitOf(ids[1], quay.ID, monday+1, 480))
			want = append(want, fmt.Sprintf("proposed %d %s", ids[1], monday+1))
			check(want...)
			mustBook(t, other, job(ids[0], quay.ID, monday))
			for _, axle := range fleet.Axles(job(ids[0], quay.ID, monday).Work) {
				want = append(want, fmt.Sprintf("booked %d %d %s", ids[0], axle, monday))
			}
			check(want...)
		})
	}
}
