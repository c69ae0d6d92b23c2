package store

import (
	"context"
	"slices"
	"time"

	"github.com/jmoiron/sqlx"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
)

// BookingQuery asks for bookings; a zero field asks for all.
type BookingQuery struct {
	Fleet, Depot, Vehicle int64
	From, To              fleet.Date // days, both included; To 0 = for good
	States                []fleet.BookingState
	Since                 time.Time // something was done to them from then on
}

// Bookings returns bookings by day, depot, time and bay, with their work. A
// booking is seen by who sees its depot or its vehicle.
func (db *DB) Bookings(ctx context.Context, sc auth.Scope, q BookingQuery) (bs []fleet.Booking, err error) {
	err = db.read(ctx, "list bookings", func(t *tx) error {
		bs, err = t.bookings(q.where(sc))
		return err
	})
	return bs, err
}

func (q *BookingQuery) where(sc auth.Scope) where {
	var w where
	w.booking(sc)
	w.only("b.fleet_id", q.Fleet)
	w.only("b.depot_id", q.Depot)
	w.only("b.vehicle_id", q.Vehicle)
	if q.From != 0 {
		w.add("b.day >= ?", q.From)
	}
	if q.To != 0 {
		w.add("b.day <= ?", q.To)
	}
	if len(q.States) > 0 {
		w.add("b.state in "+places(len(q.States)), anys(q.States)...)
	}
	if !q.Since.IsZero() {
		w.add("b.id in (select c.booking_id from booking_changes c where c.at >= ?)", instant(q.Since))
	}
	return w
}

// Booking returns one booking.
func (db *DB) Booking(ctx context.Context, sc auth.Scope, id int64) (b fleet.Booking, err error) {
	err = db.read(ctx, "read a booking", func(t *tx) error {
		b, err = t.booking(sc, id)
		return err
	})
	return b, err
}

func (t *tx) booking(sc auth.Scope, id int64) (fleet.Booking, error) {
	var w where
	w.booking(sc)
	w.add("b.id = ?", id)
	bs, err := t.bookings(w)
	return only(bs, err, "booking %d: there is none, or none that you may see", id)
}

// booking adds that sc sees the booking b's depot or its vehicle v.
func (w *where) booking(sc auth.Scope) {
	if sc.All() {
		return
	}
	var at, of where
	at.scope(sc, "b")
	of.scope(sc, "v")
	w.add("("+at.conds[0]+" or "+of.conds[0]+")", append(at.args, of.args...)...)
}

// bookings returns the bookings b, of vehicles v, that w admits.
func (t *tx) bookings(w where) ([]fleet.Booking, error) {
	return t.bookingsBy(w, "b.day, d.name_key, b.depot_id, b.starts, b.bay, b.id")
}

// bookingsBy is bookings in another order, which may end with a limit and its argument.
func (t *tx) bookingsBy(w where, order string, args ...any) (bs []fleet.Booking, err error) {
	at := map[int64]int{}
	err = t.each(func(r *sqlx.Rows) error {
		var b fleet.Booking
		var visit *int64
		err := r.Scan(
			&b.ID,
			&b.FleetID,
			&b.VehicleID,
			&b.DepotID,
			&b.Day,
			&b.Bay,
			&b.Starts,
			&b.Minutes,
			&b.Hours,
			&b.State,
			&b.Kept,
			&b.Note,
			&b.Cost,
			&visit,
			&b.MadeBy,
			(*instant)(&b.MadeAt),
			(*instant)(&b.Changed),
			&b.Revision,
			&b.HomeDepotID,
			&b.Vehicle,
			&b.Plate,
			&b.Fleet,
			&b.Depot,
			&b.TimeZone,
			&b.Currency)
		if visit != nil {
			b.VisitID = *visit
		}
		at[b.ID] = len(bs)
		bs = append(bs, b)
		return err
	}, `
		select
			b.id,
			b.fleet_id,
			b.vehicle_id,
			b.depot_id,
			b.day,
			b.bay,
			b.starts,
			b.minutes,
			b.hours,
			b.state,
			b.kept,
			b.note,
			b.cost,
			b.visit_id,
			b.made_by,
			b.made_at,
			b.changed_at,
			b.revision,
			coalesce(v.depot_id, 0),
			v.number,
			v.plate,
			f.name,
			d.name,
			d.time_zone,
			coalesce(s.currency, '')
		from bookings b
		join vehicles v on v.id = b.vehicle_id
		join fleets f on f.id = b.fleet_id
		join depots d on d.id = b.depot_id
		left join workshops s on s.depot_id = b.depot_id`+w.String()+`
		order by `+order, append(w.args, args...)...)
	if err != nil || len(bs) == 0 {
		return bs, err
	}
	// In rounds, for a statement takes only so many parameters.
	for ids := range slices.Chunk(bs, roundVehicles) {
		in := make([]any, len(ids))
		for i := range ids {
			in[i] = ids[i].ID
		}
		err := t.each(func(r *sqlx.Rows) error {
			var id int64
			var x fleet.WorkItem
			var part *int64
			err := r.Scan(&id, &x.Axle, &x.Item, &part, &x.PartNumber, &x.Quantity, &x.Reason)
			if part != nil {
				x.PartID = *part
			}
			b := &bs[at[id]]
			b.Work = append(b.Work, x)
			return err
		}, `
			select booking_id, axle, item, part_id, part_number, quantity, reason
			from booking_work
			where booking_id in `+places(len(in))+`
			order by booking_id, seq`, in...)
		if err != nil {
			return nil, err
		}
	}
	return bs, nil
}

