package store

import (
	"cmp"
	"context"
	"database/sql/driver"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/jmoiron/sqlx"
	"github.com/lib/pq"
)

// statement is one of several that go to a server in one message: each message by
// itself is a way there and back, which takes the two ends more than most statements do.
type statement struct {
	query string // with ? for each of args
	args  []any
	scan  func(r *sqlx.Rows) error // its rows; nil = it returns none
}

// later runs a statement whose outcome nobody waits for. To a server it goes with the
// next that somebody waits for, or before the transaction ends: it fails there.
func (t *tx) later(query string, args ...any) error { return t.laterEach(nil, query, args...) }

// laterEach is later of a statement that returns rows.
func (t *tx) laterEach(scan func(r *sqlx.Rows) error, query string, args ...any) error {
	switch {
	case t.db.dialect == Postgres:
		query, args = t.ready(query, args)
		t.waiting = append(t.waiting, statement{query, args, scan})
		return nil
	case scan == nil:
		_, err := t.exec(query, args...)
		return err
	}
	return t.each(scan, query, args...)
}

// gather runs f, which asks for rows by each; a server gets all of it in one message
// once f has returned, and rows are scanned then.
func (t *tx) gather(f func() error) error {
	if t.gathering || t.db.dialect == SQLite {
		return f()
	}
	before := len(t.waiting)
	if err := t.asking(f); err != nil {
		t.waiting = t.waiting[:before]
		return err
	}
	return t.send()
}

func (t *tx) asking(f func() error) error {
	t.gathering = true
	defer func() { t.gathering = false }()
	return f()
}

// send sends what waits.
func (t *tx) send() error {
	err := t.sendAll()
	if t.db.whole { // also where who asked passes over it
		t.failed = cmp.Or(t.failed, err)
	}
	return err
}

func (t *tx) sendAll() error {
	all := t.waiting
	t.waiting = nil
	switch {
	case len(all) == 0:
		return nil
	case len(all) == 1 && all[0].scan == nil:
		_, err := t.ExecContext(t.ctx, t.Rebind(all[0].query), all[0].args...)
		return err
	case len(all) == 1:
		rows, err := t.QueryxContext(t.ctx, t.Rebind(all[0].query), all[0].args...)
		if err != nil {
			return err
		}
		return eachRow(rows, all[0].scan)
	}
	rows, err := t.QueryxContext(context.WithValue(t.ctx, parcelKey{}, all), "")
	if err != nil {
		return err
	}
	defer rows.Close()
	sets := 0
	for _, s := range all {
		if s.scan == nil {
			continue
		}
		if sets++; sets > 1 && !rows.NextResultSet() {
			return cmp.Or(rows.Err(), errors.New("the server answers less than it was asked"))
		}
		for rows.Next() {
			if err := s.scan(rows); err != nil {
				return err
			}
		}
	}
	return rows.Err()
}

// sendLast has what waits go with the end of the transaction, which is to follow.
func (t *tx) sendLast() error {
	last := t.waiting
	if len(last) == 0 || slices.ContainsFunc(last, func(s statement) bool { return s.scan != nil }) {
		return t.send()
	}
	t.waiting = nil
	rows, err := t.QueryContext(context.WithValue(t.ctx, lastKey{}, last), "")
	if err != nil {
		return err
	}
	return rows.Close()
}

// parcelKey is of the context's []statement that are asked together.
type parcelKey struct{}

// lastKey is of the context's []statement that go with the end of the transaction.
type lastKey struct{}

// named is a statement that is prepared under a name.
type named struct {
	name string
	used int // when it was last asked for
}

// ask sends statements in one message and returns the rows of those that have some, a
// result set each.
func (c *keeper) ask(ctx context.Context, all []statement) (driver.Rows, error) {
	run, err := c.message(ctx, all, "")
	if err != nil {
		return nil, err
	}
	rows, err := c.Conn.(driver.QueryerContext).QueryContext(ctx, run, nil)
	if err != nil {
		return nil, c.look(err)
	}
	return &askedRows{rows.(driver.RowsNextResultSet), c}, nil
}

// lastWords are the last statements of a transaction, prepared, and its end.
type lastWords struct {
	ctx context.Context // database/sql has none for a commit
	run string
}

// take keeps the last statements of a transaction for its end.
func (c *keeper) take(ctx context.Context, last []statement) (driver.Rows, error) {
	run, err := c.message(ctx, last, "COMMIT")
	if err != nil {
		return nil, err
	}
	c.last = &lastWords{ctx, run}
	return noRows{}, nil
}

// serverTx is a transaction whose last statements may go with its end.
type serverTx struct {
	driver.Tx
	of *keeper
}

func (x serverTx) Commit() error {
	last := x.of.last
	x.of.last = nil
	if last == nil {
		return x.Tx.Commit()
	}
	_, err := x.of.Conn.(driver.ExecerContext).ExecContext(last.ctx, last.run, nil)
	if err != nil && x.of.IsValid() { // the transaction is there yet
		x.of.stale = x.Tx.Rollback() != nil || x.of.stale
	}
	return x.of.look(err)
}

