package api

import (
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"strconv"

	"github.com/gin-gonic/gin"

	"brakewear/ingest"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/web"
)

// Inspection is what one person found on one vehicle on a day, as it is sent.
type Inspection struct {
	Date              *fleet.Date      `json:"date"` // today when left out
	Technician        string           `json:"technician"`
	OdometerKm        *float64         `json:"odometer_km"`
	OdometerConfirmed bool             `json:"odometer_confirmed"`
	Note              string           `json:"note"`
	Readings          []InspectedValue `json:"readings"`
	Conditions        []Condition      `json:"conditions"`
}

// InspectedValue is one value of an inspection.
type InspectedValue struct {
	Axle      int           `json:"axle"`
	Part      fleet.Part    `json:"part"`
	Side      fleet.Side    `json:"side"`
	Face      fleet.Face    `json:"face"`
	ValueMM   writtenLength `json:"value_mm"`
	Gauge     string        `json:"gauge"`
	Note      string        `json:"note"`
	Confirmed bool          `json:"confirmed"` // measured twice
}

// Condition is what was seen beside the values.
type Condition struct {
	Axle      int                 `json:"axle"` // 0: the whole vehicle
	Side      fleet.Side          `json:"side"`
	Condition fleet.ConditionKind `json:"condition"`
	Note      string              `json:"note"`
}

// SeenCondition is a condition in a vehicle's history.
type SeenCondition struct {
	ID   int64      `json:"id"`
	Date fleet.Date `json:"date"`
	Condition
	Technician string `json:"technician"`
	UploadID   int64  `json:"upload_id"`
	Aside      *Aside `json:"aside"` // null while it counts
}

// writtenLength is a length as it was written: a number of mm, or a text such
// as "9/32 in".
type writtenLength string

// UnmarshalJSON reads either.
func (l *writtenLength) UnmarshalJSON(b []byte) error {
	if len(b) > 0 && b[0] == '"' {
		return json.Unmarshal(b, (*string)(l))
	}
	var n json.Number
	if err := json.Unmarshal(b, &n); err != nil {
		return fmt.Errorf("value_mm %s: want a number of mm, or a text such as \"9/32 in\"", b)
	}
	*l = writtenLength(n)
	return nil
}

// inspect takes in what was found on a vehicle. Values that disagree with what
// is known must be confirmed: the faults say which, and why.
func (a *API) inspect(c *gin.Context) error {
	q := &query{c: c}
	key := idempotencyKey(q)
	if err := q.err(); err != nil {
		return err
	}
	id, err := web.PathID(c, "vehicle")
	if err != nil {
		return err
	}
	var sent Inspection
	if err := readJSON(c, &sent); err != nil {
		return err
	}
	in, faults := sent.read(a.svc.Today())
	if len(faults) > 0 {
		return &web.FaultsError{Status: http.StatusUnprocessableEntity, Detail: "Some values cannot be read; nothing was taken in.", Faults: faults}
	}
	in.VehicleID, in.Key = id, key
	up, err := a.svc.Inspect(c.Request.Context(), a.scope(c), a.sender(c), in)
	if doubt, ok := errors.AsType[*pipeline.DoubtError](err); ok {
		return &web.FaultsError{
			Status: http.StatusUnprocessableEntity,
			Detail: "Some values want a second look; nothing was taken in. Correct them, or send them again as confirmed.",
			Faults: sent.doubts(doubt),
		}
	}
	if err != nil {
		return err
	}
	c.Header("Location", Prefix+"/uploads/"+url.PathEscape(strconv.FormatInt(up.ID, 10)))
	status := http.StatusCreated
	if up.Accepted == 0 {
		status = http.StatusOK // all of it was there already
	}
	return send(c, status, detailOf(&up))
}

// read turns what was sent into what it means, or says what is wrong with it.
func (s *Inspection) read(today fleet.Date) (in pipeline.Inspection, faults []web.Fault) {
	in = pipeline.Inspection{
		Date:       today,
		Technician: s.Technician,
		OdometerKm: s.OdometerKm,
		Confirmed:  map[string]bool{pipeline.OdometerField: s.OdometerConfirmed},
	}
	if s.Date != nil {
		in.Date = *s.Date
	}
	for i := range s.Readings {
		r := &s.Readings[i]
		x, err := ingest.ParseThickness(string(r.ValueMM), "mm")
		if err != nil {
			faults = append(faults, web.Fault{Line: i + 1, Column: "value_mm", Read: string(r.ValueMM), Detail: err.Error()})
			continue
		}
		p := r.position()
		in.Readings = append(in.Readings, fleet.Reading{Position: p, MM: x.MM, Given: x.Given, Unit: x.Unit, Gauge: r.Gauge, Note: r.Note})
		in.Confirmed[pipeline.FieldOf(p)] = r.Confirmed
	}
	for _, x := range s.Conditions {
		in.Conditions = append(in.Conditions, fleet.Condition{Axle: x.Axle, Side: x.Side, Kind: x.Condition, Note: x.Note})
	}
	if s.Note != "" {
		in.Conditions = append(in.Conditions, fleet.Condition{Kind: fleet.Noted, Note: s.Note})
	}
	return in, faults
}

func (v *InspectedValue) position() fleet.Position {
	return fleet.Position{Axle: v.Axle, Part: v.Part, Side: v.Side, Face: v.Face}
}

// doubts are the doubts of an inspection as faults of what was sent.
func (s *Inspection) doubts(d *pipeline.DoubtError) (faults []web.Fault) {
	for _, r := range d.Remarks {
		if !r.Doubt {
			continue
		}
		f := web.Fault{Column: "odometer_km", Detail: r.Text + ` Read it again, then correct it or set "odometer_confirmed".`}
		for i := range s.Readings {
			if v := &s.Readings[i]; pipeline.FieldOf(v.position()) == r.Field {
				f = web.Fault{Line: i + 1, Column: "value_mm", Read: string(v.ValueMM), Detail: r.Text + ` Measure it again, then correct it or set "confirmed".`}
			}
		}
		faults = append(faults, f)
	}
	return faults
}

// seenCondition is a condition on its way out.
func seenCondition(c *fleet.Condition) SeenCondition {
	return SeenCondition{c.ID, c.Date, Condition{c.Axle, c.Side, c.Kind, c.Note}, c.Technician, c.UploadID, asideOf(c.Aside)}
}
