package dashboard

import (
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/web"
)

func (d *Dashboard) registerCards(r *gin.Engine) {
	r.GET("/cards", web.Handle(d.cards))
	r.POST("/cards", web.Handle(d.openCard))
	r.GET("/cards/:id", web.Handle(d.card))
	r.POST("/cards/:id/steps", web.Handle(d.enterSteps))
	r.POST("/cards/:id/parts", web.Handle(d.fitParts))
	r.POST("/cards/:id/undo", web.Handle(d.undoPart))
	r.POST("/cards/:id/close", web.Handle(d.closeCard))
	r.GET("/steps", web.Handle(d.steps))
	r.POST("/steps", web.Handle(d.keepSteps))
	r.POST("/steps/makers", web.Handle(d.keepMakers))
	r.GET("/vehicles/:id/card", web.Handle(d.newCard))
}

// CardsPage lists job cards.
type CardsPage struct {
	Shell
	Depots []Choice
	States []Choice
	Rows   []CardRow
	Next   string
	Empty  *Empty
}

// CardRow is one job card.
type CardRow struct {
	Link, Vehicle, Plate string
	Day, Depot           string
	Work                 string
	State                string
}

func (d *Dashboard) cards(c *gin.Context) error {
	tell := reader(c)
	depotID, depots, err := d.depotChoice(c, d.scope(c))
	if err != nil {
		return err
	}
	before, err := queryID(c, "before")
	if err != nil {
		return err
	}
	state := c.DefaultQuery("state", string(fleet.CardOpen))
	q := store.CardQuery{Depot: depotID, State: fleet.CardState(state), Before: before}
	if state == "all" {
		q.State = ""
	}
	cs, err := d.svc.DB.Cards(c.Request.Context(), d.scope(c), q)
	if err != nil {
		return err
	}
	p := CardsPage{
		Shell:  Shell{Title: "Job cards", Place: "plan"},
		Depots: depots,
		States: choices(state, string(fleet.CardOpen), "open", string(fleet.CardPassed), "passed", string(fleet.CardNotPassed), "not passed", "all", "all there are"),
	}
	for _, card := range cs {
		p.Rows = append(p.Rows, CardRow{
			Link: fmt.Sprintf("/cards/%d", card.ID), Vehicle: card.Vehicle, Plate: card.Plate,
			Day: tell.Day(card.Day), Depot: card.Depot, Work: workWords(card.Work), State: string(card.State),
		})
	}
	if len(cs) == store.DefaultLimit {
		p.Next = fmt.Sprintf("/cards?state=%s&before=%d", state, cs[len(cs)-1].ID)
	}
	if len(p.Rows) == 0 {
		p.Empty = &Empty{
			Title: "No job cards here",
			Text:  "A card is opened from a booking on the workshop plan, or from a vehicle's page.",
			Link:  "/vehicles", Label: "Find a vehicle",
		}
	}
	return d.send(c, http.StatusOK, "cards", p)
}

// workWords says what is done on a visit: "axle 1: pads, rotors; brake fluid".
func workWords(work []fleet.WorkItem) string { return strings.Join(workLines(work), "; ") }

// NewCardPage asks what is to be done, for a job of no booking.
type NewCardPage struct {
	Shell
	VehicleID      int64
	Vehicle, Plate string
	Link           string
	Axles          []NewCardAxle
	Booked         []BookedCard // visits whose own card it may be that is wanted
}

// BookedCard is a booking that a card can be opened of.
type BookedCard struct {
	ID                int64
	When, Where, Work string
	Card              string // link to it where it is open already
}

// NewCardAxle is what can be done to an axle.
type NewCardAxle struct {
	Axle  int
	Items []Choice
}

// cardAhead is how many days ahead a booking may be that a job of today may be of.
const cardAhead = 7

