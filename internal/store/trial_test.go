package store_test

import (
	"errors"
	"testing"

	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// TestTrial: what is done in a trial is seen there and undone, and a part of it
// that fails takes nothing else along.
func TestTrial(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		v := mustVehicles(t, db, entry("Bus 1"))[0]
		failed := errors.New("failed")
		for _, end := range []error{nil, failed} {
			err := db.Trial(t.Context(), func(trial *store.DB) error {
				mustReadings(t, trial, reading(v, day(3, 1), 8))
				up := fleet.Upload{Kind: "readings", Name: "broken.csv", By: "test"}
				err := trial.TakeIn(t.Context(), all, &up, func(w *store.Writer) error {
					if _, err := w.Readings([]fleet.Reading{reading(v, day(3, 2), 7)}); err != nil {
						return err
					}
					return failed
				})
				if !errors.Is(err, failed) {
					t.Errorf("got %v, want what fill returned", err)
				}
				up = fleet.Upload{Kind: "readings", Name: "wrong.csv", By: "test"}
				err = trial.TakeIn(t.Context(), all, &up, func(w *store.Writer) error {
					_, err := w.Odometers([]fleet.Odometer{{VehicleID: v + 99, Km: 1}})
					return err
				})
				if !errors.Is(err, fleet.ErrNotFound) {
					t.Errorf("got %v, want ErrNotFound", err)
				}
				mustReadings(t, trial, reading(v, day(3, 3), 6))
				h, err := trial.History(t.Context(), all, v)
				if err != nil || len(h.Readings) != 2 {
					t.Errorf("in the trial: %+v, %v; want the two readings of uploads that went well", h.Readings, err)
				}
				return end
			})
			if !errors.Is(err, end) {
				t.Errorf("got %v, want %v", err, end)
			}
			h, err := db.History(t.Context(), all, v)
			if err != nil || len(h.Readings) != 0 {
				t.Errorf("after the trial: %+v, %v; want nothing", h.Readings, err)
			}
		}
		if n := count(t, db, "select count(*) from uploads"); n != 1 {
			t.Errorf("%d uploads, want the vehicles' alone", n)
		}
		mustReadings(t, db, reading(v, day(3, 1), 8)) // nothing was left locked
	})
}