func (x serverTx) Rollback() error {
	x.of.last = nil
	return x.Tx.Rollback()
}

// message returns what runs statements, and then end. They are prepared on the connection, as others
// are, by names that no other connection gives: should a pooler between have changed
// servers, the next knows none of them, and not another under the same name. The driver binds values to
// one statement a message; here they are written out as it sends them: as text, of the
// type of their parameter.
func (c *keeper) message(ctx context.Context, all []statement, end string) (string, error) {
	var prepare []byte
	run := c.buffer[:0]
	fresh, before := map[string]*named{}, c.asked
	for _, s := range all {
		k := cmp.Or(c.named[s.query], fresh[s.query])
		if k == nil {
			c.names++
			k = &named{name: c.own + strconv.Itoa(c.names)}
			fresh[s.query] = k
			prepare = append(prepare, "prepare "+k.name+" as "+sqlx.Rebind(sqlx.DOLLAR, s.query)+";\n"...)
		}
		c.asked++
		k.used = c.asked
		var err error
		if run, err = c.appendRun(run, k.name, s.args); err != nil {
			return "", fmt.Errorf("%s: %w", cut(strings.Join(strings.Fields(s.query), " "), 40), err)
		}
	}
	if len(fresh) > 0 {
		prepare = c.forgetNamed(prepare, len(c.named)+len(fresh)-maxKept, before)
		if _, err := c.Conn.(driver.ExecerContext).ExecContext(ctx, string(prepare), nil); err != nil {
			c.stale = true // some may be prepared
			return "", err
		}
		maps.Copy(c.named, fresh)
	}
	if run = append(run, end...); cap(run) <= maxBuffer {
		c.buffer = run
	}
	return string(run), nil
}

// maxBuffer is how much room a connection keeps for its next message, in bytes: more than
// an upload of one vehicle takes.
const maxBuffer = 256 << 10

// forgetNamed adds to a message what forgets the n statements that were asked for
// longest ago, those after before excepted.
func (c *keeper) forgetNamed(b []byte, n, before int) []byte {
	for ; n > 0; n-- {
		query, k := oldest(c.named, func(k *named) (used int, free bool) { return k.used, k.used <= before })
		if k == nil {
			break
		}
		b = append(b, "deallocate "+k.name+";\n"...)
		delete(c.named, query)
	}
	return b
}

func (c *keeper) appendRun(b []byte, name string, args []any) ([]byte, error) {
	b = append(append(b, "execute "...), name...)
	for i, arg := range args {
		v := driver.NamedValue{Ordinal: i + 1, Value: arg}
		err := c.CheckNamedValue(&v)
		if errors.Is(err, driver.ErrSkip) {
			v.Value, err = driver.DefaultParameterConverter.ConvertValue(arg)
		}
		if err == nil {
			b, err = appendLiteral(append(b, "(,"[min(i, 1)]), v.Value)
		}
		if err != nil {
			return nil, fmt.Errorf("parameter %d: %w", i+1, err)
		}
	}
	if len(args) > 0 {
		b = append(b, ')')
	}
	return append(b, ";\n"...), nil
}

// appendLiteral appends a value as SQL of PostgreSQL: a literal of no type yet, such as
// a parameter sent as text is. Bytes are those of a bytea.
func appendLiteral(b []byte, v driver.Value) ([]byte, error) {
	switch v := v.(type) {
	case nil:
		return append(b, "null"...), nil
	case int64:
		b = strconv.AppendInt(append(b, '\''), v, 10)
	case float64:
		b = strconv.AppendFloat(append(b, '\''), v, 'f', -1, 64)
	case bool:
		b = strconv.AppendBool(append(b, '\''), v)
	case time.Time:
		b = append(append(b, '\''), pq.FormatTimestamp(v)...)
	case []byte:
		if v == nil {
			return append(b, "null"...), nil
		}
		b = hex.AppendEncode(append(b, ` E'\\x`...), v)
	case string:
		if !storable(v) { // it would end the message
			return nil, fmt.Errorf("text %q is none", v)
		}
		if !strings.ContainsAny(v, `'\`) {
			b = append(append(b, '\''), v...)
			break
		}
		return append(b, pq.QuoteLiteral(v)...), nil
	default:
		return nil, fmt.Errorf("a value of type %T", v)
	}
	return append(b, '\''), nil
}

// askedRows look at what comes of later statements of a message: see keeper.look.
type askedRows struct {
	driver.RowsNextResultSet
	of *keeper
}

func (r *askedRows) Next(dest []driver.Value) error { return r.of.look(r.RowsNextResultSet.Next(dest)) }

// noRows are of what is not asked yet.
type noRows struct{}

func (noRows) Columns() []string         { return nil }
func (noRows) Close() error              { return nil }
func (noRows) Next([]driver.Value) error { return io.EOF }
