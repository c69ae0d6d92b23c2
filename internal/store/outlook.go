package store

import (
	"context"
	"encoding/json"
	"math"
	"runtime"
	"sync"

	"github.com/jmoiron/sqlx"

	"brakewear/forecast"
	"brakewear/internal/auth"
	"brakewear/internal/fleet"
)

// OutlookAxle is an axle with what a look ahead needs of its forecast: the
// limit's days, not its distance, nothing of the basis but the widths, and no
// more warnings than there are on an axle that is due. Of an axle that is not
// due by then, the position that is first to reach its limit is the only one.
type OutlookAxle struct {
	Vehicle fleet.Vehicle // what parts and hours go by: ids, category, make, model
	// Measured: a reading that counts says what is left.
	Measured bool
	Booked   *fleet.Date // first day for which it has an open booking; nil = it has none
	P50      *fleet.Date // median limit date
	AxleForecast
}

const (
	// outlookVehicles is how many vehicles one round of a look ahead reads:
	// some 3 MB of quantiles.
	outlookVehicles = 1000
	// outlookReaders is how many rounds are read at once at most: reading is
	// nearly all the time that a look ahead takes, and more of them would take
	// connections that other pages wait for.
	outlookReaders = 4
)

// EachOutlook calls fn for every axle that a reading says something of, or
// that is past its limit, by vehicle and axle; due is the day up to which
// those are to be booked that come whole. It reads on while fn runs, in
// several transactions; fn is never called twice at once, and may not keep
// what it is given.
func (db *DB) EachOutlook(ctx context.Context, sc auth.Scope, q OverviewQuery, due fleet.Date, fn func(*OutlookAxle) error) error {
	ends, err := db.outlookEnds(ctx, sc, q)
	if err != nil {
		return err
	}
	ctx, cancel := context.WithCancel(ctx)
	var readers sync.WaitGroup
	defer readers.Wait()
	defer cancel()
	type round struct {
		axles []OutlookAxle
		err   error
	}
	n := min(outlookReaders, runtime.GOMAXPROCS(0), len(ends))
	if db.within != nil {
		n = 1 // one transaction, one reader
	}
	rounds := make([]chan round, n)
	for k := range rounds {
		rounds[k] = make(chan round)
		readers.Go(func() {
			for i := k; i < len(ends); i += n {
				after := int64(0)
				if i > 0 {
					after = ends[i-1]
				}
				axles, err := db.outlookRound(ctx, sc, q, after, ends[i], due)
				select {
				case rounds[k] <- round{axles, err}:
				case <-ctx.Done():
					return
				}
			}
		})
	}
	for i := range ends {
		select {
		case r := <-rounds[i%n]:
			if r.err != nil {
				return r.err
			}
			for k := range r.axles {
				if err := fn(&r.axles[k]); err != nil {
					return err
				}
			}
		case <-ctx.Done():
			return wrap(ctx, "look ahead", ctx.Err())
		}
	}
	return nil
}

// outlookEnds returns the last vehicle of each round; the last round has no
// end.
func (db *DB) outlookEnds(ctx context.Context, sc auth.Scope, q OverviewQuery) (ends []int64, err error) {
	err = db.read(ctx, "look ahead", func(t *tx) error {
		v := q.of(sc, "v")
		return t.each(func(r *sqlx.Rows) error {
			ends = append(ends, 0)
			return r.Scan(&ends[len(ends)-1])
		}, `
			select x.id
			from (
				select v.id, row_number() over (order by v.id) as n
				from vehicles v`+v.String()+`) x
			where x.n % ? = 0
			order by x.id`, append(v.args, outlookVehicles)...)
	})
	return append(ends, math.MaxInt64), err
}

// outlookRound reads the vehicles behind one up to another.
func (db *DB) outlookRound(ctx context.Context, sc auth.Scope, q OverviewQuery, after, last int64, due fleet.Date) (axles []OutlookAxle, err error) {
	err = db.read(ctx, "look ahead", func(t *tx) error {
		w := q.of(sc, "c")
		w.add("c.vehicle_id > ?", after)
		w.add("c.vehicle_id <= ?", last)
		var err error
		if axles, err = t.outlookAxles(w); err != nil {
			return err
		}
		w.add("c.by_due <= ?", due)
		return t.outlookPositions(w, axles)
	})
	return axles, err
}

// outlookAxles returns the axles of the forecasts c that w admits, each with
// the position that is first.
func (t *tx) outlookAxles(w where) (axles []OutlookAxle, err error) {
	cond := where{append([]string{"(" + measured + " or c.past_limit = ?)"}, w.conds...), append([]any{true}, w.args...)}
	err = t.each(func(r *sqlx.Rows) error {
		axles = append(axles, OutlookAxle{})
		x := &axles[len(axles)-1]
		var p forecast.PositionForecast
		err := r.Scan(
			&x.VehicleID,
			&x.Vehicle.FleetID,
			&x.Vehicle.DepotID,
			&x.Vehicle.Category,
			&x.Vehicle.Make,
			&x.Vehicle.Model,
			&x.Axle,
			(*fleet.Date)(&x.AsOf),
			(*number)(&x.KmPerDay),
			&x.Readings,
			&x.BookBy,
			&x.PastLimit,
			&p.Pos.Part,
			&p.Pos.Side,
			&p.Pos.Face,
			(*number)(&p.ThicknessMM),
			(*number)(&p.Spec.New),
			(*number)(&p.Spec.Limit),
			(*number)(&p.RatePer10000),
			&x.P50,
			(*number)(&x.Basis.Width80Days),
			(*number)(&x.Basis.Width80IfMeasured),
			quantiles{&x.Crossing.Day},
			&x.Measured,
			&x.Booked)
		x.Vehicle.ID = x.VehicleID
		x.Limiting = -1
		if p.Pos.Part != "" {
			x.Limiting = 0
			p.Crossing.Day = x.Crossing.Day
			x.Positions = []forecast.PositionForecast{p}
		}
		return err
	}, `
		select
			c.vehicle_id,
			v.fleet_id,
			v.depot_id,
			v.category,
			v.make,
			v.model,
			c.axle,
			c.as_of,
			c.km_per_day,
			c.readings,
			c.book_by,
			c.past_limit,
			c.part,
			c.side,
			c.face,
			c.thickness_mm,
			c.new_mm,
			c.limit_mm,
			c.rate,
			c.p50,
			c.width80_days,
			c.width80_if_measured,
			c.day_quantiles,
			`+measured+`,
			`+bookedFor+`
		from axle_forecasts c
		join vehicles v on v.id = c.vehicle_id`+cond.String()+`
		order by c.vehicle_id, c.axle`, cond.args...)
	return axles, err
}

