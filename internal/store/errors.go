package store

import (
	"context"
	"database/sql/driver"
	"errors"
	"fmt"
	"io"
	"net"
	"strings"

	"github.com/lib/pq"
	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"

	"brakewear/internal/fleet"
)

// wrap says what was being done and gives err the kind it belongs to. It
// leaves nil, and errors that have a kind already, as they are.
func wrap(ctx context.Context, what string, err error) error {
	switch {
	case err == nil:
		return nil
	case errors.Is(err, fleet.ErrInvalid), errors.Is(err, fleet.ErrNotFound),
		errors.Is(err, fleet.ErrConflict), errors.Is(err, fleet.ErrUnavailable),
		errors.Is(err, fleet.ErrStranger), errors.Is(err, fleet.ErrDenied):
		return err
	case ctx.Err() != nil:
		// The drivers have errors of their own for a call that was cut short.
		return fmt.Errorf("%s: %w", what, errors.Join(ctx.Err(), err))
	}
	switch kind := kindOf(err); kind {
	case fleet.ErrFull, fleet.ErrReadOnly, fleet.ErrDamaged:
		return fmt.Errorf("%s: %w: %w", what, kind, err)
	case fleet.ErrUnavailable:
		return fmt.Errorf("%s: the database is %w: %w", what, fleet.ErrUnavailable, err)
	case fleet.ErrInvalid:
		return fmt.Errorf("%w: %w", fleet.Invalidf("%s: the file is no database of this program", what), err)
	case fleet.ErrConflict:
		return fmt.Errorf("%w: %w", fleet.Conflictf("%s: somebody changed the same rows at the same time; nothing was stored, try again", what), err)
	}
	return fmt.Errorf("%s: %w", what, err)
}

// kindOf returns the kind of a driver's error, or nil for a fault of ours.
func kindOf(err error) error {
	if e, ok := errors.AsType[*pq.Error](err); ok {
		return kindOfState(string(e.Code))
	}
	if e, ok := errors.AsType[*sqlite.Error](err); ok {
		switch e.Code() & 0xff { // the rest says more of the same
		case sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_IOERR:
			return fleet.ErrUnavailable
		case sqlite3.SQLITE_FULL:
			return fleet.ErrFull
		case sqlite3.SQLITE_READONLY:
			return fleet.ErrReadOnly
		case sqlite3.SQLITE_CORRUPT:
			return fleet.ErrDamaged
		case sqlite3.SQLITE_NOTADB:
			return fleet.ErrInvalid
		}
		return nil
	}
	if _, ok := errors.AsType[net.Error](err); ok {
		return fleet.ErrUnavailable
	}
	for _, cut := range []error{driver.ErrBadConn, io.EOF, io.ErrUnexpectedEOF} {
		if errors.Is(err, cut) {
			return fleet.ErrUnavailable
		}
	}
	return nil
}

// unsure says whether an error of a commit leaves open what became of it: the
// line was cut, and not the database said no. A write to an SQLite file that
// failed may yet be on the disk.
func unsure(err error) bool {
	if _, ok := errors.AsType[*pq.Error](err); ok {
		return false
	}
	if e, ok := errors.AsType[*sqlite.Error](err); ok {
		return e.Code()&0xff == sqlite3.SQLITE_IOERR
	}
	return kindOf(err) == fleet.ErrUnavailable
}

// taken says whether a server's table has a row of that key already.
func taken(err error) bool {
	e, ok := errors.AsType[*pq.Error](err)
	return ok && e.Code == "23505"
}

// busy says whether another process holds an SQLite file's write lock.
func busy(err error) bool {
	e, ok := errors.AsType[*sqlite.Error](err)
	return ok && e.Code()&0xff == sqlite3.SQLITE_BUSY
}

// kindOfState returns the kind of an SQLSTATE (PostgreSQL manual, appendix A).
func kindOfState(code string) error {
	switch code {
	case "40001", "40P01", // serialization failure, deadlock
		"23505", "23P01": // unique and exclusion violation: what was asked for first came meanwhile
		return fleet.ErrConflict
	case "57014", // statement timeout
		"55P03": // lock timeout
		return fleet.ErrUnavailable
	}
	if outdated(code) {
		return fleet.ErrUnavailable
	}
	switch code {
	case "53100":
		return fleet.ErrFull
	case "25006": // of a standby, or a server set so
		return fleet.ErrReadOnly
	case "XX001", "XX002": // data or an index corrupted
		return fleet.ErrDamaged
	}
	for _, class := range []string{
		"08", // connection
		"53", // out of memory, connections
		"57", // shutting down or starting up
	} {
		if strings.HasPrefix(code, class) {
			return fleet.ErrUnavailable
		}
	}
	return nil
}

// outdated says whether an SQLSTATE is of a prepared statement that the server
// does not know, or not with the same result: the schema has changed since.
func outdated(code string) bool { return code == "26000" || code == "0A000" }
