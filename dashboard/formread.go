package dashboard

import (
	"crypto/rand"
	"errors"
	"fmt"
	"net/http"
	"strings"
	"unicode/utf8"

	"github.com/gin-gonic/gin"

	"brakewear/ingest"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/units"
	"brakewear/internal/web"
)

// entered is what stands in a vehicle's form, as typed and as read.
type entered struct {
	key        string
	technician string
	date       string
	unit       string
	kmUnit     string
	note       string
	texts      map[string]string // by field
	confirmed  map[string]string // by field: the text that was confirmed
	ticks      map[string]bool   // "1-left cracked"
	why        map[string]string // by wheel: why it was not measured

	fault  string
	faults map[string]string
	values pipeline.Entries
	tell   units.Reader
	day    fleet.Date // of the sheet
	given  map[fleet.Position]ingest.Thickness
}

// fill puts what was entered into a field, with what is wrong or remarked.
func (e *entered) fill(f *FormField, remarks map[string][]pipeline.Remark) {
	f.Value = e.texts[f.Name]
	f.Fault = e.faults[f.Name]
	for _, r := range remarks[f.Name] {
		f.Remarks = append(f.Remarks, e.told(r))
		f.Doubt = f.Doubt || r.Doubt
	}
	f.Confirmed = f.Doubt && e.sure(f.Name)
}

// told is a remark as its reader wants it said.
func (e *entered) told(r pipeline.Remark) string {
	part := r.Field[strings.LastIndex(r.Field, "-")+1:]
	return e.tell.TextOf(part, r.Text, e.day)
}

// sure says whether the text that stands in a field is the one that was
// confirmed.
func (e *entered) sure(name string) bool {
	text, ok := e.confirmed[name]
	return ok && text == e.texts[name]
}

// readEntered reads a form that was sent for a sheet.
func readEntered(c *gin.Context, sh *pipeline.Sheet) *entered {
	text := func(name string) string { return strings.TrimSpace(c.PostForm(name)) }
	e := &entered{
		key:        text("key"),
		technician: text("technician"),
		date:       text("date"),
		unit:       text("unit"),
		kmUnit:     text("km_unit"),
		note:       strings.ReplaceAll(text("note"), "\r\n", "\n"), // as its field counts it,
		tell:       reader(c),
		day:        sh.Day,
		texts:      map[string]string{},
		confirmed:  map[string]string{},
		ticks:      map[string]bool{},
		why:        map[string]string{},
		faults:     map[string]string{},
		values:     pipeline.Entries{MM: map[fleet.Position]float64{}},
		given:      map[fleet.Position]ingest.Thickness{},
	}
	field := func(name string) string {
		e.texts[name] = text(name)
		if at := text("confirm-" + name); at != "" {
			e.confirmed[name] = at
		}
		return e.texts[name]
	}
	if s := field(pipeline.OdometerField); s != "" {
		if km, err := ingest.ParseDistance(s, e.kmUnit); err != nil {
			e.faults[pipeline.OdometerField] = capital(err.Error())
		} else {
			e.values.OdometerKm, e.values.InMiles = &km, e.kmUnit == string(units.Miles)
		}
	}
	for i := range sh.Wheels {
		w := &sh.Wheels[i]
		name := fmt.Sprintf("%d-%s", w.Axle, w.Side)
		e.why[name] = text("why-" + name)
		for j := range w.Places {
			p := &w.Places[j]
			s := field(pipeline.FieldOf(p.Position))
			if s == "" {
				continue
			}
			x, err := ingest.ParseThickness(s, gaugeUnit(e.unit, p.Part))
			if err != nil {
				e.faults[pipeline.FieldOf(p.Position)] = capital(err.Error())
				continue
			}
			e.values.MM[p.Position], e.given[p.Position] = x.MM, x
		}
	}
	for _, tick := range c.PostFormArray("tick") {
		e.ticks[tick] = true
	}
	e.check()
	return e
}

// Bounds of texts, in characters.
const (
	maxTechnician = 100
	maxFormNote   = 2000
)

func (e *entered) check() {
	switch {
	case e.technician == "":
		e.faults["technician"] = "Say who measured"
	case utf8.RuneCountInString(e.technician) > maxTechnician:
		e.faults["technician"] = "Too long: a name is enough"
	}
	if utf8.RuneCountInString(e.note) > maxFormNote {
		e.faults["note"] = fmt.Sprintf("Longer than %d characters: shorten it", maxFormNote)
	}
}

