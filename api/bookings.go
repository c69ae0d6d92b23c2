package api

import (
	"net/http"
	"strconv"
	"time"

	"github.com/gin-gonic/gin"

	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
)

// Booking is a vehicle that is to come into a workshop.
type Booking struct {
	ID        int64       `json:"id"`
	VehicleID int64       `json:"vehicle_id"`
	Vehicle   string      `json:"vehicle"`
	Plate     string      `json:"plate"`
	Fleet     string      `json:"fleet"`
	DepotID   int64       `json:"depot_id"`
	Depot     string      `json:"depot"`
	Day       fleet.Date  `json:"day"`
	Bay       int         `json:"bay"`
	Starts    fleet.Clock `json:"starts"` // on the depot's clock
	Ends      fleet.Clock `json:"ends"`
	TimeZone  string      `json:"time_zone"`
	Hours     float64     `json:"hours"` // of technicians
	Work      []Work      `json:"work"`
	State     string      `json:"state"`
	Kept      bool        `json:"kept"` // a person made or moved it
	Note      string      `json:"note"`
	Cost      *float64    `json:"cost"`
	MadeBy    string      `json:"made_by"`
	MadeAt    time.Time   `json:"made_at"`
	ChangedAt time.Time   `json:"changed_at"`
	Revision  int         `json:"revision"`
}

// Work is one thing to do on a visit.
type Work struct {
	Axle       *int   `json:"axle"` // null: the whole vehicle
	Item       string `json:"item"`
	PartNumber string `json:"part_number"` // blank: none is known to fit
	Quantity   int    `json:"quantity"`
	Reason     string `json:"reason"`
}

// BookingDetail is a booking with what was done to it.
type BookingDetail struct {
	Booking
	Changes []BookingChange `json:"changes"` // oldest first
}

// BookingChange is one thing done to a booking.
type BookingChange struct {
	At   time.Time `json:"at"`
	By   string    `json:"by"`
	What string    `json:"what"`
	Why  string    `json:"why"`
	From *Place    `json:"from"` // null when it was just booked
	To   Place     `json:"to"`
}

// Place is a bay at a time.
type Place struct {
	Depot  string      `json:"depot"`
	Day    fleet.Date  `json:"day"`
	Bay    int         `json:"bay"`
	Starts fleet.Clock `json:"starts"`
}

func bookingOf(b *fleet.Booking) Booking {
	return Booking{
		ID: b.ID, VehicleID: b.VehicleID, Vehicle: b.Vehicle, Plate: b.Plate, Fleet: b.Fleet, DepotID: b.DepotID, Depot: b.Depot,
		Day: b.Day, Bay: b.Bay, Starts: b.Starts, Ends: b.Ends(), TimeZone: b.TimeZone, Hours: b.Hours, Work: items(b.Work, workOf),
		State: string(b.State), Kept: b.Kept, Note: b.Note, Cost: amount(b.Cost), MadeBy: b.MadeBy, MadeAt: b.MadeAt, ChangedAt: b.Changed, Revision: b.Revision,
	}
}

func workOf(w *fleet.WorkItem) Work {
	x := Work{Item: string(w.Item), PartNumber: w.PartNumber, Quantity: w.Quantity, Reason: w.Reason}
	if w.Axle != 0 {
		x.Axle = &w.Axle
	}
	return x
}

// amount rounds an amount to cents.
func amount(x *float64) *float64 {
	if x == nil {
		return nil
	}
	return number(*x, 2)
}

// maxForm bounds the body of a small request: a note of some pages.
const maxForm = 16 << 10

var bookingStates = []fleet.BookingState{fleet.Booked, fleet.Done, fleet.Missed, fleet.Withdrawn}

// bookings answers with a page of the bookings of some days, from today unless said
// or asked for by when they were changed.
func (a *API) bookings(c *gin.Context) error {
	q := &query{c: c}
	ask := store.BookingQuery{Fleet: q.id("fleet"), Depot: q.id("depot"), Vehicle: q.id("vehicle")}
	if t := q.instant("changed_since"); t != nil {
		ask.Since = *t
	} else {
		ask.From = a.svc.Today()
	}
	if d := q.date("from"); d != nil {
		ask.From = *d
	}
	if d := q.date("to"); d != nil {
		ask.To = *d
	}
	if s := oneOf(q, "state", bookingStates...); s != "" {
		ask.States = []fleet.BookingState{s}
	}
	after, limit := q.text("cursor"), q.limit()
	if err := q.err(); err != nil {
		return err
	}
	bs, next, err := a.svc.DB.BookingPage(c.Request.Context(), a.scope(c), ask, after, limit)
	if err != nil {
		return err
	}
	return sendPage(c, items(bs, bookingOf), next, nil)
}

