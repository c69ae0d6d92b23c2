package api

import (
	"cmp"
	"encoding/json"
	"errors"
	"net/http"
	"time"

	"github.com/gin-gonic/gin"

	"brakewear/ingest"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/web"
)

// Correction is one thing done to a record.
type Correction struct {
	ID        int64     `json:"id"`
	VehicleID int64     `json:"vehicle_id"`
	Record    string    `json:"record"` // reading, odometer, fitment, brake test, condition
	RecordID  int64     `json:"record_id"`
	Act       string    `json:"act"`
	StandsID  *int64    `json:"stands_id"` // of the row that stands instead, when corrected
	Why       string    `json:"why"`
	By        string    `json:"by"`
	At        time.Time `json:"at"`
	Shelf     string    `json:"shelf,omitempty"`
}

// Aside says why a row no longer counts.
type Aside struct {
	Why      string    `json:"why"`
	By       string    `json:"by"`
	At       time.Time `json:"at"`
	StandsID *int64    `json:"stands_id"`
}

func correctionOf(c *fleet.Correction) Correction {
	return Correction{c.ID, c.VehicleID, string(c.Record.Kind), c.Record.ID, string(c.Act), idOrNull(c.StandsID), c.Why, c.By, c.At.UTC(), string(c.Shelf)}
}

func asideOf(a *fleet.Aside) *Aside {
	if a == nil {
		return nil
	}
	return &Aside{a.Why, a.By, a.At.UTC(), idOrNull(a.StandsID)}
}

func idOrNull(id int64) *int64 {
	if id == 0 {
		return nil
	}
	return &id
}

// corrections answers with a page of what was done to the records of a vehicle,
// newest first.
func (a *API) corrections(c *gin.Context) error {
	q := &query{c: c}
	before, limit := q.before(), q.limit()
	if err := q.err(); err != nil {
		return err
	}
	id, err := web.PathID(c, "vehicle")
	if err != nil {
		return err
	}
	cs, err := a.svc.DB.CorrectionLog(c.Request.Context(), a.scope(c), id, before, limit)
	if err != nil {
		return err
	}
	return sendPage(c, items(cs, correctionOf), older(cs, limit, func(x *fleet.Correction) int64 { return x.ID }), nil)
}

// sentCorrection is what is to be done to a record. What is left out stays as
// it is.
type sentCorrection struct {
	Act        fleet.Act      `json:"act"` // corrected when left out
	Axle       *int           `json:"axle"`
	Part       *fleet.Part    `json:"part"`
	Side       *fleet.Side    `json:"side"`
	Face       *fleet.Face    `json:"face"`
	Date       *fleet.Date    `json:"date"`
	ValueMM    *writtenLength `json:"value_mm"`
	OdometerKm maybe[float64] `json:"odometer_km"`
	WholeVisit bool           `json:"whole_visit"`
	Confirmed  bool           `json:"confirmed"` // it is so, unlikely as it is
	Why        string         `json:"why"`
	By         string         `json:"by"` // the sender when left out
}

// maybe tells a value that is null from one that is left out.
type maybe[T any] struct {
	given bool
	x     *T
}

// UnmarshalJSON reads a value or null.
func (n *maybe[T]) UnmarshalJSON(b []byte) error {
	n.given = true
	return json.Unmarshal(b, &n.x)
}

// maxCorrection bounds the body of a correction: a reason of a page.
const maxCorrection = 16 << 10

// correct corrects a record of a kind, sets it aside or undoes that; its
// vehicle is forecast anew.
func (a *API) correct(kind fleet.RecordKind) func(*gin.Context) error {
	return func(c *gin.Context) error {
		ctx, sc, today := c.Request.Context(), a.scope(c), a.svc.Today()
		rec, err := recordIn(c, kind)
		if err != nil {
			return err
		}
		var in sentCorrection
		if err := readJSON(c, &in); err != nil {
			return err
		}
		why := fleet.Reason{Why: in.Why, By: cmp.Or(in.By, a.sender(c))}
		ch, err := a.changeOf(c, rec, &in)
		if err != nil {
			return err
		}
		if act := cmp.Or(in.Act, fleet.Corrected); act != fleet.Corrected {
			if !ch.Empty() || ch.WholeVisit || in.Confirmed {
				return fleet.Invalidf("act %q: leave out what is only for a correction", act)
			}
			return a.setAside(c, rec, act, why)
		}
		correct := a.svc.CorrectIfLikely
		if in.Confirmed {
			correct = a.svc.Correct
		}
		done, err := correct(ctx, sc, rec, ch, why, today)
		if doubt, ok := errors.AsType[*pipeline.DoubtError](err); ok {
			return in.doubted(doubt)
		}
		if err != nil {
			return err
		}
		return send(c, http.StatusCreated, List[Correction]{items(done, correctionOf)})
	}
}

