package dashboard

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strconv"

	"github.com/gin-gonic/gin"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/units"
	"brakewear/internal/web"
)

// planDrawer makes the cards of a plan. Lanes need each axle's row of the
// due-soon list.
type planDrawer struct {
	sees     auth.Scope
	plans    auth.Scope // where who looks may change the plan
	ticked   []string   // visits, in a form that comes back
	today    fleet.Date
	axis     Axis
	rows     map[store.AxleKey]*store.DueRow
	bookings []fleet.Booking
	visits   []store.Visit
}

func (d *Dashboard) planDrawer(c *gin.Context, sc auth.Scope, bookings []fleet.Booking, visits []store.Visit, monday, today fleet.Date) (*planDrawer, error) {
	x := &planDrawer{sees: sc, plans: web.SignedIn(c).Scope(auth.Plan), ticked: c.PostFormArray("visit"), today: today, axis: newAxis(today, cardAxis), bookings: bookings}
	var ids []int64
	for _, b := range bookings {
		if b.State == fleet.Booked {
			ids = append(ids, b.VehicleID)
		}
	}
	for _, v := range visits {
		if v.Day != 0 && v.Day >= monday && v.Day < monday+planDays {
			x.visits = append(x.visits, v)
			ids = append(ids, v.VehicleID)
		}
	}
	var err error
	x.rows, err = d.dueRows(c.Request.Context(), sc, ids)
	return x, err
}

// dueRows returns the due-soon rows of vehicles by axle.
func (d *Dashboard) dueRows(ctx context.Context, sc auth.Scope, ids []int64) (map[store.AxleKey]*store.DueRow, error) {
	rows := map[store.AxleKey]*store.DueRow{}
	slices.Sort(ids)
	for chunk := range slices.Chunk(slices.Compact(ids), 500) {
		err := d.svc.DB.EachDue(ctx, sc, store.DueQuery{Vehicles: chunk}, func(r store.DueRow) error {
			rows[store.AxleKey{VehicleID: r.VehicleID, Axle: r.Axle}] = &r
			return nil
		})
		if err != nil {
			return nil, err
		}
	}
	return rows, nil
}

// day makes a day with a cell for each depot.
func (x *planDrawer) day(tell units.Reader, ws []store.DepotWorkshop, day fleet.Date) PlanDay {
	p := PlanDay{Title: day.Time().Format("Mon ") + tell.DayShort(day), ISO: day.String(), Today: day == x.today, Past: day < x.today}
	for i := range ws {
		p.Cells = append(p.Cells, x.cell(tell, &ws[i], day))
	}
	return p
}

func (x *planDrawer) cell(tell units.Reader, w *store.DepotWorkshop, day fleet.Date) PlanCell {
	c := PlanCell{DepotID: w.ID, Depot: w.Name, ISO: day.String(), Sheet: fmt.Sprintf("/plan/day?depot=%d&day=%s", w.ID, day)}
	work := w.Day(day)
	if !work.Open() {
		c.Closed = "closed"
		for _, k := range w.Closures {
			if k.First <= day && day <= k.Last && k.Technicians == 0 && k.Reason != "" {
				c.Closed = "closed: " + k.Reason
			}
		}
	}
	used := 0.
	type placed struct {
		at   fleet.Slot
		card PlanCard
	}
	var cards []placed
	for i := range x.bookings {
		b := &x.bookings[i]
		if b.DepotID != w.ID || b.Day != day {
			continue
		}
		if b.State != fleet.Missed && !x.leaves(b) {
			used += b.Hours
		}
		cards = append(cards, placed{b.Slot, x.booking(tell, b)})
	}
	for i := range x.visits {
		v := &x.visits[i]
		if v.DepotID != w.ID || v.Day != day {
			continue
		}
		if v.Advice == store.AdviseExtend {
			for k := range x.bookings {
				if x.bookings[k].ID == v.BookingID {
					used -= x.bookings[k].Hours
				}
			}
		}
		if v.Advice != store.AdviseWithdraw {
			used += v.Hours
		}
		cards = append(cards, placed{v.Slot, x.visit(tell, v)})
	}
	slices.SortStableFunc(cards, func(a, b placed) int {
		if a.at.Starts != b.at.Starts {
			return int(a.at.Starts - b.at.Starts)
		}
		return a.at.Bay - b.at.Bay
	})
	for _, k := range cards {
		c.Cards = append(c.Cards, k.card)
	}
	if !work.Open() && day >= x.today && slices.ContainsFunc(c.Cards, func(k PlanCard) bool { return k.Booking != 0 && k.State == string(fleet.Booked) }) {
		c.Closed += " – what is booked has to move"
	}
	if work.Open() {
		c.Used = hoursWords(math.Max(0, used)) + " of " + hoursWords(work.Technicians)
		c.Free = hoursWords(math.Max(0, work.Technicians-used)) + " free"
		c.Share = pct(math.Min(100, math.Max(0, 100*used/work.Technicians)))
		if over := used - work.Technicians; over > .05 {
			c.Over = true
			c.Free = hoursWords(over) + " of overtime"
		}
	}
	return c
}

