package dashboard

import (
	"github.com/gin-gonic/gin"

	"brakewear/internal/web"
)

// registerPlan adds the pages of the workshop's plan and of what it is made
// from.
func (d *Dashboard) registerPlan(r *gin.Engine) {
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
