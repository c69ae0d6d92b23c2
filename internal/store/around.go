package store

import (
	"context"

	"brakewear/internal/auth"
)

// Around says what there is of a vehicle besides its history.
type Around struct {
	Corrections, Findings bool
	Bookings              bool // of any day and state
	Proposed              bool // visits, open ones
	Away                  bool // absences, or planned visits
	Workshop              bool // somebody has set that of its depot
	Logged                bool // forecasts, in the log

	// Parameters is the id of those that were learned last, of any model; 0 = none.
	Parameters int64
}

// HistoryAround is History with what there is around it, for a page of the vehicle:
// most have little of it, and each asked for by itself would be a statement for
// nothing.
func (db *DB) HistoryAround(ctx context.Context, sc auth.Scope, vehicleID int64) (h History, a Around, err error) {
	h, err = db.history(ctx, sc, vehicleID, &a)
	return h, a, err
}

// history reads what is around it as well, unless that is nil.
func (db *DB) history(ctx context.Context, sc auth.Scope, vehicleID int64, around *Around) (History, error) {
	var w where
	w.scope(sc, "v")
	w.add("v.id = ?", vehicleID)
	hs, err := db.histories(ctx, w, []int64{vehicleID}, around)
	if err != nil {
		return History{}, err
	}
	if len(hs) == 0 {
		return History{}, noVehicle(vehicleID)
	}
	return *hs[0], nil
}

// columns are those of a vehicle v that a is read from; none of nil.
func (a *Around) columns() string {
	if a == nil {
		return ""
	}
	return `,
				exists (select 1 from corrections x where x.vehicle_id = v.id),
				exists (select 1 from findings x where x.vehicle_id = v.id),
				exists (select 1 from bookings x where x.vehicle_id = v.id),
				exists (select 1 from proposal_visits x where x.vehicle_id = v.id and x.state = 'open'),
				exists (select 1 from absences x where x.vehicle_id = v.id)
					or exists (select 1 from planned_visits x where x.vehicle_id = v.id),
				exists (select 1 from workshops x where x.depot_id = v.depot_id),
				exists (select 1 from forecast_log x where x.vehicle_id = v.id),
				(select coalesce(max(x.id), 0) from model_parameters x)`
}

func (a *Around) dest() []any {
	if a == nil {
		return nil
	}
	return []any{&a.Corrections, &a.Findings, &a.Bookings, &a.Proposed, &a.Away, &a.Workshop, &a.Logged, &a.Parameters}
}
