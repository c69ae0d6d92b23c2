package store_test

import (
	"testing"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

func TestPickRules(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ids := mustVehicles(t, db, entry("Bus 1"), entry("Bus 2", of("South", "Bay")))
		north, south := mustHistory(t, db, ids[0]).Vehicle, mustHistory(t, db, ids[1]).Vehicle
		pick := func(sc auth.Scope, fleetID int64, set, by string) error {
			return db.PickRules(t.Context(), sc, store.RuleChoice{FleetID: fleetID, RuleSet: set, Reason: fleet.Reason{By: by}})
		}
		if h := mustHistory(t, db, ids[0]); h.RuleSet != "" {
			t.Errorf("before a choice: got %q", h.RuleSet)
		}
		for _, set := range []string{"eu", "us-393"} {
			if err := pick(all, north.FleetID, set, "N. N."); err != nil {
				t.Fatal(err)
			}
		}
		if a, b := mustHistory(t, db, ids[0]).RuleSet, mustHistory(t, db, ids[1]).RuleSet; a != "us-393" || b != "" {
			t.Errorf("got %q and, of the other fleet, %q", a, b)
		}
		fs, err := db.Fleets(t.Context(), all)
		if err != nil || fs[0].RuleSet != "us-393" {
			t.Errorf("fleets: got %+v, %v", fs, err)
		}
		cs, err := db.RuleChoices(t.Context(), all, north.FleetID)
		if err != nil || len(cs) != 2 || cs[0].RuleSet != "us-393" || cs[1].By != "N. N." {
			t.Errorf("choices: got %+v, %v", cs, err)
		}
		wantKind(t, pick(all, north.FleetID, "eu", ""), fleet.ErrInvalid, "say who")
		wantKind(t, pick(auth.ScopeOf([]int64{south.FleetID}, nil), north.FleetID, "eu", "N. N."), fleet.ErrNotFound, "fleet")
		wantKind(t, pick(auth.ScopeOf(nil, []int64{north.DepotID}), north.FleetID, "eu", "N. N."), fleet.ErrNotFound, "fleet")
		if cs, err = db.RuleChoices(t.Context(), auth.ScopeOf(nil, []int64{north.DepotID}), north.FleetID); err != nil || len(cs) != 2 {
			t.Errorf("seen from a depot: got %+v, %v, want both", cs, err)
		}
		for _, sc := range []auth.Scope{{}, auth.ScopeOf([]int64{south.FleetID}, []int64{south.DepotID})} {
			_, err = db.RuleChoices(t.Context(), sc, north.FleetID)
			wantKind(t, err, fleet.ErrNotFound, "fleet")
		}
	})
}

func TestThresholds(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ids := mustVehicles(t, db, entry("Bus 1"), entry("Bus 2", of("South", "Bay")), entry("Bus 3", of("North", "Hill")))
		north, south := mustHistory(t, db, ids[0]).Vehicle, mustHistory(t, db, ids[1]).Vehicle
		set := func(sc auth.Scope, id string, x *float64, why string) error {
			return db.SetThreshold(t.Context(), sc, store.OwnThreshold{FleetID: north.FleetID, ValueID: id, X: x, Reason: fleet.Reason{Why: why, By: "N. N."}})
		}
		for _, x := range []*float64{ptr(1.5), ptr(1.2)} {
			if err := set(all, "WP-16", x, "our own experience"); err != nil {
				t.Fatal(err)
			}
		}
		if err := set(all, "WP-15", ptr(3.0), "as well"); err != nil {
			t.Fatal(err)
		}
		if err := set(all, "WP-15", nil, "back to the published value"); err != nil {
			t.Fatal(err)
		}
		for _, sc := range []auth.Scope{all, auth.ScopeOf([]int64{north.FleetID}, nil), auth.ScopeOf(nil, []int64{north.DepotID})} {
			os, err := db.OwnThresholds(t.Context(), sc, north.FleetID)
			if err != nil || len(os) != 2 || os[0].ValueID != "WP-15" || os[0].X != nil || os[1].X == nil || *os[1].X != 1.2 {
				t.Errorf("got %+v, %v", os, err)
			}
		}
		for _, c := range []struct {
			sc    auth.Scope
			fleet int64
		}{{all, south.FleetID}, {auth.ScopeOf([]int64{south.FleetID}, nil), north.FleetID}, {auth.Scope{}, north.FleetID}} {
			os, err := db.OwnThresholds(t.Context(), c.sc, c.fleet)
			if err != nil || len(os) != 0 {
				t.Errorf("of another fleet or scope: got %+v, %v", os, err)
			}
		}
		wantKind(t, set(all, "WP-16", ptr(2.0), ""), fleet.ErrInvalid, "say why")
		wantKind(t, set(auth.ScopeOf([]int64{south.FleetID}, nil), "WP-16", ptr(2.0), "x"), fleet.ErrNotFound, "fleet")
	})
}