// outlookPositions gives those of axles whose forecasts c w admits all their
// positions and warnings.
func (t *tx) outlookPositions(w where, axles []OutlookAxle) error {
	at := make(map[AxleKey]*OutlookAxle, len(axles))
	for i := range axles {
		at[AxleKey{axles[i].VehicleID, axles[i].Axle}] = &axles[i]
	}
	return t.each(func(r *sqlx.Rows) error {
		var k AxleKey
		var limiting int
		var warnings []byte
		var ps positionsRead
		if err := r.Scan(&k.VehicleID, &k.Axle, &limiting, &warnings, &ps.positions, &ps.day); err != nil {
			return err
		}
		x := at[k]
		if x == nil {
			return nil
		}
		x.Limiting = limiting
		if err := json.Unmarshal(warnings, &x.Warnings); err != nil {
			return err
		}
		var err error
		x.Positions, err = ps.whole(isDisc)
		return err
	}, `
		select
			p.vehicle_id,
			p.axle,
			c.limiting,
			c.warnings,
			p.positions,
			p.day_quantiles
		from axle_forecasts c
		join forecast_positions p on p.vehicle_id = c.vehicle_id and p.axle = c.axle`+w.String()+`
		order by p.vehicle_id, p.axle`, w.args...)
}

// isDisc says whether a part is what pads or linings rub on, of which a look ahead wants
// the days.
func isDisc(part forecast.Part) bool { return part == forecast.Rotor || part == forecast.Drum }

// BookedDay is what is booked at a depot on a day.
type BookedDay struct {
	DepotID int64
	Day     fleet.Date
	Hours   float64 // of technicians, done ones as well
	Cost    float64 // of those that are still to be done
	NoCost  int     // of which this many do not say what they cost
}

// BookedDays returns what is booked at the depots on days, both included, by
// depot and day.
func (db *DB) BookedDays(ctx context.Context, sc auth.Scope, q OverviewQuery, from, to fleet.Date) (ds []BookedDay, err error) {
	err = db.read(ctx, "add up what is booked", func(t *tx) error {
		w := q.of(sc, "b")
		w.add("b.state in ('booked', 'done')")
		w.add("b.day between ? and ?", from, to)
		return t.each(func(r *sqlx.Rows) error {
			var d BookedDay
			err := r.Scan(&d.DepotID, &d.Day, &d.Hours, &d.Cost, &d.NoCost)
			ds = append(ds, d)
			return err
		}, `
			select
				b.depot_id,
				b.day,
				sum(b.hours),
				coalesce(sum(case when b.state = 'booked' then b.cost end), 0),
				sum(case when b.state = 'booked' and b.cost is null then 1 else 0 end)
			from bookings b`+w.String()+`
			group by b.depot_id, b.day
			order by b.depot_id, b.day`, w.args...)
	})
	return ds, err
}

// BookedItem is how often a thing is to be done on a day by the bookings.
type BookedItem struct {
	FleetID     int64
	Day         fleet.Date
	PartID      int64 // 0: none is known to fit
	Item        fleet.Item
	Axle        int
	Make, Model string // of the vehicles
	Times       int
}

// BookedItems returns what the open bookings of days, both included, will
// take, at the depots they are booked for.
func (db *DB) BookedItems(ctx context.Context, sc auth.Scope, q OverviewQuery, from, to fleet.Date) (is []BookedItem, err error) {
	err = db.read(ctx, "add up what bookings take", func(t *tx) error {
		w := q.of(sc, "b")
		w.add("b.state = 'booked'")
		w.add("b.day between ? and ?", from, to)
		return t.each(func(r *sqlx.Rows) error {
			var i BookedItem
			err := r.Scan(&i.FleetID, &i.Day, &i.PartID, &i.Item, &i.Axle, &i.Make, &i.Model, &i.Times)
			is = append(is, i)
			return err
		}, `
			select
				b.fleet_id,
				b.day,
				coalesce(x.part_id, 0),
				x.item,
				x.axle,
				v.make,
				v.model,
				count(*)
			from bookings b
			join booking_work x on x.booking_id = b.id
			join vehicles v on v.id = b.vehicle_id`+w.String()+`
			group by b.fleet_id, b.day, coalesce(x.part_id, 0), x.item, x.axle, v.make, v.model
			order by 1, 2, 3, 4, 5, 6, 7`, w.args...)
	})
	return is, err
}
