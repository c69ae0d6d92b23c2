package store

import (
	"context"
	"errors"
	"time"

	"github.com/jmoiron/sqlx"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/units"
)

// CalendarFeed is a calendar of bookings at an address that is its only key:
// of one depot, or of one vehicle.
type CalendarFeed struct {
	ID        int64
	DepotID   int64 // 0 = of a vehicle
	VehicleID int64 // 0 = of a depot
	MadeBy    string
	Account   int64 // whose it is; 0 = nobody's
	MadeAt    time.Time
	RevokedBy string
	RevokedAt *time.Time  // nil while the address works
	ReadOn    *fleet.Date // last; nil = never
	// Names, filled where feeds are read.
	Fleet, Depot, Vehicle, TimeZone string
	// Reader is how whose it is wants quantities and days said, filled there too.
	Reader units.Reader

	fleetID int64
}

// AddCalendarFeed adds a feed of f.DepotID or f.VehicleID under a secret, and
// sets f.ID and f.MadeAt.
func (db *DB) AddCalendarFeed(ctx context.Context, sc auth.Scope, f *CalendarFeed, secret string) error {
	if (f.DepotID == 0) == (f.VehicleID == 0) {
		return fleet.Invalidf("calendar: want a depot or a vehicle")
	}
	return db.write(ctx, "make a calendar", func(t *tx) error {
		var fleetID int64
		var err error
		var depot, vehicle *int64
		if f.DepotID != 0 {
			depot = &f.DepotID
			fleetID, err = t.depotIn(sc, f.DepotID)
		} else {
			vehicle = &f.VehicleID
			var w where
			w.scope(sc, "v")
			w.add("v.id = ?", f.VehicleID)
			err = t.one([]any{&fleetID}, `select v.fleet_id from vehicles v`+w.String(), w.args...)
			if errors.Is(err, errNoRows) {
				err = noVehicle(f.VehicleID)
			}
		}
		if err != nil {
			return err
		}
		f.MadeAt = t.db.now()
		err = t.one([]any{&f.ID}, `
			insert into calendar_feeds (sha256, fleet_id, depot_id, vehicle_id, made_by, made_at, account_id)
			values (?, ?, ?, ?, ?, ?, ?)
			returning id`, auth.Hash(secret), fleetID, depot, vehicle, storableOf(f.MadeBy), instant(f.MadeAt), unlessZero(f.Account))
		if err != nil {
			return err
		}
		return t.log(entry{act: actAdded, record: "calendar", id: f.ID, fleet: fleetID, depot: f.DepotID, by: f.MadeBy})
	})
}

// RevokeCalendarFeed makes a feed's address lead nowhere, for good.
func (db *DB) RevokeCalendarFeed(ctx context.Context, sc auth.Scope, id int64, by string) error {
	return db.write(ctx, "withdraw a calendar", func(t *tx) error {
		var w where
		w.feed(sc)
		w.add("c.id = ?", id)
		fs, err := t.feeds(w)
		f, err := only(fs, err, "calendar %d: there is none, or none that you may see", id)
		if err != nil {
			return err
		}
		_, err = t.exec(`update calendar_feeds set revoked_by = ?, revoked_at = ? where id = ? and revoked_at is null`,
			storableOf(by), instant(t.db.now()), id)
		if err != nil {
			return err
		}
		return t.log(entry{act: "withdrawn", record: "calendar", id: id, fleet: f.fleetID, depot: f.DepotID, by: by})
	})
}

// CalendarFeeds returns the feeds whose address works, by depot and vehicle.
func (db *DB) CalendarFeeds(ctx context.Context, sc auth.Scope) (fs []CalendarFeed, err error) {
	err = db.read(ctx, "list calendars", func(t *tx) error {
		var w where
		w.feed(sc)
		w.add("c.revoked_at is null")
		fs, err = t.feeds(w)
		return err
	})
	return fs, err
}

// CalendarFeedOf returns the feed of a secret, and notes that it was read on a
// day. The secret is all the right there is; one that was revoked, or never
// was, is fleet.ErrNotFound.
func (db *DB) CalendarFeedOf(ctx context.Context, secret string, day fleet.Date) (f CalendarFeed, err error) {
	err = db.read(ctx, "find a calendar", func(t *tx) error {
		var w where
		w.add("c.sha256 = ?", auth.Hash(secret))
		w.add("c.revoked_at is null")
		fs, err := t.feeds(w)
		f, err = only(fs, err, "there is no calendar at this address, or it was withdrawn: ask for a new address")
		return err
	})
	if err != nil || f.ReadOn != nil && *f.ReadOn >= day {
		return f, err
	}
	return f, db.tend(ctx, "note that a calendar was read", func(t *tx) error {
		_, err := t.exec(`update calendar_feeds set read_on = ? where id = ?`, day, f.ID)
		return err
	})
}

// Renewals is what changed of how a feed says all its bookings.
type Renewals struct {
	// Times counts them, and never falls.
	Times int
	// Reader is when its reader chose other units or days; zero = never. Zones is when
	// each depot's clock was set to another time zone.
	Reader time.Time
	Zones  map[int64]time.Time
}

