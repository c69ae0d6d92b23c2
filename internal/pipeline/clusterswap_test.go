package pipeline_test

import (
	"testing"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// A changed odometer is kept once, with its reading, and the forecast goes on
// from the new one; nobody declares another fleet's. The values are invented.
func TestDeclareSwap(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ctx, s := t.Context(), newService(db)
		v := bus(t, s).Vehicle
		o := fleet.Odometer{VehicleID: v.ID, Date: s.Today(), Km: 15, PreviousKm: new(156_400.0)}
		if _, err := s.DeclareSwap(ctx, auth.ScopeOf([]int64{999}, nil), "N. N.", o, s.Today()); err == nil {
			t.Error("another's: it was kept")
		}
		for i := range 2 {
			added, err := s.DeclareSwap(ctx, all, "N. N.", o, s.Today())
			if err != nil || added != (i == 0) {
				t.Fatalf("time %d: added %v, %v", i+1, added, err)
			}
		}
		h, err := db.History(ctx, all, v.ID)
		if err != nil || len(h.Swaps) != 1 || h.Swaps[0].OldKm != 156_400 || h.Swaps[0].NewKm != 15 {
			t.Fatalf("got %+v, %v", h.Swaps, err)
		}
		fs, err := db.Forecasts(ctx, all, v.ID)
		if err != nil || len(fs) == 0 || fs[0].OdometerKm != 15 {
			t.Errorf("forecast at %g km, %v; want it to go on from the new one", fs[0].OdometerKm, err)
		}
		for name, bad := range map[string]fleet.Odometer{
			"without the old value": {VehicleID: v.ID, Date: s.Today(), Km: 15},
			"nothing changed":       {VehicleID: v.ID, Date: s.Today(), Km: 15, PreviousKm: new(15.0)},
			"a day to come":         {VehicleID: v.ID, Date: s.Today() + 1, Km: 15, PreviousKm: new(156_400.0)},
		} {
			_, err := s.DeclareSwap(ctx, all, "N. N.", bad, s.Today())
			if err == nil {
				t.Errorf("%s: it was kept", name)
			}
		}
	})
}
