package dashboard

import (
	"fmt"
	"html/template"
	"net/http"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"brakewear/dashboard/chart"
	"brakewear/forecast"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/units"
	"brakewear/internal/web"
)

// Picture is a chart on a page, drawn for both widths; the stylesheet shows
// one of them.
type Picture struct {
	Title        string
	Wide, Narrow template.HTML
	Figures      *chart.Figures // the same as a table; nil = the page has it already
	File         string         // address without its ending, for .png and .svg; blank = none
}

func (d *Dashboard) picture(vehicle int64, c *chart.Chart, file, title string) *Picture {
	p := newPicture(title, c)
	p.File = pictureFile(vehicle, file)
	return p
}

func pictureFile(vehicle int64, file string) string {
	return fmt.Sprintf("/vehicles/%d/charts/%s", vehicle, file)
}

func newPicture(title string, c *chart.Chart) *Picture {
	return &Picture{
		Title:   title,
		Figures: c.Figures,
		// The chart escapes the words it is given.
		Wide:   template.HTML(c.SVG(chart.WideWidth, chart.WideHeight)),
		Narrow: template.HTML(c.SVG(chart.NarrowWidth, chart.NarrowHeight)),
	}
}

// axlePicture is a chart of an axle by the name of its file.
type axlePicture struct {
	file, title string
	chart       *chart.Chart
	first       bool // of the part that is first at its limit, or of the axle
}

// axlePictures draws what there is of an axle: a chart of each part that is
// measured or forecast, then the chance by the calendar.
func axlePictures(tell units.Reader, h *store.History, f *store.AxleForecast, track forecast.Track) []axlePicture {
	var out []axlePicture
	a := chart.Axle{Forecast: &f.AxleForecast, Readings: h.Readings, Fitments: h.Fitments, Track: track, Tell: tell}
	for _, part := range fleet.Parts {
		if c := chart.Thickness(a, forecast.Part(part)); c != nil {
			out = append(out, axlePicture{
				file:  fmt.Sprintf("axle-%d-%s", f.Axle, part),
				title: capital(string(part)) + map[bool]string{true: ": diameter against the odometer", false: ": thickness against the odometer"}[part.Grows()],
				chart: c,
				first: decides(f, forecast.Part(part)),
			})
		}
	}
	var bookBy *forecast.Day
	if f.BookBy != nil {
		day := forecast.Day(*f.BookBy)
		bookBy = &day
	}
	if c := chart.Chance(tell, &f.AxleForecast, bookBy, f.Risk); c != nil {
		out = append(out, axlePicture{fmt.Sprintf("axle-%d-chance", f.Axle), "Chance that the limit is reached, by the calendar", c, true})
	}
	return out
}

// decides says whether part is first at its limit, or whether none is.
func decides(f *store.AxleForecast, part forecast.Part) bool {
	if f.Limiting < 0 || f.Limiting >= len(f.Positions) {
		return true
	}
	return f.Positions[f.Limiting].Pos.Part == part
}

// Size of a chart as a file, in px and dots per px: wide enough for a report.
const (
	fileWidth, fileHeight = 960, 480
	fileScale             = 2
)

// chartFile sends one chart as an SVG or PNG file.
func (d *Dashboard) chartFile(c *gin.Context) error {
	tell := reader(c)
	id, err := web.PathID(c, "vehicle")
	if err != nil {
		return err
	}
	name, ending, _ := strings.Cut(c.Param("file"), ".")
	if ending != "svg" && ending != "png" {
		return fleet.NotFoundf("chart %q: want a .svg or a .png", c.Param("file"))
	}
	today := d.svc.Today()
	h, fs, track, err := d.svc.VehicleForecast(c.Request.Context(), d.scope(c), id, today)
	if err != nil {
		return err
	}
	found := findChart(tell, name, &h, fs, track, today)
	for _, p := range testPictures(tell, &h) {
		if p.file == name {
			found = p.chart
		}
	}
	if found == nil {
		return fleet.NotFoundf("chart %q: vehicle %s has none of this name", name, h.Vehicle.Number)
	}
	c.Header("Content-Disposition", "inline; filename="+strconv.Quote(fileName(h.Vehicle.Number)+"-"+name+"."+ending))
	if ending == "svg" {
		web.Send(c, http.StatusOK, "image/svg+xml", found.SVG(fileWidth, fileHeight))
		return nil
	}
	png, err := found.PNG(fileWidth, fileHeight, fileScale)
	if err != nil {
		return err
	}
	c.Data(http.StatusOK, "image/png", png)
	return nil
}

func findChart(tell units.Reader, name string, h *store.History, fs []store.AxleForecast, track forecast.Track, today fleet.Date) *chart.Chart {
	for i := range fs {
		if name == "odometer" {
			return chart.Odometer(tell, h.Odometers, track, forecast.Day(today), fs[i].KmPerDay)
		}
		for _, p := range axlePictures(tell, h, &fs[i], track) {
			if p.file == name {
				return p.chart
			}
		}
	}
	return nil
}

// fileName keeps of a vehicle's number what every file system takes.
func fileName(number string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r >= 'a' && r <= 'z', r >= 'A' && r <= 'Z', r >= '0' && r <= '9':
			return r
		}
		return '-'
	}, number)
}
