package store

import (
	"context"
	"slices"

	"github.com/jmoiron/sqlx"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
)

// Standing is what is stored of some vehicles that what they are forecast next is held
// against, so that only what is new is stored. A server is asked for all of it at once.
type Standing struct {
	on fleet.Date
	// Removals are of the track record, by vehicle: a line of each set that came off, with
	// what came off and nothing of what had been forecast of it.
	Removals map[int64][]Kept

	findings map[int64]map[findingKey]*keptFinding // by vehicle
	logged   map[AxleKey][]logged                  // within the days that one stands for
}

// logged is what makes a forecast in the log the same as another.
type logged struct {
	asOf      fleet.Date
	readings  int
	pastLimit bool
	model     string
}

// Standing returns what stands of vehicles, all of which sc must see, on a day: of their
// track record the lines of so many days ahead.
func (db *DB) Standing(ctx context.Context, sc auth.Scope, vehicles []int64, on fleet.Date, ahead int) (*Standing, error) {
	var st *Standing
	err := db.find(ctx, "read what stands", func(t *tx) error {
		st = newStanding(on)
		err := t.gather(func() error { return t.standing(st, sc, vehicles, ahead) })
		if err != nil {
			return err
		}
		return st.check(vehicles)
	})
	return st, err
}

func newStanding(on fleet.Date) *Standing {
	return &Standing{on, map[int64][]Kept{}, map[int64]map[findingKey]*keptFinding{}, map[AxleKey][]logged{}}
}

// standing asks for what stands of vehicles; once it was answered, check is due.
func (t *tx) standing(st *Standing, sc auth.Scope, vehicles []int64, ahead int) error {
	for ids := range slices.Chunk(vehicles, roundVehicles) {
		ids = roundedUp(ids)
		if err := t.keptFindings(st.findings, sc, ids); err != nil {
			return err
		}
		if err := t.keptRemovals(st.Removals, ids, ahead); err != nil {
			return err
		}
		if err := t.loggedLately(st.logged, ids, st.on-logEvery); err != nil {
			return err
		}
	}
	return nil
}

// check refuses vehicles that were not seen.
func (st *Standing) check(vehicles []int64) error {
	for _, id := range vehicles {
		if _, seen := st.findings[id]; !seen {
			return strangeVehicle(id)
		}
	}
	return nil
}

// keptRemovals asks what came off vehicles.
func (t *tx) keptRemovals(of map[int64][]Kept, vehicles []int64, ahead int) error {
	return t.each(func(r *sqlx.Rows) error {
		var k Kept
		err := r.Scan(&k.VehicleID, &k.Axle, &k.Part, &k.Removed, &k.Fitted, &k.LeftMM, (*number)(&k.CrossDay), (*number)(&k.CrossKm))
		of[k.VehicleID] = append(of[k.VehicleID], k)
		return err
	}, `
		select vehicle_id, axle, part, removed, fitted, left_mm, cross_day, cross_km
		from track_record
		where vehicle_id in `+places(len(vehicles))+` and ahead = ?`, append(anys(vehicles), ahead)...)
}

// loggedLately asks what was logged of vehicles after a day: of each axle that was
// forecast, for there are years of a vehicle in the log, and its key is by axle.
func (t *tx) loggedLately(of map[AxleKey][]logged, vehicles []int64, after fleet.Date) error {
	return t.each(func(r *sqlx.Rows) error {
		var k AxleKey
		var l logged
		err := r.Scan(&k.VehicleID, &k.Axle, &l.asOf, &l.readings, &l.pastLimit, &l.model)
		of[k] = append(of[k], l)
		return err
	}, `
		select l.vehicle_id, l.axle, l.as_of, l.readings, l.past_limit, l.model
		from axle_forecasts f
		join forecast_log l on l.vehicle_id = f.vehicle_id and l.axle = f.axle and l.as_of > ?
		where f.vehicle_id in `+places(len(vehicles)), append([]any{after}, anys(vehicles)...)...)
}

// untold returns those of fs that the log is to be told of: none of their day is in it,
// and none from the same readings within logEvery.
func (st *Standing) untold(fs []AxleForecast) (untold []AxleForecast) {
	for i := range fs {
		f := &fs[i]
		asOf := fleet.Date(f.AsOf)
		if !slices.ContainsFunc(st.logged[AxleKey{f.VehicleID, f.Axle}], func(l logged) bool {
			same := l.readings == f.Readings && l.pastLimit == f.PastLimit && l.model == f.Model
			return l.asOf == asOf || same && l.asOf < asOf && l.asOf > asOf-logEvery
		}) {
			untold = append(untold, *f)
		}
	}
	return untold
}
