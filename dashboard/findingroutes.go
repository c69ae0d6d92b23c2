package dashboard

import (
	"github.com/gin-gonic/gin"

	"brakewear/internal/web"
)

// registerFindings adds the pages of what there is to look at, and of records
// that are wrong.
func (d *Dashboard) registerFindings(r *gin.Engine) {
	r.GET("/findings", web.Handle(d.findings))
	r.GET("/findings.csv", web.Handle(d.findingsCSV))
	r.GET("/findings/:id", web.Handle(d.finding))
	r.POST("/findings/:id", web.Handle(d.answerFinding))
	r.GET("/corrections/:kind/:id", web.Handle(d.correction))
	r.POST("/corrections/:kind/:id", web.Handle(d.correct))
	r.GET("/corrections/:kind/:id/axle", web.Handle(d.wrongAxle))
	r.POST("/corrections/:kind/:id/axle", web.Handle(d.moveReadings))
}
