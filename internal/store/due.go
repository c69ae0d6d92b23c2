package store

import (
	"context"
	"encoding/json"
	"fmt"
	"strings"

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

// dueOrder is an order with the number or else the text that it goes by.
type dueOrder struct {
	order
	number func(a *dueAxle) float64
}

// dueOrders are the orders there are, none but ByVehicle by text; ties go by
// vehicle and axle.
var dueOrders = []dueOrder{
	{order{name: ByBookBy, kind: aDate}, func(a *dueAxle) float64 { return float64(a.byDue) }},
	{order{name: ByLimitDate, kind: aDate}, func(a *dueAxle) float64 { return float64(a.byLimit) }},
	{order{name: ByVehicle, kind: aText}, func(*dueAxle) float64 { return 0 }},
	{order{name: ByKmLeft, kind: aNumber}, func(a *dueAxle) float64 { return a.byKm }},
	{order{name: ByThicknessLeft, kind: aNumber}, func(a *dueAxle) float64 { return a.byThickness }},
	{order{name: ByNarrowing, kind: aNumber}, func(a *dueAxle) float64 { return a.byNarrowing }},
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

	Booked   *AxleBooking // the next; nil = none
	Proposed *AxleVisit   // nil = none
	Waiting  *AxleWaiting // nil = nothing can be said of it
}

// DuePage is a page of the due-soon list.
type DuePage struct {
	Rows  []DueRow
	Next  string // cursor of the page after; blank on the last
	Total int    // rows of all pages
}

// DueSoon returns a page of the due-soon list. What its rows point to is not to be
// changed: the next who asks gets it too.
func (db *DB) DueSoon(ctx context.Context, sc auth.Scope, q DueQuery) (page DuePage, err error) {
	if err := db.AwaitDue(ctx); err != nil {
		return page, err
	}
	err = db.readKeeping(ctx, "list what is due", func(t *tx) error {
		limit, key := limitOf(q.Limit), ""
		if limit <= DefaultLimit { // else it is too long to be kept
			scope, args := q.key(sc)
			key = fmt.Sprintf("%s %#v", scope, args)
		}
		page, err = t.duePage(sc, q, limit, key)
		return err
	})
	return page, err
}

// EachDue calls fn for every row of q, whatever its After and Limit, and stops
// at fn's first error. No transaction is open while fn runs, however long it
// takes; an axle that is forecast anew meanwhile may come twice or not at all.
func (db *DB) EachDue(ctx context.Context, sc auth.Scope, q DueQuery, fn func(DueRow) error) error {
	for q.After = ""; ; {
		if err := db.AwaitDue(ctx); err != nil {
			return err
		}
		var page DuePage
		err := db.readKeeping(ctx, "list what is due", func(t *tx) (err error) {
			page, err = t.duePage(sc, q, MaxLimit, "")
			return err
		})
		if err != nil {
			return err
		}
		for _, r := range page.Rows {
			if err := fn(r); err != nil {
				return err
			}
		}
		if q.After = page.Next; q.After == "" {
			return nil
		}
	}
}

// key names what q asks for and sc sees.
func (q *DueQuery) key(sc auth.Scope) (string, []any) {
	var w where
	w.scope(sc, "c")
	return w.String(), append(w.args,
		q.Fleet, q.Depot, q.Text, given(q.Before), q.Sort, q.After, q.Limit, q.Vehicles, given(q.Booked), given(q.Measured), q.Left,
		given(q.LimitFrom), given(q.LimitTo), given(q.From), q.Late, q.Part, given(q.Duty), q.Moved, q.Today)
}

// given is what p points to, or nil.
func given[T any](p *T) any {
	if p == nil {
		return nil
	}
	return *p
}

// duePage returns a page of limit rows. Which those are is kept by its key, and the
// rows as well, unless that is blank.
func (t *tx) duePage(sc auth.Scope, q DueQuery, limit int, key string) (page DuePage, err error) {
	plan, err := t.plan()
	if err != nil {
		return page, err
	}
	f, err := t.dueFilter(sc, q)
	if err != nil {
		return page, err
	}
	if q.Late || q.Booked != nil {
		f.plan = plan
	}
	var p *duePick
	err = t.withDue(f.today, func(l *dueList) error {
		p = l.pick(f, limit, key, t.version)
		return nil
	})
	if err != nil {
		return page, err
	}
	page.Next, page.Total = p.next, p.total
	page.Rows, err = t.dueRows(p.keys, plan, key != "")
	return page, err
}

// readDueRows adds the rows of axles to found.
func (t *tx) readDueRows(keys []AxleKey, found map[AxleKey]dueRowHeld) error {
	if len(keys) == 0 {
		return nil
	}
	n := rounded(len(keys))
	args := make([]any, 0, 2*n)
	for i := range n {
		k := keys[min(i, len(keys)-1)]
		args = append(args, k.VehicleID, k.Axle)
	}
	return t.each(func(r *sqlx.Rows) error {
		var row dueRowHeld
		var warnings []byte
		var category fleet.Category
		err := r.Scan(
			&row.VehicleID,
			&row.Vehicle,
			&row.Plate,
			&row.fleet,
			&row.depot,
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
			&row.waits,
			quantiles{&row.day},
			&category)
		if err != nil {
			return err
		}
		if row.Position.Part != "" {
			row.Position.Axle = row.Axle
		}
		row.heavy = category.Heavy()
		if err := json.Unmarshal(warnings, &row.Warnings); err != nil {
			return err
		}
		found[AxleKey{row.VehicleID, row.Axle}] = row
		return nil
	}, `
		with k (vehicle_id, axle) as (values (CAST(? AS bigint), CAST(? AS integer))`+strings.Repeat(", (?, ?)", n-1)+`)
		select
			c.vehicle_id,
			v.number,
			v.plate,
			v.fleet_id,
			v.depot_id,
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
			`+measured+` or c.past_limit,
			c.day_quantiles,
			v.category
		from k
		cross join axle_forecasts c
		cross join vehicles v
		where c.vehicle_id = k.vehicle_id and c.axle = k.axle and v.id = k.vehicle_id`, args...)
}
