package dashboard

import (
	"net/http"

	"github.com/gin-gonic/gin"

	"brakewear/internal/pipeline"
)

// propose makes a proposal.
func (d *Dashboard) propose(c *gin.Context) error {
	_, err := d.svc.Propose(c.Request.Context(), d.scope(c), d.who(c), d.svc.Today(), pipeline.ProposeOptions{Budget: pipeline.AskedBudget})
	if err != nil {
		return err
	}
	c.Redirect(http.StatusSeeOther, backTo(c, "/plan"))
	return nil
}
