package api

import (
	"embed"
	"net/http"

	"github.com/gin-gonic/gin"

	"brakewear/ingest"
	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/web"
)

//go:embed openapi.yaml
var files embed.FS

// Prefix is the path that everything lies under. What it means does not change;
// an API that breaks it gets the next number.
const Prefix = "/api/v1"

// API answers over one service.
type API struct {
	svc *pipeline.Service
}

// New returns the API of svc.
func New(svc *pipeline.Service) *API { return &API{svc} }

// maxBulk bounds a feed's rows sent at once: 32 MB hold some 250,000.
const maxBulk = 32 << 20

// Register adds the API to r.
func (a *API) Register(r gin.IRouter) {
	g := r.Group(Prefix)
	g.GET("/openapi.yaml", web.Handle(a.document))

	g.GET("/fleets", web.Handle(a.fleets))
	g.GET("/depots", web.Handle(a.depots))
	g.GET("/due", web.Handle(a.due))
	g.GET("/overview", web.Handle(a.overview))
	g.GET("/vehicles", web.Handle(a.vehicles))
	g.GET("/vehicles/:id", web.Handle(a.vehicle))
	g.GET("/vehicles/:id/history", web.Handle(a.history))
	g.GET("/vehicles/:id/forecasts", web.Handle(a.forecasts))
	g.GET("/vehicles/:id/corrections", web.Handle(a.corrections))
	g.POST("/readings/:id/corrections", web.AllowBody(maxCorrection), web.Handle(a.correct(fleet.ReadingRecord)))
	g.POST("/odometer/:id/corrections", web.AllowBody(maxCorrection), web.Handle(a.correct(fleet.OdometerRecord)))
	g.POST("/fitments/:id/corrections", web.AllowBody(maxCorrection), web.Handle(a.correct(fleet.FitmentRecord)))

	g.POST("/readings/:id/move", web.AllowBody(maxCorrection), web.Handle(a.moveReadings))
	g.POST("/conditions/:id/corrections", web.AllowBody(maxCorrection), web.Handle(a.correctCondition))
	g.POST("/brake_tests/:id/corrections", web.AllowBody(maxCorrection), web.Handle(a.correctBrakeTest))

	g.GET("/findings", web.Handle(a.findings))
	g.GET("/findings/:id", web.Handle(a.finding))
	g.POST("/findings/:id/notes", web.AllowBody(maxCorrection), web.Handle(a.noteFinding))
	g.POST("/findings/:id/fitment", web.AllowBody(maxCorrection), web.Handle(a.confirmFitment))
	g.POST("/findings/:id/refusal", web.AllowBody(maxCorrection), web.Handle(a.refuseFitment))

	g.POST("/vehicles/:id/inspections", web.Handle(a.inspect))
	g.GET("/vehicles/:id/brake_tests", web.Handle(a.brakeTests))
	g.GET("/rule_sets", web.Handle(a.ruleSets))
	g.PUT("/fleets/:id/rule_set", web.AllowBody(maxChoice), web.Handle(a.pickRules))
	g.GET("/fleets/:id/thresholds", web.Handle(a.thresholds))
	g.PUT("/fleets/:id/thresholds", web.AllowBody(maxChoice), web.Handle(a.setThreshold))
	g.GET("/vehicles/:id/limits", web.Handle(a.limits))
	g.PUT("/vehicles/:id/limits", web.AllowBody(maxChoice), web.Handle(a.setLimit))

	g.GET("/bookings", web.Handle(a.bookings))
	g.POST("/bookings", web.AllowBody(maxForm), web.Handle(a.book))
	g.GET("/bookings/:id", web.Handle(a.booking))
	g.POST("/bookings/:id/move", web.AllowBody(maxForm), web.Handle(a.moveBooking))
	g.POST("/bookings/:id/done", web.AllowBody(maxForm), web.Handle(a.endBooking(fleet.Done)))
	g.POST("/bookings/:id/missed", web.AllowBody(maxForm), web.Handle(a.endBooking(fleet.Missed)))
	g.POST("/bookings/:id/withdrawn", web.AllowBody(maxForm), web.Handle(a.endBooking(fleet.Withdrawn)))
	g.GET("/cards", web.Handle(a.cards))
	g.GET("/cards/:id", web.Handle(a.card))
	g.GET("/cards/:id/entries", web.Handle(a.cardEntries))
	g.GET("/proposals", web.Handle(a.proposals))
	g.POST("/proposals", web.AllowBody(maxForm), web.Handle(a.propose))
	g.GET("/visits", web.Handle(a.visits))
	g.POST("/visits/accept", web.AllowBody(maxVisits), web.Handle(a.acceptVisits))
	g.POST("/visits/decline", web.AllowBody(maxVisits), web.Handle(a.declineVisits))
	g.POST("/visits/reopen", web.AllowBody(maxVisits), web.Handle(a.reopenVisits))
	g.GET("/workshops", web.Handle(a.workshops))
	g.GET("/workshops/:id", web.Handle(a.workshop))
	g.GET("/workshops/:id/days", web.Handle(a.workshopDays))
	g.PUT("/workshops/:id", web.AllowBody(maxForm), web.Handle(a.setWorkshop))
	g.POST("/workshops/:id/closures", web.AllowBody(maxForm), web.Handle(a.addClosures))
	g.DELETE("/workshops/:id/closures/:closure", web.Handle(a.dropClosure))
	g.GET("/vehicles/:id/days", web.Handle(a.days))
	g.POST("/vehicles/:id/absences", web.AllowBody(maxForm), web.Handle(a.addAbsences))
	g.DELETE("/vehicles/:id/absences/:entry", web.Handle(a.dropAbsence))
	g.POST("/vehicles/:id/planned_visits", web.AllowBody(maxForm), web.Handle(a.addPlannedVisits))
	g.DELETE("/vehicles/:id/planned_visits/:entry", web.Handle(a.dropPlannedVisit))
	g.PUT("/vehicles/:id/fluid_change", web.AllowBody(maxForm), web.Handle(a.setFluidChange))
	g.GET("/parts", web.Handle(a.parts))
	g.GET("/parts_needed", web.Handle(a.partsNeeded))

	g.GET("/uploads", web.Handle(a.uploads))
	g.GET("/uploads/:id", web.Handle(a.upload))
	g.POST("/uploads", web.AllowBody(web.MaxFile), web.Handle(a.takeFile))
	for _, k := range ingest.Kinds {
		g.POST("/"+string(k), web.AllowBody(maxBulk), web.Handle(a.takeRows(k)))
	}

	g.POST("/checks", web.AllowBody(web.MaxFile), web.Handle(a.check))
	g.POST("/files", web.AllowBody(web.MaxFile), web.Handle(a.keepFile))
	g.GET("/files/:id", web.Handle(a.file))
	g.POST("/files/:id/take", web.Handle(a.takeKept))
	g.DELETE("/files/:id", web.Handle(a.dropFile))

	g.GET("/people", web.Handle(a.people))
	g.GET("/people/:id", web.Handle(a.person))

	g.GET("/changes", web.Handle(a.changes))

	g.GET("/columns", web.Handle(a.columns))
	g.GET("/templates/:file", web.Handle(a.template))
}

// scope is what the request reaches.
func (a *API) scope(c *gin.Context) auth.Scope { return web.Scope(c) }

// sender is by whom something is done.
func (a *API) sender(c *gin.Context) string { return web.SignedIn(c).Name }

func (a *API) document(c *gin.Context) error {
	text, err := files.ReadFile("openapi.yaml")
	if err != nil {
		return err
	}
	// RFC 9512 registers the type.
	web.Send(c, http.StatusOK, "application/yaml; charset=utf-8", text)
	return nil
}
