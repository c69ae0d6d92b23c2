package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync/atomic"
	"time"

	"github.com/jmoiron/sqlx"
	_ "github.com/lib/pq" // the driver "postgres"
	"modernc.org/sqlite"  // the driver "sqlite"
	sqlite3 "modernc.org/sqlite/lib"

	"brakewear/internal/fleet"
)

// The two kinds of database, as Dialect names them.
const (
	SQLite   = "sqlite"
	Postgres = "postgres"
)

// DB is one database. It is safe for use by many goroutines.
type DB struct {
	// Now gives the time that rows are stamped with; time.Now unless a test
	// sets another before it shares the DB.
	Now func() time.Time
	// Taken is told of every upload that was taken in or failed, but for those
	// of a trial; nil = nobody. It is set before the DB is shared.
	Taken func(up *fleet.Upload, err error)

	dialect string
	path    string        // of an SQLite file
	w       *sqlx.DB      // writes, and reads within a writing transaction
	r       *sqlx.DB      // reads; on PostgreSQL the same pool
	lines   *lines        // to the PostgreSQL server
	uploads chan struct{} // holds one for each upload that is taken in
	small   chan struct{} // holds one for each small upload under way; see SmallUpload
	held    *held         // vehicles; see Holding
	sights  *sights       // of an SQLite file
	turns   chan struct{} // holds one for each that reads; see turn
	writes  chan struct{} // holds one for who writes an SQLite file; see begin

	seen   *seenNotes       // of sessions
	watch  *fileWatch       // of an SQLite file
	names  *vehicleNames    // that searches look in
	counts *cache[int]      // how long lists are
	due    *dueList         // that the due-soon list is picked from
	plans  *cache[*duePlan] // what rows of that list say besides
	lists  *cache[any]      // what many pages ask for
	places *cache[any]      // the same, of fleets and depots

	within  *tx    // of a trial: all is done in this transaction
	reading bool   // within is of OneState: nothing is undone in a part of it
	whole   bool   // within is of Together: a part that fails ends it
	version string // of that state; see Version
	holding *sight // of who holds vehicles of an SQLite file: from before he read them
}

const (
	// maxServerConns bounds the connections of one process, so that several
	// fit into the 100 that a PostgreSQL server grants by default.
	maxServerConns = 16
	// minReaders keeps one slow reader of an SQLite file from stopping the rest.
	minReaders = 4
	// maxUploads bounds the uploads taken in at a time: each holds a connection
	// and may read by another, of which some must be left.
	maxUploads = maxServerConns / 2
	// minSmall is how many small uploads are under way on a machine of one or two
	// processors: one stores while others are worked out. Twice as many on two are no
	// more in a second, and the slowest of 20 sent at once took a twentieth longer.
	minSmall = 4
	// maxServerReaders bounds those who read a server's database at a time. More at
	// once are no faster together, and each is slower.
	maxServerReaders = maxServerConns - maxUploads
	// connIdleTime gives a connection back that a burst has left over.
	connIdleTime = 5 * time.Minute
	// busyTimeout is how long another process may hold an SQLite file's write
	// lock: longer than the import of a large file takes.
	busyTimeout = time.Minute
	// busyStep is how long one attempt to write waits for it: SQLite does not
	// look whether who waits has gone.
	busyStep = 500 * time.Millisecond
	// pingTimeout is how long a database may take to answer at all.
	pingTimeout = 5 * time.Second
)

// smallUploads is how many small uploads are under way at a time.
func smallUploads() int { return max(minSmall, 2*runtime.GOMAXPROCS(0)) }

// sqlx does not know how this driver writes its parameters.
func init() { sqlx.BindDriver(SQLite, sqlx.QUESTION) }

// Open opens the database at dsn: "postgres://…" or "postgresql://…" is a
// server, anything else the path of an SQLite file, which is made when it is
// not there. It does not migrate.
func Open(ctx context.Context, dsn string) (*DB, error) {
	var db *DB
	var err error
	switch scheme, _, isURL := strings.Cut(dsn, "://"); {
	case isURL && (scheme == "postgres" || scheme == "postgresql"):
		db, err = openPostgres(dsn)
	case mistyped(dsn):
		err = errAddress
	case isURL:
		// Not echoed whole: it may hold a password.
		err = fleet.Invalidf("database %s://…: want postgres://… or the path of a file", scheme)
	case dsn == "" || strings.HasPrefix(dsn, ":memory:"):
		err = fleet.Invalidf("database %q: want the path of a file, or postgres://…", dsn)
	default:
		db, err = openSQLite(dsn)
	}
	if err != nil {
		return nil, err
	}
	if err := db.Ping(ctx); err != nil {
		if db.dialect == SQLite {
			err = fmt.Errorf("database %s: %w", dsn, db.whyNotOpen(err))
		} else {
			err = whyNotReached(err)
		}
		return nil, errors.Join(err, db.Close())
	}
	return db, nil
}

