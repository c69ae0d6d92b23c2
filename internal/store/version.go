package store

import (
	"context"
	"database/sql"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"sync"

	"github.com/jmoiron/sqlx"

	"brakewear/internal/fleet"
)

// readKeeping is read for f that keeps what it reads: see cache.
func (db *DB) readKeeping(ctx context.Context, what string, f func(t *tx) error) error {
	version := db.version // blank in a trial, which sees what nobody else does
	if db.within == nil && db.dialect == SQLite {
		// Before the transaction begins: what is written meanwhile makes it old.
		var err error
		if version, err = db.Version(ctx); err != nil {
			return err
		}
	}
	return db.readBy(ctx, &opening{seen: true}, what, func(t *tx) error {
		if db.within != nil || db.dialect == SQLite {
			t.version = version
		}
		return f(t)
	})
}

// cache is what was read of one version of the database, by the query. The zero
// value is empty and ready.
type cache[V any] struct {
	mu      sync.Mutex
	version string
	before  string // the version whose place it took
	of      map[string]V
	reading map[string]*promise[V] // by version and query
}

// promise is what somebody is about to read.
type promise[V any] struct {
	done chan struct{}
	v    V
	kept bool // v was read, once done
}

const (
	// maxCounts is how many counts are kept: every filter that a few hundred
	// people use between two writes.
	maxCounts = 1000
	// maxPages is how many pages of the due-soon list are kept, without their rows.
	maxPages = 500
	// maxLists is how many lists are kept that many pages ask for, such as fleets and
	// depots to choose from. Each is of some kB.
	maxLists = 500
)

// kept returns what was kept of a query in the version that t reads: see keptOf.
func kept[V any](t *tx, c *cache[V], most int, query string, args []any, read func() (V, error)) (v V, err error) {
	return keptOf(t, t.version, c, most, query, args, read)
}

// keptOf returns what was kept of a query in a version that t reads, or what read
// returns, and keeps that, unless the version is blank. All is given up when there
// would be more than most. It is everybody's: not to be changed.
//
// Who asks for what another is reading waits for it: after a write all would
// count the same at once, each at the cost of the others. Who reads nothing has
// nothing to promise to those.
func keptOf[V any](t *tx, version string, c *cache[V], most int, query string, args []any, read func() (V, error)) (v V, err error) {
	if version == "" {
		return read()
	}
	key := fmt.Sprintf("%s %#v", query, args)
	c.mu.Lock()
	if v, ok := c.of[key]; ok && c.version == version {
		c.mu.Unlock()
		return v, nil
	}
	promised := version + " " + key
	if p, ok := c.reading[promised]; ok {
		c.mu.Unlock()
		select {
		case <-p.done:
		case <-t.ctx.Done():
			return v, t.ctx.Err()
		}
		if p.kept {
			return p.v, nil
		}
		return read() // what ended the other's reading may not end this one
	}
	if t.held {
		c.mu.Unlock()
		return v, errNotHeld
	}
	p := &promise[V]{done: make(chan struct{})}
	if c.reading == nil {
		c.reading = map[string]*promise[V]{}
	}
	c.reading[promised] = p
	was := c.version
	c.mu.Unlock()
	defer func() { // also when read panics
		c.mu.Lock()
		defer c.mu.Unlock()
		switch {
		case !p.kept:
		case c.version != version && (c.version != was || c.before == version):
			// Others have read a newer one meanwhile: it stays.
		case c.version != version:
			c.before, c.version, c.of = c.version, version, map[string]V{key: p.v}
		case len(c.of) >= most:
			c.of = map[string]V{key: p.v}
		default:
			c.of[key] = p.v
		}
		delete(c.reading, promised)
		close(p.done)
	}()
	p.v, err = read()
	p.kept = err == nil
	return p.v, err
}

// listed is kept for lists of all kinds.
func listed[V any](t *tx, query string, args []any, read func() (V, error)) (list V, err error) {
	x, err := kept(t, t.db.lists, maxLists, query, args, func() (any, error) { return read() })
	if err != nil {
		return list, err
	}
	return x.(V), nil
}

// counted returns what a query counts: a list says how long it is on every page
// and in every order.
func (t *tx) counted(query string, args ...any) (int, error) {
	return kept(t, t.db.counts, maxCounts, query, args, func() (n int, err error) {
		err = t.one([]any{&n}, query, args...)
		return n, err
	})
}

// fileWatch is the connection by which an SQLite file is watched: it counts
// what the others commit, and only its own counts compare.
type fileWatch struct {
	mu     sync.Mutex
	conn   *sql.Conn
	opened int
}

