package store

import (
	"context"

	"brakewear/internal/fleet"
)

// VehicleKey is what a row that names a vehicle needs to know of it.
type VehicleKey struct {
	ID, FleetID int64
	Fleet       string
	Category    fleet.Category
}

// AxleKey names an axle.
type AxleKey struct {
	VehicleID int64
	Axle      int // 1 = front
}

// VehicleIndex returns the vehicles by number; several fleets may use the
// same one.
func (db *DB) VehicleIndex(ctx context.Context, sc fleet.Scope) (map[string][]VehicleKey, error) {
	return nil, errUnfinished
}

// AxleIndex returns the axles with their specifications.
func (db *DB) AxleIndex(ctx context.Context, sc fleet.Scope) (map[AxleKey]fleet.Axle, error) {
	return nil, errUnfinished
}

// VehicleQuery asks for a page of vehicles, in the order of their numbers.
type VehicleQuery struct {
	Text         string // part of number, plate, make or model, whatever its case
	Fleet, Depot int64  // 0 = all
	After        string // VehiclePage.Next of the page before
	Limit        int    // 0 = DefaultLimit
}

// VehicleRow is a vehicle with what a list shows of it.
type VehicleRow struct {
	fleet.Vehicle
	Fleet, Depot string
	Axles        int
	LastReading  *fleet.Date // nil when it was never measured
	BookBy       *fleet.Date // earliest of its axles
	PastLimit    bool        // of any of its axles
}

// VehiclePage is a page of vehicles.
type VehiclePage struct {
	Rows  []VehicleRow
	Next  string // cursor of the page after; blank on the last
	Total int    // rows of all pages
}

// Vehicles returns a page of vehicles.
func (db *DB) Vehicles(ctx context.Context, sc fleet.Scope, q VehicleQuery) (VehiclePage, error) {
	return VehiclePage{}, errUnfinished
}

// Fleets returns the fleets by name, also those of which sc sees a depot only.
func (db *DB) Fleets(ctx context.Context, sc fleet.Scope) ([]fleet.Fleet, error) {
	return nil, errUnfinished
}

// Depots returns the depots by name.
func (db *DB) Depots(ctx context.Context, sc fleet.Scope) ([]fleet.Depot, error) {
	return nil, errUnfinished
}

// Counts returns how many vehicles, axles and current readings there are.
func (db *DB) Counts(ctx context.Context, sc fleet.Scope) (vehicles, axles, readings int, err error) {
	return 0, 0, 0, errUnfinished
}
