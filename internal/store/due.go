package store

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"slices"

	"github.com/jmoiron/sqlx"

	"brakewear/forecast"
	"brakewear/internal/auth"
	"brakewear/internal/fleet"
)

// DueSort is an order of the due-soon list. What is not known comes last.
type DueSort string

const (
	ByBookBy        DueSort = "book_by"        // earliest first; the default
	ByLimitDate     DueSort = "limit_date"     // earliest median first
	ByVehicle       DueSort = "vehicle"        // by number: Bus 9 before Bus 10
	ByKmLeft        DueSort = "km_left"        // least first
	ByThicknessLeft DueSort = "thickness_left" // least above the limit first
	ByNarrowing     DueSort = "narrowing"      // most worth measuring first
)

// dueOrders are the orders there are, with the column each goes by; ties go
// by vehicle and axle.
var dueOrders = []order{
	{ByBookBy, "c.by_due", aDate},
	{ByLimitDate, "c.by_limit", aDate},
	{ByVehicle, "v.sort_key", aText},
	{ByKmLeft, "c.by_km", aNumber},
	{ByThicknessLeft, "c.by_thickness", aNumber},
	{ByNarrowing, "c.by_narrowing", aNumber},
}

// DueSorts are the orders there are, the default first.
var DueSorts = []DueSort{ByBookBy, ByLimitDate, ByVehicle, ByKmLeft, ByThicknessLeft, ByNarrowing}

// DefaultLimit is the length of a page unless another is asked for, MaxLimit
// the longest.
const (
	DefaultLimit = 50
	MaxLimit     = 500
)

// DueQuery asks for a page of the due-soon list: the forecast axles.
type DueQuery struct {
	Fleet, Depot int64       // 0 = all
	Text         string      // part of number, plate, make or model, whatever its case
	Before       *fleet.Date // to be booked by this day, or past the limit
	Sort         DueSort     // "" = ByBookBy
	After        string      // DuePage.Next of the page before
	Limit        int         // 0 = DefaultLimit
	Vehicles     []int64     // only these; nil = all
	Booked       *bool       // only what has an open booking, or has none; nil = both

	Measured           *bool       // only what a reading says something of, or nothing does; nil = both
	Left               LeftClass   // "" = all
	LimitFrom, LimitTo *fleet.Date // median limit date, both included
	From               *fleet.Date // to be booked by this day or a later one
	Late               bool        // only what is booked for a day after the one it is to be booked by
	Part               fleet.Part  // first to reach its limit; "" = all
	Duty               *string     // of the vehicle, as it was given; nil = all
	Moved              Shift       // since the month before Today; "" = all
	Today              fleet.Date  // for Moved
}

// DueRow is one axle of the due-soon list. A number that is not known is NaN.
type DueRow struct {
	VehicleID               int64
	Vehicle, Plate          string
	Fleet, Depot            string
	Axle                    int
	Position                fleet.Position // most likely to be first; no part when none is
	ThicknessMM             float64        // of Position, estimated on AsOf
	NewMM, LimitMM          float64
	KmLeft                  float64 // to the median limit; +Inf beyond the horizon
	RatePer10000            float64 // mm per 10,000 km
	P05, P10, P50, P90, P95 *fleet.Date
	BookBy                  *fleet.Date
	PastLimit               bool
	Readings                int
	AsOf                    fleet.Date
	Width80Days             float64 // of the limit date's 80 % interval
	Width80IfMeasured       float64 // expected after one more inspection
	Warnings                []forecast.Warning
}

// DuePage is a page of the due-soon list.
type DuePage struct {
	Rows  []DueRow
	Next  string // cursor of the page after; blank on the last
	Total int    // rows of all pages
}

// DueSoon returns a page of the due-soon list. Its rows are not to be changed: the
// next who asks gets them too, while nothing is written.
func (db *DB) DueSoon(ctx context.Context, sc auth.Scope, q DueQuery) (page DuePage, err error) {
	err = db.readKeeping(ctx, "list what is due", func(t *tx) error {
		d, err := t.dueSelect(sc, q)
		if err != nil {
			return err
		}
		if page.Total, err = t.countDue(d); err != nil {
			return err
		}
		limit := limitOf(q.Limit)
		query, args, err := d.pageSQL(q.After, limit)
		if err != nil {
			return err
		}
		read := func() (p duePart, err error) {
			p.rows, p.next, err = t.duePage(d, q.After, limit)
			return p, err
		}
		var part duePart
		if limit > DefaultLimit { // too long to be kept
			part, err = read()
		} else {
			part, err = kept(t, t.db.pages, maxPages, query, args, read)
		}
		page.Rows, page.Next = part.rows, part.next
		return err
	})
	return page, err
}