// Version returns a mark of all that is in the database: while it stays the
// same, every read gives what it gave before, whichever process writes. It
// changes with every write, of other fleets too. On PostgreSQL it is the set
// of transactions that a reader sees, on SQLite the count of commits.
func (db *DB) Version(ctx context.Context) (v string, err error) {
	if db.within != nil {
		return "", fleet.Invalidf("version: a trial has none")
	}
	if db.dialect == SQLite {
		v, err = db.watch.version(ctx, db.r)
		return v, wrap(ctx, "see whether anything was written", err)
	}
	err = db.ask(ctx, "see whether anything was written", func(r *sqlx.Rows) error { return r.Scan(&v) }, snapshotQuery)
	return v, err
}

// snapshotSQL is the version that a transaction on PostgreSQL sees, and snapshotQuery
// asks for it.
const (
	snapshotSQL   = `cast(pg_postmaster_start_time() as text) || ' ' || cast(txid_current_snapshot() as text)`
	snapshotQuery = `select ` + snapshotSQL
)

// snapshot is the version that a transaction on PostgreSQL sees, while it sees
// one state.
func (t *tx) snapshot() (v string, err error) {
	err = t.one([]any{&v}, snapshotQuery)
	return v, err
}

// cutVersion divides a version into what is counted from, when a server started or
// which connection watches a file, and what is seen: transactions or a count.
func cutVersion(version string) (since, seen string) {
	i := strings.LastIndexByte(version, ' ') // there are some in the first
	return version[:max(0, i)], version[i+1:]
}

// covers says whether version held has all that is in version asked, as far as can
// be told from the two.
func covers(held, asked string) bool {
	if held == "" || asked == "" || held == asked {
		return held != "" && held == asked
	}
	since, seen := cutVersion(held)
	sinceToo, seenToo := cutVersion(asked)
	if since != sinceToo {
		return false
	}
	if a, b := ended(seen), ended(seenToo); a != b {
		return a > b
	}
	// Of two with the same end the later has fewer under way.
	before := underWay(seenToo)
	return !slices.ContainsFunc(underWay(seen), func(id string) bool { return !slices.Contains(before, id) })
}

// underWay are the transactions of a server that had begun and are not seen.
func underWay(seen string) []string {
	_, ids, _ := strings.Cut(seen, ":")
	if _, ids, _ = strings.Cut(ids, ":"); ids == "" {
		return nil
	}
	return strings.Split(ids, ",")
}

// ended is how many commits are seen, of a file, or which transaction is the first
// of which nobody knew whether it had ended, of a server: it never goes back.
func ended(seen string) uint64 {
	if parts := strings.Split(seen, ":"); len(parts) > 1 { // xmin:xmax:those between that were under way
		seen = parts[1]
	}
	n, err := strconv.ParseUint(seen, 10, 64)
	if err != nil {
		return 0
	}
	return n
}

// writtenSince adds to what is in version now the condition that column, numbered by
// each write, is of one that version held has not; newest is the highest held. known
// is false where that cannot be told.
func (t *tx) writtenSince(column, held, now string, newest int64) (w where, known bool) {
	if t.db.dialect == SQLite {
		w.add(column+" > ?", newest) // they are given in the order of commits
		return w, true
	}
	started, seen := cutVersion(held)
	if nowStarted, _ := cutVersion(now); nowStarted != started {
		return w, false // it may be another server, with other transactions
	}
	// Transactions end in another order than they begin: one that was seen to
	// be under way may have written since. What is of a transaction that is
	// yet to begin here came from another server, with its backup.
	w.add(column+" >= txid_snapshot_xmin(cast(? as txid_snapshot))", seen)
	w.add(column + " < txid_snapshot_xmax(txid_current_snapshot())")
	w.add("not txid_visible_in_snapshot("+column+", cast(? as txid_snapshot))", seen)
	return w, true
}

// writing is the number of what is being written to table, as SQL; see writtenSince.
func (t *tx) writing(table string) string {
	if t.db.dialect == SQLite {
		return "(select coalesce(max(written), 0) + 1 from " + table + ")"
	}
	return "txid_current()"
}

func (w *fileWatch) version(ctx context.Context, r *sqlx.DB) (string, error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.conn == nil {
		conn, err := r.Conn(ctx)
		if err != nil {
			return "", err
		}
		w.conn = conn
		w.opened++
	}
	var n int64
	if err := w.conn.QueryRowContext(ctx, `pragma data_version`).Scan(&n); err != nil {
		w.conn.Close()
		w.conn = nil
		return "", err
	}
	return fmt.Sprintf("%d %d", w.opened, n), nil
}

func (w *fileWatch) close() {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.conn != nil {
		w.conn.Close()
		w.conn = nil
	}
}