func openPostgres(dsn string) (*DB, error) {
	l, err := newLines(dsn)
	if err != nil {
		return nil, urlFault(err)
	}
	pool := sqlx.NewDb(sql.OpenDB(l), "postgres")
	pool.SetMaxOpenConns(maxServerConns)
	pool.SetMaxIdleConns(maxServerConns)
	pool.SetConnMaxIdleTime(connIdleTime)
	return &DB{
		Now: time.Now, dialect: Postgres, w: pool, r: pool, lines: l,
		uploads: make(chan struct{}, maxUploads), small: make(chan struct{}, min(maxUploads, smallUploads())),
		held:  newHeld(),
		turns: make(chan struct{}, maxServerReaders),
		seen:  &seenNotes{}, names: &vehicleNames{}, counts: &cache[int]{}, due: newDueList(), plans: &cache[*duePlan]{}, lists: &cache[any]{}, places: &cache[any]{},
	}, nil
}

// whyNotOpen says more of an error that SQLite cannot open the file by: an open
// one has others beside it, so that its folder must be one to write to.
func (db *DB) whyNotOpen(err error) error {
	if e, ok := errors.AsType[*sqlite.Error](err); !ok || e.Code()&0xff != sqlite3.SQLITE_CANTOPEN {
		return err
	}
	if at, serr := os.Stat(db.path); serr == nil && at.IsDir() {
		return fleet.Invalidf("it is a folder: name a file in it")
	}
	f, cause := os.CreateTemp(filepath.Dir(db.path), ".brakewear-*")
	if cause == nil {
		return errors.Join(err, f.Close(), os.Remove(f.Name()))
	}
	if errors.Is(cause, fs.ErrNotExist) {
		return fmt.Errorf("%w: there is no folder %s: make it, or name another", fleet.ErrUnavailable, filepath.Dir(db.path))
	}
	return fmt.Errorf("%w: nothing can be written to its folder, as must be even to read: %w", fleet.ErrReadOnly, cause)
}

// openSQLite opens one connection that writes and several that read: SQLite
// has one write lock, and readers do not wait for it in WAL mode.
func openSQLite(path string) (*DB, error) {
	abs, err := filepath.Abs(path)
	if err != nil {
		return nil, fmt.Errorf("database file: %w", err)
	}
	pagePool()
	// A new file is its owner's alone, for it has what keeps people out; those that
	// SQLite lays beside it get the same mode. What keeps it from being made, SQLite
	// says itself.
	if f, err := os.OpenFile(abs, os.O_RDWR|os.O_CREATE|os.O_EXCL, 0o600); err == nil {
		leaveTo(filepath.Dir(abs), f)
		f.Close()
	}
	db := &DB{
		Now: time.Now, dialect: SQLite, path: abs,
		uploads: make(chan struct{}, maxUploads), writes: make(chan struct{}, 1), held: newHeld(), sights: &sights{},
		small: make(chan struct{}, smallUploads()),
		seen:  &seenNotes{}, names: &vehicleNames{}, counts: &cache[int]{}, due: newDueList(), plans: &cache[*duePlan]{}, lists: &cache[any]{}, places: &cache[any]{},
	}
	if db.w, err = fileConns(sqliteDSN(abs, true), &db.sights.opened); err != nil {
		return nil, fmt.Errorf("open %s: %w", path, err)
	}
	if db.r, err = fileConns(sqliteDSN(abs, false), new(atomic.Int64)); err != nil {
		return nil, errors.Join(fmt.Errorf("open %s: %w", path, err), db.w.Close())
	}
	db.w.SetMaxOpenConns(1)
	db.watch = &fileWatch{}
	readers := max(minReaders, runtime.GOMAXPROCS(0))
	db.turns = make(chan struct{}, readers)
	db.r.SetMaxOpenConns(readers + 1) // and the one that watches
	db.r.SetMaxIdleConns(readers + 1)
	db.r.SetConnMaxIdleTime(connIdleTime)
	return db, nil
}

