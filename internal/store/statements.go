package store

import (
	"context"
	"crypto/rand"
	"database/sql/driver"
	"errors"
	"math"
	"strings"
	"sync/atomic"

	"github.com/lib/pq"
)

// keeper is a connection that keeps the statements it has prepared: reading and
// planning the same text of SQL anew took half of the time of an upload of one
// reading. It is for one goroutine at a time, as database/sql has it.
type keeper struct {
	driver.Conn
	server bool // a PostgreSQL server's
	kept   map[string]*keptStmt
	named  map[string]*named // see message
	own    string            // what their names begin with
	names  int               // given so far
	last   *lastWords        // see serverTx
	buffer []byte            // of the last message
	asked  int               // how often a statement was asked for
	stale  bool              // the server knows a statement no more as it was
}

// keptStmt is a statement that stays prepared.
type keptStmt struct {
	driver.Stmt
	busy bool // its rows are being read
	used int  // when it was last asked for
}

const (
	// maxKept is how many statements a connection keeps: what an upload and the
	// pages ask for, twice over. One takes some 20 kB of an SQLite connection.
	maxKept = 200
	// maxKeptText keeps out what is asked for with hundreds of parameters, which
	// seldom are as many a second time.
	maxKeptText = 16 << 10
)

func keep(conn driver.Conn, server bool) *keeper {
	return &keeper{Conn: conn, server: server, kept: map[string]*keptStmt{}, named: map[string]*named{}, own: "k" + rand.Text() + "_"}
}

// lasting says whether a statement is worth keeping. On a server one without
// parameters takes one round trip either way.
func (c *keeper) lasting(query string, args []driver.NamedValue) bool {
	if len(query) > maxKeptText || c.server && len(args) == 0 {
		return false
	}
	query = strings.TrimLeft(query, " \t\n")
	switch query[:max(0, strings.IndexAny(query, " \t\n"))] {
	case "select", "with", "insert", "update", "delete", "savepoint", "release", "rollback":
		return true
	}
	return !c.server && strings.HasPrefix(query, "create temp ") // a stage, which stays with the connection
}

// statement returns a prepared statement of the query; nil where it is better
// run without one.
func (c *keeper) statement(ctx context.Context, query string, args []driver.NamedValue) (*keptStmt, error) {
	s := c.kept[query]
	if s == nil {
		if !c.lasting(query, args) {
			return nil, nil
		}
		if len(c.kept) >= maxKept {
			if err := c.forget(); err != nil {
				return nil, err
			}
		}
		p, err := c.Conn.(driver.ConnPrepareContext).PrepareContext(ctx, query)
		if err != nil {
			return nil, err
		}
		s = &keptStmt{Stmt: p}
		c.kept[query] = s
	}
	if s.busy {
		return nil, nil
	}
	c.asked++
	s.used = c.asked
	return s, nil
}

// forget closes the statement that was asked for longest ago.
func (c *keeper) forget() error {
	query, s := oldest(c.kept, func(s *keptStmt) (used int, free bool) { return s.used, !s.busy })
	if s == nil {
		return nil // all are being read
	}
	delete(c.kept, query)
	return s.Close()
}

// oldest returns the statement that was used longest ago of those that are free; nil =
// none is.
func oldest[S any](all map[string]*S, look func(*S) (used int, free bool)) (query string, s *S) {
	least := math.MaxInt
	for q, x := range all {
		if used, free := look(x); free && used < least {
			query, s, least = q, x, used
		}
	}
	return query, s
}

// look looks at what came of a prepared statement. A table that was migrated
// meanwhile, or a pooler between that changed servers, ends the use of a
// connection: on the next it is prepared anew.
func (c *keeper) look(err error) error {
	if e, ok := errors.AsType[*pq.Error](err); ok && outdated(string(e.Code)) {
		c.stale = true
	}
	return err
}

func (c *keeper) ExecContext(ctx context.Context, query string, args []driver.NamedValue) (driver.Result, error) {
	s, err := c.statement(ctx, query, args)
	if err != nil {
		return nil, err
	}
	if s == nil {
		return c.Conn.(driver.ExecerContext).ExecContext(ctx, query, args)
	}
	res, err := s.Stmt.(driver.StmtExecContext).ExecContext(ctx, args)
	return res, c.look(err)
}

func (c *keeper) QueryContext(ctx context.Context, query string, args []driver.NamedValue) (driver.Rows, error) {
	if all, ok := ctx.Value(parcelKey{}).([]statement); ok {
		return c.ask(ctx, all)
	}
	if last, ok := ctx.Value(lastKey{}).([]statement); ok {
		return c.take(ctx, last)
	}
	s, err := c.statement(ctx, query, args)
	if err != nil {
		return nil, err
	}
	if s == nil {
		return c.Conn.(driver.QueryerContext).QueryContext(ctx, query, args)
	}
	rows, err := s.Stmt.(driver.StmtQueryContext).QueryContext(ctx, args)
	if err != nil {
		return nil, c.look(err)
	}
	s.busy = true
	return &keptRows{rows, s}, nil
}

// PrepareContext prepares a statement for the caller, who closes it: that of a file is
// kept for the next who asks.
func (c *keeper) PrepareContext(ctx context.Context, query string) (driver.Stmt, error) {
	if !c.server {
		s, err := c.statement(ctx, query, nil)
		if err != nil {
			return nil, err
		}
		if s != nil {
			s.busy = true
			return lentStmt{s}, nil
		}
	}
	s, err := c.Conn.(driver.ConnPrepareContext).PrepareContext(ctx, query)
	if err != nil {
		return nil, err
	}
	return copyingOf(query, s), nil
}

func (c *keeper) Ping(ctx context.Context) error { return c.Conn.(driver.Pinger).Ping(ctx) }

func (c *keeper) ResetSession(ctx context.Context) error {
	return c.Conn.(driver.SessionResetter).ResetSession(ctx)
}

func (c *keeper) IsValid() bool { return !c.stale && c.Conn.(driver.Validator).IsValid() }

// CheckNamedValue leaves it to database/sql where the driver has nothing to say.
func (c *keeper) CheckNamedValue(v *driver.NamedValue) error {
	if checker, ok := c.Conn.(driver.NamedValueChecker); ok {
		return checker.CheckNamedValue(v)
	}
	return driver.ErrSkip
}

// Close closes the connection. The statements of a file go first, or it would
// stay open; a server drops them with the connection.
func (c *keeper) Close() error {
	var errs []error
	if !c.server {
		for _, s := range c.kept {
			errs = append(errs, s.Close())
		}
	}
	clear(c.kept)
	return errors.Join(append(errs, c.Conn.Close())...)
}

// lentStmt is a kept statement that somebody uses until he closes it.
type lentStmt struct{ *keptStmt }

func (s lentStmt) Close() error {
	s.busy = false
	return nil
}

func (s lentStmt) ExecContext(ctx context.Context, args []driver.NamedValue) (driver.Result, error) {
	return s.Stmt.(driver.StmtExecContext).ExecContext(ctx, args)
}

// keptRows are the rows of a kept statement, which is free again when they are
// closed.
type keptRows struct {
	driver.Rows
	of *keptStmt
}

func (r *keptRows) Close() error {
	r.of.busy = false
	return r.Rows.Close()
}

// keeping opens connections to an SQLite file that keep their statements.
type keeping struct {
	driver.Connector
	opened *atomic.Int64 // how many
}

func (k keeping) Connect(ctx context.Context) (driver.Conn, error) {
	conn, err := k.Connector.Connect(ctx)
	if err != nil {
		return nil, err
	}
	k.opened.Add(1)
	return keep(conn, false), nil
}
