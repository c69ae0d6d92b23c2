package store

import (
	"context"
	"time"

	"github.com/jmoiron/sqlx"

	"brakewear/internal/fleet"
)

// What became of a run of a job.
const (
	RunWaiting  = "waiting" // asked for by a person, not begun
	RunRunning  = "running"
	RunDone     = "done"
	RunFailed   = "failed"
	RunPanicked = "panicked"
	RunOverran  = "overran"   // given up at its time limit
	RunCutShort = "cut_short" // the program ended before the run did
)

// JobRun is one run of a scheduled job.
type JobRun struct {
	ID      int64
	Job     string
	Zone    string     // IANA time zone whose day it was for
	Due     *time.Time // scheduled time; nil when a person asked for it
	Attempt int        // from 1; more when earlier ones were cut short
	AskedBy string     // blank: the clock
	AskedAt time.Time
	Started *time.Time // nil while it waits
	Ended   *time.Time // nil until it is over
	State   string
	Message string // what it did, or why it did not
}

// JobTime is how far the clock is with one job in one time zone.
type JobTime struct {
	Job     string
	Zone    string
	Handled time.Time // scheduled times up to here were seen to
	Next    *time.Time
}

// JobTimes returns how far the clock is with every job it has seen.
func (db *DB) JobTimes(ctx context.Context) (ts []JobTime, err error) {
	err = db.read(ctx, "read job times", func(t *tx) error {
		return t.each(func(r *sqlx.Rows) error {
			var j JobTime
			err := r.Scan(&j.Job, &j.Zone, (*instant)(&j.Handled), maybeInstant{&j.Next})
			ts = append(ts, j)
			return err
		}, `select job, zone, handled, next from job_times order by job, zone`)
	})
	return ts, err
}

// BeginJob notes that the clock begins to look after a job in a zone: times
// up to now are none of its business. It changes nothing for one that is known,
// unless that was seen to by a clock far ahead of this one: a machine's clock
// that was a year ahead for a minute must not stop the job for a year.
func (db *DB) BeginJob(ctx context.Context, job, zone string, now time.Time) error {
	return db.tend(ctx, "begin a job", func(t *tx) error {
		_, err := t.exec(`
			insert into job_times (job, zone, handled)
			values (?, ?, ?)
			on conflict (job, zone) do update set handled = excluded.handled
			where job_times.handled > ?`, job, zone, instant(now), instant(now.Add(wrongClock)))
		return err
	})
}

// wrongClock is how far clocks of several machines may be apart, generously,
// a wrong time zone taken for UTC included (UTC-12 to UTC+14).
const wrongClock = 26 * time.Hour

// ShowNext keeps when a job is to run next, for people to read.
func (db *DB) ShowNext(ctx context.Context, job, zone string, next time.Time) error {
	return db.tend(ctx, "keep when a job is next", func(t *tx) error {
		_, err := t.exec(`update job_times set next = ? where job = ? and zone = ?`, instant(next), job, zone)
		return err
	})
}

// StartDue begins the run of a job that was due, and with it sees to all
// scheduled times before. The caller holds the job's lock. It is false when
// another process has seen to that time already.
func (db *DB) StartDue(ctx context.Context, job, zone string, due time.Time) (run JobRun, started bool, err error) {
	err = db.tend(ctx, "start a job", func(t *tx) error {
		started = false
		n, err := t.count(`
			update job_times set handled = ?
			where job = ? and zone = ? and handled < ?`, instant(due), job, zone, instant(due))
		if err != nil || n == 0 {
			return err
		}
		started = true
		run, err = t.addRun(JobRun{Job: job, Zone: zone, Due: &due, Attempt: 1, State: RunRunning})
		return err
	})
	return run, started, err
}

