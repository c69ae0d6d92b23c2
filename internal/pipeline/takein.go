package pipeline

import (
	"context"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
)

// TakeIn is Import followed by a refit of the vehicles the file was about, so
// that what people look at next follows what they handed in. Where there is a
// desk it waits for the refit for some seconds only; the report then says that
// the forecasts follow.
func (s *Service) TakeIn(ctx context.Context, sc auth.Scope, by string, f File, asOf fleet.Date) (up fleet.Upload, rep RefitReport, err error) {
	t, err := s.take(ctx, sc, by, f)
	ids := t.touched()
	if err != nil || t.up.Accepted == 0 || len(ids) == 0 {
		return t.up, RefitReport{}, err
	}
	var through RefitReport
	done, err := s.Desk.within(ctx, "forecast what was taken in", func(ctx context.Context) (err error) {
		through, err = s.refitTouched(ctx, sc, ids, asOf)
		return err
	})
	if !done {
		return t.up, RefitReport{Follows: true}, nil
	}
	return t.up, through, err
}

// refitTouched forecasts vehicles that something was taken in of, or all that
// sc sees when ids is nil. Where they are half of the vehicles or more, as with
// a workshop's first files, the model learns anew from all of them.
func (s *Service) refitTouched(ctx context.Context, sc auth.Scope, ids []int64, asOf fleet.Date) (RefitReport, error) {
	if ids != nil && len(ids) == 0 {
		return RefitReport{}, nil
	}
	if ids != nil {
		more, err := s.DB.MoreVehicles(ctx, sc, 2*len(ids))
		if err != nil {
			return RefitReport{}, err
		}
		if !more {
			ids = nil
		}
	}
	return s.Refit(ctx, sc, ids, asOf)
}
