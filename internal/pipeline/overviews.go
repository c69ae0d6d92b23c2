package pipeline

import (
	"context"
	"fmt"
	"sync"
	"time"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
)

// Overviews keeps the overviews last worked out: who goes from one to a list and
// back does not wait twice, and who looks right after something was written need
// not wait for long. The zero value is empty and ready.
type Overviews struct {
	mu   sync.Mutex
	kept map[string]keptOverview
	busy map[string]*overviewWork
}

// keptOverview is an overview of a version of the database.
type keptOverview struct {
	version string
	at      time.Time // when that version was read
	o       *Overview
}

// overviewWork is an overview being worked out for whoever waits.
type overviewWork struct {
	keptOverview               // the version and time that it is of at the least; o is set at the end
	done         chan struct{} // closed at the end
	err          error
}

const (
	// maxOverviews is how many are kept: some for each of a few people at a
	// time. One is a few hundred kilobytes in a large fleet.
	maxOverviews = 64
	// overviewPatience is how long somebody waits for one that is up to date
	// before the last one is shown with its time. Judgement: a page that takes
	// longer feels slow.
	overviewPatience = 250 * time.Millisecond
)

func (k *Overviews) key(sc auth.Scope, q store.OverviewQuery, day fleet.Date) string {
	return fmt.Sprintf("%+v %+v %d", sc, q, day)
}

// last returns what was kept last, of whatever version; the zero value when
// nothing is.
func (k *Overviews) last(key string) keptOverview {
	k.mu.Lock()
	defer k.mu.Unlock()
	return k.kept[key]
}

// keep keeps what was worked out after the version was asked for.
func (k *Overviews) keep(key string, x keptOverview) {
	k.mu.Lock()
	defer k.mu.Unlock()
	if _, there := k.kept[key]; k.kept == nil || !there && len(k.kept) >= maxOverviews {
		k.kept = map[string]keptOverview{}
	}
	k.kept[key] = x
}

// work returns the work on a key, which it begins by start where there is none;
// nil when it could not be begun.
func (k *Overviews) work(key, version string, at time.Time, start func(fn func()) bool, out func() (*Overview, error)) *overviewWork {
	k.mu.Lock()
	defer k.mu.Unlock()
	if w := k.busy[key]; w != nil {
		return w
	}
	w := &overviewWork{keptOverview: keptOverview{version: version, at: at}, done: make(chan struct{})}
	begun := start(func() {
		defer close(w.done)
		w.err = caught(func() (err error) {
			w.o, err = out()
			return err
		})
		k.mu.Lock()
		delete(k.busy, key)
		k.mu.Unlock()
	})
	if !begun {
		return nil
	}
	if k.busy == nil {
		k.busy = map[string]*overviewWork{}
	}
	k.busy[key] = w
	return w
}

// OverviewSoon is Overview for somebody who looks at it: where something was
// written since it was worked out, and doing so anew takes longer than one
// gladly waits, it is the last one, with the time of which it is, and a newer
// one is on its way. The time is zero where it is up to date.
func (s *Service) OverviewSoon(ctx context.Context, sc auth.Scope, q store.OverviewQuery) (*Overview, time.Time, error) {
	var last keptOverview
	key := ""
	if s.Overviews != nil && s.Desk != nil {
		key = s.Overviews.key(sc, q, s.Today())
		last = s.Overviews.last(key)
	}
	if last.o == nil {
		o, err := s.Overview(ctx, sc, q)
		return o, time.Time{}, err
	}
	at := s.now()
	version, err := s.DB.Version(ctx)
	if err != nil || version == last.version {
		return last.o, time.Time{}, err
	}
	w := s.Overviews.work(key, version, at, s.Desk.start, func() (*Overview, error) { return s.Overview(s.Desk.ctx, sc, q) })
	if w == nil { // the process ends
		o, err := s.Overview(ctx, sc, q)
		return o, time.Time{}, err
	}
	enough := time.NewTimer(overviewPatience)
	defer enough.Stop()
	select {
	case <-w.done:
		if w.version == version {
			return w.o, time.Time{}, w.err
		}
		return w.o, w.at, w.err // begun before what was written since
	case <-enough.C:
		return last.o, last.at, nil
	case <-ctx.Done():
		return nil, time.Time{}, ctx.Err()
	}
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
	key, at := s.Overviews.key(sc, q, day), s.now()
	if k := s.Overviews.last(key); k.o != nil && k.version == version {
		return k.o, nil
	}
	o, err := s.overview(ctx, sc, q, day)
	if err == nil {
		s.Overviews.keep(key, keptOverview{version, at, o})
	}
	return o, err
}
