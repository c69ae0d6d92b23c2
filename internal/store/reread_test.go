package store_test

import (
	"reflect"
	"testing"

	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// Readings that are added to a history are where they are read, whatever day and
// place they are of.
func TestAddReadings(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ids := mustVehicles(t, db, entry("Bus 1"), entry("Bus 2"))
		at := func(d fleet.Date, axle int, part fleet.Part, side fleet.Side, face fleet.Face, mm float64, tripped bool) fleet.Reading {
			r := reading(ids[0], d, mm)
			r.Position = fleet.Position{Axle: axle, Part: part, Side: side, Face: face}
			r.Tripped = tripped
			return r
		}
		mustReadings(t, db,
			at(day(3, 1), 1, fleet.Pad, "left", "outer", 8, false),
			at(day(3, 1), 2, fleet.Pad, "left", "outer", 8, false),
			at(day(3, 9), 1, fleet.Pad, "right", "inner", 7, false),
			reading(ids[1], day(3, 1), 8))
		histories := func() (hs []*store.History) {
			err := db.EachHistory(t.Context(), all, ids, func(h *store.History) error {
				hs = append(hs, h)
				return nil
			})
			if err != nil {
				t.Fatal(err)
			}
			return hs
		}
		got := histories()
		up := fleet.Upload{}
		err := db.TakeIn(t.Context(), all, &up, func(w *store.Writer) error {
			_, err := w.Readings([]fleet.Reading{
				at(day(3, 9), 1, fleet.Rotor, "left", "", 30, false),
				at(day(3, 9), 1, fleet.Pad, "right", "inner", 7, true),
				at(day(3, 9), 1, fleet.Pad, "right", "inner", 6.9, false),
				at(day(3, 9), 1, fleet.Pad, "right", "inner", 7, false), // there already
				at(day(3, 9), 1, fleet.Pad, "", "", 7, false),
				at(day(3, 9), 1, fleet.Pad, "left", "inner", 7, false),
				at(day(3, 1), 1, fleet.Drum, "left", "", 300, false),
				at(day(2, 1), 1, fleet.Lining, "right", "", 9, false),
				reading(ids[1], day(2, 1), 8.2),
			})
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
		if _, err := db.AddReadings(t.Context(), all, got, up.ID, day(3, 10), storetest.Ahead); err != nil {
			t.Fatal(err)
		}
		for i, want := range histories() {
			if len(want.Readings) < 2 || !reflect.DeepEqual(got[i], want) {
				t.Errorf("got\n%+v\nwant as it is read whole\n%+v", got[i].Readings, want.Readings)
			}
		}
	})
}
