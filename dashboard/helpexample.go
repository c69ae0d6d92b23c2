package dashboard

import (
	"fmt"
	"math"
	"slices"

	"brakewear/forecast"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/units"
)

// The axle of the worked example is invented: the front axle of a city bus
// with disc brakes, new pads fitted in March, measured three times by winter.
// exampleAsOf is the day it is forecast from.
var (
	exampleSpec   = forecast.Spec{New: 18, Limit: 3}
	exampleFitted = exampleVisit{day: fleet.NewDate(2025, 3, 3), km: 180_000}
	exampleVisits = []exampleVisit{
		{fleet.NewDate(2025, 6, 2), 193_400, [4]float64{14.9, 15.3, 15.0, 15.4}},
		{fleet.NewDate(2025, 9, 8), 207_900, [4]float64{11.4, 12.0, 11.7, 12.2}},
		{fleet.NewDate(2025, 12, 1), 220_100, [4]float64{8.4, 9.2, 8.8, 9.4}},
	}
	exampleAsOf = fleet.NewDate(2026, 1, 5)
)

// exampleVisit is one inspection: the odometer, and the thinnest point of each
// pad in mm in the order of examplePlaces.
type exampleVisit struct {
	day fleet.Date
	km  float64
	mm  [4]float64
}

var examplePlaces = [4]forecast.Position{
	{Part: forecast.Pad, Side: "left", Face: "inner"},
	{Part: forecast.Pad, Side: "left", Face: "outer"},
	{Part: forecast.Pad, Side: "right", Face: "inner"},
	{Part: forecast.Pad, Side: "right", Face: "outer"},
}

// Example is one forecast, from what was measured to the day it is booked by.
type Example struct {
	AsOf     string
	New      string
	Limit    string
	Fitted   string
	Places   []string
	Visits   []ExampleVisit
	Ruler    Ruler
	Verdict  Verdict
	Says     []string // as the pages of a vehicle say it
	Basis    []string
	Median   string // limit dates
	Low, Up  string
	BookBy   string
	Pictures []Picture
}

// ExampleVisit is a row of what was measured.
type ExampleVisit struct {
	Day, Km string
	MM      []string
}

// Ruler is the line through the first and last value of the place that wore
// most: what anybody can draw, to hold the forecast against.
type Ruler struct {
	Place  string
	Lost   string
	Over   string // a distance
	Rate   string // in units.Reader.WearUnit
	Left   string // above the limit, when last measured
	More   string // distance that they last at this rate
	PerDay string // distance
	Day    string // on which the line meets the limit
}

// newExample forecasts the example's axle, by a model that has learned from no
// fleet, with the book-by date at the accepted risk.
func newExample(tell units.Reader, risk float64) (*Example, error) {
	nobody := func(func(*forecast.Vehicle) bool) {}
	m, err := forecast.TrainFull(nobody, forecast.Day(exampleAsOf))
	if err != nil {
		return nil, fmt.Errorf("worked example: %w", err)
	}
	v := exampleVehicle()
	fs := m.Forecast(v, forecast.Day(exampleAsOf), forecast.Options{Paths: true})
	if len(fs) != 1 || fs[0].Limiting < 0 {
		return nil, fmt.Errorf("worked example: got %d forecasts, none with a limit", len(fs))
	}
	f := store.AxleForecast{Risk: risk, AxleForecast: fs[0]}
	p10, p50, p90 := limitDates(f.Crossing, f.AsOf)
	by, ok := f.Crossing.BookBy(risk)
	if p10 == nil || p50 == nil || p90 == nil || !ok {
		return nil, fmt.Errorf("worked example: its limit is not in sight")
	}
	day := fleet.Date(by)
	f.BookBy = &day
	o := outlookOf(tell, &f, exampleAsOf)
	x := &Example{
		AsOf:    tell.Day(exampleAsOf),
		New:     tell.Exactly("pad", exampleSpec.New),
		Limit:   tell.Exactly("pad", exampleSpec.Limit),
		Fitted:  tell.Day(exampleFitted.day) + " at " + tell.Distance(exampleFitted.km),
		Ruler:   ruler(tell),
		Verdict: o.verdict,
		Says:    o.says,
		Basis:   o.basis,
		Median:  tell.Day(*p50), Low: tell.Day(*p10), Up: tell.Day(*p90),
		BookBy: tell.Day(day),
	}
	for _, p := range examplePlaces {
		x.Places = append(x.Places, within(p))
	}
	for _, visit := range exampleVisits {
		row := ExampleVisit{Day: tell.Day(visit.day), Km: tell.Km(visit.km)}
		for _, value := range visit.mm {
			row.MM = append(row.MM, tell.MM("pad", value))
		}
		x.Visits = append(x.Visits, row)
	}
	x.Pictures = examplePictures(tell, v, &f)
	return x, nil
}

