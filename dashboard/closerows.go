package dashboard

import (
	"github.com/gin-gonic/gin"

	"brakewear/internal/fleet"
	"brakewear/internal/web"
)

// The two forms of the due-soon list: everything that is known of an axle, or
// a line each, so that 30 of them are seen at once.
const (
	fullRows  = "full"
	closeRows = "close"
)

// rowsCookie keeps the form chosen last: it is the eyes' and the screen's, and
// not the account's.
const rowsCookie = "rows"

// rowsAre returns the form asked for, which the browser then keeps, or that
// kept.
func rowsAre(c *gin.Context) (string, error) {
	switch rows := c.Query("rows"); rows {
	case fullRows, closeRows:
		web.Remember(c, rowsCookie, rows)
		return rows, nil
	case "":
	default:
		return "", fleet.Invalidf("rows %q: want %s or %s", rows, fullRows, closeRows)
	}
	if web.Remembered(c, rowsCookie) == closeRows {
		return closeRows, nil
	}
	return fullRows, nil
}