// duePart is a page of a list without its length.
type duePart struct {
	rows []DueRow
	next string
}

// EachDue calls fn for every row of q, whatever its After and Limit, and stops
// at fn's first error. No transaction is open while fn runs, however long it
// takes; an axle that is forecast anew meanwhile may come twice or not at all.
func (db *DB) EachDue(ctx context.Context, sc auth.Scope, q DueQuery, fn func(DueRow) error) error {
	for after := ""; ; {
		var rows []DueRow
		err := db.read(ctx, "list what is due", func(t *tx) error {
			d, err := t.dueSelect(sc, q)
			if err != nil {
				return err
			}
			rows, after, err = t.duePage(d, after, MaxLimit)
			return err
		})
		if err != nil {
			return err
		}
		for _, r := range rows {
			if err := fn(r); err != nil {
				return err
			}
		}
		if after == "" {
			return nil
		}
	}
}

// dueSelect is a DueQuery as SQL over axle_forecasts c and vehicles v.
type dueSelect struct {
	where // of a page
	order
	counted   where  // of axle_forecasts c alone
	uncounted *where // what is not to be counted of these; nil = nothing
}

// dueSelect makes q SQL. What is in few names is asked for by the vehicles' ids.
func (t *tx) dueSelect(sc auth.Scope, q DueQuery) (d dueSelect, err error) {
	ids, few, err := t.found(sc, q.Text, q.Fleet, q.Depot)
	if err != nil {
		return d, err
	}
	if few {
		q.Text, q.Vehicles = "", onlyOf(q.Vehicles, ids)
	}
	return newDueSelect(sc, q)
}

func newDueSelect(sc auth.Scope, q DueQuery) (dueSelect, error) {
	var d dueSelect
	i := slices.IndexFunc(dueOrders, func(o order) bool { return o.name == cmp.Or(q.Sort, ByBookBy) })
	if i < 0 {
		return d, fleet.Invalidf("sort %q: want one of %s", q.Sort, fleet.OneOf(DueSorts))
	}
	d.order = dueOrders[i]
	if q.Late && q.Booked == nil { // few are booked at all
		booked := true
		q.Booked = &booked
	}
	var err error
	counted := q
	if q.Booked != nil && !*q.Booked {
		// Few are booked: they are counted and taken away, not looked for at all
		// the others.
		booked := true
		counted.Booked = &booked
		less, err := counted.where(sc, "c", "c.vehicle_id", someVehicles)
		if err != nil {
			return d, err
		}
		d.uncounted, counted.Booked = &less, nil
	}
	if d.counted, err = counted.where(sc, "c", "c.vehicle_id", someVehicles); err != nil {
		return d, err
	}
	table, id := "c", "c.vehicle_id"
	if d.name == ByVehicle {
		// A condition on the forecasts' fleet would lead SQLite by it to all the
		// fleet's axles, once for each vehicle.
		table, id = "v", "v.id"
	}
	d.where, err = q.where(sc, table, id, eachVehicle)
	return d, err
}

// How an axle's vehicle is looked for where many are found by their names: all of
// them once, to count what they have; or one by one, for a page is soon full.
const (
	someVehicles = "%s in (select v.id from vehicles v%s)"
	eachVehicle  = "exists (select 1 from vehicles v%[2]s and v.id = %[1]s)"
)

// where are the conditions of q, those on the vehicle asked of a table that has
// its fleet and depot, and of its id there.
func (q *DueQuery) where(sc auth.Scope, table, id, named string) (w where, err error) {
	w.scope(sc, table)
	w.only(table+".fleet_id", q.Fleet)
	w.only(table+".depot_id", q.Depot)
	if q.Vehicles != nil {
		w.among(id, q.Vehicles)
	}
	switch {
	case q.Booked == nil:
	case *q.Booked:
		w.add(`(c.vehicle_id, c.axle) in (
			select b.vehicle_id, x.axle
			from bookings b
			join booking_work x on x.booking_id = b.id
			where b.state = 'booked')`)
	default:
		w.add(`not exists (
			select 1
			from bookings b
			join booking_work x on x.booking_id = b.id
			where b.vehicle_id = c.vehicle_id and b.state = 'booked' and x.axle = c.axle)`)
	}
	if q.Before != nil {
		w.add("c.by_due <= ?", *q.Before)
	}
	if err := w.narrow(q); err != nil {
		return w, err
	}
	if table == "v" {
		w.text("v.search", q.Text)
		return w, nil
	}
	var found where
	if found.text("v.search", q.Text); found.conds != nil {
		w.add(fmt.Sprintf(named, id, found.String()), found.args...)
	}
	return w, nil
}

