package api

import (
	"math"
	"net/http"
	"time"

	"github.com/gin-gonic/gin"

	"brakewear/internal/fleet"
	"brakewear/internal/store"
)

// Card is the sheet a technician works from.
type Card struct {
	ID         int64      `json:"id"`
	VehicleID  int64      `json:"vehicle_id"`
	Vehicle    string     `json:"vehicle"`
	Plate      string     `json:"plate"`
	DepotID    int64      `json:"depot_id"`
	Depot      string     `json:"depot"`
	BookingID  *int64     `json:"booking_id"` // null: of no booking
	Day        fleet.Date `json:"day"`
	OdometerKm *float64   `json:"odometer_km"`
	Work       []Work     `json:"work"`
	State      string     `json:"state"`
	OpenedBy   string     `json:"opened_by"`
	OpenedAt   time.Time  `json:"opened_at"`
	ClosedBy   string     `json:"closed_by"` // blank: open
	ClosedAt   *time.Time `json:"closed_at"`
	Note       string     `json:"note"`
}

// CardDetail is a card with its steps and what was fitted.
type CardDetail struct {
	Card
	Open  []string   `json:"open"` // safety steps against passing it, without the brake test
	Steps []CardStep `json:"steps"`
	Parts []CardPart `json:"parts"`
}

// CardStep is a step of a card with the entry that stands.
type CardStep struct {
	Seq     int        `json:"seq"`
	Section string     `json:"section"`
	Axle    *int       `json:"axle"` // null: the whole vehicle
	Text    string     `json:"text"`
	Source  string     `json:"source"`
	Safety  bool       `json:"safety"`
	Values  []Noted    `json:"values"`
	State   string     `json:"state"` // blank: nothing entered yet
	Note    string     `json:"note"`
	By      string     `json:"by"`
	At      *time.Time `json:"at"`
	Earlier int        `json:"earlier"` // entries that no longer stand
	Faults  []string   `json:"faults"`  // values outside what they are checked by
	Remarks []string   `json:"remarks"` // the same where the check is advice
}

// Noted is a value that a step asks for.
type Noted struct {
	Name  string   `json:"name"`
	Unit  string   `json:"unit"`
	Low   *float64 `json:"low"` // check values
	High  *float64 `json:"high"`
	Value *float64 `json:"value"` // null: not noted
}

// CardEntry is one entry of a card's step, whether it stands or not.
type CardEntry struct {
	ID     int64     `json:"id"`
	Seq    int       `json:"seq"` // of its step
	State  string    `json:"state"`
	Values []Noted   `json:"values"`
	Note   string    `json:"note"`
	By     string    `json:"by"`
	At     time.Time `json:"at"`
	Stands bool      `json:"stands"`
}

// CardPart is a part that was fitted by a card.
type CardPart struct {
	Axle      int       `json:"axle"`
	Part      string    `json:"part"`
	Side      string    `json:"side"` // blank: both
	Number    string    `json:"part_number"`
	Batch     string    `json:"batch"`
	MM        *float64  `json:"new_mm"`
	Measured  bool      `json:"measured"` // else new_mm is the nominal value
	FitmentID int64     `json:"fitment_id"`
	By        string    `json:"by"`
	At        time.Time `json:"at"`
	Undone    bool      `json:"undone"` // set aside with its fitment
}

func cardOf(c *fleet.Card) Card {
	return Card{
		ID: c.ID, VehicleID: c.VehicleID, Vehicle: c.Vehicle, Plate: c.Plate, DepotID: c.DepotID, Depot: c.Depot, BookingID: idOrNull(c.BookingID),
		Day: c.Day, OdometerKm: c.OdometerKm, Work: items(c.Work, workOf), State: string(c.State),
		OpenedBy: c.OpenedBy, OpenedAt: c.OpenedAt, ClosedBy: c.ClosedBy, ClosedAt: c.ClosedAt, Note: c.Note,
	}
}