// StartNow begins a run that a person asked for and waits for. The caller
// holds the job's lock.
func (db *DB) StartNow(ctx context.Context, job, zone, by string) (run JobRun, err error) {
	err = db.write(ctx, "start a job", func(t *tx) error {
		if run, err = t.addRun(JobRun{Job: job, Zone: zone, Attempt: 1, AskedBy: by, State: RunRunning}); err != nil {
			return err
		}
		return t.log(entry{act: "started", record: "job", id: run.ID, by: by, detail: job + ", " + zone})
	})
	return run, err
}

// AskForRun leaves word that a job is to run as soon as a process sees it.
func (db *DB) AskForRun(ctx context.Context, job, zone, by string) (run JobRun, err error) {
	err = db.write(ctx, "ask for a job", func(t *tx) error {
		var known, waiting int
		if err := t.one([]any{&known}, `select count(*) from job_times where job = ? and zone = ?`, job, zone); err != nil {
			return err
		}
		if known == 0 {
			return fleet.NotFoundf("job %s in %s: there is none that the clock looks after", job, zone)
		}
		err := t.one([]any{&waiting}, `select count(*) from job_runs where job = ? and zone = ? and state = ?`, job, zone, RunWaiting)
		if err != nil {
			return err
		}
		if waiting > 0 {
			return fleet.Conflictf("%s was asked for already and waits to begin", job)
		}
		if run, err = t.addRun(JobRun{Job: job, Zone: zone, Attempt: 1, AskedBy: by, State: RunWaiting}); err != nil {
			return err
		}
		return t.log(entry{act: "asked for", record: "job", id: run.ID, by: by, detail: job + ", " + zone})
	})
	return run, err
}

// StartWaiting begins a run that was left word for. It is false when another
// process did.
func (db *DB) StartWaiting(ctx context.Context, id int64) (started bool, err error) {
	err = db.tend(ctx, "start a job", func(t *tx) error {
		n, err := t.count(`update job_runs set state = ?, started_at = ? where id = ? and state = ?`,
			RunRunning, instant(t.db.now()), id, RunWaiting)
		started = n > 0
		return err
	})
	return started, err
}

// Restart ends a run whose process has ended before it, and begins another
// attempt at it unless there were tries already; run is the zero JobRun then.
// The caller holds the job's lock, which shows that nobody is at it. cut is
// false when the run is over after all.
func (db *DB) Restart(ctx context.Context, old JobRun, tries int) (run JobRun, cut bool, err error) {
	err = db.tend(ctx, "start a job again", func(t *tx) error {
		run = JobRun{}
		n, err := t.count(`
			update job_runs set state = ?, ended_at = ?, message = ?
			where id = ? and state = ?`,
			RunCutShort, instant(t.db.now()), "The program ended before this run did.", old.ID, RunRunning)
		cut = n > 0
		if err != nil || !cut || old.Attempt >= tries {
			return err
		}
		again := old
		again.Attempt++
		run, err = t.addRun(again)
		return err
	})
	return run, cut, err
}

// addRun adds r, stamped with now, and returns it with its id.
func (t *tx) addRun(r JobRun) (JobRun, error) {
	now := t.db.now()
	r.AskedAt, r.Started = now, nil
	if r.State == RunRunning {
		r.Started = &now
	}
	err := t.one([]any{&r.ID}, `
		insert into job_runs (job, zone, due, attempt, asked_by, asked_at, started_at, state, message)
		values (?, ?, ?, ?, ?, ?, ?, ?, '')
		returning id`,
		r.Job, r.Zone, maybeInstant{&r.Due}, r.Attempt, storableOf(r.AskedBy), instant(r.AskedAt), maybeInstant{&r.Started}, r.State)
	return r, err
}

// EndRun keeps how a run ended.
func (db *DB) EndRun(ctx context.Context, id int64, state, message string) error {
	return db.tend(ctx, "end a job", func(t *tx) error {
		_, err := t.exec(`update job_runs set state = ?, ended_at = ?, message = ? where id = ? and state = ?`,
			state, instant(t.db.now()), storableOf(message), id, RunRunning)
		return err
	})
}

