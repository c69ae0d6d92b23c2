package dashboard

import (
	"github.com/gin-gonic/gin"

	"brakewear/internal/web"
)

// registerOffice adds the pages of what goes on without anybody looking.
func (d *Dashboard) registerOffice(r *gin.Engine) {
	r.GET("/work", web.Handle(d.work))
	r.POST("/work", web.Handle(d.runNow))

	r.GET("/calendars", web.Handle(d.calendars))
	r.POST("/calendars", web.Handle(d.makeCalendar))
	r.POST("/calendars/:id/withdraw", web.Handle(d.withdrawCalendar))
	r.GET(web.SecretPath+":file", web.Handle(d.calendarFile))
	r.HEAD(web.SecretPath+":file", web.Handle(d.calendarFile))
}
