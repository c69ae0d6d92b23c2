package api

import (
	"net/http"

	"github.com/gin-gonic/gin"

	"brakewear/internal/fleet"
)

func (a *API) fleets(c *gin.Context) error {
	q := &query{c: c}
	if err := q.err(); err != nil {
		return err
	}
	fs, err := a.svc.DB.Fleets(c.Request.Context(), a.scope(c))
	if err != nil {
		return err
	}
	return send(c, http.StatusOK, List[Fleet]{items(fs, func(f *fleet.Fleet) Fleet { return Fleet{f.ID, f.Name, f.RuleSet} })})
}

func (a *API) depots(c *gin.Context) error {
	q := &query{c: c}
	if err := q.err(); err != nil {
		return err
	}
	ds, err := a.svc.DB.Depots(c.Request.Context(), a.scope(c))
	if err != nil {
		return err
	}
	return send(c, http.StatusOK, List[Depot]{items(ds, func(d *fleet.Depot) Depot {
		return Depot{d.ID, d.FleetID, d.Name, d.TimeZone}
	})})
}
