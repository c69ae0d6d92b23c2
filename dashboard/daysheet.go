package dashboard

import (
	"fmt"
	"net/http"
	"slices"
	"strconv"

	"github.com/gin-gonic/gin"

	"brakewear/internal/fleet"
	"brakewear/internal/store"
)

// DaySheetPage is a workshop's day, to hang up: who comes when, for what, with
// the parts to lay out.
type DaySheetPage struct {
	Shell
	Depot   string
	Day     string
	Plan    string // link to the week
	Earlier string
	Later   string
	Hours   string // opening hours and technicians, in words
	Used    string
	Jobs    []SheetJob
	Parts   []SheetPart
	Empty   string
}

// SheetJob is one booking of the day.
type SheetJob struct {
	Link, Vehicle, Plate, Fleet string
	Bay                         int
	Time, Hours                 string
	Items                       []ItemRow
	Note                        string
	State                       string // said when it is not simply booked
}

// SheetPart is a part to lay out.
type SheetPart struct {
	Number, Shelf string
	Quantity      int
	Missing       bool
}

func (d *Dashboard) daySheet(c *gin.Context) error {
	ctx, sc, today := c.Request.Context(), d.scope(c), d.svc.Today()
	depot, err := queryID(c, "depot")
	if err != nil {
		return err
	}
	day := today
	if s := c.Query("day"); s != "" {
		if day, err = fleet.ParseDate(s); err != nil {
			return fleet.Invalidf("day: %v", err)
		}
	}
	w, err := d.svc.DB.Workshop(ctx, sc, depot, day)
	if err != nil {
		return err
	}
	bs, err := d.svc.DB.Bookings(ctx, sc, store.BookingQuery{Depot: depot, From: day, To: day, States: []fleet.BookingState{fleet.Booked, fleet.Done, fleet.Missed}})
	if err != nil {
		return err
	}
	work := w.Day(day)
	tell := reader(c)
	at := func(day fleet.Date) string { return fmt.Sprintf("/plan/day?depot=%d&day=%s", depot, day) }
	p := DaySheetPage{
		Shell:   Shell{Title: w.Name + ", " + weekday(tell, day), Place: "plan", Cautions: true},
		Depot:   w.Name,
		Day:     weekday(tell, day),
		Plan:    "/plan?week=" + day.String(),
		Earlier: at(day - 1),
		Later:   at(day + 1),
		Hours:   "closed",
	}
	if work.Open() {
		p.Hours = fmt.Sprintf("open %s–%s, %s, %s of technicians", work.Opens, work.Closes, plural(w.Workshop.Bays, "bay", "bays"), hoursWords(work.Technicians))
	}
	used := 0.
	parts := map[string]*SheetPart{}
	var numbers []string
	slices.SortStableFunc(bs, func(a, b fleet.Booking) int {
		if a.Bay != b.Bay {
			return a.Bay - b.Bay
		}
		return int(a.Starts - b.Starts)
	})
	stocked, err := d.svc.DB.StockParts(ctx, sc, w.FleetID)
	if err != nil {
		return err
	}
	stock := stockAt(stocked, depot)
	for i := range bs {
		b := &bs[i]
		job := SheetJob{
			Link:    bookingLink(b.ID),
			Vehicle: b.Vehicle,
			Plate:   b.Plate,
			Fleet:   b.Fleet,
			Bay:     b.Bay,
			Time:    b.Starts.String() + "–" + b.Ends().String(),
			Hours:   hoursWords(b.Hours),
			Note:    b.Note,
		}
		if b.State != fleet.Booked {
			job.State = string(b.State)
		}
		job.Items = itemRows(tell, b, stocked, day)
		p.Jobs = append(p.Jobs, job)
		if b.State == fleet.Missed {
			continue
		}
		used += b.Hours
		for _, x := range b.Work {
			if x.PartNumber == "" || b.State != fleet.Booked {
				continue
			}
			if parts[x.PartNumber] == nil {
				parts[x.PartNumber] = &SheetPart{Number: x.PartNumber}
				numbers = append(numbers, x.PartNumber)
			}
			part := parts[x.PartNumber]
			part.Quantity += x.Quantity
			part.Shelf = strconv.Itoa(stock[x.PartID]) + " on the shelf"
			part.Missing = stock[x.PartID] < part.Quantity
		}
	}
	slices.Sort(numbers)
	for _, n := range numbers {
		p.Parts = append(p.Parts, *parts[n])
	}
	p.Used = hoursWords(used) + " booked"
	if len(bs) == 0 {
		p.Empty = "Nothing is booked on this day."
	}
	return d.send(c, http.StatusOK, "daysheet", p)
}

// stockAt returns how many of each part lie at a depot.
func stockAt(ps []fleet.StockPart, depot int64) map[int64]int {
	stock := map[int64]int{}
	for i := range ps {
		for _, s := range ps[i].Stock {
			if s.DepotID == depot {
				stock[ps[i].ID] = s.Quantity
			}
		}
	}
	return stock
}
