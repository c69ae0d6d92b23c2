package api

import (
	"net/http"
	"strconv"

	"github.com/gin-gonic/gin"

	"brakewear/forecast"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
)

// due answers with a page of the due-soon list.
func (a *API) due(c *gin.Context) error {
	q := &query{c: c}
	ask := store.DueQuery{
		Fleet:  q.id("fleet"),
		Depot:  q.id("depot"),
		Text:   q.text("q"),
		Before: q.date("before"),
		Sort:   oneOf(q, "sort", store.DueSorts...),
		Booked: q.truth("booked"),
		After:  q.text("cursor"),
		Limit:  q.limit(),

		Measured:  q.truth("measured"),
		Left:      oneOf(q, "left", store.LeftClasses...),
		LimitFrom: q.date("limit_from"),
		LimitTo:   q.date("limit_to"),
		From:      q.date("due_from"),
		Part:      oneOf(q, "part", fleet.Parts...),
	}
	if ask.Moved = oneOf(q, "moved", store.Shifts...); ask.Moved != "" {
		ask.Today = a.svc.Today()
	}
	if late := q.truth("late"); late != nil {
		ask.Late = *late
	}
	if duty := q.text("duty"); c.Request.URL.Query().Has("duty") {
		ask.Duty = &duty
	}
	if err := q.err(); err != nil {
		return err
	}
	got, err := a.svc.DB.DueSoon(c.Request.Context(), a.scope(c), ask)
	if err != nil {
		return err
	}
	return sendPage(c, items(got.Rows, dueOf), got.Next, &got.Total)
}

// sendPage answers with a page, and names the one after in a Link header too
// (RFC 8288).
func sendPage[T any](c *gin.Context, rows []T, next string, total *int) error {
	p := Page[T]{Items: rows, Total: total}
	if next != "" {
		p.Next = &next
		url := *c.Request.URL
		values := url.Query()
		values.Set("cursor", next)
		url.RawQuery = values.Encode()
		c.Header("Link", "<"+url.RequestURI()+`>; rel="next"`)
	}
	return send(c, http.StatusOK, p)
}

// older is the cursor behind a page of a list by id, newest first; blank where the page
// is not full.
func older[T any](rows []T, limit int, id func(*T) int64) string {
	if len(rows) < limit {
		return ""
	}
	return strconv.FormatInt(id(&rows[limit-1]), 10)
}

func dueOf(r *store.DueRow) Due {
	d := Due{
		VehicleID:   r.VehicleID,
		Vehicle:     r.Vehicle,
		Plate:       r.Plate,
		Fleet:       r.Fleet,
		Depot:       r.Depot,
		Axle:        r.Axle,
		AsOf:        r.AsOf,
		ThicknessMM: number(r.ThicknessMM, 2),
		NewMM:       number(r.NewMM, 2),
		LimitMM:     number(r.LimitMM, 2),
		Rate:        number(r.RatePer10000, 3),
		KmLeft:      number(r.KmLeft, 0),
		LimitDate:   DueDates{r.P05, r.P10, r.P50, r.P90, r.P95},
		BookBy:      r.BookBy,
		PastLimit:   r.PastLimit,
		Readings:    r.Readings,
		Width80:     number(r.Width80Days, 0),
		Width80If:   number(r.Width80IfMeasured, 0),
		Warnings:    warnings(r.Warnings),
	}
	if p := r.Position; p.Part != "" {
		d.Limiting = &pipeline.PlaceJSON{Part: forecast.Part(p.Part), Side: string(p.Side), Face: string(p.Face)}
	}
	return d
}
