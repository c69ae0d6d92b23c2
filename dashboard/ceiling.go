package dashboard

import (
	"net/http"
	"strconv"
	"sync"

	"github.com/gin-gonic/gin"

	"brakewear/dashboard/chart"
	"brakewear/forecast"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/units"
	"brakewear/internal/web"
)

// DueFromMemory is the due-soon page of what was read when the same was first
// asked for: what the page is measured against. It is for benchmarks alone, for
// it shows everybody the same and never anything new.
func (d *Dashboard) DueFromMemory() gin.HandlerFunc {
	var known sync.Map // dueRead by query
	return web.Handle(func(c *gin.Context) error {
		asked := c.Request.URL.RawQuery
		x, ok := known.Load(asked)
		if !ok {
			read, err := d.readDue(c)
			if err != nil {
				return err
			}
			x = read
			known.Store(asked, x)
		}
		return d.sendDue(c, x.(dueRead))
	})
}

// PlotsFromMemory draws what a vehicle's page draws and nothing else, of what was
// read when it was first asked for: what that page is measured against. It is for
// benchmarks alone, as DueFromMemory is.
func (d *Dashboard) PlotsFromMemory() gin.HandlerFunc {
	type read struct {
		h     store.History
		fs    []store.AxleForecast
		track forecast.Track
	}
	var known sync.Map // read by vehicle
	return web.Handle(func(c *gin.Context) error {
		id, err := web.PathID(c, "vehicle")
		if err != nil {
			return err
		}
		today := d.svc.Today()
		x, ok := known.Load(id)
		if !ok {
			var r read
			if r.h, r.fs, r.track, err = d.svc.VehicleForecast(c.Request.Context(), d.scope(c), id, today); err != nil {
				return err
			}
			x = r
			known.Store(id, x)
		}
		r := x.(read)
		web.Send(c, http.StatusOK, "text/plain", []byte(strconv.Itoa(d.drawVehicle(reader(c), &r.h, r.fs, r.track, today))))
		return nil
	})
}

// drawVehicle draws the pictures of a vehicle's page and returns their length.
func (d *Dashboard) drawVehicle(tell units.Reader, h *store.History, fs []store.AxleForecast, track forecast.Track, today fleet.Date) (length int) {
	count := func(c *chart.Chart) {
		p := newPicture("", c)
		length += len(p.Wide) + len(p.Narrow)
	}
	for i := range fs {
		for _, p := range axlePictures(tell, h, &fs[i], track) {
			count(p.chart)
		}
	}
	if len(fs) > 0 {
		if c := chart.Odometer(tell, h.Odometers, track, forecast.Day(today), fs[len(fs)-1].KmPerDay); c != nil {
			count(c)
		}
	}
	for _, p := range testPictures(tell, h) {
		count(p.chart)
	}
	return length
}
