package dashboard

import (
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"time"

	"github.com/gin-gonic/gin"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
	"brakewear/internal/units"
	"brakewear/internal/web"
)

// BookingPage is one booking: what is to be done, when, why, and what has
// happened to it.
type BookingPage struct {
	Shell
	In          units.Reader // units of its form
	ID          int64
	Card        string // link to its job card; blank = none
	OpensCard   bool   // whoever looks may open one
	Link        string
	Vehicle     string
	VehicleLink string
	Plate       string
	Where       string
	When        string
	ISO         string
	Hours       string
	Cost        string
	State       string
	Open        bool
	Past        bool // its day has come: it can be done or missed
	Kept        bool
	Joins       string
	Items       []ItemRow
	Lanes       []PlanLane
	Axis        Axis
	History     []string
	Move        []Field
	Depots      []Choice
	Done        Field
	MissedFault string
	AwayFault   string // of taking it off the plan
	Note        Field
	Sheet       string // link to the day sheet
	Plan        string // link to the week
}

// ItemRow is one thing to do.
type ItemRow struct {
	Axle, What, Part, Shelf, Why string
}

func (d *Dashboard) booking(c *gin.Context) error { return d.showBooking(c, http.StatusOK, nil) }

// showBooking sends the page; f has the form that comes back with faults.
func (d *Dashboard) showBooking(c *gin.Context, status int, f *fields) error {
	tell := reader(c)
	id, err := web.PathID(c, "booking")
	if err != nil {
		return err
	}
	// Who sends a form may change less than they see: the page shows all of that.
	ctx, sc, today := c.Request.Context(), web.SignedIn(c).Scope(auth.See), d.svc.Today()
	b, err := d.svc.DB.Booking(ctx, sc, id)
	if err != nil {
		return err
	}
	home, err := d.svc.DB.SeesVehicle(ctx, sc, b.VehicleID)
	if err != nil {
		return err
	}
	history, err := d.svc.DB.BookingHistory(ctx, sc, id)
	if err != nil {
		return err
	}
	ds, err := d.svc.DB.Depots(ctx, sc)
	if err != nil {
		return err
	}
	rows, err := d.dueRows(ctx, sc, []int64{b.VehicleID})
	if err != nil {
		return err
	}
	draw := planDrawer{today: today, axis: newAxis(today, cardAxis), rows: rows}
	monday := b.Day - fleet.Date(b.Day.Weekday())
	p := BookingPage{
		Shell:   Shell{Title: b.Vehicle + ", " + tell.DayNear(b.Day, today), Place: "plan", Cautions: true, of: place{b.FleetID, b.DepotID}},
		ID:      id,
		Link:    bookingLink(id),
		In:      formReader(f, tell),
		Vehicle: b.Vehicle,
		Plate:   b.Plate,
		Where:   b.Depot,
		When:    dayNear(tell, b.Day, today) + ", " + slotWords(b.Slot),
		ISO:     b.Day.String(),
		Hours:   hoursWords(b.Hours),
		Cost:    costWords(b.Currency, b.Cost),
		State:   string(b.State),
		Open:    b.State == fleet.Booked,
		Past:    b.Day <= today,
		Kept:    b.Kept,
		Axis:    draw.axis,
		Plan:    "/plan?week=" + monday.String(),
		Done:    distanceField(f, formReader(f, tell), "odometer", "Odometer when it was done (blank: not read)", nil),
		Note:    f.field("note", "Note for the workshop", b.Note),
	}
	// Of a booking elsewhere one sees the vehicle, or the workshop, and not the other.
	if home {
		p.VehicleLink = vehicleLink(b.VehicleID)
	}
	if sc.Sees(b.FleetID, b.DepotID) {
		p.Sheet = fmt.Sprintf("/plan/day?depot=%d&day=%s", b.DepotID, b.Day)
	}
	if f != nil {
		p.MissedFault, p.AwayFault = f.faults["missed"], f.faults["withdrawn"]
	}
	if p.Open {
		p.Lanes = draw.lanes(tell, b.VehicleID, b.Work, b.Day, "booked")
	}
	for _, x := range ds {
		if x.FleetID == b.FleetID {
			p.Depots = append(p.Depots, Choice{strconv.FormatInt(x.ID, 10), x.Name, x.ID == b.DepotID})
		}
	}
	p.Move = []Field{
		f.field("day", "Day", b.Day.String()).as("date"),
		f.field("starts", "Time (blank: any that is free)", "").as("time"),
		f.field("bay", "Bay (blank: any)", ""),
		f.field("why", "Why", ""),
	}
	parts, err := d.svc.DB.StockParts(ctx, sc, b.FleetID)
	if err != nil {
		return err
	}
	p.Items = itemRows(tell, &b, parts, today)
	cards, err := d.svc.DB.Cards(ctx, sc, store.CardQuery{Booking: id, Limit: 1})
	if err != nil {
		return err
	}
	if len(cards) > 0 && cards[0].State != fleet.CardDropped {
		p.Card = fmt.Sprintf("/cards/%d", cards[0].ID)
	}
	if p.Open && p.Past && p.Card == "" {
		// Whoever sees the booking with the right to: of its depot, or the vehicle's.
		_, err := d.svc.DB.Booking(ctx, web.SignedIn(c).Scope(auth.Repair), id)
		if p.OpensCard = err == nil; err != nil && !isKind(err, fleet.ErrNotFound) {
			return err
		}
	}
	if b.VisitID != 0 {
		p.Joins = "It joins a visit that the vehicle makes anyway."
	}
	for _, x := range slices.Backward(history) {
		p.History = append(p.History, changeWords(tell, &x, pipeline.Zone(b.TimeZone), today))
	}
	return d.send(c, status, "booking", p)
}

