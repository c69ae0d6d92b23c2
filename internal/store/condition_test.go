package store_test

import (
	"errors"
	"strings"
	"testing"
	"time"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

func TestConditions(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ids := mustVehicles(t, db, entry("Bus 1"), entry("Bus 2", of("South", "Quay")))
		bus := ids[0]
		seen := func(axle int, side fleet.Side, kind fleet.ConditionKind, note string) fleet.Condition {
			return fleet.Condition{
				VehicleID: bus, Axle: axle, Side: side, Kind: kind, Note: note,
				Date: day(time.May, 3), OdometerKm: ptr(120_000.), Technician: "N. N.",
			}
		}
		cracked := seen(1, fleet.Left, fleet.Cracked, "")
		noted := seen(0, "", fleet.Noted, strings.Repeat("a pin is stiff ", 100))
		for _, c := range []struct {
			name string
			cs   []fleet.Condition
			want store.Counts
		}{
			{"none", nil, store.Counts{}},
			{"new, one twice", []fleet.Condition{noted, cracked, cracked}, store.Counts{Added: 2, Repeated: 1}},
			{"again", []fleet.Condition{cracked, noted}, store.Counts{Repeated: 2}},
			{"another note", []fleet.Condition{seen(0, "", fleet.Noted, "a pin is free")}, store.Counts{Added: 1}},
		} {
			mustTakeIn(t, db, func(w *store.Writer) error {
				got, err := w.Conditions(c.cs)
				if got != c.want {
					t.Errorf("%s: got %+v, want %+v", c.name, got, c.want)
				}
				return err
			})
		}
		h, err := db.History(t.Context(), all, bus)
		if err != nil {
			t.Fatal(err)
		}
		got := h.Conditions
		if len(got) != 3 {
			t.Fatalf("got %d conditions, want 3: %+v", len(got), got)
		}
		last := got[2]
		if last.Kind != fleet.Cracked || last.Axle != 1 || last.Side != fleet.Left || last.Date != day(time.May, 3) ||
			last.Technician != "N. N." || last.OdometerKm == nil || *last.OdometerKm != 120_000 || last.UploadID == 0 {
			t.Errorf("got %+v, want %+v", last, cracked)
		}
		if got[0].Note != noted.Note {
			t.Errorf("note: got %q, want %q", got[0].Note, noted.Note)
		}
		if n := count(t, db, "select count(*) from inspections"); n != 1 {
			t.Errorf("got %d inspections, want 1", n)
		}
		vs, err := db.VehicleIndex(t.Context(), all)
		if err != nil {
			t.Fatal(err)
		}
		south := auth.ScopeOf([]int64{vs["Bus 2"][0].FleetID}, nil)
		err = db.TakeIn(t.Context(), south, &fleet.Upload{}, func(w *store.Writer) error {
			_, err := w.Conditions([]fleet.Condition{seen(2, "", fleet.Glazed, "")})
			return err
		})
		if !errors.Is(err, fleet.ErrNotFound) {
			t.Errorf("another scope writes: got %v, want ErrNotFound", err)
		}

		// A wrong tick is set aside, stays to be seen, is not taken in again, and may
		// count again.
		rec := fleet.Record{Kind: fleet.ConditionRecord, ID: last.ID}
		why := fleet.Reason{Why: "it was dirt", By: "N. N."}
		counts := func() int {
			t.Helper()
			h, err := db.History(t.Context(), all, bus)
			if err != nil {
				t.Fatal(err)
			}
			return len(h.Conditions)
		}
		if _, err := db.SetAside(t.Context(), south, rec, why); !errors.Is(err, fleet.ErrNotFound) {
			t.Errorf("another scope sets aside: got %v, want ErrNotFound", err)
		}
		if _, err := db.Record(t.Context(), south, rec); !errors.Is(err, fleet.ErrNotFound) {
			t.Errorf("another scope reads it: got %v, want ErrNotFound", err)
		}
		if c, err := db.SetAside(t.Context(), all, rec, why); err != nil || c.VehicleID != bus || counts() != 2 {
			t.Errorf("set aside: got %+v, %v, %d left", c, err, counts())
		}
		if _, err := db.SetAside(t.Context(), all, rec, why); !errors.Is(err, fleet.ErrConflict) {
			t.Errorf("set aside twice: got %v", err)
		}
		mustTakeIn(t, db, func(w *store.Writer) error {
			got, err := w.Conditions([]fleet.Condition{cracked})
			if want := (store.Counts{Repeated: 1}); got != want {
				t.Errorf("sent again: got %+v", got)
			}
			return err
		})
		cs, err := db.Corrections(t.Context(), all, bus)
		if err != nil || len(cs.Log) != 1 || len(cs.Conditions) != 1 || cs.Conditions[0].Aside == nil || cs.Conditions[0].Aside.Why != why.Why {
			t.Errorf("what was set aside: got %+v, %v", cs, err)
		}
		if v, err := db.Record(t.Context(), all, rec); err != nil || v.Condition == nil || v.Condition.Aside == nil || len(v.Log) != 1 {
			t.Errorf("its record: got %+v, %v", v, err)
		}
		if _, err := db.UndoSetAside(t.Context(), all, rec, fleet.Reason{Why: "no dirt", By: "N. N."}); err != nil || counts() != 3 {
			t.Errorf("undone: got %v, %d left", err, counts())
		}
		if _, err := db.Correct(t.Context(), all, rec, fleet.Change{Date: ptr(monday)}, why); !errors.Is(err, fleet.ErrInvalid) {
			t.Errorf("corrected: got %v, want ErrInvalid", err)
		}
	})
}

