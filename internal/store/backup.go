package store

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"syscall"

	"github.com/jmoiron/sqlx"

	"brakewear/internal/fleet"
)

// Backup is a copy of an embedded database in a file.
type Backup struct {
	Path   string
	Bytes  int64
	Schema int64          // version
	Rows   map[string]int // by table
}

// Total is the number of rows of all tables.
func (b Backup) Total() (n int) {
	for _, rows := range b.Rows {
		n += rows
	}
	return n
}

// readSchema reads the version of the schema of a file that nothing is made in.
const readSchema = `select max(version_id) from goose_db_version where is_applied`

// Partial ends the name of a file that is not whole yet.
const Partial = ".partial"

// Backup copies the embedded database, as it is at one moment, to a new file,
// and checks the copy. Others go on reading and writing meanwhile. The file
// has its name only once it is whole and on the disk.
func (db *DB) Backup(ctx context.Context, path string) (Backup, error) {
	if db.dialect != SQLite {
		return Backup{}, fleet.Invalidf("a backup like this is made of the embedded database alone; back a PostgreSQL database up with pg_dump")
	}
	if _, err := os.Lstat(path); err == nil {
		return Backup{}, fleet.Conflictf("%s: there is a file of this name already, and a backup overwrites nothing", path)
	}
	if _, err := os.Stat(filepath.Dir(path)); errors.Is(err, os.ErrNotExist) {
		return Backup{}, fleet.Invalidf("%s: there is no folder %s: make it, or name another", path, filepath.Dir(path))
	}
	part := path + Partial
	if err := os.Remove(part); err != nil && !errors.Is(err, os.ErrNotExist) {
		return Backup{}, fleet.Invalidf("backup %s: %v", path, err)
	}
	b, err := db.copyInto(ctx, part)
	if err == nil {
		err = settle(part, path)
	}
	if err != nil {
		os.Remove(part)
		return Backup{}, wrap(ctx, "back the database up", err)
	}
	b.Path = path
	return b, nil
}

// copyInto writes the copy and checks it.
func (db *DB) copyInto(ctx context.Context, part string) (Backup, error) {
	// A connection of its own, for it is busy for long; and one that may write
	// a file, which the readers may not.
	src, err := openFile(db.path, "ro")
	if err != nil {
		return Backup{}, err
	}
	defer src.Close()
	// What a newer program keeps, this one cannot check.
	var have int64
	known, err := newestSchema()
	if err != nil {
		return Backup{}, err
	}
	if err := src.GetContext(ctx, &have, readSchema); err == nil && have > known {
		return Backup{}, newerSchema(have, known)
	}
	// Nobody reads the copy, while it is written, who may not read the database. What
	// keeps it from being made, SQLite says itself, but for somebody's link.
	f, ferr := os.OpenFile(part, os.O_RDWR|os.O_CREATE|os.O_EXCL, 0o600)
	if errors.Is(ferr, fs.ErrExist) {
		return Backup{}, ferr
	}
	if ferr == nil {
		defer f.Close()
	}
	if _, err := src.ExecContext(ctx, `vacuum into ?`, part); err != nil {
		return Backup{}, err
	}
	if st, err := os.Stat(db.path); err == nil && ferr == nil {
		if err := f.Chmod(st.Mode().Perm()); err != nil {
			return Backup{}, err
		}
	}
	return CheckBackup(ctx, part)
}

// CheckBackup reads a backup: fleet.ErrInvalid where the file is not whole, is
// no database of this program, or was made by a newer one.
func CheckBackup(ctx context.Context, path string) (b Backup, err error) {
	st, err := os.Stat(path)
	if errors.Is(err, os.ErrNotExist) {
		return b, fleet.Invalidf("%s: there is no such file", path)
	}
	if err != nil {
		return b, fleet.Invalidf("backup: %v", err)
	}
	x, err := openFile(path, "ro")
	if err != nil {
		return b, err
	}
	defer x.Close()
	b = Backup{Path: path, Bytes: st.Size(), Rows: map[string]int{}}
	var faults []string
	err = x.SelectContext(ctx, &faults, `pragma integrity_check`) // it stops at the hundredth fault
	switch {
	case ctx.Err() != nil:
		return b, ctx.Err()
	case kindOf(err) == fleet.ErrInvalid:
		return b, fleet.Invalidf("%s: it is no database of this program", path)
	case err != nil:
		return b, fleet.Invalidf("%s: it is damaged: %v", path, err)
	case len(faults) != 1 || faults[0] != "ok":
		return b, fleet.Invalidf("%s: it is damaged: %s", path, strings.Join(faults, "; "))
	}
	err = x.GetContext(ctx, &b.Schema, readSchema)
	if err != nil {
		return b, fleet.Invalidf("%s: it is no database of this program", path)
	}
	known, err := newestSchema()
	if err != nil {
		return b, err
	}
	if b.Schema > known {
		return b, fleet.Invalidf("%s: it has schema version %d and this program knows none above %d: use a newer program", path, b.Schema, known)
	}
	var tables []string
	err = x.SelectContext(ctx, &tables, `select name from sqlite_master where type = 'table' and name not like 'sqlite%' order by name`)
	if err != nil {
		return b, wrap(ctx, "read "+path, err)
	}
	for _, table := range tables {
		var n int
		if err := x.GetContext(ctx, &n, `select count(*) from "`+strings.ReplaceAll(table, `"`, `""`)+`"`); err != nil {
			return b, wrap(ctx, "count the rows of "+table, err)
		}
		b.Rows[table] = n
	}
	return b, nil
}

