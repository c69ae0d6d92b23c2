package api

import (
	"cmp"
	"net/http"
	"time"

	"github.com/gin-gonic/gin"

	"brakewear/internal/fleet"
	"brakewear/internal/store"
)

// Finding is one thing that the data of a vehicle show.
type Finding struct {
	ID        int64             `json:"id"`
	VehicleID int64             `json:"vehicle_id"`
	Vehicle   string            `json:"vehicle"`
	Plate     string            `json:"plate"`
	Fleet     string            `json:"fleet"`
	Depot     string            `json:"depot"`
	Kind      fleet.FindingKind `json:"kind"`
	Urgency   int               `json:"urgency"` // 1 = before the vehicle goes back on the road
	Axle      *int              `json:"axle"`    // null: the vehicle as a whole
	Part      string            `json:"part"`
	Side      string            `json:"side"`
	Face      string            `json:"face"`
	Seen      string            `json:"seen"`
	Advice    string            `json:"advice"`
	Source    string            `json:"source"` // ids of published values, or what it rests on
	Record    *RecordRef        `json:"record"` // the row in doubt
	Suggested *Suggested        `json:"suggested"`
	State     string            `json:"state"`
	FirstSeen fleet.Date        `json:"first_seen"`
	LastSeen  fleet.Date        `json:"last_seen"`
	Answer    string            `json:"answer"` // to what is suggested
	Note      *FindingNote      `json:"note"`
}

// RecordRef names a row that can be corrected.
type RecordRef struct {
	Record string `json:"record"`
	ID     int64  `json:"id"`
}

// Suggested is a fitment that nobody recorded.
type Suggested struct {
	After      fleet.Date `json:"after"`
	Before     fleet.Date `json:"before"`
	Date       fleet.Date `json:"date"` // most likely
	OdometerKm *float64   `json:"odometer_km"`
}

// FindingNote is what somebody who looked says.
type FindingNote struct {
	Why string    `json:"why"`
	By  string    `json:"by"`
	At  time.Time `json:"at"`
}

func findingOf(r *store.FindingRow) Finding {
	p := r.Position
	f := Finding{
		ID:        r.ID,
		VehicleID: r.VehicleID,
		Vehicle:   r.Vehicle,
		Plate:     r.Plate,
		Fleet:     r.Fleet,
		Depot:     r.Depot,
		Kind:      r.Kind,
		Urgency:   int(r.Kind.Urgency()),
		Part:      string(p.Part),
		Side:      string(p.Side),
		Face:      string(p.Face),
		Seen:      r.Seen,
		Advice:    r.Advice,
		Source:    r.Source,
		State:     string(r.State),
		FirstSeen: r.FirstSeen,
		LastSeen:  r.LastSeen,
		Answer:    string(r.Answer),
	}
	if p.Axle != 0 {
		f.Axle = &p.Axle
	}
	if r.Record.ID != 0 {
		f.Record = &RecordRef{string(r.Record.Kind), r.Record.ID}
	}
	if s := r.Suggested; s != nil {
		f.Suggested = &Suggested{s.After, s.Before, s.Date, s.OdometerKm}
	}
	if !r.NoteAt.IsZero() {
		f.Note = &FindingNote{r.Note.Why, r.Note.By, r.NoteAt.UTC()}
	}
	return f
}

// findings answers with a page of what there is to look at.
func (a *API) findings(c *gin.Context) error {
	q := &query{c: c}
	ask := store.FindingQuery{
		Fleet:   q.id("fleet"),
		Depot:   q.id("depot"),
		Vehicle: q.id("vehicle"),
		Kind:    oneOf(q, "kind", fleet.FindingKinds()...),
		After:   q.text("cursor"),
		Limit:   q.limit(),
	}
	if s := oneOf(q, "state", fleet.FindingStates...); s != "" {
		ask.States = []fleet.FindingState{s}
	}
	if err := q.err(); err != nil {
		return err
	}
	got, err := a.svc.DB.Findings(c.Request.Context(), a.scope(c), ask)
	if err != nil {
		return err
	}
	return sendPage(c, items(got.Rows, findingOf), got.Next, &got.Total)
}

func (a *API) finding(c *gin.Context) error {
	id, err := idAlone(c, "finding")
	if err != nil {
		return err
	}
	return a.sendFinding(c, http.StatusOK, id)
}

// sendFinding answers with a finding as it stands now.
func (a *API) sendFinding(c *gin.Context, status int, id int64) error {
	r, err := a.svc.DB.Finding(c.Request.Context(), a.scope(c), id)
	if err != nil {
		return err
	}
	return send(c, status, findingOf(&r))
}

// sentNote is what somebody who looked says.
type sentNote struct {
	Why string `json:"why"`
	By  string `json:"by"` // the sender when left out
}

func (a *API) noteFinding(c *gin.Context) error {
	id, err := idAlone(c, "finding")
	if err != nil {
		return err
	}
	var in sentNote
	if err := readJSON(c, &in); err != nil {
		return err
	}
	if _, err := a.svc.DB.NoteFinding(c.Request.Context(), a.scope(c), id, fleet.Reason{Why: in.Why, By: cmp.Or(in.By, a.sender(c))}); err != nil {
		return err
	}
	return a.sendFinding(c, http.StatusCreated, id)
}

func (a *API) refuseFitment(c *gin.Context) error {
	id, err := idAlone(c, "finding")
	if err != nil {
		return err
	}
	var in sentNote
	if err := readJSON(c, &in); err != nil {
		return err
	}
	note := fleet.Reason{Why: cmp.Or(in.Why, "nothing was fitted"), By: cmp.Or(in.By, a.sender(c))}
	if err := a.svc.RefuseFitment(c.Request.Context(), a.scope(c), id, note, a.svc.Today()); err != nil {
		return err
	}
	return a.sendFinding(c, http.StatusCreated, id)
}

// confirmFitment records a fitment that is suggested; what is left out is as
// suggested.
func (a *API) confirmFitment(c *gin.Context) error {
	ctx, sc := c.Request.Context(), a.scope(c)
	id, err := idAlone(c, "finding")
	if err != nil {
		return err
	}
	var in struct {
		sentNote
		Date       *fleet.Date    `json:"date"`
		OdometerKm maybe[float64] `json:"odometer_km"`
		ValueMM    float64        `json:"value_mm"`
	}
	if err := readJSON(c, &in); err != nil {
		return err
	}
	r, err := a.svc.DB.Finding(ctx, sc, id)
	if err != nil {
		return err
	}
	fit := fleet.Fitment{MM: in.ValueMM}
	if s := r.Suggested; s != nil {
		fit.Date, fit.OdometerKm = s.Date, s.OdometerKm
	}
	set(&fit.Date, in.Date)
	if in.OdometerKm.given {
		fit.OdometerKm = in.OdometerKm.x
	}
	note := fleet.Reason{Why: cmp.Or(in.Why, "fitted as suggested"), By: cmp.Or(in.By, a.sender(c))}
	if err := a.svc.ConfirmFitment(ctx, sc, id, fit, note, a.svc.Today()); err != nil {
		return err
	}
	return a.sendFinding(c, http.StatusCreated, id)
}