func TestAxleLimits(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ids := mustVehicles(t, db, entry("Bus 1"), entry("Bus 2", of("South", "Bay")))
		mustTakeIn(t, db, func(w *store.Writer) error {
			_, err := w.Axles([]fleet.Axle{{VehicleID: ids[0], Number: 1, Brake: fleet.DiscBrake}, {VehicleID: ids[0], Number: 2, Brake: fleet.DrumBrake}})
			return err
		})
		set := func(sc auth.Scope, axle int, p fleet.Part, mm float64) error {
			return db.SetAxleLimit(t.Context(), sc, fleet.AxleLimit{VehicleID: ids[0], Axle: axle, Part: p, MM: mm, Reason: fleet.Reason{By: "N. N."}})
		}
		for _, l := range []struct {
			axle int
			part fleet.Part
			mm   float64
		}{{1, fleet.Pad, 4}, {1, fleet.Pad, 5}, {2, fleet.Lining, 7}, {1, fleet.Rotor, 38}, {1, fleet.Rotor, 0}} {
			if err := set(all, l.axle, l.part, l.mm); err != nil {
				t.Fatal(err)
			}
		}
		got := mustHistory(t, db, ids[0]).Limits
		if len(got) != 2 || got[0].Part != fleet.Pad || got[0].MM != 5 || got[1].Part != fleet.Lining || got[1].MM != 7 || got[1].By != "N. N." {
			t.Errorf("in force: got %+v", got)
		}
		if h := mustHistory(t, db, ids[1]); len(h.Limits) != 0 {
			t.Errorf("of another vehicle: got %+v", h.Limits)
		}
		ls, err := db.AxleLimits(t.Context(), all, ids[0])
		if err != nil || len(ls) != 5 || ls[0].MM != 0 || ls[4].MM != 4 {
			t.Errorf("ever set: got %+v, %v", ls, err)
		}
		other := auth.ScopeOf([]int64{mustHistory(t, db, ids[1]).Vehicle.FleetID}, nil)
		_, err = db.AxleLimits(t.Context(), other, ids[0])
		wantKind(t, err, fleet.ErrNotFound, "vehicle")
		wantKind(t, set(other, 1, fleet.Pad, 4), fleet.ErrNotFound, "vehicle")
		wantKind(t, set(all, 1, fleet.Drum, 4), fleet.ErrInvalid, "has no drum")
		wantKind(t, set(all, 3, fleet.Pad, 4), fleet.ErrInvalid, "axle 3")
	})
}

// TestVehicleFacts: what rules depend on is kept, and a blank keeps what is
// known.
func TestVehicleFacts(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		facts := func(e *store.VehicleEntry) {
			e.FirstUsed, e.Actuation, e.GrossKg = fleet.NewDate(2019, 5, 4), fleet.Air, 19_000
		}
		v := mustVehicles(t, db, entry("Bus 1", facts))[0]
		mustVehicles(t, db, entry("Bus 1"))
		got := mustHistory(t, db, v).Vehicle
		if got.FirstUsed != fleet.NewDate(2019, 5, 4) || got.Actuation != fleet.Air || got.GrossKg != 19_000 {
			t.Errorf("got %+v", got)
		}
		w := mustVehicles(t, db, entry("Bus 2"))[0]
		if got := mustHistory(t, db, w).Vehicle; got.FirstUsed != 0 || got.Actuation != "" || got.GrossKg != 0 {
			t.Errorf("nothing is known, but got %+v", got)
		}
	})
}
