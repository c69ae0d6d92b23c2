package pipeline

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
)

// theClock is who proposals are made by at night.
const theClock = "the clock"

func proposalJob(s *Service) Job {
	return Job{
		Name:    "proposal",
		What:    "Plans the workshops anew and proposes what to book, for a person to accept in the morning.",
		Spec:    "30 4 * * *",
		PerZone: true,
		After:   []string{"refit"},
		Limit:   2 * time.Hour,
		Run: func(ctx context.Context, zone string) (string, error) {
			return s.proposeIn(ctx, zone)
		},
	}
}

// proposeIn makes the proposals of the fleets whose depots are in a time zone,
// most of them: a fleet is planned as one, or a vehicle could not be sent to
// another depot. One that cannot be planned does not keep the others from it.
func (s *Service) proposeIn(ctx context.Context, zone string) (string, error) {
	fs, err := s.DB.Fleets(ctx, auth.AllFleets())
	if err != nil {
		return "", err
	}
	ds, err := s.DB.Depots(ctx, auth.AllFleets())
	if err != nil {
		return "", err
	}
	depots := map[int64][]fleet.Depot{}
	for _, d := range ds {
		depots[d.FleetID] = append(depots[d.FleetID], d)
	}
	fs = slices.DeleteFunc(fs, func(f fleet.Fleet) bool { return mostly(depots[f.ID]) != zone })
	today := fleet.DateOf(s.now().In(Zone(zone)))
	return proposeEach(ctx, fs, func(f fleet.Fleet) ([]store.Proposal, error) {
		return s.Propose(ctx, auth.AllFleets(), theClock, today, ProposeOptions{Fleet: f.ID})
	})
}

// proposeEach plans one fleet after the other and says what came of it; nothing where
// the database, or the time, is not there for those that are left.
func proposeEach(ctx context.Context, fs []fleet.Fleet, propose func(fleet.Fleet) ([]store.Proposal, error)) (string, error) {
	made, placed, unplaced := 0, 0, 0
	var failed []error
	var failures []string
	for _, f := range fs {
		var ps []store.Proposal
		err := caught(func() (err error) {
			ps, err = propose(f)
			return err
		})
		if ctx.Err() != nil || outOfOrder(err) {
			return "", errors.Join(append(failed, cmp.Or(err, ctx.Err()))...)
		}
		if err != nil {
			failed = append(failed, err)
			failures = append(failures, whyNot(f, err))
		}
		for i := range ps {
			made++
			placed += ps[i].Figures.Placed
			unplaced += ps[i].Figures.Unplaced
		}
	}
	if made == 0 && failed == nil {
		return "There is no fleet to plan for.", nil
	}
	did := fmt.Sprintf("Planned %s: %s placed, %d without a place.", counted(made, "fleet"), counted(placed, "axle"), unplaced)
	if n := len(failures) - maxFailures; n > 0 {
		failures = append(failures[:maxFailures], fmt.Sprintf("and %d more", n))
	}
	if failed != nil {
		did += fmt.Sprintf(" Not planned: %s.", strings.Join(failures, "; "))
	}
	return did, errors.Join(failed...)
}

// maxFailures is how many fleets that were not planned are named; the log has all.
const maxFailures = 5

// outOfOrder says whether err is of the database, and will be of the next fleet too.
func outOfOrder(err error) bool {
	return slices.ContainsFunc([]error{fleet.ErrFull, fleet.ErrReadOnly, fleet.ErrDamaged, fleet.ErrUnavailable},
		func(kind error) bool { return errors.Is(err, kind) })
}

// whyNot says to people why a fleet was not planned; the log has it whole.
func whyNot(f fleet.Fleet, err error) string {
	if errors.Is(err, fleet.ErrInvalid) || errors.Is(err, fleet.ErrConflict) || errors.Is(err, fleet.ErrNotFound) {
		return err.Error() // with the fleet
	}
	return fmt.Sprintf("plan fleet %s: the log says why", f.Name)
}

// mostly is the time zone of most of the depots, which come by name; of
// several with as many, the one that is met first with them.
func mostly(ds []fleet.Depot) (zone string) {
	n := map[string]int{}
	for _, d := range ds {
		if n[d.TimeZone]++; n[d.TimeZone] > n[zone] {
			zone = d.TimeZone
		}
	}
	return zone
}
