package api

import (
	"time"

	"github.com/gin-gonic/gin"

	"brakewear/internal/store"
)

// Change is one row of the log of changes.
type Change struct {
	ID       int64     `json:"id"`
	At       time.Time `json:"at"`
	By       string    `json:"by"`                   // blank: the program itself, or nobody signed in
	Account  *int64    `json:"account_id,omitempty"` // none: nobody signed in
	Token    *int64    `json:"token_id,omitempty"`   // none: not by a token
	Via      string    `json:"via"`
	From     string    `json:"from"`
	Request  string    `json:"request,omitempty"`
	Act      string    `json:"act"`
	Record   string    `json:"record"`
	RecordID *int64    `json:"record_id,omitempty"` // none: there is one, or there are several
	FleetID  *int64    `json:"fleet_id,omitempty"`  // none: it belongs to no fleet
	Fleet    string    `json:"fleet,omitempty"`
	DepotID  *int64    `json:"depot_id,omitempty"`
	Depot    string    `json:"depot,omitempty"`
	Detail   string    `json:"detail,omitempty"`
}

func changeOf(x *store.Deed) Change {
	return Change{
		ID:       x.ID,
		At:       x.At.UTC(),
		By:       x.By,
		Account:  idOrNull(x.Account),
		Token:    idOrNull(x.Token),
		Via:      string(x.Via),
		From:     x.From,
		Request:  x.Request,
		Act:      x.Act,
		Record:   x.Record,
		RecordID: idOrNull(x.RecordID),
		FleetID:  idOrNull(x.FleetID),
		Fleet:    x.Fleet,
		DepotID:  idOrNull(x.DepotID),
		Depot:    x.Depot,
		Detail:   x.Detail,
	}
}

// changes answers with a page of the log of changes, the latest first.
func (a *API) changes(c *gin.Context) error {
	q := &query{c: c}
	want := store.DeedQuery{By: q.text("by"), Record: oneOf(q, "record", store.DeedRecords...), RecordID: q.id("record_id")}
	if day := q.date("from"); day != nil {
		want.From = day.Time()
	}
	if day := q.date("to"); day != nil {
		want.To = (*day + 1).Time()
	}
	if want.RecordID != 0 && want.Record == "" {
		q.fault("record_id", q.text("record_id"), "say by record of which kind it is")
	}
	want.Before = q.before()
	limit := q.limit()
	if err := q.err(); err != nil {
		return err
	}
	want.Limit = limit
	ds, err := a.svc.DB.Deeds(c.Request.Context(), a.scope(c), want)
	if err != nil {
		return err
	}
	return sendPage(c, items(ds, changeOf), older(ds, limit, func(x *store.Deed) int64 { return x.ID }), nil)
}