// FeedRenewals returns those of a feed since it was made. The log of changes has them, from which
// nothing is taken away.
func (db *DB) FeedRenewals(ctx context.Context, f *CalendarFeed) (x Renewals, err error) {
	x.Zones = map[int64]time.Time{}
	err = db.read(ctx, "find what renewed a calendar", func(t *tx) error {
		err := t.each(func(r *sqlx.Rows) error {
			var depot int64
			var n int
			var at time.Time
			err := r.Scan(&depot, &n, (*instant)(&at))
			x.Times += n
			x.Zones[depot] = at
			return err
		}, `
			select d.id, count(*), max(l.at)
			from depots d
			join audit_log l on l.record = 'workshop' and l.record_id = d.id and l.act = ? and l.at > ?
			where d.fleet_id = ?
			group by d.id`, actZone, instant(f.MadeAt), f.fleetID)
		if err != nil || f.Account == 0 {
			return err
		}
		var n int
		var at *time.Time
		err = t.one([]any{&n, maybeInstant{&at}}, `
			select count(*), max(at)
			from audit_log
			where record = 'account' and record_id = ? and act = ? and at > ?`, f.Account, actReader, instant(f.MadeAt))
		if at != nil {
			x.Reader = *at
		}
		x.Times += n
		return err
	})
	return x, err
}

// What the log calls the changes that renew calendars.
const (
	actZone   = "time zone set"
	actReader = "units, days and clock changed"
)

// feed adds that sc sees the depot or the vehicle v of a feed c.
func (w *where) feed(sc auth.Scope) {
	if sc.All() {
		return
	}
	var at, of where
	at.places(sc, "c.fleet_id", "c.depot_id")
	of.scope(sc, "v")
	w.add("(c.depot_id is not null and "+at.conds[0]+" or c.vehicle_id is not null and "+of.conds[0]+")", append(at.args, of.args...)...)
}

// feeds returns the feeds c, of vehicles v or depots d, that w admits.
func (t *tx) feeds(w where) (fs []CalendarFeed, err error) {
	err = t.each(func(r *sqlx.Rows) error {
		var f CalendarFeed
		var depot, vehicle, account *int64
		var number, revokedBy *string
		err := r.Scan(&f.ID, &depot, &vehicle, &f.MadeBy, (*instant)(&f.MadeAt), &revokedBy, maybeInstant{&f.RevokedAt}, &f.ReadOn,
			&f.Fleet, &f.Depot, &f.TimeZone, &number, &f.fleetID,
			&account, &f.Reader.DistanceIn, &f.Reader.ThicknessIn, &f.Reader.DaysAs)
		for _, x := range []struct {
			from *int64
			to   *int64
		}{{depot, &f.DepotID}, {vehicle, &f.VehicleID}, {account, &f.Account}} {
			if x.from != nil {
				*x.to = *x.from
			}
		}
		if number != nil {
			f.Vehicle = *number
		}
		if revokedBy != nil {
			f.RevokedBy = *revokedBy
		}
		fs = append(fs, f)
		return err
	}, `
		select
			c.id,
			c.depot_id,
			c.vehicle_id,
			c.made_by,
			c.made_at,
			c.revoked_by,
			c.revoked_at,
			c.read_on,
			f.name,
			d.name,
			d.time_zone,
			v.number,
			c.fleet_id,
			c.account_id,
			coalesce(a.distance, ''),
			coalesce(a.thickness, ''),
			coalesce(a.days, '')
		from calendar_feeds c
		left join vehicles v on v.id = c.vehicle_id
		left join accounts a on a.id = c.account_id
		join depots d on d.id = coalesce(c.depot_id, v.depot_id)
		join fleets f on f.id = d.fleet_id`+w.String()+`
		order by d.name_key, d.id, coalesce(v.sort_key, ''), c.id`, w.args...)
	return fs, err
}

// Left is a booking that a depot no longer has, as it was there.
type Left struct {
	fleet.Booking
	At  time.Time // when it went
	Was fleet.Slot
}

// LeftDepot returns the bookings that were moved from a depot to another since
// an instant, each where it was before it left for the last time.
func (db *DB) LeftDepot(ctx context.Context, sc auth.Scope, depotID int64, since time.Time) (left []Left, err error) {
	err = db.read(ctx, "list bookings that left a depot", func(t *tx) error {
		if _, err := t.depotIn(sc, depotID); err != nil {
			return err
		}
		gone := map[int64]Left{}
		var ids []any
		err := t.each(func(r *sqlx.Rows) error {
			l := Left{Was: fleet.Slot{DepotID: depotID}}
			err := r.Scan(&l.ID, (*instant)(&l.At), &l.Was.Day, &l.Was.Bay, &l.Was.Starts, &l.Was.Minutes)
			if _, seen := gone[l.ID]; !seen {
				ids = append(ids, l.ID)
			}
			gone[l.ID] = l // the latest stays
			return err
		}, `
			select c.booking_id, c.at, c.from_day, c.from_bay, c.from_starts, c.from_minutes
			from booking_changes c
			join bookings b on b.id = c.booking_id
			where c.at >= ? and c.from_depot = ? and c.to_depot <> c.from_depot and b.depot_id <> c.from_depot
			order by c.id`, instant(since), depotID)
		if err != nil || len(ids) == 0 {
			return err
		}
		var w where
		w.add("b.id in "+places(len(ids)), ids...)
		bs, err := t.bookings(w)
		for _, b := range bs {
			l := gone[b.ID]
			l.Booking = b
			left = append(left, l)
		}
		return err
	})
	return left, err
}
