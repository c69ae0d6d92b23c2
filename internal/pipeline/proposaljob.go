package pipeline

import (
	"context"
	"fmt"
	"time"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
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
// another depot.
func (s *Service) proposeIn(ctx context.Context, zone string) (string, error) {
	ds, err := s.DB.Depots(ctx, auth.AllFleets())
	if err != nil {
		return "", err
	}
	depots := map[int64][]fleet.Depot{}
	var fleets []int64
	for _, d := range ds {
		if depots[d.FleetID] == nil {
			fleets = append(fleets, d.FleetID)
		}
		depots[d.FleetID] = append(depots[d.FleetID], d)
	}
	today := fleet.DateOf(s.now().In(Zone(zone)))
	made, placed, unplaced := 0, 0, 0
	for _, id := range fleets {
		if mostly(depots[id]) != zone {
			continue
		}
		ps, err := s.Propose(ctx, auth.AllFleets(), theClock, today, ProposeOptions{Fleet: id})
		if err != nil {
			return "", err
		}
		for i := range ps {
			made++
			placed += ps[i].Figures.Placed
			unplaced += ps[i].Figures.Unplaced
		}
	}
	if made == 0 {
		return "There is no fleet to plan for.", nil
	}
	return fmt.Sprintf("Planned %s: %s placed, %d without a place.", counted(made, "fleet"), counted(placed, "axle"), unplaced), nil
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
