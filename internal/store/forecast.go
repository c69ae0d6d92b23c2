package store

import (
	"context"

	"brakewear/forecast"
	"brakewear/internal/fleet"
)

// AxleForecast is an axle's forecast with what was decided on it. Paths of
// positions are not kept.
type AxleForecast struct {
	VehicleID int64
	BookBy    *fleet.Date // nil when not known or too far away
	Risk      float64     // accepted risk behind BookBy
	// PastLimit: last measured at or below the limit, or more likely than not
	// past it.
	PastLimit bool
	forecast.AxleForecast
}

// SaveForecasts replaces the latest forecast of each axle in fs, in one
// transaction, and logs each once per day it was made for.
func (db *DB) SaveForecasts(ctx context.Context, sc fleet.Scope, fs []AxleForecast) error {
	return errUnfinished
}

// Forecasts returns the latest forecasts of a vehicle's axles, by axle.
func (db *DB) Forecasts(ctx context.Context, sc fleet.Scope, vehicleID int64) ([]AxleForecast, error) {
	return nil, errUnfinished
}
