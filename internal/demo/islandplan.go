package demo

import (
	"context"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
)

// acceptedShare is how much of the island's first proposal is accepted: the
// rest is there for a visitor to decide on.
const acceptedShare = .6

// Plan makes the island's first proposal and accepts a part of it, the
// earliest visits first; one of the bookings is then moved by hand.
func Plan(ctx context.Context, svc *pipeline.Service) error {
	sc, today := auth.AllFleets(), svc.Today()
	if _, err := svc.Propose(ctx, sc, "demo", today, pipeline.ProposeOptions{}); err != nil {
		return err
	}
	vs, err := svc.DB.Visits(ctx, sc, store.VisitQuery{State: store.VisitOpen})
	if err != nil {
		return err
	}
	var ids []int64
	for _, v := range vs {
		if v.Advice == store.AdviseBook {
			ids = append(ids, v.ID)
		}
	}
	if len(ids) == 0 {
		return nil
	}
	outcomes, err := svc.AcceptProposal(ctx, sc, "demo", 0, ids[:max(1, int(acceptedShare*float64(len(ids))))])
	if err != nil {
		return err
	}
	last := outcomes[len(outcomes)-1]
	if last.Fault != nil {
		return last.Fault
	}
	b := last.Booking
	for later := fleet.Date(1); later <= 5; later++ {
		_, err := svc.DB.MoveBooking(ctx, sc, "demo", b.ID, fleet.Slot{DepotID: b.DepotID, Day: b.Day + later}, "the driver asked for it")
		if err == nil {
			break
		}
	}
	return nil
}