// booking answers with the booking in the path and its history.
func (a *API) booking(c *gin.Context) error {
	id, err := idAlone(c, "booking")
	if err != nil {
		return err
	}
	return a.sendBooking(c, http.StatusOK, id)
}

func (a *API) sendBooking(c *gin.Context, status int, id int64) error {
	ctx, sc := c.Request.Context(), a.scope(c)
	b, err := a.svc.DB.Booking(ctx, sc, id)
	if err != nil {
		return err
	}
	log, err := a.svc.DB.BookingHistory(ctx, sc, id)
	if err != nil {
		return err
	}
	return send(c, status, BookingDetail{bookingOf(&b), items(log, func(x *fleet.BookingChange) BookingChange {
		out := BookingChange{x.At, x.By, x.What, x.Why, nil, Place{x.ToDepot, x.To.Day, x.To.Bay, x.To.Starts}}
		if x.From.Day != 0 {
			out.From = &Place{x.FromDepot, x.From.Day, x.From.Bay, x.From.Starts}
		}
		return out
	})})
}

// sentSlot is where a booking is wanted; bay and starts may be left out for any
// that is free.
type sentSlot struct {
	DepotID int64        `json:"depot_id"`
	Day     *fleet.Date  `json:"day"`
	Bay     int          `json:"bay"`
	Starts  *fleet.Clock `json:"starts"`
}

func (s *sentSlot) slot() (fleet.Slot, error) {
	if s.Day == nil {
		return fleet.Slot{}, fleet.Invalidf("day: missing; give the day, such as 2026-03-01")
	}
	slot := fleet.Slot{DepotID: s.DepotID, Day: *s.Day, Bay: s.Bay}
	if s.Starts != nil {
		slot.Starts = *s.Starts
	}
	return slot, nil
}

// book books axles of a vehicle.
func (a *API) book(c *gin.Context) error {
	q := &query{c: c}
	if err := q.err(); err != nil {
		return err
	}
	var in struct {
		sentSlot
		VehicleID int64        `json:"vehicle_id"`
		Axles     []int        `json:"axles"`
		More      []fleet.Item `json:"more"` // hoses, calipers, fluid
		Note      string       `json:"note"`
	}
	if err := readJSON(c, &in); err != nil {
		return err
	}
	slot, err := in.slot()
	if err != nil {
		return err
	}
	b, err := a.svc.Book(c.Request.Context(), a.scope(c), a.sender(c), pipeline.ByHand{VehicleID: in.VehicleID, Axles: in.Axles, More: in.More, Slot: slot, Note: in.Note})
	if err != nil {
		return err
	}
	c.Header("Location", Prefix+"/bookings/"+strconv.FormatInt(b.ID, 10))
	return a.sendBooking(c, http.StatusCreated, b.ID)
}

// moveBooking puts a booking elsewhere; the depot stays unless one is given.
func (a *API) moveBooking(c *gin.Context) error {
	id, err := idAlone(c, "booking")
	if err != nil {
		return err
	}
	var in struct {
		sentSlot
		Why string `json:"why"`
	}
	if err := readJSON(c, &in); err != nil {
		return err
	}
	to, err := in.slot()
	if err != nil {
		return err
	}
	ctx, sc := c.Request.Context(), a.scope(c)
	if to.DepotID == 0 {
		b, err := a.svc.DB.Booking(ctx, sc, id)
		if err != nil {
			return err
		}
		to.DepotID = b.DepotID
	}
	if _, err := a.svc.DB.MoveBooking(ctx, sc, a.sender(c), id, to, in.Why); err != nil {
		return err
	}
	return a.sendBooking(c, http.StatusOK, id)
}

// endBooking says that a booking was done, missed or withdrawn.
func (a *API) endBooking(state fleet.BookingState) func(*gin.Context) error {
	return func(c *gin.Context) error {
		id, err := idAlone(c, "booking")
		if err != nil {
			return err
		}
		var in struct {
			Why        string   `json:"why"`
			OdometerKm *float64 `json:"odometer_km"`
		}
		if err := readJSON(c, &in); err != nil {
			return err
		}
		ctx, sc := c.Request.Context(), a.scope(c)
		if state == fleet.Done {
			_, err = a.svc.FinishBooking(ctx, sc, a.sender(c), id, in.OdometerKm)
		} else {
			_, err = a.svc.DB.EndBooking(ctx, sc, a.sender(c), id, state, in.Why)
		}
		if err != nil {
			return err
		}
		return a.sendBooking(c, http.StatusOK, id)
	}
}
