package pipeline

import (
	"context"
	"sync"
	"time"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
)

// Clock keeps by which clock most depots work. The zero value is ready.
type Clock struct {
	mu    sync.Mutex // held for no more than a look: see HomeZone
	zone  string
	at    *time.Location // of zone; nil while none was looked up
	asked time.Time      // zero: it is to be looked up
}

// clockEvery is how often it is looked up anew: who changes a depot's zone by
// another process sees it soon enough. What this one changes counts at once.
const clockEvery = 15 * time.Second

// HomeZone is the time zone that most depots are in, an IANA name: whose clock
// goes where neither a depot nor a reader says which. Blank is UTC: there is no
// depot, or nothing could be looked up yet.
//
// One looks it up, the others go on with what was known: those in the midst of a
// page ask as well, and the one who looks it up waits for a turn behind them.
func (s *Service) HomeZone(ctx context.Context) string {
	if s.Clock == nil {
		return ""
	}
	c, now := s.Clock, time.Now()
	c.mu.Lock()
	known := !c.asked.IsZero() && now.Sub(c.asked) < clockEvery
	zone := c.zone
	if !known {
		c.asked = now
	}
	c.mu.Unlock()
	if known {
		return zone
	}
	zones, err := s.DB.TimeZones(ctx)
	if err != nil && ctx.Err() != nil { // who asked has gone: let the next ask
		c.mu.Lock()
		defer c.mu.Unlock()
		if c.asked.Equal(now) {
			c.asked = time.Time{}
		}
		return zone
	}
	if err != nil || len(zones) == 0 {
		return zone // what was known stays where the database cannot be asked
	}
	at := Zone(zones[0]) // reads a file
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.asked.Equal(now) { // else a depot was changed meanwhile
		c.zone, c.at = zones[0], at
	}
	return zones[0]
}

// forget has the clock looked up anew by the next who asks; nil has none.
func (c *Clock) forget() {
	if c != nil {
		c.mu.Lock()
		c.asked = time.Time{}
		c.mu.Unlock()
	}
}

// SaveWorkshop sets a depot's workshop, and the zone of its clock unless that is
// blank.
func (s *Service) SaveWorkshop(ctx context.Context, sc auth.Scope, by string, w fleet.Workshop, zone string) error {
	return s.ChangeWorkshop(ctx, sc, by, nil, w, zone)
}

// ChangeWorkshop is SaveWorkshop where the workshop must be old still, as
// store.ChangeWorkshop says.
func (s *Service) ChangeWorkshop(ctx context.Context, sc auth.Scope, by string, old *store.DepotWorkshop, w fleet.Workshop, zone string) error {
	defer s.Clock.forget()
	return s.DB.ChangeWorkshop(ctx, sc, by, old, w, zone)
}

// home is the zone last looked up; nil where none was.
func (s *Service) home() *time.Location {
	if s.Clock == nil {
		return nil
	}
	s.Clock.mu.Lock()
	defer s.Clock.mu.Unlock()
	return s.Clock.at
}
