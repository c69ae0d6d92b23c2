package jobs

import (
	"context"
	"errors"
	"fmt"
	"runtime/debug"
	"strings"
	"time"

	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
)

// begin does what there is to do for e, under the job's lock. It is false when
// another process holds that, or has done it.
func (c *Clock) begin(ctx context.Context, e *entry) (bool, error) {
	held, release, err := c.DB.LockJob(ctx, e.Name)
	if err != nil || release == nil {
		return false, err
	}
	defer release()
	var run store.JobRun
	began := false
	if e.running != nil {
		tries := maxAttempts
		if !e.due.IsZero() {
			tries = 0 // the time that has come since does for both
		}
		var cut bool
		if run, cut, err = c.DB.Restart(ctx, *e.running, tries); err != nil {
			return false, err
		}
		if began = run.ID != 0; cut {
			c.Log.Warn("a run was cut short", "job", e.Name, "zone", e.zone, "run", e.running.ID, "attempt", e.running.Attempt, "again", began)
		}
	}
	if !began && !e.due.IsZero() {
		if run, began, err = c.DB.StartDue(ctx, e.Name, e.zone, e.due); err != nil {
			return false, err
		}
	}
	if !began && e.waiting != nil {
		if began, err = c.DB.StartWaiting(ctx, e.waiting.ID); err != nil {
			return false, err
		}
		run = *e.waiting
	}
	if began {
		c.perform(held, e.Job, run, false)
	}
	return began, nil
}

// RunNow runs a job at once, in all its time zones, for a person who waits for
// it, and hands what each run did to say. One that fails keeps no other from it.
func (c *Clock) RunNow(ctx context.Context, name, by string, say func(zone, did string)) error {
	if err := c.prepare(); err != nil {
		return err
	}
	zones, err := c.DB.TimeZones(ctx)
	if err != nil {
		return err
	}
	for _, j := range c.Jobs {
		if j.Name != name {
			continue
		}
		if !j.PerZone {
			zones = zones[:1]
		}
		var failed []error
		for _, zone := range zones {
			if failed = append(failed, c.runOne(ctx, j, zone, by, say)); ctx.Err() != nil {
				break
			}
		}
		return errors.Join(failed...)
	}
	names := make([]string, len(c.Jobs))
	for i, j := range c.Jobs {
		names[i] = j.Name
	}
	return fleet.NotFoundf("job %q: there is none of this name: want one of %s", name, strings.Join(names, ", "))
}

func (c *Clock) runOne(ctx context.Context, j pipeline.Job, zone, by string, say func(zone, did string)) error {
	held, release, err := c.DB.LockJob(ctx, j.Name)
	if err != nil {
		return err
	}
	if release == nil {
		return fleet.Conflictf("%s is under way already; wait until it is through", j.Name)
	}
	defer release()
	run, err := c.DB.StartNow(ctx, j.Name, zone, by)
	if err != nil {
		return err
	}
	r := c.perform(held, j, run, true)
	if r.did != "" {
		say(zone, r.did)
	}
	return r.err
}

// result is how a run ended.
type result struct {
	state string
	did   string
	err   error
}

// perform runs a job within its limit and keeps how it ended. When it does not
// end after its time it is given up as far as people and other jobs are
// concerned, but perform waits for it, and its lock stays. Where somebody waits for
// the result, the log says only what that comes too late for.
func (c *Clock) perform(held context.Context, j pipeline.Job, run store.JobRun, awaited bool) result {
	start := time.Now()
	ctx, cancel := context.WithTimeout(held, j.Limit)
	defer cancel()
	done := make(chan result, 1)
	go func() { done <- guarded(ctx, j, run.Zone) }()
	var r result
	ended := true
	select {
	case r = <-done:
	case <-ctx.Done():
		select {
		case r = <-done:
		case <-time.After(graceTime):
			ended = false
			r = result{state: store.RunFailed, err: ctx.Err()}
		}
	}
	if r.err != nil && r.state == store.RunFailed {
		switch {
		case held.Err() != nil:
			r.state = store.RunCutShort
			r.err = fmt.Errorf("the program was ended, or lost the database: %w", r.err)
		case errors.Is(ctx.Err(), context.DeadlineExceeded):
			r.state = store.RunOverran
			r.err = fmt.Errorf("given up after %v: %w", j.Limit, r.err)
		}
	}
	if !awaited || !ended {
		c.log(run, r, time.Since(start))
	}
	c.record(held, run, r)
	if !ended {
		<-done
		c.Log.Warn("a job that was given up has ended", "job", j.Name, "zone", run.Zone, "took", time.Since(start))
	}
	return r
}

// guarded runs a job and turns a panic into a result.
func guarded(ctx context.Context, j pipeline.Job, zone string) (r result) {
	defer func() {
		if p := recover(); p != nil {
			r = result{state: store.RunPanicked, err: fmt.Errorf("panic: %v\n%s", p, debug.Stack())}
		}
	}()
	did, err := j.Run(ctx, zone)
	if err != nil {
		return result{store.RunFailed, did, err}
	}
	return result{store.RunDone, did, nil}
}

// guardedHelp helps with a job and turns a panic into an error.
func guardedHelp(ctx context.Context, j pipeline.Job) (helped bool, err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("panic: %v\n%s", p, debug.Stack())
		}
	}()
	return j.Help(ctx)
}

// log says how a run ended.
func (c *Clock) log(run store.JobRun, r result, took time.Duration) {
	log := c.Log.With("job", run.Job, "zone", run.Zone, "run", run.ID, "took", took.Round(time.Millisecond))
	if r.err != nil {
		log.Error("job "+r.state, "err", r.err)
		return
	}
	log.Info("job " + r.state)
}

// record keeps how a run ended.
func (c *Clock) record(held context.Context, run store.JobRun, r result) {
	if r.state == store.RunCutShort {
		// Left as it is, for whoever looks next to begin it again.
		return
	}
	message := r.did
	if r.err != nil && message == "" {
		message = blame(r)
	}
	ctx, cancel := context.WithTimeout(context.WithoutCancel(held), graceTime)
	defer cancel()
	if err := c.DB.EndRun(ctx, run.ID, r.state, message); err != nil {
		c.Log.Error("how a job ended cannot be kept", "job", run.Job, "zone", run.Zone, "run", run.ID, "err", err)
	}
}

// blame says for people why a run did not do its work. What is not meant for
// them is in the log.
func blame(r result) string {
	switch { // first: it may have met others before
	case r.state == store.RunOverran:
		return "It took longer than it may and was given up."
	case errors.Is(r.err, fleet.ErrFull):
		return "No space is left on the disk."
	case errors.Is(r.err, fleet.ErrReadOnly):
		return "The database can only be read just now."
	case errors.Is(r.err, fleet.ErrDamaged):
		return "The database is damaged: restore the last backup."
	case errors.Is(r.err, fleet.ErrUnavailable):
		return "The database could not be reached."
	}
	for _, kind := range []error{fleet.ErrInvalid, fleet.ErrNotFound, fleet.ErrConflict} {
		if errors.Is(r.err, kind) {
			return r.err.Error()
		}
	}
	return "It failed; the log says why."
}
