package store

import (
	"context"
	"slices"
	"sync"
)

// ManyWriters says whether several may write at a time, each for as long as it likes.
func (db *DB) ManyWriters() bool { return db.dialect == Postgres }

// Holding calls fn with a DB while nobody else holds any of some vehicles: who reads
// them, works something out and keeps it has read what was stored last. On a server
// all of it is one transaction. An SQLite file is not kept from who writes to it by
// who works something out; there vehicles are held within the process.
func (db *DB) Holding(ctx context.Context, what string, vehicles []int64, fn func(db *DB) error) error {
	if db.dialect == Postgres || db.within != nil {
		return db.Together(ctx, what, func(together *DB) error {
			if err := together.HoldVehicles(ctx, vehicles); err != nil {
				return err
			}
			return fn(together)
		})
	}
	release, err := db.held.hold(ctx, vehicles)
	if err != nil {
		return wrap(ctx, what, err)
	}
	defer release()
	return fn(db)
}

// HoldVehicles holds vehicles until the transaction of db ends.
func (db *DB) HoldVehicles(ctx context.Context, ids []int64) error {
	if db.dialect != Postgres { // who writes to a file holds all that is in it
		return nil
	}
	return db.tend(ctx, "hold vehicles", func(t *tx) error {
		var w where
		w.among("id", ids)
		_, err := t.exec(`
			select 1
			from vehicles`+w.String()+`
			order by id
			for no key update`, w.args...)
		return err
	})
}

// held are the vehicles that somebody in the process holds, each with what is
// closed when it is let go.
type held struct {
	mu sync.Mutex
	of map[int64]chan struct{}
}

func newHeld() *held { return &held{of: map[int64]chan struct{}{}} }

// hold waits for vehicles, all in the same order, so that nobody waits for who waits
// for him.
func (h *held) hold(ctx context.Context, ids []int64) (release func(), err error) {
	ids = slices.Compact(slices.Sorted(slices.Values(ids)))
	for i, id := range ids {
		if err := h.one(ctx, id); err != nil {
			h.release(ids[:i])
			return nil, err
		}
	}
	return func() { h.release(ids) }, nil
}

func (h *held) one(ctx context.Context, id int64) error {
	for {
		h.mu.Lock()
		other, busy := h.of[id]
		if !busy {
			h.of[id] = make(chan struct{})
			h.mu.Unlock()
			return nil
		}
		h.mu.Unlock()
		select {
		case <-other:
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

func (h *held) release(ids []int64) {
	h.mu.Lock()
	defer h.mu.Unlock()
	for _, id := range ids {
		close(h.of[id])
		delete(h.of, id)
	}
}
