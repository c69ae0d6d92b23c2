package pipeline

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"slices"
	"strings"
	"time"

	"brakewear/internal/auth"
	"brakewear/internal/calendar"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/units"
)

const (
	// feedBack is how many days of the past a calendar shows.
	feedBack = 90
	// feedCancelled is how many days a booking that was taken off the plan, or
	// moved to another depot, stays in a calendar as cancelled: longer than any
	// reader goes without looking, so that none keeps it as it was.
	feedCancelled = 30
)

// MakeCalendar makes a calendar of a depot or a vehicle and returns its
// secret, which is kept nowhere.
func (s *Service) MakeCalendar(ctx context.Context, sc auth.Scope, f *store.CalendarFeed) (secret string, err error) {
	secret = rand.Text() // 130 bits
	return secret, s.DB.AddCalendarFeed(ctx, sc, f, secret)
}

// Calendar returns the calendar of a secret, in the iCalendar form.
func (s *Service) Calendar(ctx context.Context, secret string) ([]byte, error) {
	f, err := s.DB.CalendarFeedOf(ctx, secret, fleet.DateOf(s.now().UTC()))
	if err != nil {
		return nil, err
	}
	// The secret is the right to see all of this depot or vehicle.
	sc := auth.AllFleets()
	today := fleet.DateOf(s.now().In(Zone(f.TimeZone)))
	bs, err := s.DB.Bookings(ctx, sc, store.BookingQuery{Depot: f.DepotID, Vehicle: f.VehicleID, From: today - feedBack})
	if err != nil {
		return nil, err
	}
	renewed, err := s.DB.FeedRenewals(ctx, &f)
	if err != nil {
		return nil, err
	}
	since := s.now().AddDate(0, 0, -feedCancelled)
	c := calendar.Calendar{Name: "Brakes: " + f.Depot, TimeZone: f.TimeZone}
	if f.VehicleID != 0 {
		c.Name = "Brakes: " + f.Vehicle
	}
	for i := range bs {
		b := &bs[i]
		if b.State == fleet.Withdrawn && b.Changed.Before(since) {
			continue
		}
		e := s.event(f.Reader, b, b.Slot, b.Depot, b.TimeZone, b.State == fleet.Withdrawn || b.State == fleet.Missed, b.Changed)
		c.Events = append(c.Events, renew(e, &renewed, b.DepotID))
	}
	if f.DepotID != 0 {
		left, err := s.DB.LeftDepot(ctx, sc, f.DepotID, since)
		if err != nil {
			return nil, err
		}
		for i := range left {
			e := s.event(f.Reader, &left[i].Booking, left[i].Was, f.Depot, f.TimeZone, true, left[i].At)
			c.Events = append(c.Events, renew(e, &renewed, f.DepotID))
		}
	}
	return c.Bytes(), nil
}

// renew counts what changed of an event without its booking: how its reader wants it
// said, and the clock of its depot. Programs that have it take a higher number, and one
// that was changed later (RFC 5545, 3.8.7).
func renew(e calendar.Event, x *store.Renewals, depot int64) calendar.Event {
	e.Revision += x.Times
	for _, at := range []time.Time{x.Reader, x.Zones[depot]} {
		if at.After(e.Changed) {
			e.Changed = at
		}
	}
	return e
}

// event returns a booking as an event at a slot of a depot, on its clock.
func (s *Service) event(tell units.Reader, b *fleet.Booking, at fleet.Slot, depot, zone string, cancelled bool, changed time.Time) calendar.Event {
	loc := Zone(zone)
	e := calendar.Event{
		UID:       bookingUID(b),
		Revision:  b.Revision,
		Made:      b.MadeAt,
		Changed:   changed,
		Start:     at.Day.At(int(at.Starts), loc),
		End:       at.Day.At(int(at.Ends()), loc),
		Summary:   b.Vehicle,
		Details:   bookingDetails(tell, b, at),
		Place:     depot,
		Cancelled: cancelled,
	}
	if work := workWords(b.Work); work != "" {
		e.Summary += ": " + work
	}
	if s.URL != "" {
		e.URL = s.link(fmt.Sprintf("/vehicles/%d", b.VehicleID))
	}
	return e
}

// bookingUID names a booking to the world: other installations have a first
// booking too, but none that was made in the same microsecond.
func bookingUID(b *fleet.Booking) string {
	sum := sha256.Sum256(fmt.Appendf(nil, "booking %d %d", b.ID, b.MadeAt.UnixMicro()))
	return hex.EncodeToString(sum[:16]) + "@brakewear"
}

// workWords says what is to be done: axle 1 pads and rotors, axle 2 pads,
// brake fluid.
func workWords(work []fleet.WorkItem) string {
	var parts []string
	for i := 0; i < len(work); {
		axle := work[i].Axle
		var items []string
		for ; i < len(work) && work[i].Axle == axle; i++ {
			items = append(items, work[i].Item.Words())
		}
		words := listWords(slices.Compact(items))
		if axle != 0 {
			words = fmt.Sprintf("axle %d %s", axle, words)
		}
		parts = append(parts, words)
	}
	return strings.Join(parts, ", ")
}

// listWords joins words as a sentence does.
func listWords(words []string) string {
	if n := len(words); n > 1 {
		return strings.Join(words[:n-1], ", ") + " and " + words[n-1]
	}
	return strings.Join(words, "")
}

// bookingDetails are the lines below a booking's name, as its reader wants them.
func bookingDetails(tell units.Reader, b *fleet.Booking, at fleet.Slot) string {
	lines := []string{fmt.Sprintf("Bay %d", at.Bay)}
	if b.Plate != "" {
		lines[0] += ", plate " + b.Plate
	}
	switch b.State {
	case fleet.Done, fleet.Missed:
		lines = append(lines, string(b.State))
	case fleet.Withdrawn:
		lines = append(lines, "taken off the plan")
	}
	if at.DepotID != b.DepotID {
		lines = append(lines, "now at another depot: "+b.Depot)
	}
	for _, w := range b.Work {
		line := w.Item.Words()
		if w.Axle != 0 {
			line = fmt.Sprintf("axle %d %s", w.Axle, line)
		}
		if w.PartNumber != "" {
			line += fmt.Sprintf(" (%d × %s)", w.Quantity, w.PartNumber)
		}
		if w.Reason != "" {
			line += ": " + tell.Text(w.Reason, fleet.DateOf(b.MadeAt))
		}
		lines = append(lines, line)
	}
	if b.Note != "" {
		lines = append(lines, b.Note)
	}
	return strings.Join(lines, "\n")
}
