package store

import (
	"context"
	"errors"
	"time"
	"unicode/utf8"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
)

// Acts that more than one place writes, or that are looked for.
const (
	actAdded        = "added"
	actChanged      = "changed"
	actEnded        = "ended"
	actKept         = "kept" // added or changed
	actSignInFailed = "sign-in failed"
)

// entry is what a change tells the log: who did what to which record. It holds
// no secret, and nothing typed that could be one.
type entry struct {
	act    string // in words
	record string // kind, in words
	id     int64  // of the record; 0 = none, or several
	// fleet and depot say who may read it; 0 = whoever sees everything.
	fleet, depot int64
	by           string // blank = as the context's origin says
	account      int64  // whose doing it is, where the origin does not say; 0 = nobody's
	detail       string
}

// errUntold ends a change of which the log says nothing.
var errUntold = errors.New("it would not stand in the log of changes: tell it by tx.log, or by tx.unchanged that there is nothing to tell; what the program does for itself goes through DB.tend")

// maxDetail bounds what is said of a change, in bytes.
const maxDetail = 400

// log adds a row to the log of changes, in the transaction of the change.
func (t *tx) log(e entry) error {
	t.told = true
	o := auth.OriginOf(t.ctx)
	by := e.by
	if by == "" {
		by = o.Name
	}
	account := o.Account
	if account == 0 {
		account = e.account
	}
	id := func(n int64) *int64 {
		if n == 0 {
			return nil
		}
		return &n
	}
	return t.later(`
		insert into audit_log (at, done_by, account_id, token_id, via, origin, request, act, record, record_id, fleet_id, depot_id, detail)
		values (?, coalesce(nullif(CAST(? AS text), ''), (select name from accounts where id = ?), ''), ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`,
		instant(t.db.now()), storableOf(by), account, id(account), id(o.Token), string(o.Via), storableOf(o.From), o.Request,
		e.act, e.record, id(e.id), id(e.fleet), id(e.depot), storableOf(cut(e.detail, maxDetail)))
}

// takenTime is how long whoever takes something out of the database may be held
// up to have it told.
const takenTime = 2 * time.Second

// TellTaken tells the log of changes of what was done to the database as a whole,
// or taken out of it, such as a file of a list. It is whoever sees everything who
// reads it.
func (db *DB) TellTaken(ctx context.Context, act, detail string) error {
	short, cancel := context.WithTimeout(ctx, takenTime)
	defer cancel()
	return db.write(short, "tell of what was taken", func(t *tx) error {
		return t.log(entry{act: act, record: "database", detail: detail})
	})
}

// TellExport tells that a list is taken out as a file. A database that only
// reads, or is taking in a large file, still gives it away untold.
func (db *DB) TellExport(ctx context.Context, detail string) error {
	err := db.TellTaken(ctx, "exported", detail)
	if errors.Is(err, fleet.ErrUnavailable) || errors.Is(err, context.DeadlineExceeded) && ctx.Err() == nil {
		return nil
	}
	return err
}

// unchanged says that a change had nothing to do, such as one sent twice.
func (t *tx) unchanged() { t.told = true }

// cut returns at most n bytes of s, in whole characters.
func cut(s string, n int) string {
	if len(s) <= n {
		return s
	}
	for n > 0 && !utf8.RuneStart(s[n]) {
		n--
	}
	return s[:n] + "…"
}
