package pipeline

import (
	"context"
	"slices"

	"brakewear/forecast"
	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
)

// refitMany is Refit of vehicles that nobody holds.
func (s *Service) refitMany(ctx context.Context, sc auth.Scope, ids []int64, asOf fleet.Date, m forecast.Model) (RefitReport, error) {
	rep, late, err := s.refitUnheld(ctx, sc, ids, asOf, m)
	if err == nil {
		err = s.refitLate(ctx, sc, late, asOf)
	}
	return rep, err
}

// refitUnheld forecasts vehicles and returns those that are to be forecast once more, see
// keepMany.
func (s *Service) refitUnheld(ctx context.Context, sc auth.Scope, ids []int64, asOf fleet.Date, m forecast.Model) (rep RefitReport, late []int64, err error) {
	rep.Model = m.Name()
	marks, err := s.DB.ForecastMarks(ctx, ids)
	if err != nil {
		return rep, nil, err
	}
	look := &lookout{s: s, sc: sc, model: m}
	err = s.refit(ctx, look, s.reader(ctx, sc, ids), asOf, func(hs []store.History, fs []store.AxleForecast, found []fleet.Finding) error {
		rep.Vehicles += len(hs)
		rep.Axles += len(fs)
		return s.keepMany(ctx, sc, marks, hs, fs, found, asOf, func(db *store.DB, st *store.Standing, fs []store.AxleForecast, some []int64) error {
			late = append(late, some...)
			return db.SaveForecasts(ctx, sc, st, fs)
		})
	})
	return rep, late, err
}

// refitLate forecasts vehicles once more: together, as two who forecast many at the same
// time are late for each other's, and those that are late again held, a few at a time.
func (s *Service) refitLate(ctx context.Context, sc auth.Scope, late []int64, asOf fleet.Date) error {
	alone := *s
	alone.Forecasted = nil // which was told of them
	if len(late) > fewVehicles {
		m, _, err := alone.fitted(ctx, asOf)
		if err != nil {
			return err
		}
		if _, late, err = alone.refitUnheld(ctx, sc, late, asOf, m); err != nil {
			return err
		}
	}
	for few := range slices.Chunk(late, fewVehicles) {
		if _, err := alone.Refit(ctx, sc, few, asOf); err != nil {
			return err
		}
	}
	return nil
}

// keepMany keeps forecasts of vehicles that nobody held since before marks were read, and
// all that goes with them; save stores the forecasts. One that somebody stored meanwhile
// may know more than these, and so may what was found with it: of those vehicles, which
// save is told, nothing is kept, and they are to be forecast once more.
func (s *Service) keepMany(ctx context.Context, sc auth.Scope, marks store.ForecastMarks, hs []store.History, fs []store.AxleForecast, found []fleet.Finding,
	asOf fleet.Date, save func(db *store.DB, st *store.Standing, fs []store.AxleForecast, late []int64) error) error {
	st, err := s.standing(ctx, sc, hs, asOf)
	if err != nil {
		return err
	}
	ids := vehiclesOf(hs)
	keep := func(db *store.DB) error {
		within := *s
		within.DB = db
		now, err := db.ForecastMarks(ctx, ids)
		if err != nil {
			return err
		}
		var late []int64
		for _, id := range ids {
			if now[id] != marks[id] {
				late = append(late, id)
			}
		}
		isLate := func(id int64) bool { return slices.Contains(late, id) }
		hs = slices.DeleteFunc(hs, func(h store.History) bool { return isLate(h.Vehicle.ID) })
		fs = slices.DeleteFunc(fs, func(f store.AxleForecast) bool { return isLate(f.VehicleID) })
		found = slices.DeleteFunc(found, func(f fleet.Finding) bool { return isLate(f.VehicleID) })
		if err := within.keepWith(ctx, sc, st, hs, found, asOf); err != nil {
			return err
		}
		return save(db, st, fs, late)
	}
	// Who holds a few of them may keep what he works out only then, and is seen. In one
	// transaction: of few vehicles, each one's end would take longer than what is stored.
	return s.DB.Holding(ctx, "keep forecasts", ids, func(db *store.DB) error {
		return db.Together(ctx, "keep forecasts", keep)
	})
}
