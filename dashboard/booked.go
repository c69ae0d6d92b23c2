package dashboard

import (
	"fmt"
	"math"

	"github.com/gin-gonic/gin"

	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
	"brakewear/internal/units"
)

// BookedView says that an axle is booked, or that it is proposed.
type BookedView struct {
	Link  string
	Words string // "booked Thu 12 Mar, about 540"
}

// planned is what is booked and proposed for the axles of a page.
type planned struct {
	booked   map[store.AxleKey]store.AxleBooking
	proposed map[store.AxleKey]store.AxleVisit
	waiting  map[store.AxleKey]store.AxleWaiting
	today    fleet.Date
	risk     float64 // accepted
}

// planned is what is booked and proposed for rows of the due-soon list.
func (d *Dashboard) planned(rows []store.DueRow) *planned {
	p := d.nothingPlanned()
	for i := range rows {
		r := &rows[i]
		k := store.AxleKey{VehicleID: r.VehicleID, Axle: r.Axle}
		if r.Booked != nil {
			p.booked[k] = *r.Booked
		}
		if r.Proposed != nil {
			p.proposed[k] = *r.Proposed
		}
		if r.Waiting != nil {
			p.waiting[k] = *r.Waiting
		}
	}
	return p
}

func (d *Dashboard) nothingPlanned() *planned {
	return &planned{
		booked: map[store.AxleKey]store.AxleBooking{}, proposed: map[store.AxleKey]store.AxleVisit{}, waiting: map[store.AxleKey]store.AxleWaiting{},
		today: d.svc.Today(), risk: d.svc.AcceptedRisk(),
	}
}

// plannedFor reads it for vehicles which have so much of it.
func (d *Dashboard) plannedFor(c *gin.Context, ids []int64, has store.Around) (*planned, error) {
	ctx, sc := c.Request.Context(), d.scope(c)
	p := d.nothingPlanned()
	var err error
	if has.Bookings {
		if p.booked, err = d.svc.DB.BookedAxles(ctx, sc, ids); err != nil {
			return nil, err
		}
	}
	if has.Workshop {
		if p.waiting, err = d.svc.DB.Waiting(ctx, sc, ids); err != nil {
			return nil, err
		}
	}
	if !has.Proposed {
		return p, nil
	}
	vs, err := d.svc.DB.Visits(ctx, sc, store.VisitQuery{Vehicles: ids, State: store.VisitOpen})
	if err != nil {
		return nil, err
	}
	for i := range vs {
		if v := &vs[i]; v.Advice == store.AdviseBook {
			for _, axle := range fleet.Axles(v.Work) {
				p.proposed[store.AxleKey{VehicleID: v.VehicleID, Axle: axle}] = store.AxleVisit{Day: v.Day, Cost: v.Cost, Currency: v.Currency}
			}
		}
	}
	return p, nil
}

// of says what is booked or proposed for an axle; nil when nothing is. The
// day is given when it is booked.
func (p *planned) of(tell units.Reader, vehicle int64, axle int) (v *BookedView, day *fleet.Date) {
	k := store.AxleKey{VehicleID: vehicle, Axle: axle}
	if b, ok := p.booked[k]; ok {
		words := "booked " + dayNear(tell, b.Day, p.today)
		if b.Day < p.today {
			words = "was booked for " + dayNear(tell, b.Day, p.today) + ": say what became of it"
		}
		return &BookedView{bookingLink(b.ID), withCost(words, b.Currency, b.Cost)}, &b.Day
	}
	if x, ok := p.proposed[k]; ok {
		return &BookedView{"/plan?week=" + x.Day.String(), withCost("proposed for "+dayNear(tell, x.Day, p.today), x.Currency, x.Cost)}, nil
	}
	return nil, nil
}

func withCost(words, currency string, cost *float64) string {
	if s := costWords(currency, cost); s != "" {
		return words + ", " + s
	}
	return words
}

// pin puts the booking of an axle on its row: the peg, the words, and what
// there is left to do.
func (p *planned) pin(tell units.Reader, row *DueRow, a Axis, r *store.DueRow) {
	booked, day := p.of(tell, r.VehicleID, r.Axle)
	row.Booked = booked
	if day == nil {
		row.Wait = p.wait(tell, r.VehicleID, r.Axle).short
		return
	}
	row.Lane = row.Lane.withPeg(tell, a, *day, "booked")
	row.Verdict = row.Verdict.booked(tell, *day, r.BookBy, p.today)
	if *day >= p.today { // the verdict has the day
		row.Booked.Words = p.short(r.VehicleID, r.Axle)
	}
}

// waitWords say what it costs to wait with an axle; blank where that is not
// known, or too little to speak of.
type waitWords struct{ short, long string }

// wait tells the cost of waiting as the overview does, up to its first day, from
// the accepted risk on. The axle is one that is not booked.
func (p *planned) wait(tell units.Reader, vehicle int64, axle int) waitWords {
	x, ok := p.waiting[store.AxleKey{VehicleID: vehicle, Axle: axle}]
	until := pipeline.WaitUntil(p.today)
	chance := x.Day.CDF(float64(until + 1))
	cost := chance * x.Damage
	if !ok || !(chance >= p.risk) || cost < 5 { // which is about 0
		return waitWords{}
	}
	day, about := tell.DayNear(until, p.today), costWords(x.Currency, &cost)
	return waitWords{
		short: "Waiting until " + day + " costs " + about + ".",
		long: fmt.Sprintf("If it is left until %s, the chance of being past the limit by then is %s. Times %s, what its workshop expects of damage on such an axle, waiting costs %s.",
			day, percent(math.Round(100*chance)/100), money(x.Currency, x.Damage), about),
	}
}

// short is a booking whose day stands beside it: its weekday and its cost.
func (p *planned) short(vehicle int64, axle int) string {
	b := p.booked[store.AxleKey{VehicleID: vehicle, Axle: axle}]
	return withCost(b.Day.Time().Format("Monday"), b.Currency, b.Cost)
}

// booked returns the verdict of an axle that is booked for a day. One that is
// at or past its limit, or booked later than it ought to be, still says so.
func (v Verdict) booked(tell units.Reader, day fleet.Date, bookBy *fleet.Date, today fleet.Date) Verdict {
	if day < today {
		return v
	}
	b := Verdict{Ask: "booked for", Strong: tell.DayNear(day, today), ISO: day.String(), Why: v.Why, Urgent: v.Urgent}
	switch {
	case v.Urgent || bookBy == nil:
	case *bookBy < today: // v.Why says it
	case day > *bookBy:
		b.Why = "after its book-by date, " + tell.DayNear(*bookBy, today) + "; " + v.Why
	default:
		b.Why = "book by " + tell.DayNear(*bookBy, today) + "; " + v.Why
	}
	return b
}