// fileConns makes a pool of connections to an SQLite file, and counts those it opens.
func fileConns(dsn string, opened *atomic.Int64) (*sqlx.DB, error) {
	c, err := sqlite.NewConnector(dsn)
	if err != nil {
		return nil, err
	}
	return sqlx.NewDb(sql.OpenDB(keeping{c, opened}), SQLite), nil
}

// sqliteDSN puts the settings into the name, where they reach every
// connection of the pool. busy_timeout comes first, for the others may wait.
func sqliteDSN(path string, writer bool) string {
	pragmas := []string{
		fmt.Sprintf("busy_timeout(%d)", busyTimeout.Milliseconds()),
		"journal_mode(wal)",
		"foreign_keys(1)",
		"temp_store(memory)",
	}
	q := url.Values{}
	if writer {
		// A transaction that reads before it writes must hold the write lock
		// from its beginning, or it fails when another got in between.
		q.Set("_txlock", "immediate")
		pragmas = append(pragmas, fmt.Sprintf("cache_size(-%d)", writerCacheKB))
		// What was set before was for opening the file.
		pragmas = append(pragmas, fmt.Sprintf("busy_timeout(%d)", busyStep.Milliseconds()))
	} else {
		pragmas = append(pragmas, "query_only(1)", fmt.Sprintf("cache_size(-%d)", readerCacheKB))
	}
	q["_pragma"] = pragmas
	return sqliteURL(path, q)
}

// sqliteURL names the file at an absolute path to the driver.
func sqliteURL(path string, q url.Values) string {
	u := url.URL{Scheme: "file", Path: filepath.ToSlash(path), RawQuery: q.Encode()}
	if !strings.HasPrefix(u.Path, "/") {
		u.Path = "/" + u.Path // a drive letter
	}
	return u.String()
}

// Close closes all connections.
func (db *DB) Close() error {
	if db.watch != nil {
		db.watch.close()
	}
	err := db.w.Close()
	if db.r != db.w {
		err = errors.Join(db.r.Close(), err)
	}
	return err
}

// Ping says whether the database answers.
func (db *DB) Ping(ctx context.Context) error {
	// The writer first: it makes a file that is not there.
	err := ping(ctx, db, db.w)
	if err == nil && db.r != db.w {
		err = ping(ctx, db, db.r)
	}
	return wrap(ctx, "reach the database", err)
}

func ping(ctx context.Context, db *DB, pool *sqlx.DB) error {
	ctx, cancel := context.WithTimeout(ctx, pingTimeout)
	defer cancel()
	for try := 0; ; try++ {
		conn, err := pool.Connx(ctx)
		if err != nil {
			return err
		}
		release := db.lines.guard(ctx, conn)
		err = conn.PingContext(ctx)
		release()
		conn.Close()
		if err == nil || try == maxServerConns || ctx.Err() != nil || !errors.Is(kindOf(err), fleet.ErrUnavailable) {
			return err
		}
	}
}

// Dialect returns SQLite or Postgres.
func (db *DB) Dialect() string { return db.dialect }

// File returns the path of the embedded database, "" for a server's.
func (db *DB) File() string { return db.path }

// now is the time that rows are stamped with.
func (db *DB) now() time.Time { return db.Now().UTC().Truncate(time.Microsecond) }

// tx is a transaction. Its methods take SQL with ? for parameters.
type tx struct {
	*sqlx.Tx
	ctx       context.Context
	db        *DB
	staged    map[string]bool   // tables of stages made
	few       map[string]staged // stages without one, by name
	byKey     bool              // see byKeys
	plansKept bool              // see planOnce
	told      bool              // the log of changes has a row of what is done
	waiting   []statement       // see later
	gathering bool              // see gather
	failed    error             // of a part of what is done together
	version   string            // of what it sees; blank = not known. See readKeeping
	marked    string            // of that; see planMark
	held      bool              // there is none: all is answered from memory, see OneState
}

// write makes a change that somebody asked for, in a transaction. It is refused
// when f tells the log of changes nothing: see tx.log.
func (db *DB) write(ctx context.Context, what string, f func(t *tx) error) error {
	return db.writeBy(ctx, &opening{settings: joinByIndex}, what, f)
}

func (db *DB) writeBy(ctx context.Context, o *opening, what string, f func(t *tx) error) error {
	return db.tendBy(ctx, o, what, func(t *tx) error {
		t.told = false // by an earlier part of a trial
		err := f(t)
		if err == nil && !t.told {
			err = errUntold
		}
		return err
	})
}

