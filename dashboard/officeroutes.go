package dashboard

import (
	"github.com/gin-gonic/gin"

	"brakewear/internal/web"
)

// registerOffice adds the pages of what goes on without anybody looking.
func (d *Dashboard) registerOffice(r *gin.Engine) {
	r.GET("/work", web.Handle(d.work))
	r.POST("/work", web.Handle(d.runNow))

	r.GET("/people", web.Handle(d.people))
	r.POST("/people", web.Handle(d.savePerson))
	r.GET("/people/:id", web.Handle(d.person))
	r.POST("/people/:id", web.Handle(d.savePerson))
	r.POST("/people/:id/stop", web.Handle(d.stopPerson))

	r.GET("/calendars", web.Handle(d.calendars))
	r.POST("/calendars", web.Handle(d.makeCalendar))
	r.POST("/calendars/:id/withdraw", web.Handle(d.withdrawCalendar))
	r.GET(web.SecretPath+":file", web.Handle(d.calendarFile))
	r.HEAD(web.SecretPath+":file", web.Handle(d.calendarFile))
}
