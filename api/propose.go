package api

import (
	"net/http"

	"github.com/gin-gonic/gin"

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
		Days    int   `json:"days"`
	}
	if err := readJSON(c, &in); err != nil {
		return err
	}
	ps, err := a.svc.Propose(c.Request.Context(), a.scope(c), a.sender(c), a.svc.Today(), pipeline.ProposeOptions{Fleet: in.FleetID, Days: in.Days, Budget: pipeline.AskedBudget})
	if err != nil {
		return err
	}
	return send(c, http.StatusCreated, List[Proposal]{items(ps, proposalOf)})
}
