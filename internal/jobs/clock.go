// Package jobs runs scheduled work by the clock. It knows when, that exactly
// one of several processes on a database does it, and what becomes of faults;
// what is done is a function of package pipeline, never its own.
package jobs

import (
	"cmp"
	"context"
	"fmt"
	"log/slog"
	"slices"
	"sync"
	"time"

	"brakewear/internal/pipeline"
	"brakewear/internal/store"
)

// Clock runs jobs when they are due, and when somebody asked for them. Several
// processes may each have one on the same database: every scheduled time is
// seen to by one of them, and the others help where the job lets them. Times
// that passed while none was running are made up once. A job that fails, panics
// or overruns its limit does not stop the others.
type Clock struct {
	DB   *store.DB
	Jobs []pipeline.Job
	Log  *slog.Logger
	Now  func() time.Time // nil = time.Now

	pace      time.Duration       // 0 = lookEvery
	schedules map[string]schedule // by job
	wake      chan struct{}       // look again now
	wg        sync.WaitGroup      // runs under way

	mu   sync.Mutex
	busy map[string]bool // jobs that this process is about
}

const (
	// lookEvery is how often the clock looks at what is due: often enough for
	// a person who waits after asking for a run. It costs five small queries.
	lookEvery = 5 * time.Second
	// graceTime is how long work may take to notice that it is to end.
	graceTime = 10 * time.Second
	// maxAttempts bounds how often a run is begun that a process did not live
	// to end: it may be what kills the process.
	maxAttempts = 3
)

// Run looks after the jobs until ctx ends, then waits for those under way,
// which end with it.
func (c *Clock) Run(ctx context.Context) error {
	if err := c.prepare(); err != nil {
		return err
	}
	tick := time.NewTicker(c.every())
	defer tick.Stop()
	for failing := false; ; {
		err := c.look(ctx)
		if err != nil && ctx.Err() == nil && !failing {
			c.Log.Error("scheduled work cannot be looked after", "err", err) // once, not every few seconds
		}
		failing = err != nil
		select {
		case <-tick.C:
		case <-c.wake:
		case <-ctx.Done():
			c.wait()
			return nil
		}
	}
}

// wait waits for the runs under way to notice that they are to end.
func (c *Clock) wait() {
	done := make(chan struct{})
	go func() {
		c.wg.Wait()
		close(done)
	}()
	select {
	case <-done:
	case <-time.After(graceTime + graceTime/2):
		c.Log.Error("scheduled work does not end; leaving it")
	}
}

func (c *Clock) prepare() error {
	if c.wake != nil {
		return nil
	}
	c.wake = make(chan struct{}, 1)
	c.busy = map[string]bool{}
	c.schedules = map[string]schedule{}
	for _, j := range c.Jobs {
		s, err := parse(j.Spec)
		if err != nil {
			return fmt.Errorf("job %s: %w", j.Name, err)
		}
		c.schedules[j.Name] = s
	}
	return nil
}

func (c *Clock) now() time.Time {
	if c.Now == nil {
		return time.Now()
	}
	return c.Now()
}

func (c *Clock) every() time.Duration { return cmp.Or(c.pace, lookEvery) }

// place is a job in a time zone.
type place struct{ job, zone string }

// entry is what there is to do for a job in a time zone.
type entry struct {
	pipeline.Job
	zone    string
	due     time.Time // scheduled and not seen to; zero when there is none
	open    bool      // due or under way, so that those after it wait
	waiting *store.JobRun
	running *store.JobRun
}

// look begins what is to be done now.
func (c *Clock) look(ctx context.Context) error {
	entries, err := c.entries(ctx)
	if err != nil {
		return err
	}
	for i := range entries {
		e := entries[i]
		if c.held(&e, entries) {
			e.due = time.Time{}
		}
		if e.running == nil && e.due.IsZero() && e.waiting == nil || !c.take(e.Name) {
			continue
		}
		c.wg.Go(func() { c.see(ctx, &e) })
	}
	c.help(ctx)
	return nil
}

// help works on jobs that a person began by the command line, where more than
// one process can.
func (c *Clock) help(ctx context.Context) {
	for _, j := range c.Jobs {
		if j.Help != nil && !c.about(j.Name) {
			c.wg.Go(func() { c.assist(ctx, j) })
		}
	}
}

