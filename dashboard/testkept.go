package dashboard

import (
	"net/url"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"brakewear/internal/fleet"
	"brakewear/internal/units"
)

// TestKept is how a phone keeps the form while there is no network.
type TestKept struct {
	Key    string     // under which
	Page   string     // where it was opened
	Opened string     // the query it was opened with
	Today  fleet.Date // when
	Typed  bool       // what stands in it was typed
}

// testKept is how a phone keeps a new test of method m, one for each stage of a card. A
// form that was sent comes back as it was opened.
func (d *Dashboard) testKept(c *gin.Context, vehicle int64, m fleet.Method, in units.Reader, sent bool) *TestKept {
	k := TestKept{Opened: c.Request.URL.RawQuery, Page: vehicleLink(vehicle) + "/test", Today: d.svc.Today(), Typed: sent}
	if sent {
		k.Opened = c.PostForm("opened")
	}
	q, err := url.ParseQuery(k.Opened)
	if err != nil {
		return nil
	}
	if k.Opened != "" {
		k.Page += "?" + k.Opened
	}
	k.Key = strings.Join([]string{"test", strconv.FormatInt(vehicle, 10), string(m), q.Get("card"), q.Get("stage"), in.DistanceUnit()}, "-")
	return &k
}
