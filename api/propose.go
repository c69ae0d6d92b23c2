package api

import (
	"net/http"

	"github.com/gin-gonic/gin"

	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
)

// propose makes a proposal for each fleet, or for one.
func (a *API) propose(c *gin.Context) error {
	q := &query{c: c}
	if err := q.err(); err != nil {
		return err
	}
	var in struct {
		FleetID int64 `json:"fleet_id"`
		Days    *int  `json:"days"` // null: the usual
	}
	if err := readJSON(c, &in); err != nil {
		return err
	}
	days := 0
	if in.Days != nil {
		if days = *in.Days; days < 1 {
			return fleet.Invalidf("days %d: want 1 to 366", days)
		}
	}
	ps, err := a.svc.Propose(c.Request.Context(), a.scope(c), a.sender(c), a.svc.Today(), pipeline.ProposeOptions{Fleet: in.FleetID, Days: days, Budget: pipeline.AskedBudget})
	if err != nil {
		return err
	}
	return send(c, http.StatusCreated, List[Proposal]{items(ps, proposalOf)})
}
