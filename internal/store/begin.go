package store

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"github.com/jmoiron/sqlx"

	"brakewear/internal/fleet"
)

// opening is what a transaction begins with: on a server in the one message that
// begins it, for each more is a way there and back.
type opening struct {
	opt      *sql.TxOptions
	settings []string // "name = value", of a server until the transaction ends
	byKey    bool     // see byKeys
	seen     bool     // ask what the transaction sees, into version
	version  string   // see DB.Version; of a server alone
}

// joinByIndex keeps PostgreSQL from reading whole tables to join them with a
// few thousand rows. It knows too little of temporary tables and of rows just
// written to see that looking each up by its key is cheaper, and a large
// upload would take time in the square of its length.
var joinByIndex = []string{"enable_hashjoin = off", "enable_mergejoin = off"}

// byRound is how a server reads histories. One round by itself would be no slower
// with a table read whole; all the rounds together would. And it is too small for
// processes of its own on the server: a refit of 20,480 vehicles took 29 core-seconds
// there with them, and 21 without.
var byRound = append([]string{"enable_seqscan = off", "max_parallel_workers_per_gather = 0"}, joinByIndex...)

// byKeys begins a transaction that finds by keys what it works on, whose plan is the
// same for all values: a server keeps it. To plan the statements of an upload of one
// reading each time took more than half of the server's time for it. As a plan may be
// kept from when the tables were empty, it has to use their indexes then, too.
func byKeys() *opening {
	return &opening{settings: append(slices.Clip(byRound), keepPlans), byKey: true}
}

// A connection keeps its plans, for what is asked outside of a transaction is found by
// keys; a transaction that is not byKeys plans each statement for the tables as they
// are, and not as they were when it was prepared: an import into empty ones would read
// them from end to end once they are full.
const (
	keepPlans = "plan_cache_mode = force_generic_plan"
	planAnew  = "plan_cache_mode = force_custom_plan"
)

// set returns what the transaction begins with being set to.
func (o *opening) set() []string {
	if o.byKey {
		return o.settings
	}
	return append(slices.Clip(o.settings), planAnew)
}

// byValues has a transaction that was begun for what is found by keys plan as others do.
var byValues = []string{planAnew, "enable_seqscan to default", "max_parallel_workers_per_gather to default"}

// set sets what a transaction under way goes by from now on.
func (t *tx) set(settings []string) error {
	if t.db.dialect != Postgres {
		return nil
	}
	_, err := t.exec(setting(settings))
	return err
}

func setting(settings []string) string {
	return "set local " + strings.Join(settings, "; set local ")
}

// trace tells that a transaction begins: what others have set ends here.
func (o *opening) trace(ctx context.Context) {
	trace(ctx, "begin", nil)
	trace(ctx, setting(o.set()), nil)
	if o.seen {
		trace(ctx, snapshotQuery, nil)
	}
}

// openingKey is of the context's *opening that a transaction begins with.
type openingKey struct{}

// BeginTx begins a transaction with its opening.
//
// A server's driver is given no context that ends: it would watch it until the
// transaction ends, and wait for that watch again at the end of each later one of the
// connection, which it has not begun itself. Each statement ends with its own context.
func (c *keeper) BeginTx(ctx context.Context, opt driver.TxOptions) (driver.Tx, error) {
	if !c.server {
		return c.Conn.(driver.ConnBeginTx).BeginTx(ctx, opt)
	}
	o, ok := ctx.Value(openingKey{}).(*opening)
	if !ok {
		return c.Conn.(driver.ConnBeginTx).BeginTx(context.WithoutCancel(ctx), opt)
	}
	begin := "begin"
	switch level := sql.IsolationLevel(opt.Isolation); level {
	case sql.LevelDefault:
	case sql.LevelRepeatableRead:
		begin += " isolation level repeatable read"
	default:
		return nil, fmt.Errorf("begin a transaction: no isolation level %s", level)
	}
	if opt.ReadOnly {
		begin += " read only"
	} else {
		begin += " read write"
	}
	begin += "; " + setting(o.set())
	if o.seen {
		begin += "; " + snapshotQuery
	}
	err := c.open(ctx, begin, o)
	if err != nil {
		// What came after the beginning may have failed, and left it begun.
		if c.IsValid() {
			if _, rerr := c.Conn.(driver.ExecerContext).ExecContext(ctx, "rollback", nil); rerr != nil {
				c.stale = true
				err = errors.Join(err, rerr)
			}
		}
		return nil, err
	}
	return serverTx{c.Conn.(driver.Tx), c}, nil
}

// open runs the text that a transaction begins with.
func (c *keeper) open(ctx context.Context, begin string, o *opening) (err error) {
	if !o.seen {
		_, err := c.Conn.(driver.ExecerContext).ExecContext(ctx, begin, nil)
		return err
	}
	rows, err := c.Conn.(driver.QueryerContext).QueryContext(ctx, begin, nil)
	if err != nil {
		return err
	}
	defer func() {
		if cerr := rows.Close(); err == nil {
			err = cerr
		}
	}()
	row := make([]driver.Value, 1)
	if err := rows.Next(row); err == io.EOF {
		return errors.New("what a transaction sees: the server says nothing")
	} else if err != nil {
		return err
	}
	o.version = fmt.Sprintf("%s", row[0])
	return nil
}

// begin begins a transaction; end undoes it, unless it was committed.
func (db *DB) begin(ctx context.Context, pool *sqlx.DB, o *opening) (x *sqlx.Tx, end func(), err error) {
	if db.dialect == SQLite {
		leave := func() {}
		if pool == db.w { // first come, first served, as who reads: see turn
			select {
			case db.writes <- struct{}{}:
				leave = func() {
					if db.holding == nil {
						db.sights.written()
					}
					<-db.writes
				}
			case <-ctx.Done():
				return nil, nil, ctx.Err()
			}
		}
		for last := time.Now().Add(busyTimeout); ; {
			x, err := pool.BeginTxx(ctx, o.opt)
			if err == nil {
				return x, func() { x.Rollback(); leave() }, nil
			}
			if !busy(err) || ctx.Err() != nil || time.Now().After(last) {
				leave()
				return nil, nil, err
			}
		}
	}
	// All the connections of the pool may be of a server that has restarted
	// since: a transaction that has not begun may begin on the next.
	for try := 0; ; try++ {
		x, end, err := db.beginOn(ctx, pool, o)
		if err == nil || try == maxServerConns || ctx.Err() != nil || !errors.Is(err, errStale) {
			return x, end, err
		}
	}
}

// errStale is an error of a connection that was open already.
var errStale = errors.New("connection lost")

// beginOn begins a transaction on a connection to the server.
func (db *DB) beginOn(ctx context.Context, pool *sqlx.DB, o *opening) (x *sqlx.Tx, end func(), err error) {
	conn, err := pool.Connx(ctx)
	if err != nil {
		return nil, nil, err
	}
	release := db.lines.guard(ctx, conn)
	// A transaction of ctx would be rolled back beside a COPY that still reads
	// the connection, as soon as ctx ends. Each statement ends with ctx, and
	// then the transaction.
	x, err = conn.BeginTxx(context.WithValue(context.WithoutCancel(ctx), openingKey{}, o), o.opt)
	if err != nil {
		release()
		if kindOf(err) == fleet.ErrUnavailable {
			err = fmt.Errorf("%w: %w", errStale, err)
		}
		return nil, nil, errors.Join(err, conn.Close())
	}
	o.trace(ctx)
	return x, func() {
		x.Rollback()
		release()
		conn.Close()
	}, nil
}
