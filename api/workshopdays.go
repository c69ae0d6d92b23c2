package api

import (
	"net/http"

	"github.com/gin-gonic/gin"

	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/web"
)

// WorkshopDay is a day of a workshop, its closures taken into account.
type WorkshopDay struct {
	Day fleet.Date `json:"day"`
	WorkDay
	BookedHours float64  `json:"booked_hours"` // of technicians, done ones as well
	Reasons     []string `json:"reasons"`      // of closures
}

const (
	// shownDays is how many days a workshop's calendar has unless said.
	shownDays = 28
	// maxDays bounds it: a year.
	maxDays = 366
)

// workshopDays answers with the calendar of the workshop in the path.
func (a *API) workshopDays(c *gin.Context) error {
	q := &query{c: c}
	first := a.svc.Today()
	if d := q.date("from"); d != nil {
		first = *d
	}
	last := min(first+shownDays-1, fleet.Latest)
	if d := q.date("to"); d != nil {
		if last = *d; last < first || last >= first+maxDays {
			q.fault("to", d.String(), "want a day from %s on, and at most %d days", first.Written(), maxDays)
		}
	}
	if err := q.err(); err != nil {
		return err
	}
	id, err := web.PathID(c, "depot")
	if err != nil {
		return err
	}
	ctx, sc := c.Request.Context(), a.scope(c)
	w, err := a.svc.DB.Workshop(ctx, sc, id, first)
	if err != nil {
		return err
	}
	booked, err := a.svc.DB.BookedDays(ctx, sc, store.OverviewQuery{Depot: id}, first, last)
	if err != nil {
		return err
	}
	hours := map[fleet.Date]float64{}
	for _, b := range booked {
		hours[b.Day] = b.Hours
	}
	out := List[WorkshopDay]{[]WorkshopDay{}}
	for d := first; d <= last; d++ {
		work := w.Day(d)
		day := WorkshopDay{d, workDayOf(&work), round(hours[d], 2), []string{}}
		for _, x := range w.Closures {
			if x.First <= d && d <= x.Last && x.Reason != "" {
				day.Reasons = append(day.Reasons, x.Reason)
			}
		}
		out.Items = append(out.Items, day)
	}
	return send(c, http.StatusOK, out)
}
