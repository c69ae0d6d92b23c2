package store

import (
	"cmp"
	"context"
	"errors"
	"maps"
)

// errTried ends the transaction of a trial.
var errTried = errors.New("tried")

// Trial calls fn with a DB on which it may do anything: what it did is undone
// when it returns. What is written there is seen there, and there only. The
// trial's DB is for one goroutine, and holds an SQLite file's only writer.
func (db *DB) Trial(ctx context.Context, fn func(trial *DB) error) error {
	release, err := db.uploadSlot(ctx)
	if err != nil {
		return err
	}
	defer release()
	if db.whole { // a trial is undone, and what it is a part of goes on
		parted := *db
		parted.whole = false
		db = &parted
	}
	var own error // of fn
	err = db.tend(ctx, "try", func(t *tx) error {
		trial := *db
		trial.within = t
		t.db = &trial
		own = fn(&trial)
		if own == nil {
			own = wrap(ctx, "try", t.send())
		}
		if own != nil {
			return own
		}
		return errTried
	})
	if own != nil {
		return own
	}
	if errors.Is(err, errTried) {
		return nil
	}
	return err
}

// Together calls fn with a DB on which all that is done is one transaction: what
// fn stored is undone when it fails, or when anything done on the DB failed. The DB
// is for one goroutine, and holds an SQLite file's only writer.
func (db *DB) Together(ctx context.Context, what string, fn func(together *DB) error) error {
	if db.within != nil {
		return fn(db)
	}
	return db.tendBy(ctx, byKeys(), what, func(t *tx) error {
		together := *db
		together.within, together.whole = t, true
		t.db = &together
		return cmp.Or(fn(&together), t.failed)
	})
}

// Trying says whether what is done on db is undone, as in a trial.
func (db *DB) Trying() bool { return db.Tentative() && !db.whole }

// Tentative says whether what is done on db may be undone yet, as in a trial.
func (db *DB) Tentative() bool { return db.within != nil && !db.reading }

// nested runs f in a part of the trial's transaction that is undone when f
// fails, as a transaction of its own would be; or that ends the whole when it
// fails, and needs no savepoint.
func (db *DB) nested(ctx context.Context, what string, f func(t *tx) error) (err error) {
	t := db.within
	if db.whole {
		err := wrap(ctx, what, f(t))
		t.failed = cmp.Or(t.failed, err)
		return err
	}
	staged, few := maps.Clone(t.staged), maps.Clone(t.few)
	byKey, plansKept := t.byKey, t.plansKept // settings are undone as well
	if _, err := t.exec(`savepoint part`); err != nil {
		return wrap(ctx, what, err)
	}
	done := false
	defer func() {
		if !done { // also when f panics
			t.staged, t.few, t.waiting = staged, few, nil
			t.byKey, t.plansKept = byKey, plansKept
			_, rerr := t.exec(`rollback to savepoint part`)
			err = errors.Join(err, wrap(ctx, what, rerr))
		}
	}()
	if err := f(t); err != nil {
		return wrap(ctx, what, err)
	}
	if _, err := t.exec(`release savepoint part`); err != nil {
		return wrap(ctx, what, err)
	}
	done = true
	return nil
}

// uploadSlot waits until one more upload may be taken in; release lets the
// next one. A trial has its slot already.
func (db *DB) uploadSlot(ctx context.Context) (release func(), err error) {
	if db.within != nil {
		return func() {}, nil
	}
	select {
	case db.uploads <- struct{}{}:
		return func() { <-db.uploads }, nil
	case <-ctx.Done():
		return nil, wrap(ctx, "wait for other uploads", ctx.Err())
	}
}

// SmallUpload waits until one more small upload may be under way, from its first
// row to its vehicles' new forecasts, first come, first served; end lets the next
// one. More at once are no faster together: they would meet at each of the dozen
// things they wait for, and the slowest would take twice as long as most.
func (db *DB) SmallUpload(ctx context.Context) (end func(), err error) {
	if db.within != nil {
		return func() {}, nil
	}
	select {
	case db.small <- struct{}{}:
		return func() { <-db.small }, nil
	case <-ctx.Done():
		return nil, wrap(ctx, "wait for other uploads", ctx.Err())
	}
}
