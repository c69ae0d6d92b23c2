package store_test

import (
	"testing"

	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// What is read in one state does not see what is stored meanwhile, and stores
// nothing itself.
func TestOneState(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		mustVehicles(t, db, entry("Bus 1"))
		err := db.OneState(t.Context(), "look twice", func(state *store.DB) error {
			before, _, _, err := state.Counts(t.Context(), all)
			if err != nil {
				return err
			}
			mustVehicles(t, db, entry("Bus 2"))
			after, err := state.Vehicles(t.Context(), all, store.VehicleQuery{})
			if err != nil {
				return err
			}
			if before != 1 || len(after.Rows) != 1 {
				t.Errorf("got %d vehicles, then %d; want 1 both times", before, len(after.Rows))
			}
			if err := state.SetTimeZone(t.Context(), all, depotOf(t, db, "Quay").ID, "UTC"); err == nil {
				t.Error("something was stored")
			}
			return nil
		})
		if err != nil && db.Dialect() == store.SQLite {
			t.Error(err) // PostgreSQL ends a transaction that was refused something
		}
		if n, _, _, err := db.Counts(t.Context(), all); n != 2 || err != nil {
			t.Errorf("afterwards: got %d vehicles, %v; want 2", n, err)
		}
	})
}

// What is done together is undone together.
func TestTogether(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ids := mustVehicles(t, db, entry("Bus 1"))
		for _, stranger := range []bool{true, false} {
			err := db.Together(t.Context(), "keep both", func(db *store.DB) error {
				if err := db.SaveForecasts(t.Context(), all, []store.AxleForecast{due(ids[0], 1, ptr(asOf), float64(asOf))}); err != nil {
					return err
				}
				id := ids[0]
				if stranger {
					id = 9999
				}
				return db.SaveForecasts(t.Context(), all, []store.AxleForecast{due(id, 2, ptr(asOf), float64(asOf))})
			})
			fs, ferr := db.Forecasts(t.Context(), all, ids[0])
			if ferr != nil || (err == nil) == stranger || stranger && len(fs) != 0 || !stranger && len(fs) != 2 {
				t.Errorf("with a stranger %v: got %d forecasts, %v, %v", stranger, len(fs), err, ferr)
			}
		}
	})
}
