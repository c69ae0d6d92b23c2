package pipeline

import (
	"context"
	"errors"
	"slices"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
)

// ChangeDoubts points out what is unlikely about a reading, or an odometer
// reading, as a change would leave it: the doubts that a sheet raises about the
// same values, had it not been recorded before.
func (s *Service) ChangeDoubts(ctx context.Context, sc auth.Scope, v *store.RecordView, ch fleet.Change) ([]Remark, error) {
	var was fleet.Reading
	switch {
	case v.Reading != nil && v.Reading.Aside == nil:
		was = *v.Reading
	case v.Odometer != nil && v.Odometer.Aside == nil:
		was = fleet.Reading{Date: v.Odometer.Date, OdometerKm: &v.Odometer.Km}
	default:
		return nil, nil
	}
	is := was
	ch.Reading(&is)
	h, err := s.DB.History(ctx, sc, v.ID)
	if err != nil {
		return nil, err
	}
	m, _, err := s.fitted(ctx, s.Today())
	if err != nil {
		return nil, err
	}
	h.Readings = slices.DeleteFunc(h.Readings, func(r fleet.Reading) bool {
		return v.Reading != nil && (r.ID == was.ID || ch.WholeVisit && r.Date == was.Date)
	})
	h.Odometers = slices.DeleteFunc(h.Odometers, func(o fleet.Odometer) bool { return v.Odometer != nil && o.ID == v.Odometer.ID })
	sh, err := sheetOf(m, &h, is.Date, nil)
	if err != nil {
		return nil, err
	}
	e := Entries{MM: map[fleet.Position]float64{}}
	if ch.OdometerKm != nil || ch.Date != nil {
		e.OdometerKm = is.OdometerKm
	}
	if v.Reading != nil && !is.Tripped && (ch.MM != nil || ch.Position != nil || ch.Date != nil) {
		e.MM[is.Position] = is.MM
	}
	return slices.DeleteFunc(sh.Remarks(e), func(r Remark) bool { return !r.Doubt }), nil
}

// CorrectIfLikely is Correct where nobody has been asked: what is unlikely about
// the change is a DoubtError, and nothing is changed.
func (s *Service) CorrectIfLikely(ctx context.Context, sc auth.Scope, rec fleet.Record, ch fleet.Change, why fleet.Reason, asOf fleet.Date) ([]fleet.Correction, error) {
	v, err := s.DB.Record(ctx, sc, rec)
	if err != nil {
		return nil, err
	}
	doubts, err := s.ChangeDoubts(ctx, sc, &v, ch)
	if err != nil {
		return nil, err
	}
	if len(doubts) > 0 {
		return nil, &DoubtError{doubts}
	}
	return s.Correct(ctx, sc, rec, ch, why, asOf)
}

// Correct puts another row in the place of a record, or several for a whole
// visit, and forecasts the vehicle anew as of a day.
func (s *Service) Correct(ctx context.Context, sc auth.Scope, rec fleet.Record, ch fleet.Change, why fleet.Reason, asOf fleet.Date) ([]fleet.Correction, error) {
	if ch.Date != nil {
		if err := s.notAhead(*ch.Date); err != nil {
			return nil, err
		}
	}
	done, err := s.DB.Correct(ctx, sc, rec, ch, why)
	if err != nil {
		return nil, err
	}
	return done, s.follow(ctx, sc, done[0].VehicleID, asOf)
}

// SetAside takes a record out of what counts, and forecasts the vehicle anew.
func (s *Service) SetAside(ctx context.Context, sc auth.Scope, rec fleet.Record, why fleet.Reason, asOf fleet.Date) (fleet.Correction, error) {
	c, err := s.DB.SetAside(ctx, sc, rec, why)
	if err != nil {
		return c, err
	}
	return c, s.follow(ctx, sc, c.VehicleID, asOf)
}

// MoveReadings puts the readings of one axle of an inspection where they belong, and
// forecasts anew the vehicles that this concerns.
func (s *Service) MoveReadings(ctx context.Context, sc auth.Scope, mv fleet.AxleMove, why fleet.Reason, asOf fleet.Date) ([]fleet.Correction, error) {
	done, err := s.DB.MoveReadings(ctx, sc, mv, why)
	if err != nil {
		return nil, err
	}
	err = s.follow(ctx, sc, done[0].VehicleID, asOf)
	if mv.VehicleID != 0 && mv.VehicleID != done[0].VehicleID {
		err = errors.Join(err, s.follow(ctx, sc, mv.VehicleID, asOf))
	}
	return done, err
}

// UndoSetAside lets a record count again, and forecasts the vehicle anew.
func (s *Service) UndoSetAside(ctx context.Context, sc auth.Scope, rec fleet.Record, why fleet.Reason, asOf fleet.Date) (fleet.Correction, error) {
	c, err := s.DB.UndoSetAside(ctx, sc, rec, why)
	if err != nil {
		return c, err
	}
	return c, s.follow(ctx, sc, c.VehicleID, asOf)
}

// follow forecasts one vehicle anew. Where there is a desk it waits for that for
// some seconds only: what it follows from is stored, and a forecast that takes
// long, or that a fault cuts off, must not make it look as if it were not.
func (s *Service) follow(ctx context.Context, sc auth.Scope, vehicleID int64, asOf fleet.Date) error {
	_, err := s.Desk.within(ctx, "forecast what was changed", func(ctx context.Context) error {
		ids := []int64{vehicleID}
		_, err := s.Refit(ctx, sc, ids, asOf)
		if s.Desk.later(err, ids) {
			return nil
		}
		return err
	})
	return err
}
