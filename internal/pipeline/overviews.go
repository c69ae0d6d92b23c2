package pipeline

import (
	"context"
	"fmt"
	"sync"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
)

// Overviews keeps the overviews last worked out until anything is written: who
// goes from one to a list and back does not wait twice. The zero value is
// empty and ready.
type Overviews struct {
	mu      sync.Mutex
	version string
	kept    map[string]*Overview
}

// maxOverviews is how many are kept: some for each of a few people at a time.
// One is a few hundred kilobytes in a large fleet.
const maxOverviews = 64

func (k *Overviews) key(sc auth.Scope, q store.OverviewQuery, day fleet.Date) string {
	return fmt.Sprintf("%+v %+v %d", sc, q, day)
}

// at returns what is kept of a version, nil when nothing is.
func (k *Overviews) at(version, key string) *Overview {
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.version != version {
		return nil
	}
	return k.kept[key]
}

// keep keeps what was worked out after the version was asked for.
func (k *Overviews) keep(version, key string, o *Overview) {
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.version != version || len(k.kept) >= maxOverviews {
		k.version, k.kept = version, map[string]*Overview{}
	}
	k.kept[key] = o
}

// Overview works out the overview as of today of the fleet or depot asked for,
// or returns what was worked out of the same before, while nothing was
// written since: it is not to be changed. Axles of which no reading says
// anything are counted apart and in nothing else.
func (s *Service) Overview(ctx context.Context, sc auth.Scope, q store.OverviewQuery) (*Overview, error) {
	day := s.Today()
	if s.Overviews == nil {
		return s.overview(ctx, sc, q, day)
	}
	// Asked before anything is read: what is written meanwhile makes it old.
	version, err := s.DB.Version(ctx)
	if err != nil {
		return nil, err
	}
	key := s.Overviews.key(sc, q, day)
	if o := s.Overviews.at(version, key); o != nil {
		return o, nil
	}
	o, err := s.overview(ctx, sc, q, day)
	if err == nil {
		s.Overviews.keep(version, key, o)
	}
	return o, err
}
