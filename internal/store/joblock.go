package store

import (
	"context"
	"crypto/rand"
	"database/sql/driver"
	"time"

	"github.com/jmoiron/sqlx"
)

// lockChecked is how often a process that holds a lock makes sure of it.
var lockChecked = 15 * time.Second

const (
	// leaseTime is how long a lock in an SQLite file outlives its process.
	// Renewing it waits for whoever writes, such as a large import.
	leaseTime = 2 * time.Minute
	// unlockTimeout bounds making sure of a lock, and what is done after the
	// work, when its context may have ended.
	unlockTimeout = 10 * time.Second
)

// LockJob takes the lock of a job over all processes on this database, without
// waiting for it. Where another holds it, release is nil. The context returned
// ends when the lock is lost, because the database restarted or this process
// stood still for long; the work must end with it.
func (db *DB) LockJob(ctx context.Context, job string) (held context.Context, release func(), err error) {
	var l jobLock
	if db.dialect == Postgres {
		l, err = db.lockSession(ctx, job)
	} else {
		l, err = db.lockLease(ctx, job)
	}
	if err != nil || l == nil {
		return nil, nil, wrap(ctx, "lock a job", err)
	}
	held, cancel := context.WithCancel(ctx)
	done := make(chan struct{})
	go func() {
		defer close(done)
		tick := time.NewTicker(lockChecked)
		defer tick.Stop()
		for {
			select {
			case <-held.Done():
				return
			case <-tick.C:
				if !l.holds(held) {
					cancel()
					return
				}
			}
		}
	}()
	return held, func() {
		cancel()
		<-done
		after, stop := context.WithTimeout(context.WithoutCancel(ctx), unlockTimeout)
		defer stop()
		l.release(after)
	}, nil
}

// jobLock is a lock that is held.
type jobLock interface {
	holds(ctx context.Context) bool
	release(ctx context.Context)
}

// sessionLock is an advisory lock of PostgreSQL. It belongs to a connection,
// and ends with it.
type sessionLock struct {
	db   *DB
	conn *sqlx.Conn
	job  string
}

// lockKey makes the number that PostgreSQL locks by; uploads are locked by
// other texts.
const lockKey = `hashtextextended('job ' || CAST($1 AS text), 0)`

func (db *DB) lockSession(ctx context.Context, job string) (jobLock, error) {
	conn, err := db.w.Connx(ctx)
	if err != nil {
		return nil, err
	}
	defer db.lines.guard(ctx, conn)()
	var got bool
	err = conn.QueryRowContext(ctx, `select pg_try_advisory_lock(`+lockKey+`)`, job).Scan(&got)
	if err != nil || !got {
		conn.Close()
		return nil, err
	}
	return &sessionLock{db, conn, job}, nil
}

func (l *sessionLock) holds(ctx context.Context) bool {
	ctx, cancel := context.WithTimeout(ctx, unlockTimeout)
	defer cancel()
	defer l.db.lines.guard(ctx, l.conn)()
	return l.conn.PingContext(ctx) == nil
}

func (l *sessionLock) release(ctx context.Context) {
	defer l.db.lines.guard(ctx, l.conn)()
	var freed bool
	err := l.conn.QueryRowContext(ctx, `select pg_advisory_unlock(`+lockKey+`)`, l.job).Scan(&freed)
	if err != nil || !freed {
		// Back in the pool it would hold the lock for as long as it lives.
		l.conn.Raw(func(any) error { return driver.ErrBadConn })
	}
	l.conn.Close()
}

// lease is a lock in an SQLite file: a row that its holder renews.
type lease struct {
	db     *DB
	job    string
	holder string
}

func (db *DB) lockLease(ctx context.Context, job string) (jobLock, error) {
	l := &lease{db, job, rand.Text()}
	got := false
	err := db.tend(ctx, "lock a job", func(t *tx) error {
		now := db.now()
		// One that ends too far ahead was taken by a clock that was wrong.
		n, err := t.count(`
			insert into job_locks (name, holder, until)
			values (?, ?, ?)
			on conflict (name) do update set holder = excluded.holder, until = excluded.until
			where job_locks.until < ? or job_locks.until > excluded.until`,
			job, l.holder, instant(now.Add(leaseTime)), instant(now))
		got = n > 0
		return err
	})
	if err != nil || !got {
		return nil, err
	}
	return l, nil
}

func (l *lease) holds(ctx context.Context) bool {
	held := false
	err := l.db.tend(ctx, "renew a job's lock", func(t *tx) error {
		n, err := t.count(`update job_locks set until = ? where name = ? and holder = ?`,
			instant(l.db.now().Add(leaseTime)), l.job, l.holder)
		held = n > 0
		return err
	})
	return err == nil && held
}

func (l *lease) release(ctx context.Context) {
	// Left behind it ends by itself.
	l.db.tend(ctx, "free a job's lock", func(t *tx) error {
		_, err := t.exec(`delete from job_locks where name = ? and holder = ?`, l.job, l.holder)
		return err
	})
}
