package store

import (
	"context"
	"errors"
	"slices"
	"strconv"
	"time"

	"github.com/jmoiron/sqlx"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
)

// Book adds a booking, made by a person: the work of b for its vehicle in its
// slot, where Bay or Starts may be 0 for any that is free. It is refused with
// fleet.ErrConflict when the day has no room for it.
func (db *DB) Book(ctx context.Context, sc auth.Scope, by string, b fleet.Booking) (booked fleet.Booking, err error) {
	err = db.write(ctx, "book", func(t *tx) error {
		if err := t.lockDepots(b.DepotID); err != nil {
			return err
		}
		b.Kept = true
		id, err := t.book(sc, by, "booked by hand", b)
		if err != nil {
			return err
		}
		booked, err = t.booking(auth.AllFleets(), id)
		return err
	})
	return booked, err
}

// MoveBooking puts an open booking into another slot, where a proposal will
// leave it; Bay or Starts may be 0 for any that is free.
func (db *DB) MoveBooking(ctx context.Context, sc auth.Scope, by string, id int64, to fleet.Slot, why string) (moved fleet.Booking, err error) {
	err = db.write(ctx, "move a booking", func(t *tx) error {
		b, err := t.openBooking(sc, id, to.DepotID)
		if err != nil {
			return err
		}
		to.Minutes = b.Minutes
		if err := t.move(sc, by, b, to, b.Work, b.Hours, b.Cost, true, "moved", why); err != nil {
			return err
		}
		moved, err = t.booking(auth.AllFleets(), id)
		return err
	})
	return moved, err
}

// FinishBooking gives an open booking its end, the work having been done, in
// the transaction that keeps the parts fitted. Brake fluid that was changed
// counts from its day on, and the parts it took leave the shelves.
func (w *Writer) FinishBooking(by string, id int64) (b fleet.Booking, err error) {
	defer w.end("finish a booking", &err)
	open, err := w.t.openBooking(w.sc, id, 0)
	if err != nil {
		return b, err
	}
	if err := w.t.end(by, open, fleet.Done, ""); err != nil {
		return b, err
	}
	if err := w.t.takeForBooking(by, open); err != nil {
		return b, err
	}
	return w.t.booking(auth.AllFleets(), id)
}

// EndBooking gives an open booking its end: done, missed or withdrawn. What was
// fitted is for FinishBooking.
func (db *DB) EndBooking(ctx context.Context, sc auth.Scope, by string, id int64, state fleet.BookingState, why string) (ended fleet.Booking, err error) {
	if state != fleet.Done && state != fleet.Missed && state != fleet.Withdrawn {
		return ended, fleet.Invalidf("state %q: want done, missed or withdrawn", state)
	}
	err = db.write(ctx, "end a booking", func(t *tx) error {
		b, err := t.openBooking(sc, id, 0)
		if err != nil {
			return err
		}
		if err := t.end(by, b, state, why); err != nil {
			return err
		}
		ended, err = t.booking(auth.AllFleets(), id)
		return err
	})
	return ended, err
}

// SetBookingNote sets the note of a booking.
func (db *DB) SetBookingNote(ctx context.Context, sc auth.Scope, by string, id int64, note string) error {
	if len(note) > maxNote {
		return fleet.Invalidf("note: longer than %d characters; shorten it", maxNote)
	}
	return db.write(ctx, "note on a booking", func(t *tx) error {
		b, err := t.openBooking(sc, id, 0)
		if err != nil {
			return err
		}
		_, err = t.exec(`
			update bookings
			set note = ?, changed_at = ?, revision = revision + 1
			where id = ?`, storableOf(note), instant(t.db.now()), id)
		if err != nil {
			return err
		}
		return t.logBooking(by, "changed", "note", &b.Slot, b)
	})
}

// maxNote bounds a booking's note, in bytes.
const maxNote = 2000

// lockDepots holds the plans of depots against other writers until the
// transaction ends, always in one order. An SQLite file has one writer anyway.
func (t *tx) lockDepots(ids ...int64) error {
	if t.db.dialect != Postgres {
		return nil
	}
	slices.Sort(ids)
	for _, id := range slices.Compact(ids) {
		if _, err := t.exec(`select 1 from depots where id = ? for no key update`, id); err != nil {
			return err
		}
	}
	return nil
}

