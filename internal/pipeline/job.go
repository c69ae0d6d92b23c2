package pipeline

import (
	"context"
	"fmt"
	"time"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
)

// Job is work that the clock does, or a person who does not want to wait for
// the clock.
type Job struct {
	Name string
	What string // for people
	// Spec is when, on the clock of the time zone: minute, hour, day of the
	// month, month, day of the week.
	Spec string
	// PerZone: it runs in each time zone that depots are in, for those depots.
	// Otherwise it runs once, in the zone of most depots.
	PerZone bool
	// After are jobs that should be through when this one begins.
	After []string
	// Limit is how long it may take before it is given up.
	Limit time.Duration
	// Run does it and says in a sentence what it did.
	Run func(ctx context.Context, zone string) (did string, err error)
	// Help works on what any process began of it, until that is done; false
	// when there is nothing to help with. Nil: one process does it alone.
	Help func(ctx context.Context) (bool, error)
}

// Jobs returns the scheduled work. The hours are those at which few people
// are at work, in the order that each needs what the one before left.
func (s *Service) Jobs() []Job {
	jobs := []Job{refitJob(s), proposalJob(s), digestJob(s), cleanUpJob(s)}
	if s.DB == nil || s.DB.Dialect() == store.SQLite {
		jobs = append(jobs, backupJob(s))
	}
	return jobs
}

// JobNames are the names of all jobs that there are on any database.
func JobNames() (names []string) {
	for _, j := range (&Service{}).Jobs() {
		names = append(names, j.Name)
	}
	return names
}

func refitJob(s *Service) Job {
	return Job{
		Name:    "refit",
		What:    "Learns from all readings, forecasts every axle anew, and logs what it promises.",
		Spec:    "0 2 * * *",
		PerZone: true,
		Limit:   3 * time.Hour,
		Help:    s.Help,
		Run: func(ctx context.Context, zone string) (string, error) {
			sc, today, err := s.zone(ctx, zone)
			if err != nil {
				return "", err
			}
			rep, err := s.Refit(ctx, sc, nil, today)
			if err != nil {
				return "", err
			}
			return fmt.Sprintf("Forecast %s of %s.", counted(rep.Axles, "axle"), counted(rep.Vehicles, "vehicle")), nil
		},
	}
}

// Zone returns the time zone of an IANA name, or UTC when there is none of
// that name: a depot with a name that nobody knows must not stop the others.
func Zone(name string) *time.Location {
	loc, err := time.LoadLocation(name)
	if err != nil {
		return time.UTC
	}
	return loc
}

// zone returns the depots whose clocks show the time of a zone, and the day
// it is there.
func (s *Service) zone(ctx context.Context, name string) (auth.Scope, fleet.Date, error) {
	today := fleet.DateOf(s.now().In(Zone(name)))
	ds, err := s.DB.Depots(ctx, auth.AllFleets())
	if err != nil {
		return auth.Scope{}, 0, err
	}
	var ids []int64
	for _, d := range ds {
		if d.TimeZone == name {
			ids = append(ids, d.ID)
		}
	}
	if len(ids) == len(ds) {
		return auth.AllFleets(), today, nil
	}
	return auth.ScopeOf(nil, ids), today, nil
}
