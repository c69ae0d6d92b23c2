package api

import (
	"net/http"
	"time"

	"github.com/gin-gonic/gin"

	"brakewear/internal/fleet"
	"brakewear/internal/store"
)

// Person is somebody who is told by e-mail.
type Person struct {
	ID         int64         `json:"id"`
	Name       string        `json:"name"`
	Address    string        `json:"address"`
	Role       string        `json:"role"`
	Everything bool          `json:"everything"` // all fleets
	Places     []PersonPlace `json:"places"`     // else these
	AddedBy    string        `json:"added_by"`
	AddedAt    time.Time     `json:"added_at"`
	Last       *PersonMail   `json:"last"` // null: nothing yet
}

// PersonPlace is a fleet, or one depot of it.
type PersonPlace struct {
	FleetID int64  `json:"fleet_id"`
	Fleet   string `json:"fleet"`
	DepotID *int64 `json:"depot_id"` // null: the whole fleet
	Depot   string `json:"depot"`
}

// PersonMail is what became of a person's latest mail.
type PersonMail struct {
	Day   fleet.Date `json:"day"`
	State string     `json:"state"`
	Fault string     `json:"fault"` // blank: none
}

func personOf(r *store.Recipient) Person {
	out := Person{
		ID: r.ID, Name: r.Name, Address: r.Address, Role: r.Role, Everything: r.Everything, AddedBy: r.AddedBy, AddedAt: r.AddedAt.UTC(),
		Places: items(r.Places, func(p *store.Place) PersonPlace { return PersonPlace{p.FleetID, p.Fleet, idOrNull(p.DepotID), p.Depot} }),
	}
	if d := r.Last; d != nil {
		out.Last = &PersonMail{d.Day, d.State, d.Message}
	}
	return out
}

// people answers with a page of the people who are told by e-mail, by name.
func (a *API) people(c *gin.Context) error {
	q := &query{c: c}
	after, limit := q.text("cursor"), q.limit()
	if err := q.err(); err != nil {
		return err
	}
	rs, next, err := a.svc.DB.RecipientPage(c.Request.Context(), a.scope(c), after, limit)
	if err != nil {
		return err
	}
	return sendPage(c, items(rs, personOf), next, nil)
}

// person answers with one of them.
func (a *API) person(c *gin.Context) error {
	id, err := idAlone(c, "person")
	if err != nil {
		return err
	}
	r, err := a.svc.DB.Recipient(c.Request.Context(), a.scope(c), id)
	if err != nil {
		return err
	}
	return send(c, http.StatusOK, personOf(&r))
}