// leaves says whether a proposal would take a booking off its day.
func (x *planDrawer) leaves(b *fleet.Booking) bool {
	return slices.ContainsFunc(x.visits, func(v store.Visit) bool {
		return v.BookingID == b.ID && (v.Advice == store.AdviseMove || v.Advice == store.AdviseWithdraw)
	})
}

func (x *planDrawer) booking(tell units.Reader, b *fleet.Booking) PlanCard {
	c := PlanCard{
		Booking: b.ID,
		Link:    bookingLink(b.ID),
		Vehicle: b.Vehicle,
		When:    slotWords(b.Slot),
		Hours:   hoursWords(b.Hours),
		Work:    workLines(b.Work),
		State:   string(b.State),
		Kept:    b.Kept,
		Movable: x.plans.Sees(b.FleetID, b.DepotID) && b.State == fleet.Booked,
		Lanes:   x.lanes(tell, b.VehicleID, b.Work, b.Day, "booked"),
		Cost:    costWords(b.Currency, b.Cost),
	}
	if b.State != fleet.Booked {
		c.Lanes = nil
	}
	return c
}

func (x *planDrawer) visit(tell units.Reader, v *store.Visit) PlanCard {
	c := PlanCard{
		Booking: v.BookingID,
		Link:    visitLink(x.sees, v),
		Vehicle: v.Vehicle,
		When:    slotWords(v.Slot),
		Hours:   hoursWords(v.Hours),
		Work:    workLines(v.Work),
		Why:     capital(tell.Text(v.Why, x.today)) + ".",
		Changed: tell.Text(v.Changed, x.today),
		Remedy:  tell.Text(v.Remedy, x.today),
		State:   "proposed",
		Lanes:   x.lanes(tell, v.VehicleID, v.Work, v.Day, "proposed"),
		Cost:    costWords(v.Currency, v.Cost),
	}
	if x.plans.Sees(v.FleetID, v.DepotID) {
		c.Visit, c.Ticked = v.ID, slices.Contains(x.ticked, strconv.FormatInt(v.ID, 10))
	}
	c.Advice = adviceWords[v.Advice]
	if v.Advice == store.AdviseWithdraw {
		c.Lanes = nil
	}
	return c
}

// adviceWords are what is proposed of a booking.
var adviceWords = map[store.Advice]string{
	store.AdviseMove:     "move the booking here",
	store.AdviseExtend:   "more work on the booking",
	store.AdviseWithdraw: "take the booking off the plan",
}

// visitLink is the address of a proposed visit's vehicle; blank where it is at home
// elsewhere by now.
func visitLink(sc auth.Scope, v *store.Visit) string {
	if !sc.Sees(v.HomeFleetID, v.HomeDepotID) {
		return ""
	}
	return vehicleLink(v.VehicleID)
}

// lanes draws the wear lanes of the axles of a visit, with its peg.
func (x *planDrawer) lanes(tell units.Reader, vehicle int64, work []fleet.WorkItem, day fleet.Date, what string) (out []PlanLane) {
	for _, axle := range fleet.Axles(work) {
		r := x.rows[store.AxleKey{VehicleID: vehicle, Axle: axle}]
		if r == nil {
			continue
		}
		out = append(out, PlanLane{axle, laneOf(tell, x.axis, r).withPeg(tell, x.axis, day, what)})
	}
	return out
}

func bookingLink(id int64) string { return "/bookings/" + strconv.FormatInt(id, 10) }

// slotWords is when and where on its day: 08:00–10:30, bay 1.
func slotWords(s fleet.Slot) string { return fmt.Sprintf("%s–%s, bay %d", s.Starts, s.Ends(), s.Bay) }

func costWords(currency string, cost *float64) string {
	if cost == nil {
		return ""
	}
	return "about " + money(currency, math.Round(*cost/10)*10)
}

// AsideRow is a proposed visit that somebody set aside: until it is taken back,
// later proposals keep off its day, or leave the booking that was to come off the
// plan.
type AsideRow struct {
	Visit                          int64
	Link, Vehicle, Depot, Day, Who string
	Advice                         string // blank = to be booked
	Why                            string // blank = nothing was said
	Mine                           bool   // whoever looks may take it back
}

// setAside returns what was set aside of the days to come, and what proposals make
// of it.
func (d *Dashboard) setAside(c *gin.Context, sc auth.Scope, depot int64) (rows []AsideRow, means string, err error) {
	tell, today, plans := reader(c), d.svc.Today(), web.SignedIn(c).Scope(auth.Plan)
	vs, err := d.svc.DB.Visits(c.Request.Context(), sc, store.VisitQuery{Depot: depot, State: store.VisitDeclined, From: today})
	stay := 0
	for i := range vs {
		v := &vs[i]
		rows = append(rows, AsideRow{v.ID, visitLink(sc, v), v.Vehicle, v.Depot, dayNear(tell, v.Day, today), v.DecidedBy, adviceWords[v.Advice], v.Reason, plans.Sees(v.FleetID, v.DepotID)})
		if v.Advice == store.AdviseWithdraw {
			stay++
		}
	}
	if stay < len(vs) {
		means = "Proposals keep off these days. "
	}
	if stay > 0 {
		means += "A booking that was to come off the plan stays on it."
	}
	return rows, means, err
}
