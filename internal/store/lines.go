package store

import (
	"context"
	"database/sql/driver"
	"errors"
	"fmt"
	"net"
	"sync"
	"time"

	"github.com/jmoiron/sqlx"
	"github.com/lib/pq"
)

// What a connection to a server is limited by, where neither the URL nor the
// server says otherwise. A request or a job has a limit of its own, by its
// context, which is far below: these are for work whose process has gone
// without the server's noticing.
const (
	// connectTimeout is for reaching the server and signing in.
	connectTimeout = 5 * time.Second
	// statementTimeout is longer than any statement of ours takes, an index
	// over all readings of a large fleet included.
	statementTimeout = time.Hour
	// lockTimeout is how long a statement waits for what another transaction
	// holds: longer than the import of a large file.
	lockTimeout = 5 * time.Minute
	// idleTransaction ends a transaction whose process asks for nothing, such
	// as one that was stopped, so that nobody waits for what it holds.
	idleTransaction = 5 * time.Minute
)

// cutAfter is how long a server may take to give up what it was asked, before
// the connection is cut at our end.
var cutAfter = 2 * time.Second

// lines opens connections to a PostgreSQL server that can be cut. The driver
// asks the server to cancel what it was asked and waits for the answer: of a
// server that stands still there is none.
type lines struct {
	*pq.Connector
	of sync.Map // driver.Conn -> *line
}

// line is what a connection goes over.
type line struct {
	net.Conn
	closed func()
}

func (l *line) Close() error {
	if l.closed != nil {
		l.closed()
	}
	return l.Conn.Close()
}

// cut ends all that waits for the line, now and from now on.
func (l *line) cut() { l.SetDeadline(time.Unix(1, 0)) }

func newLines(dsn string) (*lines, error) {
	cfg, err := pq.NewConfig(dsn)
	if err != nil {
		return nil, err
	}
	if cfg.ConnectTimeout == 0 {
		cfg.ConnectTimeout = connectTimeout
	}
	// A statement with parameters then goes to the server and back once, and
	// not twice.
	cfg.BinaryParameters = true
	c, err := pq.NewConnectorConfig(cfg)
	if err != nil {
		return nil, err
	}
	ls := &lines{Connector: c}
	c.Dialer(ls)
	return ls, nil
}

// lineKey is of the context's *line that a connection is made for.
type lineKey struct{}

// Connect opens a connection.
func (ls *lines) Connect(ctx context.Context) (driver.Conn, error) {
	var l *line
	conn, err := ls.Connector.Connect(context.WithValue(ctx, lineKey{}, &l))
	if err != nil {
		return nil, err
	}
	k := keep(conn, true)
	ls.of.Store(k, l)
	l.closed = func() { ls.of.Delete(k) }
	l.SetDeadline(time.Now().Add(connectTimeout))
	if err := limit(ctx, conn); err != nil {
		return nil, errors.Join(err, conn.Close())
	}
	return k, l.SetDeadline(time.Time{})
}

// limit sets a new connection's limits, where nobody has set any.
//
// It also keeps the server from compiling plans to machine code: while a table
// has no statistics it takes a list's page for far more work than it is, and
// compiling it takes longer than answering.
func limit(ctx context.Context, conn driver.Conn) error {
	x, ok := conn.(driver.ExecerContext)
	if !ok {
		return fmt.Errorf("connection %T: it takes no statements", conn)
	}
	_, err := x.ExecContext(ctx, fmt.Sprintf(`
		select set_config(name, value, false)
		from (values
			('statement_timeout', '%d'),
			('lock_timeout', '%d'),
			('idle_in_transaction_session_timeout', '%d')) limits (name, value)
		where current_setting(name) = '0';
		set jit = off;
		set `+keepPlans,
		statementTimeout.Milliseconds(), lockTimeout.Milliseconds(), idleTransaction.Milliseconds()), nil)
	return err
}

// DialContext dials for the driver; a connection without a place for it is one
// to cancel by, which the driver closes.
func (ls *lines) DialContext(ctx context.Context, network, address string) (net.Conn, error) {
	var d net.Dialer
	conn, err := d.DialContext(ctx, network, address)
	place, ok := ctx.Value(lineKey{}).(**line)
	if err != nil || !ok {
		return conn, err
	}
	*place = &line{Conn: conn}
	return *place, nil
}

// Dial is for a driver that knows no context.
func (ls *lines) Dial(network, address string) (net.Conn, error) { return net.Dial(network, address) }

// DialTimeout is for a driver that knows no context.
func (ls *lines) DialTimeout(network, address string, timeout time.Duration) (net.Conn, error) {
	return net.DialTimeout(network, address, timeout)
}

// guard cuts a connection when ctx has ended and it is still in use cutAfter
// later. It is in use until release. nil guards nothing.
func (ls *lines) guard(ctx context.Context, conn *sqlx.Conn) (release func()) {
	if ls == nil || ctx.Done() == nil {
		return func() {}
	}
	var l *line
	conn.Raw(func(c any) error {
		if v, ok := ls.of.Load(c); ok {
			l = v.(*line)
		}
		return nil
	})
	if l == nil { // it is closed already
		return func() {}
	}
	released := make(chan struct{})
	stop := context.AfterFunc(ctx, func() {
		wait := time.NewTimer(cutAfter)
		defer wait.Stop()
		select {
		case <-released:
		case <-wait.C:
			l.cut()
		}
	})
	return func() {
		stop()
		close(released)
	}
}
