package store

import (
	"context"
	"math"
	"time"

	"github.com/jmoiron/sqlx"

	"brakewear/internal/auth"
)

// Deed is a row of the log of changes: who did what to which record, and when.
type Deed struct {
	ID       int64
	At       time.Time
	By       string // name then; blank = the program itself
	Account  int64  // 0 = nobody who is signed in
	Token    int64  // 0 = not by a token
	Via      auth.Via
	From     string // network address, or user of the machine
	Request  string // its id, as in the program's log
	Act      string // in words
	Record   string // kind of what was changed, in words
	RecordID int64  // 0 = there is one, or there are several
	Place           // zero = of no fleet
	Detail   string
}

// DeedRecords are the kinds of records that the log of changes speaks of.
var DeedRecords = []string{
	"account", "booking", "brake test", "calendar", "condition", "database", "file", "finding", "fitment", "fleet", "job", "job card", "odometer",
	"part", "person told", "proposal", "proposed visit", "reading", "refit", "token", "upload", "vehicle", "workshop",
}

// DeedQuery asks for rows of the log of changes; a zero field asks for all.
type DeedQuery struct {
	From, To time.Time // To is not in it
	By       string    // whole name
	Record   string    // kind
	RecordID int64     // only with Record
	Before   int64     // id of the last row of the page before
	Limit    int       // 0 = a page of usual length
}

// EachDeed calls fn for every row that q asks for, the latest first.
func (db *DB) EachDeed(ctx context.Context, sc auth.Scope, q DeedQuery, fn func(d *Deed) error) error {
	q.Limit = MaxLimit
	for {
		ds, err := db.Deeds(ctx, sc, q)
		if err != nil {
			return err
		}
		for i := range ds {
			if err := fn(&ds[i]); err != nil {
				return err
			}
		}
		if len(ds) < MaxLimit {
			return nil
		}
		q.Before = ds[len(ds)-1].ID
	}
}

// Deeds returns rows of the log of changes, the latest first. Those of no fleet
// are for who sees everything.
func (db *DB) Deeds(ctx context.Context, sc auth.Scope, q DeedQuery) (ds []Deed, err error) {
	err = db.read(ctx, "read the log of changes", func(t *tx) error {
		var w where
		w.scope(sc, "l")
		before := q.Before
		if before == 0 {
			before = math.MaxInt64
		}
		w.add("l.id < ?", before)
		if !q.From.IsZero() || !q.To.IsZero() {
			// Clocks jump, so that times are not in the order of rows; the ids of
			// the rows of that time say between which to look.
			var at where
			if !q.From.IsZero() {
				at.add("at >= ?", instant(q.From))
			}
			if !q.To.IsZero() {
				at.add("at < ?", instant(q.To))
			}
			var first, last *int64
			if err := t.one([]any{&first, &last}, `select min(id), max(id) from audit_log`+at.String(), at.args...); err != nil {
				return err
			}
			if first == nil {
				return nil
			}
			w.add("l.id between ? and ?", *first, *last)
			for i, cond := range at.conds {
				w.add("l."+cond, at.args[i])
			}
		}
		if q.By != "" {
			w.add("l.done_by = ?", storableOf(q.By))
		}
		if q.Record != "" {
			w.add("l.record = ?", storableOf(q.Record))
			w.only("l.record_id", q.RecordID)
		}
		return t.each(func(r *sqlx.Rows) error {
			var d Deed
			var account, token, record, fleetID, depotID *int64
			var fleetName, depotName *string
			err := r.Scan(&d.ID, (*instant)(&d.At), &d.By, &account, &token, &d.Via, &d.From, &d.Request,
				&d.Act, &d.Record, &record, &fleetID, &depotID, &fleetName, &depotName, &d.Detail)
			for _, x := range []struct {
				from *int64
				to   *int64
			}{{account, &d.Account}, {token, &d.Token}, {record, &d.RecordID}, {fleetID, &d.FleetID}, {depotID, &d.DepotID}} {
				if x.from != nil {
					*x.to = *x.from
				}
			}
			if fleetName != nil {
				d.Fleet = *fleetName
			}
			if depotName != nil {
				d.Depot = *depotName
			}
			ds = append(ds, d)
			return err
		}, `
			select l.id, l.at, l.done_by, l.account_id, l.token_id, l.via, l.origin, l.request,
				l.act, l.record, l.record_id, l.fleet_id, l.depot_id, f.name, d.name, l.detail
			from audit_log l
			left join fleets f on f.id = l.fleet_id
			left join depots d on d.id = l.depot_id`+w.String()+`
			order by l.id desc
			limit ?`, append(w.args, limitOf(q.Limit))...)
	})
	return ds, err
}