// Restore puts a checked backup where an embedded database is to be, and
// returns it as it is there. A database that is there already is kept, under
// the name returned as old; it is left alone with fleet.ErrConflict when some
// process has it open, or unless replace is set.
func Restore(ctx context.Context, from, to string, replace bool) (b Backup, old string, err error) {
	was, err := CheckBackup(ctx, from)
	if err != nil {
		return b, "", err
	}
	if a, err := os.Stat(from); err == nil {
		if t, err := os.Stat(to); err == nil && os.SameFile(a, t) {
			return b, "", fleet.Invalidf("%s: it is the database itself", from)
		}
	}
	part := to + Partial
	if err := os.Remove(part); err != nil && !errors.Is(err, os.ErrNotExist) {
		return b, "", fleet.Invalidf("restore: %v", err)
	}
	if err := copyFile(from, part, to); err != nil {
		return b, "", err
	}
	defer os.Remove(part)
	if b, err = CheckBackup(ctx, part); err != nil {
		return b, "", err
	}
	for table, n := range was.Rows {
		if b.Rows[table] != n {
			return b, "", fmt.Errorf("restore: table %s has %d rows in the copy and %d in %s", table, b.Rows[table], n, from)
		}
	}
	if old, err = setAside(ctx, to, replace); err != nil {
		return b, "", err
	}
	if err := settle(part, to); err != nil {
		return b, old, fmt.Errorf("restore: %w; the database that was here is in %s", err, old)
	}
	b.Path = to
	return b, old, nil
}

// leaveTo gives a file that root made for path to whom the one there belongs, or the
// folder where there is none: a service that runs as somebody else is to open it. It is
// the open file, for by its name whom the folder belongs to could have put a link there.
func leaveTo(path string, f *os.File) {
	if os.Geteuid() != 0 {
		return
	}
	at, err := os.Stat(path)
	if err != nil {
		at, err = os.Stat(filepath.Dir(path))
	}
	if err != nil {
		return
	}
	if s, ok := at.Sys().(*syscall.Stat_t); ok {
		f.Chown(int(s.Uid), int(s.Gid)) // where root may not, it stays root's
	}
}

// setAside gives the database at path another name, which it returns, unless
// it is open somewhere.
func setAside(ctx context.Context, path string, replace bool) (string, error) {
	if _, err := os.Stat(path); errors.Is(err, os.ErrNotExist) {
		return "", nil
	} else if err != nil {
		return "", fleet.Invalidf("restore: %v", err)
	}
	if !replace {
		return "", fleet.Conflictf("%s: there is a database already; --replace puts the backup in its place and keeps it under another name", path)
	}
	x, err := openFile(path, "rw")
	if err != nil {
		return "", err
	}
	defer x.Close()
	// Only the sole user of a database can leave write-ahead logging, which
	// also brings all that is in the log into the file; and it stays the sole
	// user until x is closed.
	var mode string
	err = x.GetContext(ctx, &mode, `pragma locking_mode = exclusive`)
	if err == nil {
		err = x.GetContext(ctx, &mode, `pragma journal_mode = delete`)
	}
	if errors.Is(kindOf(err), fleet.ErrUnavailable) {
		return "", fleet.Conflictf("%s: it is in use; end the programs that have it open, then restore again", path)
	}
	if err != nil && kindOf(err) != fleet.ErrInvalid { // what is no database is in nobody's way
		return "", wrap(ctx, "restore", err)
	}
	for i := 1; ; i++ {
		old := fmt.Sprintf("%s.before-restore-%d", path, i)
		if _, err := os.Lstat(old); err == nil {
			continue
		}
		for _, suffix := range []string{"", "-wal", "-shm"} { // the last two where it was no whole database
			if err := os.Rename(path+suffix, old+suffix); err != nil && (suffix == "" || !errors.Is(err, os.ErrNotExist)) {
				return "", fmt.Errorf("restore: %w", err)
			}
		}
		return old, nil
	}
}

// openFile opens one connection to an SQLite file as it is: "ro" to read it,
// "rw" to change it.
func openFile(path, mode string) (*sqlx.DB, error) {
	abs, err := filepath.Abs(path)
	if err != nil {
		return nil, fmt.Errorf("database file: %w", err)
	}
	q := url.Values{"mode": {mode}, "_pragma": {"busy_timeout(2000)"}}
	x, err := sqlx.Open(SQLite, sqliteURL(abs, q))
	if err != nil {
		return nil, fmt.Errorf("open %s: %w", path, err)
	}
	x.SetMaxOpenConns(1)
	return x, nil
}

// settle brings a finished file to the disk and gives it its name.
func settle(part, path string) error {
	f, err := os.OpenFile(part, os.O_RDWR, 0)
	if err != nil {
		return err
	}
	if err := errors.Join(f.Sync(), f.Close()); err != nil {
		return err
	}
	if err := os.Rename(part, path); err != nil {
		return err
	}
	dir, err := os.Open(filepath.Dir(path))
	if err != nil {
		return err
	}
	defer dir.Close()
	if err := dir.Sync(); err != nil && !errors.Is(err, errors.ErrUnsupported) {
		return err
	}
	return nil
}

// copyFile copies a file to a new one, for path.
func copyFile(from, to, path string) error {
	src, err := os.Open(from)
	if err != nil {
		return fleet.Invalidf("backup: %v", err)
	}
	defer src.Close()
	dst, err := os.OpenFile(to, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return fleet.Invalidf("restore: %v", err)
	}
	leaveTo(path, dst)
	_, err = io.Copy(dst, src)
	if err = errors.Join(err, dst.Close()); err != nil {
		os.Remove(to)
		return fmt.Errorf("restore: %w", err)
	}
	return nil
}
