package store

import (
	"context"
	"time"
)

// How long is kept what no longer serves anybody. Nothing measured, and nothing
// that says who did what to it, is ever among it.
const (
	// requestKeyTime is past any sender that tries again.
	requestKeyTime = 30 * 24 * time.Hour
	// jobRunTime is long enough to see when something began to go wrong.
	jobRunTime = 90 * 24 * time.Hour
	// digestTime: each person's newest says what the next one begins with, and
	// a person on leave for a year is told of no more than a year.
	digestTime = 400 * 24 * time.Hour
	// visitTime: of a proposal that a later one replaced, what it said of each vehicle
	// shows for a quarter why a plan changed. No page has it; the run and its figures,
	// and whatever somebody decided on, stay.
	visitTime = 90 * 24 * time.Hour
	// waitingTime is when a run that was asked for is no longer wanted.
	waitingTime = 24 * time.Hour
)

// cleanUpRows bounds what one transaction takes away: nobody else writes to an embedded
// database meanwhile. Judgement.
const cleanUpRows = 5000

// CleanedUp says how many rows of a kind went.
type CleanedUp struct {
	What string // in words
	Rows int
}

// CleanUp removes what has had its time.
func (db *DB) CleanUp(ctx context.Context) (done []CleanedUp, err error) {
	now := db.now()
	for _, c := range []struct {
		what, statement string // it may stop at cleanUpRows, and is then run again
		args            []any
	}{
		{"uploaded files that nobody took in", `
			delete from kept_files
			where expires_at < ? and state not in (?, ?)`, // being worked on
			[]any{instant(now), string(FileTaking), string(FileTaken)}},
		{"keys of requests", `
			delete from request_keys
			where upload_id in (select id from uploads where sent_at < ?)`,
			[]any{instant(now.Add(-requestKeyTime))}},
		{"runs of scheduled work", `
			delete from job_runs
			where ended_at < ? and id not in (select max(id) from job_runs group by job, zone)`,
			[]any{instant(now.Add(-jobRunTime))}},
		{"runs that nothing began", `
			delete from job_runs
			where state = 'waiting' and asked_at < ?`,
			[]any{instant(now.Add(-waitingTime))}},
		{"digests", `
			delete from digests
			where changed_at < ?`,
			[]any{instant(now.Add(-digestTime))}},
		{"visits of proposals that were replaced", `
			delete from proposal_visits
			where id in (
				select v.id
				from proposals p
				cross join proposal_visits v
				where p.made_at < ? and v.proposal_id = p.id and v.state = ? and not exists (
					select 1
					from audit_log l
					where l.record = 'proposed visit' and l.record_id = v.id)
				limit ?)`,
			[]any{instant(now.Add(-visitTime)), string(VisitSuperseded), cleanUpRows}},
	} {
		rows, n := 0, cleanUpRows
		for err == nil && n == cleanUpRows {
			err = db.tend(ctx, "clean up "+c.what, func(t *tx) (err error) {
				n, err = t.count(c.statement, c.args...)
				return err
			})
			if err == nil {
				rows += n
			}
		}
		if rows > 0 {
			done = append(done, CleanedUp{c.what, rows})
		}
		if err != nil {
			return done, err
		}
	}
	return done, nil
}