// openBooking returns a booking that is still to come, with its depot and, if
// not 0, another held against other writers.
func (t *tx) openBooking(sc auth.Scope, id, other int64) (*fleet.Booking, error) {
	b, err := t.booking(sc, id)
	if err != nil {
		return nil, err
	}
	locks := []int64{b.DepotID}
	if other != 0 {
		locks = append(locks, other)
	}
	if err := t.lockDepots(locks...); err != nil {
		return nil, err
	}
	// Somebody may have come first while we waited for the lock.
	if b, err = t.booking(sc, id); err != nil {
		return nil, err
	}
	if !sc.Sees(b.FleetID, b.DepotID) {
		return nil, fleet.NotFoundf("booking %d: you may not change it; its depot is %s", id, b.Depot)
	}
	if b.State != fleet.Booked {
		return nil, fleet.Conflictf("the booking of %s on %s is %s already", b.Vehicle, b.Day.Written(), b.State)
	}
	return &b, nil
}

// book adds a booking; its depot is locked. It fills the names that messages
// need by itself.
func (t *tx) book(sc auth.Scope, by, why string, b fleet.Booking) (id int64, err error) {
	vehicleFleet, _, err := t.vehicleIn(sc, b.VehicleID)
	if err != nil {
		return 0, err
	}
	if err := checkWork(b.Work); err != nil {
		return 0, err
	}
	if err := t.axlesFree(b.VehicleID, 0, fleet.Axles(b.Work)); err != nil {
		return 0, err
	}
	b.FleetID = vehicleFleet
	if b.Slot, err = t.placed(sc, b.FleetID, b.VehicleID, 0, b.Slot, b.Hours); err != nil {
		return 0, err
	}
	now := instant(t.db.now())
	err = t.one([]any{&id}, `
		insert into bookings (
			fleet_id, vehicle_id, depot_id, day, bay, starts, minutes, hours,
			state, kept, note, cost, visit_id, made_by, made_at, changed_at, revision)
		values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, 0)
		returning id`,
		b.FleetID, b.VehicleID, b.DepotID, b.Day, b.Bay, int(b.Starts), b.Minutes, b.Hours,
		string(fleet.Booked), b.Kept, storableOf(b.Note), b.Cost, unlessZero(b.VisitID), storableOf(by), now, now)
	if err != nil {
		return 0, err
	}
	b.ID = id
	if err := t.setWork(id, b.Work); err != nil {
		return 0, err
	}
	return id, t.logBooking(by, "booked", why, nil, &b)
}

// axlesFree refuses to book axles that have a booking, other than except, from today
// on: the day it is at that booking's depot. One of a day gone by was missed or is
// done. It holds the vehicle, which others may be booking at another depot.
func (t *tx) axlesFree(vehicleID, except int64, axles []int) error {
	if len(axles) == 0 {
		return nil
	}
	if t.db.dialect == Postgres {
		if _, err := t.exec(`select 1 from vehicles where id = ? for no key update`, vehicleID); err != nil {
			return err
		}
	}
	var w where
	w.add("b.vehicle_id = ?", vehicleID)
	w.add("b.id <> ?", except)
	w.add("b.state = ?", string(fleet.Booked))
	w.add("b.day >= ?", fleet.DateOf(t.db.now())-1) // no clock is further behind than a day
	w.add("x.axle in "+places(len(axles)), anys(axles)...)
	var found error
	err := t.each(func(r *sqlx.Rows) error {
		var axle int
		var day fleet.Date
		var depot, zone string
		err := r.Scan(&axle, &day, &depot, &zone)
		if err == nil && found == nil && day >= t.todayIn(zone) {
			found = fleet.Conflictf("axle %d is booked for %s at %s already: move that booking, or take it off the plan", axle, day.Written(), depot)
		}
		return err
	}, `
		select x.axle, b.day, d.name, d.time_zone
		from bookings b
		join booking_work x on x.booking_id = b.id
		join depots d on d.id = b.depot_id`+w.String()+`
		order by b.day, b.id, x.axle`, w.args...)
	if err != nil {
		return err
	}
	return found
}

