package dashboard

import (
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"brakewear/internal/fleet"
	"brakewear/internal/store"
)

var planColumns = []string{
	"fleet", "depot", "day", "starts", "ends", "bay", "hours", "vehicle", "plate", "state", "advice",
	"axle", "item", "part_number", "quantity", "reason", "cost_of_visit", "book_by", "kept", "note", "remedy",
}

// planFile sends the bookings from today on and what is proposed, a row for
// each thing to do. What ought to be booked and has no place has no day.
func (d *Dashboard) planFile(c *gin.Context) error {
	ctx, sc := c.Request.Context(), d.scope(c)
	depot, _, err := d.depotChoice(c, sc)
	if err != nil {
		return err
	}
	booked := store.BookingQuery{Depot: depot, From: d.svc.Today(), States: []fleet.BookingState{fleet.Booked, fleet.Done, fleet.Missed}}
	proposed := store.VisitQuery{Depot: depot, State: store.VisitOpen}
	return d.export(c, "plan", planColumns, func(row func(...any) error) error {
		// A page at a time: a national fleet's plan would take hundreds of MB at once. Each
		// page is of its own moment: who takes the file slowly must not hold a connection.
		err := store.EachOfPages(func(after string) ([]fleet.Booking, string, error) {
			return d.svc.DB.BookingPage(ctx, sc, booked, after, store.MaxLimit)
		}, func(b *fleet.Booking) error {
			for _, w := range b.Work {
				err := row(b.Fleet, b.Depot, b.Day, b.Starts, b.Ends(), b.Bay, cell(b.Hours, 2), b.Vehicle, b.Plate, string(b.State), "",
					axleCell(w.Axle), string(w.Item), w.PartNumber, w.Quantity, w.Reason, amountCell(b.Cost), (*fleet.Date)(nil), b.Kept, b.Note, "")
				if err != nil {
					return err
				}
			}
			return nil
		})
		if err != nil {
			return err
		}
		return store.EachOfPages(func(after string) ([]store.Visit, string, error) {
			return d.svc.DB.VisitPage(ctx, sc, proposed, after, store.MaxLimit)
		}, func(v *store.Visit) error {
			var day *fleet.Date
			starts, ends, bay := "", "", figure("")
			if v.Day != 0 {
				day = &v.Day
				starts, ends, bay = v.Starts.String(), v.Ends().String(), figure(strconv.Itoa(v.Bay))
			}
			for _, w := range v.Work {
				err := row(v.Fleet, v.Depot, day, starts, ends, bay, cell(v.Hours, 2), v.Vehicle, v.Plate, "proposed", string(v.Advice),
					axleCell(w.Axle), string(w.Item), w.PartNumber, w.Quantity, joined(w.Reason, v.Why), amountCell(v.Cost), v.BookBy, false, "", v.Remedy)
				if err != nil {
					return err
				}
			}
			return nil
		})
	})
}

// joined puts a reason and the visit's own together, once.
func joined(reason, why string) string {
	if reason == "" || strings.Contains(why, reason) {
		return why
	}
	return reason + "; " + why
}

// axleCell is an axle's number; blank for the whole vehicle.
func axleCell(n int) figure {
	if n == 0 {
		return ""
	}
	return figure(strconv.Itoa(n))
}

func amountCell(x *float64) figure {
	if x == nil {
		return ""
	}
	return cell(*x, 2)
}

var partsColumns = []string{
	"fleet", "part_number", "item", "name", "fits", "expected", "low_10", "high_90", "booked", "stock", "short", "lead_days", "order_by", "price",
}

// partsFile sends the parts that some days will take.
func (d *Dashboard) partsFile(c *gin.Context) error {
	q, err := d.partsQuery(c)
	if err == nil {
		_, _, err = d.depotChoice(c, d.scope(c))
	}
	if err != nil {
		return err
	}
	ns, err := d.svc.PartsNeeded(c.Request.Context(), d.scope(c), q)
	if err != nil {
		return err
	}
	return d.export(c, "parts", partsColumns, func(row func(...any) error) error {
		for i := range ns {
			n := &ns[i]
			fits := n.For
			lead := figure("")
			if n.Part.ID != 0 {
				fits = fitsWords(n.Part.Fits)
				lead = figure(strconv.Itoa(n.Part.LeadDays))
			}
			err := row(n.Fleet, n.Part.Number, string(n.Part.Item), n.Part.Name, fits, cell(n.Expected, 2), n.Lo, n.Hi, n.Booked, n.Stock, n.Short, lead, n.OrderBy, amountCell(n.Part.Price))
			if err != nil {
				return err
			}
		}
		return nil
	})
}