// tend is write for what the program keeps for itself, such as forecasts, locks
// and how far its work is: the log of changes says nothing of it.
func (db *DB) tend(ctx context.Context, what string, f func(t *tx) error) error {
	return db.tendBy(ctx, &opening{settings: joinByIndex}, what, f)
}

func (db *DB) tendBy(ctx context.Context, o *opening, what string, f func(t *tx) error) error {
	return db.run(ctx, db.w, o, what, f) // within another transaction its opening holds
}

// turn waits until there is a connection to read by, first come, first served,
// and returns how to give it back. The pool hands one to any of those who wait:
// where twenty do, the last of them waits three times as long as the others.
func (db *DB) turn(ctx context.Context) (end func(), err error) {
	select {
	case db.turns <- struct{}{}:
		return func() { <-db.turns }, nil
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}

// read runs f in a transaction that sees one state of the database.
func (db *DB) read(ctx context.Context, what string, f func(t *tx) error) error {
	return db.readBy(ctx, &opening{}, what, f)
}

// find is read of what is found by keys.
func (db *DB) find(ctx context.Context, what string, f func(t *tx) error) error {
	return db.readBy(ctx, byKeys(), what, f)
}

// readBy is read in a transaction that begins with more.
func (db *DB) readBy(ctx context.Context, o *opening, what string, f func(t *tx) error) error {
	if db.whole { // what is not found ends nothing
		return wrap(ctx, what, f(db.within))
	}
	if db.within == nil {
		end, err := db.turn(ctx)
		if err != nil {
			return wrap(ctx, what, err)
		}
		defer end()
	}
	if db.dialect == Postgres { // an SQLite file's is that by nature, and the driver knows no other level
		o.opt = &sql.TxOptions{ReadOnly: true, Isolation: sql.LevelRepeatableRead}
	}
	return db.run(ctx, db.r, o, what, f)
}

// errNotHeld is of a state of which something would have to be read.
var errNotHeld = errors.New("not held in memory")

// OneState calls fn with a DB that reads one state of the database, in one
// transaction: a page that asks for several things begins and ends none for each.
// The DB is for one goroutine, and for reading.
//
// Where all that fn asks for is held of the state known, there is no transaction, nor
// does anybody ask what has changed since: a state is known from the moment on that
// it was asked for (blank = from none), such as by auth.Who, and who has written
// since knows it no more. Where something is not held, fn is called again.
func (db *DB) OneState(ctx context.Context, what, known string, fn func(state *DB) error) error {
	if db.within != nil {
		return fn(db)
	}
	in := func(t *tx) error {
		state := *db
		state.within, state.reading, state.version = t, true, t.version
		t.db = &state
		return fn(&state)
	}
	if known != "" {
		if err := in(&tx{ctx: ctx, version: known, held: true}); !errors.Is(err, errNotHeld) {
			return err
		}
	}
	return db.readKeeping(ctx, what, in)
}

// Lookup is OneState for what is found by keys, of which nothing is kept for
// whoever asks next.
func (db *DB) Lookup(ctx context.Context, what string, fn func(state *DB) error) error {
	if db.within != nil {
		return fn(db)
	}
	return db.find(ctx, what, func(t *tx) error {
		state := *db
		state.within, state.reading = t, true
		t.db = &state
		return fn(&state)
	})
}

// run commits when f returns nil and rolls back otherwise, also when f panics.
// what names the action in errors.
func (db *DB) run(ctx context.Context, pool *sqlx.DB, o *opening, what string, f func(t *tx) error) error {
	switch {
	case db.within != nil && db.reading:
		return wrap(ctx, what, f(db.within))
	case db.within != nil:
		return db.nested(ctx, what, f)
	}
	x, end, err := db.begin(ctx, pool, o)
	if err != nil {
		return wrap(ctx, what, err)
	}
	defer end()
	t := &tx{Tx: x, ctx: ctx, db: db, staged: map[string]bool{}, few: map[string]staged{}, byKey: o.byKey && db.dialect == Postgres, version: o.version}
	if err := f(t); err != nil {
		return wrap(ctx, what, err)
	}
	if err := t.sendLast(); err != nil {
		return wrap(ctx, what, err)
	}
	if err := ctx.Err(); err != nil {
		return wrap(ctx, what, err)
	}
	err = x.Commit()
	if err != nil && (o.opt == nil || !o.opt.ReadOnly) && unsure(err) {
		return fmt.Errorf("%s: %w: %w", what, fleet.ErrUnsure, err)
	}
	return wrap(ctx, what, err)
}
