package store

import (
	"context"

	"brakewear/internal/fleet"
)

// History is all that is known of one vehicle and still counts: what was set
// aside is left out. Axles come by number, the rest by date.
type History struct {
	Vehicle      fleet.Vehicle
	Fleet, Depot string
	Axles        []fleet.Axle
	Odometers    []fleet.Odometer
	Readings     []fleet.Reading
	Fitments     []fleet.Fitment
}

// EachHistory calls fn for each vehicle of ids, or for all when ids is nil, in
// the order of their ids, and stops at its first error. What sc does not see
// is left out. fn may keep h, and may use the DB.
func (db *DB) EachHistory(ctx context.Context, sc fleet.Scope, ids []int64, fn func(h *History) error) error {
	return errUnfinished
}

// History returns the history of one vehicle.
func (db *DB) History(ctx context.Context, sc fleet.Scope, vehicleID int64) (History, error) {
	return History{}, errUnfinished
}