// assist works on a job that another process began, until that is done. It is
// false when there is nothing to help with, or this process does already.
func (c *Clock) assist(ctx context.Context, j pipeline.Job) bool {
	name := "help with " + j.Name
	if j.Help == nil || !c.take(name) {
		return false
	}
	defer c.leave(name)
	ctx, cancel := context.WithTimeout(ctx, j.Limit)
	defer cancel()
	helped, err := guardedHelp(ctx, j)
	if err != nil {
		if ctx.Err() == nil {
			c.Log.Error("cannot help with a job", "job", j.Name, "err", err)
		}
		return false
	}
	if helped {
		c.Log.Info("helped with a job", "job", j.Name)
	}
	return helped
}

// see does what there is to do for e, and has the clock look again.
func (c *Clock) see(ctx context.Context, e *entry) {
	defer func() {
		c.leave(e.Name)
		select {
		case c.wake <- struct{}{}:
		default: // it is going to
		}
	}()
	began, err := c.begin(ctx, e)
	if err != nil && ctx.Err() == nil {
		c.Log.Error("job cannot begin", "job", e.Name, "zone", e.zone, "err", err)
	}
	if !began && !c.assist(ctx, e.Job) {
		// Another process is at it, or it cannot be done now: no hurry.
		select {
		case <-ctx.Done():
		case <-time.After(c.every() / 2):
		}
	}
}

// held says whether e waits for a job that it comes after: one that is due or
// under way in its zone, for as long as that one may take.
func (c *Clock) held(e *entry, entries []entry) bool {
	return slices.ContainsFunc(entries, func(o entry) bool {
		return slices.Contains(e.After, o.Name) && o.open && (o.zone == e.zone || !e.PerZone || !o.PerZone) &&
			c.now().Before(e.due.Add(o.Limit))
	})
}

// take claims a job among the goroutines of this process.
func (c *Clock) take(job string) bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.busy[job] {
		return false
	}
	c.busy[job] = true
	return true
}

// about says whether this process does a job itself.
func (c *Clock) about(job string) bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.busy[job]
}

func (c *Clock) leave(job string) {
	c.mu.Lock()
	defer c.mu.Unlock()
	delete(c.busy, job)
}

// entries reads how far everything is.
func (c *Clock) entries(ctx context.Context) ([]entry, error) {
	zones, err := c.DB.TimeZones(ctx)
	if err != nil {
		return nil, err
	}
	times, err := c.DB.JobTimes(ctx)
	if err != nil {
		return nil, err
	}
	open, err := c.DB.OpenRuns(ctx)
	if err != nil {
		return nil, err
	}
	known := map[place]store.JobTime{}
	for _, t := range times {
		known[place{t.Job, t.Zone}] = t
	}
	var entries []entry
	for _, j := range c.Jobs {
		in := zones
		if !j.PerZone {
			in = zones[:1]
		}
		for _, zone := range in {
			e := entry{Job: j, zone: zone}
			if e.due, err = c.due(ctx, e, known[place{j.Name, zone}]); err != nil {
				return nil, err
			}
			for i := range open {
				switch r := &open[i]; {
				case r.Job != j.Name || r.Zone != zone:
				case r.State == store.RunWaiting:
					e.waiting = cmp.Or(e.waiting, r)
				default:
					e.running = cmp.Or(e.running, r)
				}
			}
			e.open = !e.due.IsZero() || e.running != nil
			entries = append(entries, e)
		}
	}
	return entries, nil
}

// due returns the last scheduled time of e that nobody has seen to, and keeps
// for people when it is next.
func (c *Clock) due(ctx context.Context, e entry, t store.JobTime) (time.Time, error) {
	now := c.now()
	if t.Job == "" || t.Handled.After(now) {
		if err := c.DB.BeginJob(ctx, e.Name, e.zone, now); err != nil {
			return time.Time{}, err
		}
	}
	handled := t.Handled
	if t.Job == "" {
		handled = now
	}
	due, next := c.schedules[e.Name].between(pipeline.Zone(e.zone), handled, now)
	if t.Next == nil || !t.Next.Equal(next) {
		if err := c.DB.ShowNext(ctx, e.Name, e.zone, next); err != nil {
			return time.Time{}, err
		}
	}
	return due, nil
}