// itemRows lists what is to be done, with the part and what lies on the shelf.
func itemRows(tell units.Reader, b *fleet.Booking, parts []fleet.StockPart, today fleet.Date) (rows []ItemRow) {
	for _, w := range b.Work {
		row := ItemRow{Axle: "vehicle", What: w.Item.Words(), Part: "no part number known", Why: capital(tell.Text(w.Reason, today))}
		if w.Axle > 0 {
			row.Axle = "axle " + strconv.Itoa(w.Axle)
		}
		if w.PartNumber != "" {
			row.Part = strconv.Itoa(w.Quantity) + " × " + w.PartNumber
		}
		if i := slices.IndexFunc(parts, func(p fleet.StockPart) bool { return p.ID == w.PartID }); i >= 0 {
			n := 0
			for _, s := range parts[i].Stock {
				if s.DepotID == b.DepotID {
					n = s.Quantity
				}
			}
			row.Shelf = strconv.Itoa(n) + " on the shelf"
		}
		rows = append(rows, row)
	}
	return rows
}

// changeWords is a line of a booking's history.
func changeWords(tell units.Reader, x *fleet.BookingChange, zone *time.Location, today fleet.Date) string {
	s := fmt.Sprintf("%s: %s by %s", tell.MomentShort(x.At, zone), x.What, x.By)
	switch {
	case x.From.Day == 0:
		s += fmt.Sprintf(" for %s, %s, %s", dayNear(tell, x.To.Day, today), x.To.Starts, x.ToDepot)
	case x.From != x.To:
		s += fmt.Sprintf(" from %s %s, %s to %s %s, %s", dayNear(tell, x.From.Day, today), x.From.Starts, x.FromDepot, dayNear(tell, x.To.Day, today), x.To.Starts, x.ToDepot)
	}
	switch {
	case x.Why == "":
	case x.Proposed:
		s += ": " + tell.Text(x.Why, today)
	default: // somebody's own words
		s += ": " + x.Why
	}
	return s + "."
}

// NewBookingPage books a vehicle by hand.
type NewBookingPage struct {
	Shell
	Vehicle     string
	VehicleID   int64
	VehicleLink string
	Axles       []Choice
	AxleFault   string
	More        []Choice
	Depots      []Choice
	Fields      []Field
	Faults      int
	Empty       *Empty // there is nothing to book
}

func (d *Dashboard) newBooking(c *gin.Context) error {
	id, err := queryID(c, "vehicle")
	if err != nil {
		return err
	}
	return d.showNewBooking(c, http.StatusOK, id, nil)
}

func (d *Dashboard) showNewBooking(c *gin.Context, status int, vehicle int64, f *fields) error {
	tell := reader(c)
	ctx, sc, today := c.Request.Context(), d.scope(c), d.svc.Today()
	h, err := d.svc.DB.History(ctx, sc, vehicle)
	if err != nil {
		return err
	}
	rows, err := d.dueRows(ctx, sc, []int64{vehicle})
	if err != nil {
		return err
	}
	booked, err := d.svc.DB.BookedAxles(ctx, sc, []int64{vehicle})
	if err != nil {
		return err
	}
	ds, err := d.svc.DB.Depots(ctx, sc)
	if err != nil {
		return err
	}
	p := NewBookingPage{
		Shell:       Shell{Title: "Book " + h.Vehicle.Number, Place: "plan", Cautions: true, of: ofVehicle(&h.Vehicle)},
		Vehicle:     h.Vehicle.Number,
		VehicleID:   vehicle,
		VehicleLink: vehicleLink(vehicle),
		Fields: []Field{
			f.field("day", "Day", "").as("date"),
			f.field("starts", "Time (blank: any that is free)", "").as("time"),
			f.field("bay", "Bay (blank: any)", ""),
			f.field("note", "Note for the workshop", ""),
		},
	}
	var ticked []string
	depot := strconv.FormatInt(h.Vehicle.DepotID, 10)
	if f != nil {
		p.Faults, p.AxleFault = len(f.faults), f.faults["axle"]
		ticked, depot = c.PostFormArray("axle"), c.PostForm("depot")
	}
	for _, a := range h.Axles {
		n := strconv.Itoa(a.Number)
		label := "axle " + n
		if r := rows[store.AxleKey{VehicleID: vehicle, Axle: a.Number}]; r != nil && r.PastLimit {
			label += ", at or past its limit"
		} else if r != nil && r.BookBy != nil {
			label += ", book by " + tell.DayNear(*r.BookBy, today)
		}
		if b, ok := booked[store.AxleKey{VehicleID: vehicle, Axle: a.Number}]; ok {
			label += ", booked for " + dayNear(tell, b.Day, today)
		}
		p.Axles = append(p.Axles, Choice{n, label, slices.Contains(ticked, n)})
	}
	if len(h.Axles) == 0 {
		p.Empty = &Empty{Title: "No axle of this vehicle is known", Text: "Work is booked on axles: hand in an axles file with their specifications, or readings of them.", Link: "/readings", Label: "Take files in"}
	}
	for _, item := range []fleet.Item{fleet.ItemHoses, fleet.ItemCalipers, fleet.ItemFluid} {
		label := item.Words()
		if item != fleet.ItemFluid {
			label += " of these axles"
		}
		p.More = append(p.More, Choice{string(item), label, f != nil && slices.Contains(c.PostFormArray("more"), string(item))})
	}
	for _, x := range ds {
		if x.FleetID == h.Vehicle.FleetID {
			id := strconv.FormatInt(x.ID, 10)
			p.Depots = append(p.Depots, Choice{id, x.Name, id == depot})
		}
	}
	return d.send(c, status, "newbooking", p)
}
