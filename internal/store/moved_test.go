package store_test

import (
	"errors"
	"fmt"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// Readings of the wrong axle stand where they belong, those recorded stay with why;
// all of it or nothing. The readings are invented.
func TestMoveReadings(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ids := mustVehicles(t, db, entry("Bus 1"), entry("Bus 2", of("South", "Quay")))
		disc := func(vehicle int64, axle int, brake fleet.Brake) fleet.Axle {
			return fleet.Axle{VehicleID: vehicle, Number: axle, Brake: brake}
		}
		mustTakeIn(t, db, func(w *store.Writer) error {
			_, err := w.Axles([]fleet.Axle{disc(ids[0], 1, fleet.DiscBrake), disc(ids[0], 2, fleet.DiscBrake), disc(ids[0], 3, fleet.DrumBrake), disc(ids[1], 1, fleet.DiscBrake)})
			return err
		})
		read := func(axle int, face fleet.Face, mm float64) fleet.Reading {
			return fleet.Reading{VehicleID: ids[0], Position: pad(axle, fleet.Left, face), Date: monday, OdometerKm: ptr(100_000.), MM: mm, Technician: "N. N."}
		}
		other := read(1, fleet.Inner, 12)
		other.Date++ // of another inspection
		mustTakeIn(t, db, func(w *store.Writer) error {
			_, err := w.Readings([]fleet.Reading{read(1, fleet.Inner, 9), read(1, fleet.Outer, 8), read(2, fleet.Inner, 9), read(2, fleet.Outer, 5), other})
			return err
		})
		standing := func(vehicle int64) (says []string) {
			t.Helper()
			h, err := db.History(t.Context(), all, vehicle)
			if err != nil {
				t.Fatal(err)
			}
			for _, r := range h.Readings {
				says = append(says, fmt.Sprintf("%s %g %s", r.Position, r.MM, r.Date))
			}
			slices.Sort(says)
			return says
		}
		first := func(axle int, mm float64) int64 {
			t.Helper()
			h, err := db.History(t.Context(), all, ids[0])
			if err != nil {
				t.Fatal(err)
			}
			for _, r := range h.Readings {
				if r.Position.Axle == axle && r.MM == mm && r.Date == monday {
					return r.ID
				}
			}
			t.Fatalf("axle %d: no reading of %g mm", axle, mm)
			return 0
		}
		want := func(vehicle int64, says ...string) {
			t.Helper()
			if d := cmp.Diff(says, standing(vehicle)); d != "" {
				t.Error(d)
			}
		}
		why := fleet.Reason{Why: "sheet upside down", By: "N. N."}
		before := standing(ids[0])
		north := auth.ScopeOf([]int64{1}, nil)
		for _, c := range []struct {
			name string
			sc   auth.Scope
			mv   fleet.AxleMove
			why  fleet.Reason
			want error
		}{
			{"no reason", all, fleet.AxleMove{Axle: 2}, fleet.Reason{By: "N. N."}, fleet.ErrInvalid},
			{"no axle", all, fleet.AxleMove{}, why, fleet.ErrInvalid},
			{"the same axle", all, fleet.AxleMove{Axle: 1}, why, fleet.ErrInvalid},
			{"an axle there is not", all, fleet.AxleMove{Axle: 4}, why, fleet.ErrInvalid},
			{"a drum", all, fleet.AxleMove{Axle: 3}, why, fleet.ErrInvalid},
			{"where the same stands", all, fleet.AxleMove{Axle: 2}, why, fleet.ErrConflict},
			{"swapped with another vehicle", all, fleet.AxleMove{Axle: 1, VehicleID: ids[1], Swap: true}, why, fleet.ErrInvalid},
			{"to a vehicle that is not seen", north, fleet.AxleMove{Axle: 1, VehicleID: ids[1]}, why, fleet.ErrNotFound},
			{"by another scope", auth.ScopeOf([]int64{999}, nil), fleet.AxleMove{Axle: 2, Swap: true}, why, fleet.ErrNotFound},
		} {
			c.mv.Reading = first(1, 8)
			if _, err := db.MoveReadings(t.Context(), c.sc, c.mv, c.why); !errors.Is(err, c.want) {
				t.Errorf("%s: got %v, want %v", c.name, err, c.want)
			}
			want(ids[0], before...)
		}

		// 9 mm inside are the same on both, and stay.
		done, err := db.MoveReadings(t.Context(), all, fleet.AxleMove{Reading: first(1, 8), Axle: 2, Swap: true}, why)
		if err != nil || len(done) != 2 || done[0].Act != fleet.Corrected || done[0].StandsID == 0 {
			t.Fatalf("swapped: got %+v, %v", done, err)
		}
		want(ids[0], "axle 1 left inner pad 12 2025-03-04", "axle 1 left inner pad 9 2025-03-03", "axle 1 left outer pad 5 2025-03-03",
			"axle 2 left inner pad 9 2025-03-03", "axle 2 left outer pad 8 2025-03-03")
		if _, err := db.MoveReadings(t.Context(), all, fleet.AxleMove{Reading: done[0].Record.ID, Axle: 2, Swap: true}, why); !errors.Is(err, fleet.ErrConflict) {
			t.Errorf("one that no longer counts: got %v", err)
		}
		// And back, which is a row again.
		if _, err := db.MoveReadings(t.Context(), all, fleet.AxleMove{Reading: first(2, 8), Axle: 1, Swap: true}, why); err != nil {
			t.Fatal(err)
		}
		want(ids[0], before...)

		// To another vehicle, of another fleet.
		done, err = db.MoveReadings(t.Context(), all, fleet.AxleMove{Reading: first(2, 5), VehicleID: ids[1], Axle: 1}, why)
		if err != nil || len(done) != 2 {
			t.Fatalf("to another vehicle: got %+v, %v", done, err)
		}
		want(ids[0], "axle 1 left inner pad 12 2025-03-04", "axle 1 left inner pad 9 2025-03-03", "axle 1 left outer pad 8 2025-03-03")
		want(ids[1], "axle 1 left inner pad 9 2025-03-03", "axle 1 left outer pad 5 2025-03-03")
		cs, err := db.Corrections(t.Context(), all, ids[1])
		if err != nil || len(cs.Log) != 2 || cs.Log[0].Act != fleet.Moved || cs.Log[0].Why != why.Why {
			t.Errorf("what the other vehicle's history says: got %+v, %v", cs.Log, err)
		}
		ds, err := db.Deeds(t.Context(), all, store.DeedQuery{Record: "reading"})
		if err != nil || len(ds) != 2+2+4 || ds[0].Act != "moved here" {
			t.Errorf("log of changes: got %d rows, %+v, %v", len(ds), ds, err)
		}
	})
}
