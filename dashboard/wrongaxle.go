package dashboard

import (
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strconv"

	"github.com/gin-gonic/gin"

	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/units"
)

// WrongAxlePage puts the readings of one axle of an inspection where they belong.
type WrongAxlePage struct {
	Shell
	Link     string
	Reading  string // page of the reading it was come by
	Vehicle  string
	Back     string
	Axle     int
	When     string   // of the inspection
	Readings []string // of this axle, in words
	Others   []string // of the other axles then, in words
	Seen     []string // ticks and notes, which stay
	Fault    string
	To       Field // axle
	ToOther  Field // vehicle
	Why, By  Field
}

// wrongAxle lays out what was read on the axle of a reading at its inspection.
func (d *Dashboard) wrongAxle(c *gin.Context) error { return d.showWrongAxle(c, http.StatusOK, nil) }

// showWrongAxle sends the page; f is the form as it was sent, nil for a fresh one.
func (d *Dashboard) showWrongAxle(c *gin.Context, status int, f *fields) error {
	tell := reader(c)
	rec, v, err := d.misplaced(c)
	if err != nil {
		return err
	}
	h, err := d.svc.DB.History(c.Request.Context(), d.scope(c), v.ID)
	if err != nil {
		return err
	}
	r := v.Reading
	p := WrongAxlePage{
		Shell:   Shell{Title: v.Number + ": readings of the wrong axle", Place: "vehicles", Cautions: true, of: ofVehicle(&v.Vehicle)},
		Link:    correctionPath(rec) + "/axle",
		Reading: correctionPath(rec),
		Vehicle: v.Number,
		Back:    vehicleLink(v.ID),
		Axle:    r.Position.Axle,
		When:    tell.Day(r.Date) + " at " + odometerAt(tell, r.OdometerKm),
		To:      f.field("axle", "Axle they belong to (1 = front)", ""),
		ToOther: f.field("vehicle", "Vehicle, if it is another", ""),
		Why:     f.field("why", "Why", ""),
		By:      f.field("by", "Your name", ""),
	}
	p.To.Mode = "numeric"
	if f != nil {
		p.Fault = f.faults[""]
	}
	for i := range h.Readings {
		x := &h.Readings[i]
		if !sameInspection(x, r) {
			continue
		}
		if x.Position.Axle == r.Position.Axle {
			p.Readings = append(p.Readings, x.Position.Within()+" "+misplacedValue(tell, x))
		} else {
			p.Others = append(p.Others, x.Position.String()+" "+misplacedValue(tell, x))
		}
	}
	for i := range h.Conditions {
		if x := &h.Conditions[i]; x.Date == r.Date && x.Axle == r.Position.Axle {
			p.Seen = append(p.Seen, x.Words())
		}
	}
	return d.send(c, status, "wrongaxle", p)
}

func misplacedValue(tell units.Reader, r *fleet.Reading) string {
	value := tell.Exactly(string(r.Position.Part), r.MM)
	if r.Tripped {
		return "at or below " + value + " (sensor)"
	}
	return value
}

// sameInspection says whether two readings of a vehicle are of one inspection.
func sameInspection(a, b *fleet.Reading) bool {
	if a.Date != b.Date || a.Technician != b.Technician || (a.OdometerKm == nil) != (b.OdometerKm == nil) {
		return false
	}
	return a.OdometerKm == nil || *a.OdometerKm == *b.OdometerKm
}

// misplaced returns the reading in the address, which has to count.
func (d *Dashboard) misplaced(c *gin.Context) (rec fleet.Record, v store.RecordView, err error) {
	if rec, err = pathRecord(c); err != nil {
		return rec, v, err
	}
	if rec.Kind != fleet.ReadingRecord {
		return rec, v, fleet.NotFoundf("%s: only readings are moved to another axle", rec)
	}
	if v, err = d.svc.DB.Record(c.Request.Context(), d.scope(c), rec); err != nil {
		return rec, v, err
	}
	if v.Reading.Aside != nil {
		return rec, v, fleet.Conflictf("%s no longer counts: nothing is to be moved; see what became of it on its page", rec)
	}
	return rec, v, nil
}

// moveReadings does what the form asks and leads back to the vehicle.
func (d *Dashboard) moveReadings(c *gin.Context) error {
	rec, v, err := d.misplaced(c)
	if err != nil {
		return err
	}
	f := readFields(c)
	mv := fleet.AxleMove{Reading: rec.ID}
	switch act := c.PostForm("act"); act {
	case "move", "swap":
		mv.Swap = act == "swap"
	default:
		return fleet.Invalidf("act %q: want move or swap", act)
	}
	if mv.Axle, err = strconv.Atoi(f.text("axle")); err != nil {
		f.fault("axle", "Give the number of the axle: 1 is the front one")
	}
	if number := f.text("vehicle"); number != "" {
		mv.VehicleID, err = d.numbered(c, number, v.FleetID)
		if err := f.take("vehicle", err); err != nil {
			return err
		}
	}
	if f.ok() {
		_, err = d.svc.MoveReadings(c.Request.Context(), d.scope(c), mv, fleet.Reason{Why: c.PostForm("why"), By: c.PostForm("by")}, d.svc.Today())
		status := http.StatusBadRequest
		if errors.Is(err, fleet.ErrConflict) {
			status = http.StatusConflict
			f.fault("", "%s", faultWords(c, err))
			return d.showWrongAxle(c, status, f)
		}
		if err := f.take("", err); err != nil {
			return err
		}
	}
	if !f.ok() {
		return d.showWrongAxle(c, http.StatusBadRequest, f)
	}
	c.Redirect(http.StatusSeeOther, fmt.Sprintf("%s?done=axle#corrections", vehicleLink(v.ID)))
	return nil
}

// numbered finds the vehicle of a number, of its fleet first.
func (d *Dashboard) numbered(c *gin.Context, number string, fleetID int64) (int64, error) {
	index, err := d.svc.DB.VehiclesNumbered(c.Request.Context(), d.scope(c), []string{number})
	if err != nil {
		return 0, err
	}
	found := index[number]
	if i := slices.IndexFunc(found, func(k store.VehicleKey) bool { return k.FleetID == fleetID }); i >= 0 {
		return found[i].ID, nil
	}
	switch len(found) {
	case 0:
		return 0, fleet.Invalidf("vehicle %q: there is none of this number, or none that you may see", number)
	case 1:
		return found[0].ID, nil
	}
	return 0, fleet.Invalidf("vehicle %q: several fleets have one of this number", number)
}
