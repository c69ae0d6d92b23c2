package pipeline

import (
	"context"
	"slices"
	"time"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
)

// news is what a person is told.
type news struct {
	due      []dueNews // became due, or is due sooner than told
	allDue   int       // axles due in all
	moved    []fleet.BookingChange
	missed   []fleet.BookingChange // bookings that were missed
	unsaid   []fleet.Booking       // day passed, and nobody said what became of it
	unbooked []dueNews             // book-by date passed without a booking
}

func (n *news) empty() bool {
	return len(n.due)+len(n.moved)+len(n.missed)+len(n.unsaid)+len(n.unbooked) == 0
}

// dueNews is an axle that is due.
type dueNews struct {
	store.DueRow
	was    *fleet.Date // book-by date told before; nil: it was not told of
	booked *fleet.Booking
}

// news gathers what a person is to be told, and what that person knows then.
func (s *Service) news(ctx context.Context, r *store.Recipient, d store.Digest, zone string) (n news, told []store.ToldAxle, err error) {
	since := d.Until.AddDate(0, 0, -digestFirst)
	if d.Since != nil {
		since = *d.Since
	}
	from := fleet.DateOf(since.In(Zone(zone)))
	if told, err = s.dueNews(ctx, r, d, from, &n); err != nil {
		return n, nil, err
	}
	if err := s.bookingNews(ctx, r.Scope(), since, d.Until, &n); err != nil {
		return n, nil, err
	}
	if from < d.Day {
		n.unsaid, err = s.DB.Bookings(ctx, r.Scope(), store.BookingQuery{
			From: from, To: d.Day - 1, States: []fleet.BookingState{fleet.Booked},
		})
	}
	return n, told, err
}

// dueNews finds the axles that became due, and those whose book-by date passed
// since a day without a booking. It returns all that are due.
func (s *Service) dueNews(ctx context.Context, r *store.Recipient, d store.Digest, from fleet.Date, n *news) (told []store.ToldAxle, err error) {
	knows, err := s.DB.Told(ctx, r.ID)
	if err != nil {
		return nil, err
	}
	before := d.Day + DigestAhead
	err = s.DB.EachDue(ctx, r.Scope(), store.DueQuery{Before: &before}, func(row store.DueRow) error {
		n.allDue++
		old, known := knows[store.AxleKey{VehicleID: row.VehicleID, Axle: row.Axle}]
		sooner := known && old.BookBy != nil && row.BookBy != nil && *old.BookBy-*row.BookBy >= digestSooner
		if known && !sooner {
			told = append(told, old)
		} else {
			told = append(told, store.ToldAxle{VehicleID: row.VehicleID, Axle: row.Axle, BookBy: row.BookBy})
			n.due = append(n.due, dueNews{DueRow: row, was: old.BookBy})
		}
		if d.Since != nil && row.BookBy != nil && *row.BookBy >= from && *row.BookBy < d.Day {
			n.unbooked = append(n.unbooked, dueNews{DueRow: row})
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	if err := s.addBookings(ctx, r.Scope(), d.Day, n.due, n.unbooked); err != nil {
		return nil, err
	}
	n.unbooked = slices.DeleteFunc(n.unbooked, func(x dueNews) bool { return x.booked != nil })
	return told, nil
}

// addBookings finds the next booking of each, from a day on: one whose day has
// passed books nothing any more.
func (s *Service) addBookings(ctx context.Context, sc auth.Scope, from fleet.Date, lists ...[]dueNews) error {
	bs, err := s.DB.Bookings(ctx, sc, store.BookingQuery{From: from, States: []fleet.BookingState{fleet.Booked}})
	if err != nil {
		return err
	}
	next := map[store.AxleKey]*fleet.Booking{}
	for i := range slices.Backward(bs) { // by day
		for _, axle := range fleet.Axles(bs[i].Work) {
			next[store.AxleKey{VehicleID: bs[i].VehicleID, Axle: axle}] = &bs[i]
		}
	}
	for _, list := range lists {
		for i := range list {
			list[i].booked = next[store.AxleKey{VehicleID: list[i].VehicleID, Axle: list[i].Axle}]
		}
	}
	return nil
}

// bookingNews finds the bookings that were moved, taken off the plan or missed
// between two instants. Of one that was moved several times only the whole way
// counts.
func (s *Service) bookingNews(ctx context.Context, sc auth.Scope, since, until time.Time, n *news) error {
	changes, err := s.DB.BookingChanges(ctx, sc, since)
	if err != nil {
		return err
	}
	for _, c := range changes {
		if !c.At.Before(until) {
			continue // for the next digest
		}
		switch c.What {
		case "missed":
			n.missed = append(n.missed, c)
		case "moved", "withdrawn":
			if i := slices.IndexFunc(n.moved, func(m fleet.BookingChange) bool { return m.BookingID == c.BookingID }); i >= 0 {
				c.From, c.FromDepot = n.moved[i].From, n.moved[i].FromDepot
				n.moved = slices.Delete(n.moved, i, i+1)
			}
			n.moved = append(n.moved, c)
		}
	}
	n.moved = slices.DeleteFunc(n.moved, func(c fleet.BookingChange) bool { return c.What == "moved" && c.From == c.To })
	return nil
}
