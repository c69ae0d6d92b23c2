package store

import (
	"context"

	"github.com/jmoiron/sqlx"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
)

// Lists in the order of their days.
const (
	bookingDays = "booking days"
	visitDays   = "visit days"
)

// dayCursor is the place of the last booking or proposed visit of a page.
type dayCursor struct {
	Sort    string // which list
	Day     fleet.Date
	DepotID int64
	Starts  int32
	ID      int64
}

// read reads the cursor of a list.
func (c *dayCursor) read(s, list string) error {
	if err := readCursor(s, c); err != nil {
		return err
	}
	if c.Sort != list || c.ID < 1 {
		return noCursor(s)
	}
	return nil
}

func (c dayCursor) args() []any { return []any{c.Day, c.DepotID, c.Starts, c.ID} }

// BookingPage returns a page of what Bookings does, by day, depot, time and id: those
// after the cursor, and the cursor of the page after, which is blank on the last.
func (db *DB) BookingPage(ctx context.Context, sc auth.Scope, q BookingQuery, after string, limit int) (bs []fleet.Booking, next string, err error) {
	limit = limitOf(limit)
	var from dayCursor
	if after != "" {
		if err := from.read(after, bookingDays); err != nil {
			return nil, "", err
		}
		q.From = max(q.From, from.Day) // what the index begins with
	}
	w := q.where(sc)
	if after != "" {
		w.add("(b.day, b.depot_id, b.starts, b.id) > (?, ?, ?, ?)", from.args()...)
	}
	err = db.read(ctx, "list bookings", func(t *tx) error {
		bs, err = t.bookingsBy(w, "b.day, b.depot_id, b.starts, b.id limit ?", limit+1)
		return err
	})
	if err == nil && len(bs) > limit {
		bs = bs[:limit]
		b := &bs[limit-1]
		next = cursorText(dayCursor{bookingDays, b.Day, b.DepotID, int32(b.Starts), b.ID})
	}
	return bs, next, err
}

// VisitPage returns a page of what Visits does, as BookingPage does of bookings.
func (db *DB) VisitPage(ctx context.Context, sc auth.Scope, q VisitQuery, after string, limit int) (vs []Visit, next string, err error) {
	limit = limitOf(limit)
	var from dayCursor
	if after != "" {
		if err := from.read(after, visitDays); err != nil {
			return nil, "", err
		}
	}
	err = db.read(ctx, "list proposed visits", func(t *tx) error {
		w := q.where(sc, t)
		if after != "" {
			w.add(t.visitDay()+" >= ?", from.Day) // for SQLite takes no rows of an expression to an index
			w.add("("+t.visitDay()+", p.depot_id, p.starts, p.id) > (?, ?, ?, ?)", from.args()...)
		}
		vs, err = t.visitsBy(w, t.visitDay()+", p.depot_id, p.starts, p.id limit ?", limit+1)
		return err
	})
	if err == nil && len(vs) > limit {
		vs = vs[:limit]
		v := &vs[limit-1]
		day := v.Day
		switch {
		case day == 0 && v.BookBy != nil:
			day = *v.BookBy
		case day == 0:
			day = never
		}
		next = cursorText(dayCursor{visitDays, day, v.DepotID, int32(v.Starts), v.ID})
	}
	return vs, next, err
}

// PartQuery asks for parts; a zero field asks for all.
type PartQuery struct {
	Fleet int64
	Depot int64 // parts of its fleet, with no other depot's stock
}

var (
	partOrder     = order{"part number", aText}
	workshopOrder = order{"depot", aText}

	recipientOrder = order{"person", aText}
)

// PartPage returns a page of the parts that StockParts does: those after the cursor, and
// the cursor of the page after, which is blank on the last.
func (db *DB) PartPage(ctx context.Context, sc auth.Scope, q PartQuery, after string, limit int) (ps []fleet.StockPart, next string, err error) {
	err = db.read(ctx, "list parts", func(t *tx) error {
		var w where
		w.only("p.fleet_id", q.Fleet)
		if q.Depot != 0 {
			w.add("p.fleet_id = (select d.fleet_id from depots d where d.id = ?)", q.Depot)
		}
		w.fleetOf(sc, "p.fleet_id")
		var ids []int64
		if ids, next, err = t.idPage(partOrder, "stock_parts p", "p.number_key", "p.id", w, after, limit); err != nil || len(ids) == 0 {
			return err
		}
		var of where
		of.among("p.id", roundedUp(ids))
		ps, err = t.stockParts(sc, of, q.Depot)
		return err
	})
	return ps, next, err
}

// WorkshopPage is PartPage for what Workshops returns, of a fleet (0 = of all).
func (db *DB) WorkshopPage(ctx context.Context, sc auth.Scope, fleetID int64, from fleet.Date, after string, limit int) (ws []DepotWorkshop, next string, err error) {
	err = db.read(ctx, "list workshops", func(t *tx) error {
		var w where
		w.only("d.fleet_id", fleetID)
		w.places(sc, "d.fleet_id", "d.id")
		var ids []int64
		if ids, next, err = t.idPage(workshopOrder, "depots d", "d.name_key", "d.id", w, after, limit); err != nil || len(ids) == 0 {
			return err
		}
		var of where
		of.among("d.id", roundedUp(ids))
		ws, err = t.workshops(of, from)
		return err
	})
	return ws, next, err
}

// idPage returns the ids of a page of the rows that w admits, in the order o of their
// keys, and the cursor of the page after.
func (t *tx) idPage(o order, from, key, id string, w where, after string, limit int) (ids []int64, next string, err error) {
	limit = limitOf(limit)
	if after != "" {
		c, err := o.parse(after)
		if err != nil {
			return nil, "", err
		}
		w.add("("+key+", "+id+") > (?, ?)", c.value, c.VehicleID)
	}
	var last cursor
	err = t.each(func(r *sqlx.Rows) error {
		if len(ids) == limit {
			next = last.String()
			return nil
		}
		var id int64
		var value string
		err := r.Scan(&id, &value)
		ids, last = append(ids, id), o.cursor(value, id, 0)
		return err
	}, `select `+id+`, `+key+` from `+from+w.String()+` order by `+key+`, `+id+` limit ?`, append(w.args, limit+1)...)
	return ids, next, err
}

// EachOfPages calls fn for every row of a list that comes in pages.
func EachOfPages[T any](page func(after string) (rows []T, next string, err error), fn func(*T) error) error {
	for after := ""; ; {
		rows, next, err := page(after)
		if err != nil {
			return err
		}
		for i := range rows {
			if err := fn(&rows[i]); err != nil {
				return err
			}
		}
		if after = next; next == "" {
			return nil
		}
	}
}