func (t *tx) countDue(d dueSelect) (n int, err error) {
	if n, err = t.countAxles(d.counted); err != nil || d.uncounted == nil {
		return n, err
	}
	less, err := t.countAxles(*d.uncounted)
	return n - less, err
}

// countAxles counts the axle_forecasts c that w admits.
func (t *tx) countAxles(w where) (int, error) {
	return t.counted(`select count(*) from axle_forecasts c`+w.String(), w.args...)
}

// pageSQL returns the query of the rows after the cursor. Which rows those are is
// found first, in the index that has the order, and only then what they hold: a
// filter passes over many. SQLite takes the tables of a cross join as they come,
// and no planner can begin with the tables of a left join (there is always a
// fleet and a depot).
func (d dueSelect) pageSQL(after string, limit int) (string, []any, error) {
	w := where{slices.Clone(d.conds), slices.Clone(d.args)}
	tables, id := "axle_forecasts c", "c.vehicle_id"
	if d.name == ByVehicle {
		tables, id = "vehicles v cross join axle_forecasts c", "v.id"
		w.add("c.vehicle_id = v.id")
	}
	if after != "" {
		c, err := d.parse(after)
		if err != nil {
			return "", nil, err
		}
		w.add("("+d.column+", "+id+", c.axle) > (?, ?, ?)", c.value, c.VehicleID, c.Axle)
	}
	return `
		select
			c.vehicle_id,
			v.number,
			v.plate,
			f.name,
			d.name,
			c.axle,
			c.part,
			c.side,
			c.face,
			c.thickness_mm,
			c.new_mm,
			c.limit_mm,
			c.km_left,
			c.rate,
			c.p05,
			c.p10,
			c.p50,
			c.p90,
			c.p95,
			c.book_by,
			c.past_limit,
			c.readings,
			c.as_of,
			c.width80_days,
			c.width80_if_measured,
			c.warnings,
			k.place
		from (
			select ` + id + ` as vehicle_id, c.axle, ` + d.column + ` as place
			from ` + tables + w.String() + `
			order by ` + d.column + `, ` + id + `, c.axle
			limit ?) k
		cross join axle_forecasts c
		cross join vehicles v
		left join fleets f on f.id = v.fleet_id
		left join depots d on d.id = v.depot_id
		where c.vehicle_id = k.vehicle_id and c.axle = k.axle and v.id = k.vehicle_id
		order by k.place, k.vehicle_id, k.axle`, append(w.args, limit), nil
}

// duePage returns a page and the cursor of the next.
func (t *tx) duePage(d dueSelect, after string, limit int) (rows []DueRow, next string, err error) {
	query, args, err := d.pageSQL(after, limit+1) // one more shows whether there is a next page
	if err != nil {
		return nil, "", err
	}
	var last cursor
	err = t.each(func(r *sqlx.Rows) error {
		if len(rows) == limit {
			next = last.String()
			return nil
		}
		var row DueRow
		var value any
		var warnings []byte
		err := r.Scan(
			&row.VehicleID,
			&row.Vehicle,
			&row.Plate,
			&row.Fleet,
			&row.Depot,
			&row.Axle,
			&row.Position.Part,
			&row.Position.Side,
			&row.Position.Face,
			(*number)(&row.ThicknessMM),
			(*number)(&row.NewMM),
			(*number)(&row.LimitMM),
			(*number)(&row.KmLeft),
			(*number)(&row.RatePer10000),
			&row.P05,
			&row.P10,
			&row.P50,
			&row.P90,
			&row.P95,
			&row.BookBy,
			&row.PastLimit,
			&row.Readings,
			&row.AsOf,
			(*number)(&row.Width80Days),
			(*number)(&row.Width80IfMeasured),
			&warnings,
			&value)
		if err != nil {
			return err
		}
		if row.Position.Part != "" {
			row.Position.Axle = row.Axle
		}
		last = d.cursor(value, row.VehicleID, row.Axle)
		rows = append(rows, row)
		return json.Unmarshal(warnings, &rows[len(rows)-1].Warnings)
	}, query, args...)
	return rows, next, err
}
