package store_test

import (
	"cmp"
	"errors"
	"fmt"
	"testing"

	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// What is read in one state does not see what is stored meanwhile, and stores
// nothing itself.
func TestOneState(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		mustVehicles(t, db, entry("Bus 1"))
		err := db.OneState(t.Context(), "look twice", "", func(state *store.DB) error {
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

// Of a state that is known nothing is read that is held of it, and what is not held,
// or was written since it was known, is read in one that is newer.
func TestOneStateHeld(t *testing.T) {
	url := storetest.URL(t, store.Postgres)
	db, other := storetest.MustOpen(t, url), storetest.MustOpen(t, url)
	id := mustVehicles(t, db, entry("Bus 1"))[0]
	mustForecasts(t, db, due(id, 1, ptr(asOf), float64(asOf)))
	version := func() string {
		t.Helper()
		v, err := db.Version(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	look := func(what, known string, reads bool, want fleet.Date) {
		t.Helper()
		ctx, run := storetest.Watch(t.Context())
		var got store.DuePage
		err := db.OneState(ctx, "look", known, func(state *store.DB) error {
			if n, err := state.CountFindings(ctx, all, store.FindingQuery{}); err != nil || n != 0 {
				return cmp.Or(err, fmt.Errorf("%d findings", n))
			}
			if has, err := state.HasReadings(ctx, all); err != nil || has {
				return cmp.Or(err, errors.New("there are readings"))
			}
			fleets, err := state.Fleets(ctx, all)
			if err != nil || len(fleets) != 1 {
				return cmp.Or(err, fmt.Errorf("%d fleets", len(fleets)))
			}
			got, err = state.DueSoon(ctx, all, store.DueQuery{Text: "bus"})
			return err
		})
		if err != nil || len(got.Rows) != 1 || *got.Rows[0].BookBy != want {
			t.Errorf("%s: got %+v, %v; want one row to be booked by %v", what, got, err, want)
		}
		if n := len(run.Queries()); (n > 0) != reads {
			t.Errorf("%s: %d statements: %q", what, n, run.Queries())
		}
	}
	first := version()
	look("at first", first, true, asOf)
	look("again", first, false, asOf)
	look("of no state", "", true, asOf)
	mustForecasts(t, other, due(id, 1, ptr(asOf+9), float64(asOf)))
	second := version()
	look("another has written", second, true, asOf+9)
	look("another has written, again", second, false, asOf+9)
	look("known before", first, true, asOf+9)
	look("known since", second, false, asOf+9)
	mustBook(t, other, job(id, depotOf(t, db, "Quay").ID, monday))
	look("another has booked", version(), true, asOf+9)
}

// What is done together is undone together.
func TestTogether(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ids := mustVehicles(t, db, entry("Bus 1"))
		for _, stranger := range []bool{true, false} {
			err := db.Together(t.Context(), "keep both", func(db *store.DB) error {
				if err := db.SaveForecasts(t.Context(), all, &store.Standing{}, []store.AxleForecast{due(ids[0], 1, ptr(asOf), float64(asOf))}); err != nil {
					return err
				}
				id := ids[0]
				if stranger {
					id = 9999
				}
				return db.SaveForecasts(t.Context(), all, &store.Standing{}, []store.AxleForecast{due(id, 2, ptr(asOf), float64(asOf))})
			})
			fs, ferr := db.Forecasts(t.Context(), all, ids[0])
			if ferr != nil || (err == nil) == stranger || stranger && len(fs) != 0 || !stranger && len(fs) != 2 {
				t.Errorf("with a stranger %v: got %d forecasts, %v, %v", stranger, len(fs), err, ferr)
			}
		}
	})
}

// A part that failed ends all that is done together, whatever is made of its error;
// a trial among it is undone, and the rest goes on.
func TestTogetherEndsWithAPart(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		id := mustVehicles(t, db, entry("Bus 1"))[0]
		keep := func(db *store.DB, id int64, axle int) error {
			return db.SaveForecasts(t.Context(), all, &store.Standing{}, []store.AxleForecast{due(id, axle, ptr(asOf), float64(asOf))})
		}
		err := db.Together(t.Context(), "keep both", func(db *store.DB) error {
			_ = keep(db, 9999, 1) // a stranger
			return keep(db, id, 1)
		})
		if fs, ferr := db.Forecasts(t.Context(), all, id); !errors.Is(err, fleet.ErrNotFound) || ferr != nil || len(fs) != 0 {
			t.Errorf("got %d forecasts, %v, and %v for the stranger", len(fs), ferr, err)
		}
		err = db.Together(t.Context(), "keep one", func(db *store.DB) error {
			if err := keep(db, id, 1); err != nil {
				return err
			}
			return db.Trial(t.Context(), func(trial *store.DB) error { return keep(trial, id, 2) })
		})
		if fs, ferr := db.Forecasts(t.Context(), all, id); err != nil || ferr != nil || len(fs) != 1 {
			t.Errorf("got %d forecasts, %v, %v; want the one that was not tried", len(fs), err, ferr)
		}
	})
}
