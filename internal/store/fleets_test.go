package store_test

import (
	"slices"
	"testing"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

func TestDepotsToChoose(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		mustVehicles(t, db, entry("1", of("North", "Quay")), entry("2", of("North", "Hill")), entry("3", of("South", "Bay")))
		depots, err := db.Depots(t.Context(), all)
		if err != nil {
			t.Fatal(err)
		}
		named := func(name string) fleet.Depot {
			return depots[slices.IndexFunc(depots, func(d fleet.Depot) bool { return d.Name == name })]
		}
		north, hill, bay := named("Quay").FleetID, named("Hill").ID, named("Bay").ID
		for _, c := range []struct {
			name          string
			sc            auth.Scope
			fleet, chosen int64
			most          int
			want          []string
			more          bool
		}{
			{"all", all, 0, 0, 3, []string{"Bay", "Hill", "Quay"}, false},
			{"too many", all, 0, 0, 2, nil, true},
			{"too many, one chosen", all, 0, hill, 2, []string{"Hill"}, true},
			{"of a fleet, however many", all, north, 0, 1, []string{"Hill", "Quay"}, false},
			{"of one's own", auth.ScopeOf([]int64{north}, nil), 0, 0, 2, []string{"Hill", "Quay"}, false},
			{"not one's own", auth.ScopeOf([]int64{north}, nil), 0, bay, 1, nil, true},
			{"of nobody's fleet", auth.ScopeOf(nil, []int64{bay}), north, 0, 9, nil, false},
		} {
			ds, more, err := db.DepotsToChoose(t.Context(), c.sc, c.fleet, c.chosen, c.most)
			var got []string
			for _, d := range ds {
				got = append(got, d.Name)
			}
			if err != nil || !slices.Equal(got, c.want) || more != c.more {
				t.Errorf("%s: got %q, %t, %v; want %q, %t", c.name, got, more, err, c.want, c.more)
			}
		}
	})
}
