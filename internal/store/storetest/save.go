package storetest

import (
	"context"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
)

// Ahead is for whom it is not the track record that matters.
const Ahead = 30

// SaveForecasts saves forecasts of one day beside what stands of their vehicles.
func SaveForecasts(ctx context.Context, db *store.DB, sc auth.Scope, fs []store.AxleForecast) error {
	if len(fs) == 0 {
		return db.SaveForecasts(ctx, sc, &store.Standing{}, fs)
	}
	ids := make([]int64, len(fs))
	for i := range fs {
		ids[i] = fs[i].VehicleID
	}
	st, err := db.Standing(ctx, sc, ids, fleet.Date(fs[0].AsOf), Ahead)
	if err != nil {
		return err
	}
	return db.SaveForecasts(ctx, sc, st, fs)
}

// SaveFindings saves what was found of vehicles, as seen on a day.
func SaveFindings(ctx context.Context, db *store.DB, sc auth.Scope, vehicles []int64, fs []fleet.Finding, on fleet.Date) error {
	st, err := db.Standing(ctx, sc, vehicles, on, Ahead)
	if err != nil {
		return err
	}
	return db.SaveFindings(ctx, st, vehicles, fs)
}
