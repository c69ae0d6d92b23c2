package store_test

import (
	"testing"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// Steps and makers' values are those of every depot of a fleet: whoever sees one
// depot reads them, and whoever sees the whole fleet changes them.
func TestStepsAreTheWholeFleets(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ids := mustVehicles(t, db, entry("Bus 1"), entry("Bus 2", of("South", "Bay")))
		north, south := mustHistory(t, db, ids[0]).Vehicle, mustHistory(t, db, ids[1]).Vehicle
		low := 570.0 // Nm, invented
		for _, c := range []struct {
			name       string
			scope      auth.Scope
			reads, may bool
		}{
			{"one depot", auth.ScopeOf(nil, []int64{north.DepotID}), true, false},
			{"another fleet", auth.ScopeOf([]int64{south.FleetID}, nil), false, false},
			{"nothing", auth.Scope{}, false, false},
			{"the fleet", auth.ScopeOf([]int64{north.FleetID}, nil), true, true},
		} {
			t.Run(c.name, func(t *testing.T) {
				wantIf := func(ok bool, what string, err error) {
					t.Helper()
					if ok && err != nil {
						t.Errorf("%s: %v", what, err)
					}
					if !ok {
						wantKind(t, err, fleet.ErrNotFound, "fleet")
					}
				}
				_, err := db.StepPlans(t.Context(), c.scope, north.FleetID)
				wantIf(c.reads, "read steps", err)
				_, err = db.MakersValues(t.Context(), c.scope, north.FleetID)
				wantIf(c.reads, "read makers' values", err)
				_, err = db.SaveStepPlan(t.Context(), c.scope, "N. N.", fleet.StepPlan{
					FleetID: north.FleetID, Section: fleet.SectionFinish, Steps: fleet.DefaultSteps(fleet.SectionFinish),
				})
				wantIf(c.may, "change steps", err)
				err = db.SaveMakersValue(t.Context(), c.scope, "N. N.", fleet.MakersValue{FleetID: north.FleetID, Measure: "wheel nuts", Low: &low})
				wantIf(c.may, "change makers' values", err)
			})
		}
		plans, err := db.StepPlans(t.Context(), all, north.FleetID)
		if err != nil || plans[fleet.SectionFinish].Version != 1 {
			t.Errorf("kept version %d, %v, want 1", plans[fleet.SectionFinish].Version, err)
		}
	})
}
