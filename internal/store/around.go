package store

import (
	"context"
	"errors"

	"brakewear/internal/auth"
)

// Around says what there is of a vehicle besides its history.
type Around struct {
	Corrections, Findings bool
	Bookings              bool // of any day and state
	Proposed              bool // visits, open ones
	Away                  bool // absences, or planned visits
	Workshop              bool // somebody has set that of its depot
}

// Around asks for all of it together, for a page of one vehicle: most have little
// of it, and each asked for by itself would be a statement for nothing.
func (db *DB) Around(ctx context.Context, sc auth.Scope, vehicleID int64) (a Around, err error) {
	err = db.find(ctx, "see what there is of a vehicle", func(t *tx) error {
		w := where{args: []any{string(VisitOpen)}}
		w.scope(sc, "v")
		w.add("v.id = ?", vehicleID)
		err := t.one([]any{&a.Corrections, &a.Findings, &a.Bookings, &a.Proposed, &a.Away, &a.Workshop}, `
			select
				exists (select 1 from corrections x where x.vehicle_id = v.id),
				exists (select 1 from findings x where x.vehicle_id = v.id),
				exists (select 1 from bookings x where x.vehicle_id = v.id),
				exists (select 1 from proposal_visits x where x.vehicle_id = v.id and x.state = ?),
				exists (select 1 from absences x where x.vehicle_id = v.id)
					or exists (select 1 from planned_visits x where x.vehicle_id = v.id),
				exists (select 1 from workshops x where x.depot_id = v.depot_id)
			from vehicles v`+w.String(), w.args...)
		if errors.Is(err, errNoRows) {
			err = noVehicle(vehicleID)
		}
		return err
	})
	return a, err
}
