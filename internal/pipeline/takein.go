package pipeline

import (
	"context"

	"brakewear/internal/fleet"
)

// TakeIn is Import followed by a refit of the vehicles the file was about, so
// that what people look at next follows what they handed in. Where that is
// half of the vehicles or more, as with a workshop's first files, the model
// learns anew from all of them.
func (s *Service) TakeIn(ctx context.Context, sc fleet.Scope, by string, f File, asOf fleet.Date) (fleet.Upload, RefitReport, error) {
	t, err := s.take(ctx, sc, by, f)
	up, ids := t.up, t.touched()
	if err != nil || up.Accepted == 0 || len(ids) == 0 {
		return up, RefitReport{}, err
	}
	vehicles, _, _, err := s.DB.Counts(ctx, sc)
	if err != nil {
		return up, RefitReport{}, err
	}
	if 2*len(ids) >= vehicles {
		ids = nil
	}
	rep, err := s.Refit(ctx, sc, ids, asOf)
	return up, rep, err
}