// doubted are the doubts of a correction as faults of what was sent.
func (in *sentCorrection) doubted(d *pipeline.DoubtError) error {
	out := &web.FaultsError{
		Status: http.StatusUnprocessableEntity,
		Detail: "The change wants a second look; nothing was changed. Correct it, or send it again as confirmed.",
	}
	for _, r := range d.Remarks {
		f := web.Fault{Column: "odometer_km", Detail: r.Text + ` Look again, then correct it or set "confirmed".`}
		if r.Field != pipeline.OdometerField {
			f.Column = "value_mm"
			if in.ValueMM != nil {
				f.Read = string(*in.ValueMM)
			}
		}
		out.Faults = append(out.Faults, f)
	}
	return out
}

// changeOf turns what was sent into a change.
func (a *API) changeOf(c *gin.Context, rec fleet.Record, in *sentCorrection) (ch fleet.Change, err error) {
	ch = fleet.Change{Date: in.Date, WholeVisit: in.WholeVisit}
	if n := in.OdometerKm; n.given {
		ch.OdometerKm, ch.NoOdometer = n.x, n.x == nil
	}
	if v := in.ValueMM; v != nil {
		x, err := ingest.ParseThickness(string(*v), "mm")
		if err != nil {
			return ch, &web.FaultsError{
				Status: http.StatusUnprocessableEntity,
				Detail: "The value cannot be read; nothing was changed.",
				Faults: []web.Fault{{Column: "value_mm", Read: string(*v), Detail: err.Error()}},
			}
		}
		ch.MM, ch.Given, ch.Unit = &x.MM, x.Given, x.Unit
	}
	if in.Axle == nil && in.Part == nil && in.Side == nil && in.Face == nil {
		return ch, nil
	}
	v, err := a.svc.DB.Record(c.Request.Context(), a.scope(c), rec)
	if err != nil {
		return ch, err
	}
	var p fleet.Position
	switch {
	case v.Reading != nil:
		p = v.Reading.Position
	case v.Fitment != nil:
		p = v.Fitment.Position
	}
	set(&p.Axle, in.Axle)
	set(&p.Part, in.Part)
	set(&p.Side, in.Side)
	set(&p.Face, in.Face)
	ch.Position = &p
	return ch, nil
}

// set puts a value that was given into place.
func set[T any](to *T, x *T) {
	if x != nil {
		*to = *x
	}
}

// moveReadings puts the readings of one axle of an inspection, recorded for the
// wrong one, where they belong: those of the reading in the path.
func (a *API) moveReadings(c *gin.Context) error {
	id, err := idAlone(c, "reading")
	if err != nil {
		return err
	}
	var in struct {
		Axle      int    `json:"axle"`
		VehicleID int64  `json:"vehicle_id"` // the same when left out
		Swap      bool   `json:"swap"`
		Why       string `json:"why"`
		By        string `json:"by"` // the sender when left out
	}
	if err := readJSON(c, &in); err != nil {
		return err
	}
	mv := fleet.AxleMove{Reading: id, VehicleID: in.VehicleID, Axle: in.Axle, Swap: in.Swap}
	why := fleet.Reason{Why: in.Why, By: cmp.Or(in.By, a.sender(c))}
	done, err := a.svc.MoveReadings(c.Request.Context(), a.scope(c), mv, why, a.svc.Today())
	if err != nil {
		return err
	}
	return send(c, http.StatusCreated, List[Correction]{items(done, correctionOf)})
}

// correctCondition sets a tick or note of an inspection aside, or undoes that;
// another is entered instead.
func (a *API) correctCondition(c *gin.Context) error {
	rec, err := recordIn(c, fleet.ConditionRecord)
	if err != nil {
		return err
	}
	var in struct {
		Act fleet.Act `json:"act"`
		Why string    `json:"why"`
		By  string    `json:"by"`
	}
	if err := readJSON(c, &in); err != nil {
		return err
	}
	return a.setAside(c, rec, in.Act, fleet.Reason{Why: in.Why, By: cmp.Or(in.By, a.sender(c))})
}

// setAside takes a record out of what counts, or undoes that.
func (a *API) setAside(c *gin.Context, rec fleet.Record, act fleet.Act, why fleet.Reason) error {
	do := a.svc.SetAside
	switch act {
	case fleet.SetAside:
	case fleet.Undone:
		do = a.svc.UndoSetAside
	default:
		return fleet.Invalidf("act %q: want %q or %q", act, fleet.SetAside, fleet.Undone)
	}
	done, err := do(c.Request.Context(), a.scope(c), rec, why, a.svc.Today())
	if err != nil {
		return err
	}
	return send(c, http.StatusCreated, List[Correction]{[]Correction{correctionOf(&done)}})
}

func recordIn(c *gin.Context, kind fleet.RecordKind) (fleet.Record, error) {
	id, err := idAlone(c, string(kind))
	return fleet.Record{Kind: kind, ID: id}, err
}
