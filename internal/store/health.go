package store

import (
	"context"
	"time"

	"github.com/jmoiron/sqlx"
)

// Answers says whether the database answers, by a connection that reads: those
// that write may be taken by a large upload for long, which is no fault.
func (db *DB) Answers(ctx context.Context) error {
	return db.read(ctx, "reach the database", func(t *tx) error {
		var n int
		return t.one([]any{&n}, `select count(*) from (select 1 from depots limit 1) d`)
	})
}

// Pool is how the connections of this process stand.
type Pool struct {
	Name   string // "read", "write", or "all" where they are not told apart
	Limit  int    // connections at a time
	InUse  int
	Idle   int
	Waits  int64 // times that one had to be waited for
	Waited time.Duration
}

// Pools returns the pools of connections.
func (db *DB) Pools() []Pool {
	if db.r == db.w {
		return []Pool{poolOf("all", db.w)}
	}
	return []Pool{poolOf("read", db.r), poolOf("write", db.w)}
}

func poolOf(name string, x *sqlx.DB) Pool {
	s := x.Stats()
	return Pool{Name: name, Limit: s.MaxOpenConnections, InUse: s.InUse, Idle: s.Idle, Waits: s.WaitCount, Waited: s.WaitDuration}
}
