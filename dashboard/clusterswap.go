package dashboard

import (
	"fmt"
	"net/http"

	"github.com/gin-gonic/gin"

	"brakewear/internal/fleet"
	"brakewear/internal/units"
	"brakewear/internal/web"
)

// SwapPage asks for a changed odometer.
type SwapPage struct {
	Shell
	In      units.Reader // units of its form
	Vehicle string
	Back    string
	Link    string
	Last    string // reading there is, blank: none
	Fault   string
	Day     Field
	Old     Field
	New     Field
}

func (d *Dashboard) swapForm(c *gin.Context) error { return d.showSwap(c, http.StatusOK, nil) }

// showSwap sends the form; f has what comes back with faults.
func (d *Dashboard) showSwap(c *gin.Context, status int, f *fields) error {
	id, err := web.PathID(c, "vehicle")
	if err != nil {
		return err
	}
	h, err := d.svc.DB.History(c.Request.Context(), d.scope(c), id)
	if err != nil {
		return err
	}
	tell := reader(c)
	in := formReader(f, tell)
	p := SwapPage{
		Shell:   Shell{Title: h.Vehicle.Number + ": changed odometer", Place: "vehicles", of: ofVehicle(&h.Vehicle)},
		In:      in,
		Vehicle: h.Vehicle.Number,
		Back:    vehicleLink(id),
		Link:    vehicleLink(id) + "/odometer",
		Day:     f.field("day", "Day of the change", d.svc.Today().String()),
		Old:     distanceField(f, in, "old", "Old one, shown last", nil),
		New:     distanceField(f, in, "new", "New one, shown first", nil),
	}
	p.Day.Type = "date"
	if f != nil {
		p.Fault = f.faults[""]
	}
	if n := len(h.Odometers); n > 0 {
		o := &h.Odometers[n-1]
		p.Last = fmt.Sprintf("The last reading there is: %s on %s.", tell.Distance(o.Km), tell.Day(o.Date))
	}
	return d.send(c, status, "swap", p)
}

// declareSwap keeps a changed odometer.
func (d *Dashboard) declareSwap(c *gin.Context) error {
	id, err := web.PathID(c, "vehicle")
	if err != nil {
		return err
	}
	f := readFields(c)
	o := fleet.Odometer{VehicleID: id, Date: f.must("day"), PreviousKm: f.km("old", nil)}
	if o.PreviousKm == nil && f.faults["old"] == "" {
		f.fault("old", "Write what the old one showed last")
	}
	if km := f.km("new", nil); km != nil {
		o.Km = *km
	} else if f.faults["new"] == "" {
		f.fault("new", "Write what the new one showed first; 0 where it began anew")
	}
	if f.ok() {
		_, err := d.svc.DeclareSwap(c.Request.Context(), d.scope(c), d.who(c), o, d.svc.Today())
		if err := f.take("", err); err != nil {
			return err
		}
	}
	if !f.ok() {
		return d.showSwap(c, http.StatusBadRequest, f)
	}
	c.Redirect(http.StatusSeeOther, vehicleLink(id)+"#odometer")
	return nil
}