func TestConditionsRefused(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		bus := mustVehicles(t, db, entry("Bus 1"))[0]
		for _, c := range []struct {
			name string
			c    fleet.Condition
		}{
			{"no such kind", fleet.Condition{Kind: "rusty"}},
			{"no such axle", fleet.Condition{Kind: fleet.Cracked, Axle: 13}},
			{"no such side", fleet.Condition{Kind: fleet.Cracked, Axle: 1, Side: "near"}},
			{"side of no axle", fleet.Condition{Kind: fleet.Cracked, Side: fleet.Left}},
			{"not measured, and not why", fleet.Condition{Kind: fleet.NotMeasured, Axle: 1}},
			{"too long", fleet.Condition{Kind: fleet.Noted, Note: strings.Repeat("x", 3000)}},
			{"no text", fleet.Condition{Kind: fleet.Noted, Note: "\xff"}},
		} {
			c.c.VehicleID, c.c.Date = bus, day(time.May, 3)
			err := db.TakeIn(t.Context(), all, &fleet.Upload{}, func(w *store.Writer) error {
				_, err := w.Conditions([]fleet.Condition{c.c})
				return err
			})
			if !errors.Is(err, fleet.ErrInvalid) {
				t.Errorf("%s: got %v, want invalid", c.name, err)
			}
		}
	})
}

// TestVehiclesByPlate finds a vehicle by its number and plate as people type
// them.
func TestVehiclesByPlate(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		mustVehicles(t, db, entry("Bus 12", func(e *store.VehicleEntry) { e.Plate = "QX-1 ab" }), entry("Bus 2"))
		for text, want := range map[string]int{
			"bus 12": 1, "bus12": 1, "BUS-12": 1, "qx1ab": 1, "QX 1AB": 1, "1ab": 1, "-": 1, "qx2": 0, "bus": 2,
		} {
			got, err := db.Vehicles(t.Context(), all, store.VehicleQuery{Text: text})
			if err != nil {
				t.Fatal(err)
			}
			if got.Total != want {
				t.Errorf("%q: got %d vehicles, want %d", text, got.Total, want)
			}
		}
	})
}