// inspection is what was entered, for the pipeline.
func (e *entered) inspection(sh *pipeline.Sheet, day fleet.Date, brakes []fleet.Brake) pipeline.Inspection {
	in := pipeline.Inspection{
		VehicleID:  sh.Vehicle.ID,
		Date:       day,
		Technician: e.technician,
		OdometerKm: e.values.OdometerKm,
		InMiles:    e.values.InMiles,
		Brakes:     brakes,
		Confirmed:  map[string]bool{},
		Key:        e.key,
	}
	for name := range e.confirmed {
		in.Confirmed[name] = e.sure(name)
	}
	for i := range sh.Wheels {
		w := &sh.Wheels[i]
		name := fmt.Sprintf("%d-%s", w.Axle, w.Side)
		blank := false
		for j := range w.Places {
			p := &w.Places[j]
			if x, ok := e.given[p.Position]; ok {
				in.Readings = append(in.Readings, fleet.Reading{Position: p.Position, MM: x.MM, Given: x.Given, Unit: x.Unit})
			} else if !p.Seldom {
				blank = true
			}
		}
		for _, k := range fleet.Ticks {
			if e.ticks[name+" "+string(k)] {
				in.Conditions = append(in.Conditions, fleet.Condition{Axle: w.Axle, Side: w.Side, Kind: k})
			}
		}
		if why := e.why[name]; why != "" && blank {
			in.Conditions = append(in.Conditions, fleet.Condition{Axle: w.Axle, Side: w.Side, Kind: fleet.NotMeasured, Note: why})
		}
	}
	if e.note != "" {
		in.Conditions = append(in.Conditions, fleet.Condition{Kind: fleet.Noted, Note: e.note})
	}
	return in
}

// formAnswer is what the page's script gets where the form was not taken.
type formAnswer struct {
	Message string            `json:"message"`
	Faults  map[string]string `json:"faults,omitempty"`
	Remarks []formRemark      `json:"remarks,omitempty"`
	Key     string            `json:"key,omitempty"`  // to send with, in place of the one used
	Sure    string            `json:"sure,omitempty"` // to send with by whoever has read what is doubted twice
	Was     map[string]string `json:"was,omitempty"`  // what the fields of these names say now, of steps that were taken in
}

type formRemark struct {
	Field string `json:"field"`
	Text  string `json:"text"`
	Doubt bool   `json:"doubt"`
}

// sendForm takes a form in and leads to the vehicle's new forecast. One that
// wants another look comes back with everything as it was entered.
func (d *Dashboard) sendForm(c *gin.Context) error {
	tell := reader(c)
	ctx, sc := c.Request.Context(), d.scope(c)
	id, err := web.PathID(c, "vehicle")
	if err != nil {
		return err
	}
	var brakes []fleet.Brake
	for _, b := range strings.Fields(c.PostForm("brakes")) {
		brakes = append(brakes, fleet.Brake(b))
	}
	today := d.svc.Today()
	day, dateErr := fleet.ParseDate(strings.TrimSpace(c.PostForm("date")))
	if dateErr != nil || day > today {
		day = today
	}
	sh, err := d.svc.Sheet(ctx, sc, id, day, brakes)
	if err != nil {
		return err
	}
	e := readEntered(c, sh)
	switch {
	case dateErr != nil:
		e.faults["date"] = "Give a day, such as " + today.String()
	case e.date > today.String():
		e.faults["date"] = "It lies after today, " + tell.Day(today)
	}
	if len(e.faults) > 0 {
		e.fault = "Some of it cannot be read."
		return d.formAgain(c, http.StatusUnprocessableEntity, sh, e)
	}
	up, err := d.svc.Inspect(ctx, sc, e.technician, e.inspection(sh, day, brakes))
	if errors.Is(err, fleet.ErrConflict) {
		// It may have come in twice at the same moment: then the other one is in
		// by now.
		up, err = d.svc.Inspect(ctx, sc, e.technician, e.inspection(sh, day, brakes))
	}
	var doubt *pipeline.DoubtError
	switch {
	case errors.As(err, &doubt):
		e.fault = "Some values want a second look: measure again, then correct or confirm them."
		return d.formAgain(c, http.StatusUnprocessableEntity, sh, e)
	case errors.Is(err, fleet.ErrConflict):
		e.key = rand.Text()
		e.fault = "This form was sent before, with other entries. Send it again to add these as well; a wrong value is put right on the vehicle's page."
		return d.formAgain(c, http.StatusConflict, sh, e)
	case errors.Is(err, fleet.ErrInvalid):
		e.fault = faultWords(c, err) + "."
		return d.formAgain(c, http.StatusUnprocessableEntity, sh, e)
	case err != nil:
		return err
	}
	to := fmt.Sprintf("/vehicles/%d/measured/%d", id, up.ID)
	if up.Accepted == 0 {
		to += "?again=1"
	}
	if web.WantsJSON(c) {
		return sendJSON(c, http.StatusOK, map[string]string{"to": to})
	}
	c.Redirect(http.StatusSeeOther, to)
	return nil
}

// formAgain sends the form back.
func (d *Dashboard) formAgain(c *gin.Context, status int, sh *pipeline.Sheet, e *entered) error {
	tell := reader(c)
	if !web.WantsJSON(c) {
		return d.send(c, status, "form", d.formPage(tell, sh, e))
	}
	a := formAnswer{Message: e.fault, Faults: e.faults}
	for _, r := range sh.Remarks(e.values) {
		a.Remarks = append(a.Remarks, formRemark{r.Field, e.told(r), r.Doubt})
	}
	if status == http.StatusConflict {
		a.Key = e.key
	}
	return sendJSON(c, status, a)
}
