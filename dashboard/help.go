package dashboard

import (
	"fmt"
	"net/http"

	"github.com/gin-gonic/gin"

	"brakewear/forecast"
	"brakewear/internal/units"
)

// HelpPage says in plain words what a forecast is, how far to trust it and how
// to measure. Every figure of its example comes from the forecast itself.
type HelpPage struct {
	Shell
	Risk     string // accepted chance behind a book-by date
	OneIn    string // the same as one axle in so many
	OldAfter int    // days after which a reading clears nothing
	Example  *Example
}

// example is the worked example as its reader wants it said. Without its clock,
// which the example does not tell by, a Reader has few values, so that few are kept.
func (d *Dashboard) example(tell units.Reader) (*Example, error) {
	tell.Zone = ""
	if x, ok := d.examples.Load(tell); ok {
		return x.(*Example), nil
	}
	x, err := newExample(tell, d.svc.AcceptedRisk())
	if err == nil {
		d.examples.Store(tell, x)
	}
	return x, err
}

func (d *Dashboard) help(c *gin.Context) error {
	x, err := d.example(reader(c))
	if err != nil {
		return err
	}
	risk := d.svc.AcceptedRisk()
	return d.send(c, http.StatusOK, "help", HelpPage{
		Shell:    Shell{Title: "How the forecast works", Place: "help", Cautions: true},
		Risk:     percent(risk),
		OneIn:    fmt.Sprintf("%.0f", 1/risk),
		OldAfter: forecast.OldAfter,
		Example:  x,
	})
}