// todayIn is the day it is by the clock of a zone, or UTC's where nobody knows it.
func (t *tx) todayIn(zone string) fleet.Date {
	loc, err := time.LoadLocation(zone)
	if err != nil {
		loc = time.UTC
	}
	return fleet.DateOf(t.db.now().In(loc))
}

// checkWork refuses a booking with nothing to do.
func checkWork(work []fleet.WorkItem) error {
	if len(work) == 0 {
		return fleet.Invalidf("work: a booking needs something to do")
	}
	for _, x := range work {
		if !x.Item.Valid() || x.Axle < 0 || x.Axle > fleet.MaxAxle {
			return fleet.Invalidf("work: axle %d, %q: want an axle from 1 (front) to %d and one of %q", x.Axle, x.Item, fleet.MaxAxle, fleet.Items)
		}
	}
	return nil
}

// move puts b, whose depots are locked, into another slot with other work. Axles that
// it did not have must have no booking elsewhere; nor must any, where its own day has
// gone by, for then they may have been booked anew.
func (t *tx) move(sc auth.Scope, by string, b *fleet.Booking, to fleet.Slot, work []fleet.WorkItem, hours float64, cost *float64, kept bool, what, why string) error {
	if err := checkWork(work); err != nil {
		return err
	}
	axles, has := fleet.Axles(work), fleet.Axles(b.Work)
	if b.Day >= t.todayIn(b.TimeZone) {
		axles = slices.DeleteFunc(axles, func(axle int) bool { return slices.Contains(has, axle) })
	}
	if err := t.axlesFree(b.VehicleID, b.ID, axles); err != nil {
		return err
	}
	to, err := t.placed(sc, b.FleetID, b.VehicleID, b.ID, to, hours)
	if err != nil {
		return err
	}
	_, err = t.exec(`
		update bookings
		set depot_id = ?, day = ?, bay = ?, starts = ?, minutes = ?, hours = ?, cost = ?, kept = ?, changed_at = ?, revision = revision + 1
		where id = ?`,
		to.DepotID, to.Day, to.Bay, int(to.Starts), to.Minutes, hours, cost, kept || b.Kept, instant(t.db.now()), b.ID)
	if err != nil {
		return err
	}
	if err := t.setWork(b.ID, work); err != nil {
		return err
	}
	from := b.Slot
	b.Slot = to
	return t.logBooking(by, what, why, &from, b)
}

// end closes b, whose depot is locked.
func (t *tx) end(by string, b *fleet.Booking, state fleet.BookingState, why string) error {
	_, err := t.exec(`
		update bookings
		set state = ?, changed_at = ?, revision = revision + 1
		where id = ?`, string(state), instant(t.db.now()), b.ID)
	if err != nil {
		return err
	}
	if state == fleet.Done && slices.ContainsFunc(b.Work, func(x fleet.WorkItem) bool { return x.Item == fleet.ItemFluid }) {
		if err := t.setFluidChange(b.FleetID, b.VehicleID, b.Day); err != nil {
			return err
		}
	}
	return t.logBooking(by, string(state), why, &b.Slot, b)
}

func (t *tx) setWork(id int64, work []fleet.WorkItem) error {
	if _, err := t.exec(`delete from booking_work where booking_id = ?`, id); err != nil {
		return err
	}
	for i, x := range work {
		_, err := t.exec(`
			insert into booking_work (booking_id, seq, axle, item, part_id, part_number, quantity, reason)
			values (?, ?, ?, ?, ?, ?, ?, ?)`,
			id, i, x.Axle, string(x.Item), unlessZero(x.PartID), storableOf(x.PartNumber), x.Quantity, storableOf(x.Reason))
		if err != nil {
			return err
		}
	}
	return nil
}

