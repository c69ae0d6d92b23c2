package store

import (
	"context"
	"slices"
	"strings"
	"sync"
)

// ManyWriters says whether several may write at a time, each for as long as it likes.
func (db *DB) ManyWriters() bool { return db.dialect == Postgres }

// Holding calls fn with a DB while nobody else holds any of some vehicles: of those who
// read them, work something out and keep it, who keeps it last has read what was stored
// last. A refit of many vehicles holds none, see pipeline.Refit. On a server all of it is
// one transaction. An SQLite file is not kept from who writes to it by who works
// something out; there vehicles are held within the process.
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

// heldVehicle begins the number of the lock of a vehicle, behind which its id is.
const heldVehicle = 1 << 56

// HoldVehicles holds vehicles until the transaction of db ends. Their rows are anybody's
// to change: a file that names all vehicles takes minutes, and nobody is to wait for it.
func (db *DB) HoldVehicles(ctx context.Context, ids []int64) error {
	ids = inOrder(ids)
	if db.dialect != Postgres || len(ids) == 0 { // who writes to a file holds all that is in it
		return nil
	}
	return db.tend(ctx, "hold vehicles", func(t *tx) error {
		locks := make([]any, len(ids))
		for i, id := range ids {
			locks[i] = heldVehicle + id
		}
		_, err := t.exec(`
			select pg_advisory_xact_lock(number)
			from (values `+strings.Repeat(", (CAST(? AS bigint))", len(ids))[2:]+`) vehicles(number)`, locks...)
		return err
	})
}

// inOrder returns ids in the order in which all who hold several wait for them, so that
// nobody waits for who waits for him.
func inOrder(ids []int64) []int64 { return slices.Compact(slices.Sorted(slices.Values(ids))) }

// held are the vehicles that somebody in the process holds, each with what is
// closed when it is let go.
type held struct {
	mu sync.Mutex
	of map[int64]chan struct{}
}

func newHeld() *held { return &held{of: map[int64]chan struct{}{}} }

// hold waits for vehicles.
func (h *held) hold(ctx context.Context, ids []int64) (release func(), err error) {
	ids = inOrder(ids)
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