func (d *Dashboard) newCard(c *gin.Context) error {
	id, err := web.PathID(c, "vehicle")
	if err != nil {
		return err
	}
	h, err := d.svc.DB.History(c.Request.Context(), d.scope(c), id)
	if err != nil {
		return err
	}
	p := NewCardPage{
		Shell:     Shell{Title: "New job card: " + h.Vehicle.Number, Place: "vehicles", Cautions: true, of: ofVehicle(&h.Vehicle)},
		VehicleID: id, Vehicle: h.Vehicle.Number, Plate: h.Vehicle.Plate, Link: vehicleLink(id),
	}
	for _, a := range h.Axles {
		n := NewCardAxle{Axle: a.Number}
		for _, it := range itemsOf(a.Brake) {
			n.Items = append(n.Items, Choice{Value: fmt.Sprintf("%d_%s", a.Number, it), Label: it.Words()})
		}
		p.Axles = append(p.Axles, n)
	}
	today := d.svc.Today()
	booked, err := d.svc.DB.Bookings(c.Request.Context(), d.scope(c), store.BookingQuery{Vehicle: id, From: today - pastBookings, To: today + cardAhead, States: []fleet.BookingState{fleet.Booked}})
	if err != nil {
		return err
	}
	open, err := d.svc.DB.Cards(c.Request.Context(), d.scope(c), store.CardQuery{Vehicle: id, State: fleet.CardOpen})
	if err != nil {
		return err
	}
	for i := range booked {
		b := &booked[i]
		v := BookedCard{ID: b.ID, When: dayNear(reader(c), b.Day, today) + ", " + b.Starts.String(), Where: b.Depot, Work: workWords(b.Work)}
		if i := slices.IndexFunc(open, func(card fleet.Card) bool { return card.BookingID == b.ID }); i >= 0 {
			v.Card = fmt.Sprintf("/cards/%d", open[i].ID)
		}
		p.Booked = append(p.Booked, v)
	}
	return d.send(c, http.StatusOK, "newcard", p)
}

// itemsOf is what can be done to an axle of a kind of brake.
func itemsOf(b fleet.Brake) []fleet.Item {
	if b == fleet.DrumBrake {
		return []fleet.Item{fleet.ItemLinings, fleet.ItemDrums, fleet.ItemHoses}
	}
	return []fleet.Item{fleet.ItemPads, fleet.ItemRotors, fleet.ItemSensor, fleet.ItemHoses, fleet.ItemCalipers}
}

// openCard opens the card of a booking, or one for what a form ticked.
func (d *Dashboard) openCard(c *gin.Context) error {
	who, err := by(c)
	if err != nil {
		return err
	}
	ctx, sc := c.Request.Context(), d.scope(c)
	var card fleet.Card
	if text := c.PostForm("booking"); text != "" {
		booking, err := strconv.ParseInt(text, 10, 64)
		if err != nil {
			return fleet.Invalidf("booking %q: want its number", text)
		}
		card, err = d.svc.OpenCard(ctx, sc, who, booking)
		if err != nil {
			return err
		}
	} else {
		vehicle, err := strconv.ParseInt(c.PostForm("vehicle"), 10, 64)
		if err != nil {
			return fleet.Invalidf("vehicle %q: want its number", c.PostForm("vehicle"))
		}
		work, err := workForm(c.PostFormArray("item"))
		if err != nil {
			return err
		}
		if card, err = d.svc.OpenCardFor(ctx, sc, who, vehicle, work); err != nil {
			return err
		}
	}
	c.Redirect(http.StatusSeeOther, fmt.Sprintf("/cards/%d", card.ID))
	return nil
}

// workForm reads the items ticked, such as 1_pads or 0_fluid.
func workForm(ticked []string) ([]fleet.WorkItem, error) {
	var work []fleet.WorkItem
	for _, s := range ticked {
		axle, item, _ := strings.Cut(s, "_")
		n, err := strconv.Atoi(axle)
		if err != nil {
			return nil, fleet.Invalidf("work %q: want an axle and what is done to it", s)
		}
		work = append(work, fleet.WorkItem{Axle: n, Item: fleet.Item(item), Reason: "by hand"})
	}
	if len(work) == 0 {
		return nil, fleet.Invalidf("work: tick what is to be done")
	}
	return work, nil
}