// logBooking adds a line to the history of b, which is where it is now, and
// one to the log of changes.
func (t *tx) logBooking(by, what, why string, from *fleet.Slot, b *fleet.Booking) error {
	var depot *int64
	var day *fleet.Date
	var bay, starts, minutes *int
	if from != nil {
		clock := int(from.Starts)
		depot, day, bay, starts, minutes = &from.DepotID, &from.Day, &from.Bay, &clock, &from.Minutes
	}
	_, err := t.exec(`
		insert into booking_changes (
			booking_id, at, changed_by, what, why,
			from_depot, from_day, from_bay, from_starts, from_minutes,
			to_depot, to_day, to_bay, to_starts, to_minutes)
		values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`,
		b.ID, instant(t.db.now()), storableOf(by), what, storableOf(why),
		depot, day, bay, starts, minutes,
		b.DepotID, b.Day, b.Bay, int(b.Starts), b.Minutes)
	if err != nil {
		return err
	}
	return t.log(entry{act: what, record: "booking", id: b.ID, fleet: b.FleetID, depot: b.DepotID, by: by, detail: b.Day.String() + ", " + why})
}

// placed finds the slot that is wanted in the plan of its depot, which is
// locked, or says with fleet.ErrConflict what is in the way. except is a
// booking that gives its own slot up.
func (t *tx) placed(sc auth.Scope, fleetID, vehicleID, except int64, want fleet.Slot, hours float64) (fleet.Slot, error) {
	of, err := t.depotIn(sc, want.DepotID)
	if err != nil {
		return want, err
	}
	if of != fleetID {
		return want, fleet.Invalidf("depot: it belongs to another fleet than the vehicle")
	}
	if err := t.likely("day", want.Day); err != nil {
		return want, err
	}
	shop, err := t.workshop(want.DepotID, want.Day)
	if err != nil {
		return want, err
	}
	day := shop.Day(want.Day)
	if !day.Open() {
		return want, fleet.Conflictf("%s is closed on %s", shop.Name, want.Day.Written())
	}
	switch bays := shop.Workshop.Bays; {
	case want.Bay > bays:
		return want, fleet.Conflictf("%s has no bay %d: its bays are 1 to %d", shop.Name, want.Bay, bays)
	case want.Starts > 0 && (want.Starts < day.Opens || want.Ends() > day.Closes):
		return want, fleet.Conflictf("%s is open from %s to %s on %s, and the job takes %.3g h", shop.Name, day.Opens, day.Closes, want.Day.Written(), float64(want.Minutes)/60)
	}
	var twice int64
	err = t.one([]any{&twice}, `
		select id from bookings
		where vehicle_id = ? and day = ? and state = ? and id <> ?`, vehicleID, want.Day, string(fleet.Booked), except)
	if err == nil {
		return want, fleet.Conflictf("the vehicle has a booking on %s already", want.Day.Written())
	}
	if !errors.Is(err, errNoRows) {
		return want, err
	}
	taken, used, err := t.taken(want.DepotID, want.Day, except)
	if err != nil {
		return want, err
	}
	if spare := day.Technicians + shop.Workshop.Overtime - used; hours > spare+hoursSlack {
		return want, fleet.Conflictf("%s has %.1f technician hours left on %s and the job needs %.1f", shop.Name, max(0, spare), want.Day.Written(), hours)
	}
	s, ok := fleet.FreeSlot(day, shop.Workshop.Bays, taken, want)
	if !ok {
		what := "no bay"
		if want.Bay > 0 {
			what = "bay " + strconv.Itoa(want.Bay) + " not"
		}
		if want.Starts > 0 {
			return want, fleet.Conflictf("%s has %s free from %s to %s on %s", shop.Name, what, want.Starts, want.Ends(), want.Day.Written())
		}
		return want, fleet.Conflictf("%s has %s free for %d minutes on %s", shop.Name, what, want.Minutes, want.Day.Written())
	}
	return s, nil
}

// hoursSlack forgives the rounding of sums of hours.
const hoursSlack = 1e-6

// taken returns the slots of a depot's day, and the technician hours in them.
func (t *tx) taken(depotID int64, day fleet.Date, except int64) (slots []fleet.Slot, hours float64, err error) {
	var w where
	w.add("b.depot_id = ?", depotID)
	w.add("b.day = ?", day)
	w.add("b.id <> ?", except)
	w.add("(b.state = 'booked' or b.state = 'done')")
	bs, err := t.bookings(w)
	for _, b := range bs {
		slots = append(slots, b.Slot)
		hours += b.Hours
	}
	return slots, hours, err
}