// exampleVehicle is the example in the forecast's terms.
func exampleVehicle() *forecast.Vehicle {
	a := forecast.Axle{Number: 1, Specs: map[forecast.Part]forecast.Spec{forecast.Pad: exampleSpec}}
	a.Fitments = append(a.Fitments, forecast.Fitment{Day: forecast.Day(exampleFitted.day), Km: exampleFitted.km, Pos: forecast.Position{Part: forecast.Pad}})
	v := &forecast.Vehicle{ID: "example", Class: "M3", Duty: "city"}
	v.Odometer = append(v.Odometer, forecast.Odometer{Day: forecast.Day(exampleFitted.day), Km: exampleFitted.km})
	for _, visit := range exampleVisits {
		d := forecast.Day(visit.day)
		v.Odometer = append(v.Odometer, forecast.Odometer{Day: d, Km: visit.km})
		for i, value := range visit.mm {
			a.Readings = append(a.Readings, forecast.Reading{Day: d, Km: visit.km, Pos: examplePlaces[i], MM: value, Step: .1})
		}
	}
	v.Axles = []forecast.Axle{a}
	return v
}

// ruler lays the line through the example's thinnest place.
func ruler(tell units.Reader) Ruler {
	first, last := exampleVisits[0], exampleVisits[len(exampleVisits)-1]
	thinnest := slices.Index(last.mm[:], slices.Min(last.mm[:]))
	lost, over := first.mm[thinnest]-last.mm[thinnest], last.km-first.km
	left := last.mm[thinnest] - exampleSpec.Limit
	more := left / lost * over
	perDay := over / float64(last.day-first.day)
	return Ruler{
		Place:  within(examplePlaces[thinnest]),
		Lost:   tell.Thickness("pad", lost),
		Over:   tell.Distance(over),
		Rate:   tell.Rate("pad", lost/over*1e4),
		Left:   tell.Thickness("pad", left),
		More:   tell.DistanceAbout(more),
		PerDay: tell.Distance(perDay),
		Day:    tell.Day(last.day + fleet.Date(math.Floor(more/perDay))),
	}
}

// examplePictures draws the example with the charts of a vehicle's page.
func examplePictures(tell units.Reader, v *forecast.Vehicle, f *store.AxleForecast) []Picture {
	h := store.History{Fitments: []fleet.Fitment{{Date: exampleFitted.day, OdometerKm: &exampleFitted.km,
		Position: fleet.Position{Axle: 1, Part: fleet.Pad}}}}
	for _, visit := range exampleVisits {
		for i, value := range visit.mm {
			p := examplePlaces[i]
			h.Readings = append(h.Readings, fleet.Reading{Date: visit.day, OdometerKm: &visit.km, MM: value,
				Position: fleet.Position{Axle: 1, Part: fleet.Part(p.Part), Side: fleet.Side(p.Side), Face: fleet.Face(p.Face)}})
		}
	}
	var out []Picture
	for _, pic := range axlePictures(tell, &h, f, forecast.CleanOdometer(v.Odometer)) {
		out = append(out, *newPicture(pic.title, pic.chart))
	}
	return out
}
