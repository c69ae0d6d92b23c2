package store

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"sync"
	"sync/atomic"

	"github.com/jmoiron/sqlx"

	"brakewear/internal/auth"
)

// ManyWriters says whether several may write at a time, each for as long as it likes.
func (db *DB) ManyWriters() bool { return db.dialect == Postgres }

// Holding calls fn with a DB while nobody else holds any of some vehicles: of those who
// read them, work something out and keep it, who keeps it last has read what was stored
// last. A refit of many vehicles holds them only while it keeps what it worked out, see
// pipeline.Refit. On a server all of it is one transaction. An SQLite file is not kept
// from who writes to it by who works something out; there vehicles are held within the
// process, before anybody waits for the writer.
func (db *DB) Holding(ctx context.Context, what string, vehicles []int64, fn func(db *DB) error) error {
	if db.dialect == Postgres || db.within != nil {
		return db.Together(ctx, what, func(together *DB) error {
			if err := together.HoldVehicles(ctx, vehicles); err != nil {
				return err
			}
			if err := together.within.send(); err != nil {
				return err
			}
			return fn(together)
		})
	}
	holding, release, err := db.hold(ctx, what, vehicles, db.sights.now())
	if err != nil {
		return err
	}
	defer release()
	return fn(holding)
}

// hold returns a DB of who holds vehicles of an SQLite file until release, and has read
// nothing of them before a sight.
func (db *DB) hold(ctx context.Context, what string, vehicles []int64, since sight) (holding *DB, release func(), err error) {
	release, err = db.held.hold(ctx, vehicles)
	if err != nil {
		return nil, nil, wrap(ctx, what, err)
	}
	own := *db
	own.holding = &since
	return &own, release, nil
}

// HoldNumbered finds the vehicles of numbers in an SQLite file and holds them until
// release, where they are up to few: see Holding.
func (db *DB) HoldNumbered(ctx context.Context, sc auth.Scope, numbers []string, few int) (vs map[string][]VehicleKey, holding *DB, release func(), err error) {
	since := db.sights.now()
	if vs, err = db.VehiclesNumbered(ctx, sc, numbers); err != nil {
		return nil, nil, nil, err
	}
	ids := IDsOf(vs)
	if len(ids) > few {
		return vs, db, func() {}, nil
	}
	holding, release, err = db.hold(ctx, "hold vehicles", ids, since)
	return vs, holding, release, err
}

// sight is how far an SQLite file has been written to, but for what is written by those
// of this process who hold the vehicles that it is of.
type sight struct {
	others string // by other processes, as far as the writer has seen
	writes uint64 // by this process
}

// sights keeps the last sight of a file.
type sights struct {
	opened atomic.Int64 // connections that write: only what one of them counts compares

	mu   sync.Mutex
	last sight
}

func (s *sights) now() sight {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.last
}

// written tells that somebody who holds no vehicles wrote, before the next may.
func (s *sights) written() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.last.writes++
}

// Unwritten says whether nobody has written to an SQLite file, but for other vehicles that
// he held, since who holds some began to read them: so he knows all that is stored of
// his. db is within a transaction of who holds them.
func (db *DB) Unwritten(ctx context.Context) (unwritten bool, err error) {
	err = db.tend(ctx, "see what others wrote", func(t *tx) error {
		var n int64 // of commits by others, https://sqlite.org/pragma.html#pragma_data_version
		if err := t.one([]any{&n}, `select data_version from pragma_data_version`); err != nil {
			return err
		}
		s := db.sights
		s.mu.Lock()
		defer s.mu.Unlock()
		s.last.others = fmt.Sprintf("%d %d", s.opened.Load(), n)
		unwritten = s.last == *db.holding
		return nil
	})
	return unwritten, err
}

// heldVehicle begins the number of the lock of a vehicle, behind which its id is.
const heldVehicle = 1 << 56

// HoldVehicles holds vehicles until the transaction of db ends, from the next that it
// asks for on. Their rows are anybody's to change: a file that names all vehicles takes
// minutes, and nobody is to wait for it. Of an SQLite file it holds nothing: see Holding.
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
		held := func(*sqlx.Rows) error { return nil }
		return t.laterEach(held, `
			select pg_advisory_xact_lock(number)
			from (values `+strings.Repeat(", (CAST(? AS bigint))", len(ids))[2:]+`) vehicles(number)`, locks...)
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