// AxleBooking is the next booking of an axle, as the due-soon list shows it.
type AxleBooking struct {
	ID    int64
	Day   fleet.Date
	Depot string
	Cost  *float64 // of the whole booking
	Kept  bool

	Currency string
}

// BookedAxles returns the next open booking of each axle of the vehicles given.
func (db *DB) BookedAxles(ctx context.Context, sc auth.Scope, vehicleIDs []int64) (map[AxleKey]AxleBooking, error) {
	if len(vehicleIDs) == 0 {
		return map[AxleKey]AxleBooking{}, nil
	}
	var w where
	w.add("b.vehicle_id in "+places(len(vehicleIDs)), anys(vehicleIDs)...)
	return db.bookedAxles(ctx, sc, w)
}

// AllBookedAxles is BookedAxles of all vehicles, for who lists them all.
func (db *DB) AllBookedAxles(ctx context.Context, sc auth.Scope) (map[AxleKey]AxleBooking, error) {
	return db.bookedAxles(ctx, sc, where{})
}

func (db *DB) bookedAxles(ctx context.Context, sc auth.Scope, w where) (map[AxleKey]AxleBooking, error) {
	booked := map[AxleKey]AxleBooking{}
	err := db.read(ctx, "find what is booked", func(t *tx) error {
		w.booking(sc)
		w.add("b.state = ?", string(fleet.Booked))
		w.add("x.axle > 0")
		return t.each(nextBooked(booked), `
			select `+axleBookingColumns+`
			from bookings b
			join booking_work x on x.booking_id = b.id
			join vehicles v on v.id = b.vehicle_id
			join depots d on d.id = b.depot_id
			left join workshops s on s.depot_id = b.depot_id`+w.String(), w.args...)
	})
	return booked, err
}

// axleBookingColumns are what nextBooked scans, of bookings b, booking_work x, depots d
// and workshops s.
const axleBookingColumns = `b.vehicle_id, x.axle, b.id, b.day, d.name, b.cost, b.kept, coalesce(s.currency, '')`

// nextBooked keeps of the bookings that it scans the earliest of each axle.
func nextBooked(of map[AxleKey]AxleBooking) func(r *sqlx.Rows) error {
	return func(r *sqlx.Rows) error {
		var k AxleKey
		var b AxleBooking
		err := r.Scan(&k.VehicleID, &k.Axle, &b.ID, &b.Day, &b.Depot, &b.Cost, &b.Kept, &b.Currency)
		if was, ok := of[k]; !ok || b.Day < was.Day || b.Day == was.Day && b.ID < was.ID {
			of[k] = b
		}
		return err
	}
}

// BookingChanges returns what was done to bookings from an instant on, oldest
// first: what was booked, moved, missed and so on, by whom and why.
func (db *DB) BookingChanges(ctx context.Context, sc auth.Scope, since time.Time) ([]fleet.BookingChange, error) {
	var w where
	w.booking(sc)
	w.add("c.at >= ?", instant(since))
	return db.bookingChanges(ctx, w)
}

// BookingHistory returns what was done to one booking, oldest first.
func (db *DB) BookingHistory(ctx context.Context, sc auth.Scope, id int64) ([]fleet.BookingChange, error) {
	var w where
	w.booking(sc)
	w.add("b.id = ?", id)
	return db.bookingChanges(ctx, w)
}

func (db *DB) bookingChanges(ctx context.Context, w where) (cs []fleet.BookingChange, err error) {
	err = db.read(ctx, "list changes of bookings", func(t *tx) error {
		return t.each(func(r *sqlx.Rows) error {
			var c fleet.BookingChange
			var depot *int64
			var day *fleet.Date
			var bay, starts, minutes *int
			var from *string
			err := r.Scan(&c.ID, &c.BookingID, &c.VehicleID, (*instant)(&c.At), &c.By, &c.What, &c.Why, &c.Proposed,
				&depot, &day, &bay, &starts, &minutes,
				&c.To.DepotID, &c.To.Day, &c.To.Bay, &c.To.Starts, &c.To.Minutes,
				&c.Vehicle, &from, &c.ToDepot)
			if err == nil && depot != nil {
				c.From = fleet.Slot{DepotID: *depot, Day: *day, Bay: *bay, Starts: fleet.Clock(*starts), Minutes: *minutes}
				c.FromDepot = *from
			}
			cs = append(cs, c)
			return err
		}, `
			select
				c.id,
				c.booking_id,
				b.vehicle_id,
				c.at,
				c.changed_by,
				c.what,
				c.why,
				c.why <> '' and exists (
					select 1
					from proposal_visits p
					where p.vehicle_id = b.vehicle_id and p.state = '`+string(VisitAccepted)+`' and p.why = c.why),
				c.from_depot,
				c.from_day,
				c.from_bay,
				c.from_starts,
				c.from_minutes,
				c.to_depot,
				c.to_day,
				c.to_bay,
				c.to_starts,
				c.to_minutes,
				v.number,
				f.name,
				d.name
			from booking_changes c
			join bookings b on b.id = c.booking_id
			join vehicles v on v.id = b.vehicle_id
			left join depots f on f.id = c.from_depot
			join depots d on d.id = c.to_depot`+w.String()+`
			order by c.at, c.id`, w.args...)
	})
	return cs, err
}
