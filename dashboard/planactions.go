package dashboard

import (
	"net/http"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/web"
)

// backTo is the page of ours that a form wants to come back to.
func backTo(c *gin.Context, otherwise string) string {
	return ours(c.PostForm("back"), otherwise)
}

// ours is to, if it is a path of ours.
func ours(to, otherwise string) string {
	if web.Next(to) != to {
		return otherwise
	}
	return to
}

// decide accepts or declines what is ticked of a proposal, or all of it.
func (d *Dashboard) decide(c *gin.Context) error {
	ctx, sc := c.Request.Context(), d.scope(c)
	f := readFields(c)
	ids, depot := f.ids("visit"), f.id("depot")
	if !f.ok() {
		return fleet.Invalidf("visit: it is none of the proposal's")
	}
	switch c.PostForm("do") {
	case "":
		return d.showWorkplan(c, http.StatusBadRequest, &Said{Faults: []string{"Nothing was decided: press what is to become of the ticked."}})
	case "decline":
		if len(ids) == 0 {
			return d.showWorkplan(c, http.StatusBadRequest, &Said{Faults: []string{"Nothing was ticked: tick what is to be set aside."}})
		}
		err := d.svc.DB.DeclineVisits(ctx, sc, d.who(c), f.text("why"), ids)
		if isKind(err, fleet.ErrInvalid) {
			return d.showWorkplan(c, http.StatusBadRequest, &Said{Faults: []string{faultWords(c, err) + "."}})
		}
		if err != nil {
			return err
		}
		c.Redirect(http.StatusSeeOther, backTo(c, "/plan"))
		return nil
	case "reopen":
		if err := d.svc.DB.TakeBackVisits(ctx, sc, d.who(c), ids); err != nil {
			return err
		}
		c.Redirect(http.StatusSeeOther, backTo(c, "/plan"))
		return nil
	case "all":
		ids = nil
	case "ticked":
		if len(ids) == 0 {
			return d.showWorkplan(c, http.StatusBadRequest, &Said{Faults: []string{"Nothing was ticked: tick what is to be booked, or accept all."}})
		}
	default:
		return fleet.Invalidf("do %q: want ticked, all, decline or reopen", c.PostForm("do"))
	}
	outcomes, err := d.svc.AcceptProposal(ctx, sc, d.who(c), depot, ids)
	if err != nil {
		return err
	}
	said := &Said{}
	done := 0
	for _, o := range outcomes {
		if o.Fault == nil {
			done++
		} else {
			said.Faults = append(said.Faults, faultWords(c, o.Fault)+".")
		}
	}
	if len(said.Faults) == 0 {
		c.Redirect(http.StatusSeeOther, backTo(c, "/plan"))
		return nil
	}
	// Some were not: the page says which, and the rest is booked.
	said.Done = plural(done, "visit was", "visits were") + " accepted."
	return d.showWorkplan(c, http.StatusConflict, said)
}

// moveBooking puts a booking into another slot.
func (d *Dashboard) moveBooking(c *gin.Context) error {
	tell := reader(c)
	id, err := web.PathID(c, "booking")
	if err != nil {
		return err
	}
	ctx, sc := c.Request.Context(), d.scope(c)
	f := readFields(c)
	// In the form's order, which is that of its faults.
	to := fleet.Slot{Day: f.must("day"), Starts: f.clock("starts"), Bay: f.whole("bay"), DepotID: f.id("depot")}
	if f.ok() && to.Day < d.svc.Today() {
		f.fault("day", "%s has gone by", tell.Day(to.Day))
	}
	if to.DepotID == 0 {
		b, err := d.svc.DB.Booking(ctx, sc, id)
		if err != nil {
			return err
		}
		to.DepotID = b.DepotID
	}
	if f.ok() {
		_, err = d.svc.DB.MoveBooking(ctx, sc, d.who(c), id, to, f.text("why"))
		if err := f.take("day", err); err != nil {
			return err
		}
	}
	if !f.ok() {
		if c.GetHeader("Accept") == "application/json" { // dragged: the plan shows the reason
			return fleet.Conflictf("%s", f.first())
		}
		return d.showBooking(c, http.StatusConflict, f)
	}
	c.Redirect(http.StatusSeeOther, backTo(c, bookingLink(id)))
	return nil
}

// endBooking says what became of a booking.
func (d *Dashboard) endBooking(c *gin.Context) error {
	id, err := web.PathID(c, "booking")
	if err != nil {
		return err
	}
	ctx, sc := c.Request.Context(), d.scope(c)
	f := readFields(c)
	switch c.Param("end") {
	case "done":
		km := f.km("odometer", nil)
		if km != nil && (*km < 0 || *km > fleet.MaxOdometerKm) {
			f.fault("odometer", "No odometer shows that")
		}
		if f.ok() {
			_, err = d.svc.FinishBooking(ctx, sc, d.who(c), id, km)
			err = f.take("odometer", err)
		}
	case "missed":
		_, err = d.svc.DB.EndBooking(ctx, sc, d.who(c), id, fleet.Missed, f.text("why"))
		err = f.take("missed", err)
	case "withdrawn":
		_, err = d.svc.DB.EndBooking(ctx, sc, d.who(c), id, fleet.Withdrawn, f.text("why"))
		err = f.take("withdrawn", err)
	case "note":
		err = f.take("note", d.svc.DB.SetBookingNote(ctx, sc, d.who(c), id, f.text("note")))
	default:
		return fleet.NotFoundf("nothing is called %q", c.Param("end"))
	}
	if err != nil {
		return err
	}
	if !f.ok() {
		return d.showBooking(c, http.StatusConflict, f)
	}
	c.Redirect(http.StatusSeeOther, backTo(c, bookingLink(id)))
	return nil
}

// book books a vehicle by hand.
func (d *Dashboard) book(c *gin.Context) error {
	tell := reader(c)
	f := readFields(c)
	vehicle := f.id("vehicle")
	slot := fleet.Slot{DepotID: f.id("depot"), Day: f.must("day"), Bay: f.whole("bay"), Starts: f.clock("starts")}
	if f.ok() && slot.Day < d.svc.Today() {
		f.fault("day", "%s has gone by", tell.Day(slot.Day))
	}
	var axles []int
	for _, s := range c.PostFormArray("axle") {
		n, err := strconv.Atoi(s)
		if err != nil {
			return fleet.Invalidf("axle %q: want its number", s)
		}
		axles = append(axles, n)
	}
	var more []fleet.Item
	for _, s := range c.PostFormArray("more") {
		more = append(more, fleet.Item(s))
	}
	if len(axles) == 0 {
		f.fault("axle", "Tick an axle at least")
	}
	if f.ok() {
		b, err := d.svc.Book(c.Request.Context(), d.scope(c), d.who(c), pipeline.ByHand{VehicleID: vehicle, Axles: axles, More: more, Slot: slot, Note: f.text("note")})
		if err == nil {
			c.Redirect(http.StatusSeeOther, bookingLink(b.ID))
			return nil
		}
		at := "day"
		if err != nil && strings.HasPrefix(err.Error(), "axle") {
			at = "axle"
		}
		if err := f.take(at, err); err != nil {
			return err
		}
	}
	return d.showNewBooking(c, http.StatusConflict, vehicle, f)
}