const runColumns = `
	id,
	job,
	zone,
	due,
	attempt,
	asked_by,
	asked_at,
	started_at,
	ended_at,
	state,
	message`

// runs returns the runs that a query over job_runs gives.
func (t *tx) runs(query string, args ...any) (rs []JobRun, err error) {
	err = t.each(func(r *sqlx.Rows) error {
		var j JobRun
		err := r.Scan(&j.ID, &j.Job, &j.Zone, maybeInstant{&j.Due}, &j.Attempt, &j.AskedBy,
			(*instant)(&j.AskedAt), maybeInstant{&j.Started}, maybeInstant{&j.Ended}, &j.State, &j.Message)
		rs = append(rs, j)
		return err
	}, query, args...)
	return rs, err
}

// OpenRuns returns the runs that wait or are under way, oldest first.
func (db *DB) OpenRuns(ctx context.Context) (rs []JobRun, err error) {
	err = db.read(ctx, "read job runs", func(t *tx) error {
		rs, err = t.runs(`select` + runColumns + `
			from job_runs
			where state = 'waiting' or state = 'running' -- as the indexes have it
			order by id`)
		return err
	})
	return rs, err
}

// LastRun returns the newest run of a job in a zone that is over.
func (db *DB) LastRun(ctx context.Context, job, zone string) (run JobRun, err error) {
	err = db.read(ctx, "read a job's last run", func(t *tx) error {
		rs, err := t.runs(`select`+runColumns+`
			from job_runs
			where job = ? and zone = ? and state <> ? and state <> ?
			order by id desc
			limit 1`, job, zone, RunWaiting, RunRunning)
		run, err = only(rs, err, "job %s in %s: it has not run yet", job, zone)
		return err
	})
	return run, err
}

// LatestRuns returns the newest run of each job in each zone that is over.
func (db *DB) LatestRuns(ctx context.Context) (rs []JobRun, err error) {
	err = db.read(ctx, "read job runs", func(t *tx) error {
		rs, err = t.runs(`select`+runColumns+`
			from job_runs
			where id in (
				select (
					select max(r.id)
					from job_runs r
					where r.job = j.job and r.zone = j.zone and r.state <> ? and r.state <> ?)
				from job_times j)
			order by id`, RunWaiting, RunRunning)
		return err
	})
	return rs, err
}

// JobRuns returns up to limit runs of all jobs, newest first.
func (db *DB) JobRuns(ctx context.Context, limit int) (rs []JobRun, err error) {
	err = db.read(ctx, "read job runs", func(t *tx) error {
		rs, err = t.runs(`select`+runColumns+` from job_runs order by id desc limit ?`, limitOf(limit))
		return err
	})
	return rs, err
}

// RunCount is how often the runs of a job ended in one way.
type RunCount struct {
	Job   string
	State string
	Runs  int
}

// RunCounts counts the runs begun since a time, by job and how they ended.
func (db *DB) RunCounts(ctx context.Context, since time.Time) (cs []RunCount, err error) {
	err = db.read(ctx, "count job runs", func(t *tx) error {
		return t.each(func(r *sqlx.Rows) error {
			var c RunCount
			err := r.Scan(&c.Job, &c.State, &c.Runs)
			cs = append(cs, c)
			return err
		}, `
			select job, state, count(*)
			from job_runs
			where started_at >= ?
			group by job, state
			order by job, state`, instant(since))
	})
	return cs, err
}

// TimeZones returns the time zones that depots are in, the one with the most
// depots first; UTC when there is no depot.
func (db *DB) TimeZones(ctx context.Context) (zones []string, err error) {
	err = db.read(ctx, "list time zones", func(t *tx) error {
		return t.each(func(r *sqlx.Rows) error {
			var z string
			err := r.Scan(&z)
			zones = append(zones, z)
			return err
		}, `
			select time_zone
			from depots
			group by time_zone
			order by count(*) desc, time_zone`)
	})
	if err == nil && len(zones) == 0 {
		zones = []string{utc}
	}
	return zones, err
}
