package pipeline

import (
	"context"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
)

// SetFluidChange keeps the day of a vehicle's last change of brake fluid; nil
// forgets it.
func (s *Service) SetFluidChange(ctx context.Context, sc auth.Scope, vehicleID int64, day *fleet.Date) error {
	if day != nil {
		if err := s.notAhead(*day); err != nil {
			return err
		}
		if *day < fleet.Earliest {
			return fleet.Invalidf("date %s: want a day since %s", day.Written(), fleet.Earliest.Written())
		}
	}
	return s.DB.SetFluidChange(ctx, sc, vehicleID, day)
}
