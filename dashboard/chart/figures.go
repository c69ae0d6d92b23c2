package chart

import (
	"fmt"
	"math"

	"brakewear/forecast"
	"brakewear/internal/fleet"
	"brakewear/internal/units"
)

// Figures is what a chart draws as a table, for who cannot see it or wants the
// numbers: the cells of a row fit the head.
type Figures struct {
	Head []string
	Rows [][]string
}

// forecastSteps is how many points of a forecast are given in figures: enough
// to draw it again, few enough to be listened to.
const forecastSteps = 8

// thicknessFigures lists the readings of a part, then how the position that
// decides goes on.
func (a *Axle) thicknessFigures(points []point, lines []forecast.PositionForecast, decides int) *Figures {
	f := &Figures{Head: []string{"thousand " + a.Tell.DistanceUnit(), "position", a.Tell.ThicknessUnit(), "80 % interval", "from"}}
	for _, q := range points {
		from := "read " + day(a.Tell, q.day)
		if q.setAside {
			from += ", set aside by the model"
		}
		f.Rows = append(f.Rows, []string{thousandKm(a.Tell, q.km), place(q.pos), a.Tell.MM(string(q.pos.Part), q.mm), "", from})
	}
	if decides < 0 {
		return f
	}
	d := &lines[decides]
	mm := func(x float64) string { return a.Tell.MM(string(d.Pos.Part), x) }
	var ahead []forecast.PathPoint
	for _, q := range d.Path {
		if q.Km >= a.Forecast.OdometerKm {
			ahead = append(ahead, q)
		}
	}
	for i := range ahead {
		// Evenly spread, the last one included.
		if n := len(ahead); n > forecastSteps && (i*(forecastSteps-1))/(n-1) == ((i-1)*(forecastSteps-1))/(n-1) && i > 0 {
			continue
		}
		q := ahead[i]
		f.Rows = append(f.Rows, []string{thousandKm(a.Tell, q.Km), place(d.Pos), mm(q.Mid), mm(q.Lo) + " to " + mm(q.Hi), "forecast"})
	}
	return f
}

// chanceLevels are the chances whose days are given in figures.
var chanceLevels = []float64{.05, .1, .25, .5, .75, .9, .95}

func chanceFigures(tell units.Reader, d forecast.Dist, from, end float64) *Figures {
	f := &Figures{Head: []string{"chance that the limit is reached", "by"}}
	for _, c := range chanceLevels {
		words := ""
		switch q := d.Quantile(c); {
		case math.IsNaN(q):
			continue
		case q < from:
			words = "already"
		case q > end:
			words = "after " + day(tell, forecast.Day(end))
		default:
			words = day(tell, forecast.Day(math.Floor(q)))
		}
		f.Rows = append(f.Rows, []string{fmt.Sprintf("%.0f %%", 100*c), words})
	}
	return f
}

// odometerFigures lists the readings of an odometer, those after it was changed
// as the chart has them: with what went before.
func odometerFigures(tell units.Reader, readings []fleet.Odometer, t forecast.Track, asOf forecast.Day, kmPerDay float64) *Figures {
	f := &Figures{Head: []string{"date", "thousand " + tell.DistanceUnit(), "from"}}
	dropped := map[forecast.Odometer]bool{}
	for _, d := range t.Dropped {
		dropped[d.Odometer] = true
	}
	for _, r := range readings {
		o := forecast.Odometer{Day: forecast.Day(r.Date), Km: r.Km}
		km, from := r.Km, "read, set aside"
		if !dropped[o] {
			km, from = t.Reading(r.Km, o.Day), "read"
			if shown := thousandKm(tell, r.Km); shown != thousandKm(tell, km) {
				from = "read as " + shown + ", with what an odometer before showed"
			}
		}
		f.Rows = append(f.Rows, []string{day(tell, o.Day), thousandKm(tell, km), from})
	}
	f.Rows = append(f.Rows, []string{day(tell, asOf), thousandKm(tell, t.Km(asOf)), "estimated"})
	if kmPerDay > 0 {
		f.Rows = append(f.Rows, []string{day(tell, asOf+aheadOfOdometer), thousandKm(tell, t.Km(asOf)+kmPerDay*aheadOfOdometer), "forecast"})
	}
	return f
}

func testFigures(tell units.Reader, s TestSeries) *Figures {
	f := &Figures{Head: []string{"date", s.Label, "test"}}
	stages := map[fleet.Stage]string{fleet.Routine: "of no job", fleet.BeforeJob: "before a job", fleet.AfterJob: "after a job"}
	for _, q := range s.Points {
		f.Rows = append(f.Rows, []string{day(tell, forecast.Day(q.Day)), fmt.Sprintf("%.4g", q.Y), stages[q.Stage]})
	}
	return f
}

func promiseFigures(ps []Promise) *Figures {
	f := &Figures{Head: []string{"set that came off", "80 % interval from, days", "median, days", "to, days", "came true within"}}
	for _, p := range ps {
		held := "no"
		if p.holds() {
			held = "yes"
		}
		f.Rows = append(f.Rows, []string{p.Name, fmt.Sprintf("%.0f", p.Low), fmt.Sprintf("%.0f", p.Mid), fmt.Sprintf("%.0f", p.Up), held})
	}
	return f
}

func thousandKm(tell units.Reader, km float64) string {
	return fmt.Sprintf("%.1f", tell.OfKm(km)/1000)
}
