package pipeline

import (
	"context"
	"strings"

	"brakewear/ingest"
	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
)

// DeclareSwap keeps that a vehicle's odometer was changed on o.Date, with what
// the old one showed last, o.PreviousKm, and the new one first, o.Km: the
// distance goes on over it. It forecasts the vehicle anew; the same again
// changes nothing.
func (s *Service) DeclareSwap(ctx context.Context, sc auth.Scope, by string, o fleet.Odometer, asOf fleet.Date) (added bool, err error) {
	switch {
	case strings.TrimSpace(by) == "":
		return false, fleet.Invalidf("by whom is missing: give a name")
	case o.PreviousKm == nil:
		return false, fleet.Invalidf("what the old odometer showed last is missing")
	case *o.PreviousKm == o.Km:
		return false, fleet.Invalidf("the old odometer and the new one show the same, so nothing is to be declared: enter a reading")
	}
	if err := s.notAhead(o.Date); err != nil {
		return false, err
	}
	up := fleet.Upload{Kind: string(ingest.Odometer), Name: "Changed odometer entered", By: by}
	err = s.DB.TakeIn(ctx, sc, &up, func(w *store.Writer) error {
		c, err := w.Odometers([]fleet.Odometer{o})
		up.Accepted, up.Repeated = c.Added, c.Repeated
		added = c.Added > 0
		return err
	})
	if err != nil || !added {
		return added, err
	}
	return added, s.follow(ctx, sc, o.VehicleID, asOf)
}
