package dashboard

import (
	"github.com/gin-gonic/gin"

	"brakewear/internal/web"
)

// registerPlan adds the pages of the workshop's plan and of what it is made
// from.
func (d *Dashboard) registerPlan(r *gin.Engine) {
	r.GET("/plan", web.Handle(d.workplan))
	r.GET("/plan.csv", web.Handle(d.planFile))
	r.GET("/plan.xlsx", web.Handle(d.planFile))
	r.GET("/plan/day", web.Handle(d.daySheet))
	r.GET("/plan/parts", web.Handle(d.partsList))
	r.GET("/plan/parts.csv", web.Handle(d.partsFile))
	r.GET("/plan/parts.xlsx", web.Handle(d.partsFile))
	r.POST("/plan/propose", web.Handle(d.propose))
	r.POST("/plan/decide", web.Handle(d.decide))

	r.POST("/bookings", web.Handle(d.book))
	r.GET("/bookings/new", web.Handle(d.newBooking))
	r.GET("/bookings/:id", web.Handle(d.booking))
	r.POST("/bookings/:id/move", web.Handle(d.moveBooking))
	r.POST("/bookings/:id/:end", web.Handle(d.endBooking))

	r.GET("/workshops", web.Handle(d.workshops))
	r.GET("/workshops/:id", web.Handle(d.workshop))
	r.POST("/workshops/:id", web.Handle(d.setWorkshop))
	r.POST("/workshops/:id/closures", web.Handle(d.addClosure))
	r.POST("/workshops/:id/closures/:closure/drop", web.Handle(d.dropClosure))

	r.GET("/parts", web.Handle(d.parts))
	r.GET("/parts/new", web.Handle(d.part))
	r.POST("/parts", web.Handle(d.setPart))
	r.GET("/parts/:id", web.Handle(d.part))
	r.POST("/parts/:id", web.Handle(d.setPart))

	r.GET("/vehicles/:id/days", web.Handle(d.days))
	r.POST("/vehicles/:id/days", web.Handle(d.setDays))
	r.POST("/vehicles/:id/days/:kind/:entry/drop", web.Handle(d.dropDay))
}
