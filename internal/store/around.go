package store

import (
	"context"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
)

// Around says what there is of a vehicle besides its history.
type Around struct {
	Findings []FindingRow // what presses first
	Logged   []Logged     // its forecasts in the log, by axle, newest first

	Corrections bool // there are some
	Bookings    bool // of any day and state
	Proposed    bool // visits, open ones
	Away        bool // absences, or planned visits
	Workshop    bool // somebody has set that of its depot

	// Parameters is the id of those that were learned last, of any model; 0 = none.
	Parameters int64
}

// HistoryAround is History with what there is around it, of the log from a day on, for
// a page of the vehicle. What nearly all have comes with it; of the rest most have
// little, and each asked for by itself would be a statement for nothing.
func (db *DB) HistoryAround(ctx context.Context, sc auth.Scope, vehicleID int64, from fleet.Date) (h History, a Around, err error) {
	err = db.Lookup(ctx, "read a vehicle", func(state *DB) error {
		t := state.within
		err := t.findingsLater((&FindingQuery{Vehicle: vehicleID}).where(sc), func(f FindingRow) { a.Findings = append(a.Findings, f) })
		if err != nil {
			return err
		}
		if err := t.loggedLater(sc, vehicleID, from, func(l Logged) { a.Logged = append(a.Logged, l) }); err != nil {
			return err
		}
		h, err = state.history(ctx, sc, vehicleID, &a)
		return err
	})
	return h, a, err
}

// history reads what is around it as well, unless that is nil.
func (db *DB) history(ctx context.Context, sc auth.Scope, vehicleID int64, around *Around) (History, error) {
	var w where
	w.scope(sc, "v")
	w.add("v.id = ?", vehicleID)
	hs, err := db.histories(ctx, w, []int64{vehicleID}, asWritten, around)
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
				exists (select 1 from bookings x where x.vehicle_id = v.id),
				exists (select 1 from proposal_visits x where x.vehicle_id = v.id and x.state = 'open'),
				exists (select 1 from absences x where x.vehicle_id = v.id)
					or exists (select 1 from planned_visits x where x.vehicle_id = v.id),
				exists (select 1 from workshops x where x.depot_id = v.depot_id),
				(select coalesce(max(x.id), 0) from model_parameters x)`
}

func (a *Around) dest() []any {
	if a == nil {
		return nil
	}
	return []any{&a.Corrections, &a.Bookings, &a.Proposed, &a.Away, &a.Workshop, &a.Parameters}
}
