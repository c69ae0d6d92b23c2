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
	rep := RefitReport{Model: m.Name()}
	marks, err := s.DB.ForecastMarks(ctx, ids)
	if err != nil {
		return rep, err
	}
	look := &lookout{s: s, sc: sc, model: m}
	err = s.refit(ctx, look, s.reader(ctx, sc, ids), asOf, func(hs []store.History, fs []store.AxleForecast, found []fleet.Finding) error {
		rep.Vehicles += len(hs)
		rep.Axles += len(fs)
		return s.keepMany(ctx, sc, marks, hs, fs, found, asOf, func(db *store.DB, st *store.Standing, fs []store.AxleForecast) error {
			return db.SaveForecasts(ctx, sc, st, fs)
		})
	})
	return rep, err
}

// keepMany keeps forecasts of vehicles that nobody held since before marks were read, and
// all that goes with them; save stores the forecasts. A forecast that somebody stored
// meanwhile may know more than these, and so may what was found with it: those vehicles
// are forecast once more.
func (s *Service) keepMany(ctx context.Context, sc auth.Scope, marks store.ForecastMarks, hs []store.History, fs []store.AxleForecast, found []fleet.Finding,
	asOf fleet.Date, save func(*store.DB, *store.Standing, []store.AxleForecast) error) error {
	st, err := s.standing(ctx, sc, hs, asOf)
	if err != nil {
		return err
	}
	var late []int64
	// In one transaction: of few vehicles, each one's end would take longer than what
	// is stored.
	err = s.DB.Together(ctx, "keep forecasts", func(db *store.DB) error {
		within := *s
		within.DB = db
		ids := vehiclesOf(hs)
		if err := db.HoldVehicles(ctx, ids); err != nil {
			return err
		}
		now, err := db.ForecastMarks(ctx, ids)
		if err != nil {
			return err
		}
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
		return save(db, st, fs)
	})
	if err != nil {
		return err
	}
	alone := *s
	alone.Forecasted = nil // which is told of all of hs
	for few := range slices.Chunk(late, fewVehicles) {
		if _, err := alone.Refit(ctx, sc, few, asOf); err != nil {
			return err
		}
	}
	return nil
}
