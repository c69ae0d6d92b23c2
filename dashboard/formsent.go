package dashboard

import (
	"fmt"
	"net/http"
	"strings"

	"github.com/gin-gonic/gin"

	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/web"
)

// SentPage says what became of a form, and what the vehicle's forecast is now.
type SentPage struct {
	Shell
	Number string
	Back   string // to the vehicle
	Upload fleet.Upload
	Again  bool // it was sent before: nothing was changed
	Taken  []string
	Notes  []string
	Axles  []AxleView // number, title and verdict
}

// formSent shows the vehicle after a form of it was taken in.
func (d *Dashboard) formSent(c *gin.Context) error {
	tell := reader(c)
	ctx, sc := c.Request.Context(), d.scope(c)
	id, err := web.PathID(c, "vehicle")
	if err != nil {
		return err
	}
	uploadID, err := web.PathNumber(c, "upload", "upload")
	if err != nil {
		return err
	}
	up, err := d.svc.DB.Upload(ctx, sc, uploadID)
	if err != nil {
		return err
	}
	if up.Kind != pipeline.FormKind {
		return fleet.NotFoundf("upload %d: it is no form", uploadID)
	}
	today := d.svc.Today()
	h, fs, _, err := d.svc.VehicleForecast(ctx, sc, id, today)
	if err != nil {
		return err
	}
	p := SentPage{
		Shell:  Shell{Title: h.Vehicle.Number + ": readings sent", Place: "readings", Cautions: true, of: ofVehicle(&h.Vehicle)},
		Number: h.Vehicle.Number,
		Back:   vehicleLink(id),
		Upload: up,
		Again:  c.Query("again") != "",
	}
	for _, o := range h.Odometers {
		if o.UploadID == uploadID {
			p.Taken = append(p.Taken, "odometer "+tell.Distance(o.Km))
		}
	}
	for i := range h.Readings {
		if r := &h.Readings[i]; r.UploadID == uploadID {
			p.Taken = append(p.Taken, r.Position.String()+" "+readingCell(tell, r, nil)+" "+tell.ThicknessUnit())
		}
	}
	for i := range h.Conditions {
		x := &h.Conditions[i]
		if x.UploadID != uploadID {
			continue
		}
		words := x.Words()
		if x.Axle != 0 {
			words = fmt.Sprintf("axle %d %s", x.Axle, words)
		}
		p.Taken = append(p.Taken, words)
	}
	for _, x := range up.Problems {
		note := tell.TextOf(string(partIn(x.Column)), x.Message, today)
		if x.Column != "" {
			note = x.Column + ": " + note
		}
		p.Notes = append(p.Notes, capital(strings.TrimSuffix(note, ".")))
	}
	for i := range fs {
		f := &fs[i]
		p.Axles = append(p.Axles, AxleView{Number: f.Axle, Title: axleTitle(f), Verdict: outlookOf(tell, f, today).verdict})
	}
	return d.send(c, http.StatusOK, "sent", p)
}
