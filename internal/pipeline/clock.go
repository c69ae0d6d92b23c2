package pipeline

import (
	"context"
	"sync"
	"time"
)

// Clock keeps by which clock most depots work. The zero value is ready.
type Clock struct {
	mu    sync.Mutex
	zone  string
	asked time.Time
}

// clockEvery is how often it is looked up anew: who changes a depot's zone sees
// it soon enough.
const clockEvery = time.Minute

// HomeZone is the time zone that most depots are in, an IANA name: whose clock
// goes where neither a depot nor a reader says which. Blank is UTC: there is no
// depot, or nothing could be looked up yet.
func (s *Service) HomeZone(ctx context.Context) string {
	if s.Clock == nil {
		return ""
	}
	s.Clock.mu.Lock()
	defer s.Clock.mu.Unlock()
	if now := time.Now(); s.Clock.asked.IsZero() || now.Sub(s.Clock.asked) > clockEvery {
		// What was known stays where the database cannot be asked.
		if zones, err := s.DB.TimeZones(ctx); err == nil && len(zones) > 0 {
			s.Clock.zone = zones[0]
		}
		s.Clock.asked = now
	}
	return s.Clock.zone
}

// home is the zone last looked up; nil where none was.
func (s *Service) home() *time.Location {
	if s.Clock == nil {
		return nil
	}
	s.Clock.mu.Lock()
	defer s.Clock.mu.Unlock()
	if s.Clock.zone == "" {
		return nil
	}
	return Zone(s.Clock.zone)
}