func cardStepOf(s *fleet.CardStep) CardStep {
	out := CardStep{
		Seq: s.Seq, Section: string(s.Section), Text: s.Text, Source: s.Source, Safety: s.Safety, Values: notedOf(s, s.Entry),
		Earlier: s.Earlier, Faults: append([]string{}, s.Faults()...), Remarks: append([]string{}, s.Remarks()...),
	}
	if s.Axle != 0 {
		out.Axle = &s.Axle
	}
	if e := s.Entry; e != nil {
		out.State, out.Note, out.By, out.At = string(e.State), e.Note, e.By, &e.At
	}
	return out
}

// notedOf is what a step asks for with what an entry says; nil: nothing.
func notedOf(s *fleet.CardStep, e *fleet.StepEntry) []Noted {
	out := []Noted{}
	for i, m := range s.Measures {
		n := Noted{Name: m.Name, Unit: m.Unit, Low: m.Low, High: m.High}
		if e != nil && i < len(e.Values) && !math.IsNaN(e.Values[i]) {
			n.Value = &e.Values[i]
		}
		out = append(out, n)
	}
	return out
}

func cardPartOf(p *fleet.CardPart) CardPart {
	return CardPart{
		Axle: p.Axle, Part: string(p.Part), Side: string(p.Side), Number: p.Number, Batch: p.Batch, MM: some(p.MM, 3), Measured: p.Measured,
		FitmentID: p.FitmentID, By: p.By, At: p.At, Undone: p.Undone != nil,
	}
}

var cardStates = []fleet.CardState{fleet.CardOpen, fleet.CardPassed, fleet.CardNotPassed, fleet.CardDropped}

// cards answers with job cards, newest first.
func (a *API) cards(c *gin.Context) error {
	q := &query{c: c}
	limit := q.limit()
	ask := store.CardQuery{
		Depot: q.id("depot"), Vehicle: q.id("vehicle"), Booking: q.id("booking"),
		State: oneOf(q, "state", cardStates...), Limit: limit, Before: q.before(),
	}
	if err := q.err(); err != nil {
		return err
	}
	cs, err := a.svc.DB.Cards(c.Request.Context(), a.scope(c), ask)
	if err != nil {
		return err
	}
	return sendPage(c, items(cs, cardOf), older(cs, limit, func(x *fleet.Card) int64 { return x.ID }), nil)
}

// card answers with the job card in the path and all that was entered.
func (a *API) card(c *gin.Context) error {
	id, err := idAlone(c, "job card")
	if err != nil {
		return err
	}
	card, err := a.svc.DB.Card(c.Request.Context(), a.scope(c), id)
	if err != nil {
		return err
	}
	return send(c, http.StatusOK, CardDetail{cardOf(&card), append([]string{}, card.Open()...), items(card.Steps, cardStepOf), items(card.Parts, cardPartOf)})
}

// cardEntries answers with all that was entered for the steps of the job card in the
// path, oldest first.
func (a *API) cardEntries(c *gin.Context) error {
	id, err := idAlone(c, "job card")
	if err != nil {
		return err
	}
	card, es, err := a.svc.DB.CardEntries(c.Request.Context(), a.scope(c), id)
	if err != nil {
		return err
	}
	steps := map[int]*fleet.CardStep{}
	for i := range card.Steps {
		steps[card.Steps[i].Seq] = &card.Steps[i]
	}
	last := map[int]int64{}
	for i := range es {
		last[es[i].Seq] = es[i].ID
	}
	return send(c, http.StatusOK, List[CardEntry]{items(es, func(e *store.CardEntry) CardEntry {
		return CardEntry{
			ID: e.ID, Seq: e.Seq, State: string(e.State), Values: notedOf(steps[e.Seq], &e.StepEntry), Note: e.Note, By: e.By, At: e.At,
			Stands: e.ID == last[e.Seq] && e.State != fleet.StepTakenBack,
		}
	})})
}
