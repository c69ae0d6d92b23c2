package dashboard

import (
	"cmp"
	"fmt"
	"math"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"brakewear/dashboard/chart"
	"brakewear/forecast"
	"brakewear/internal/fleet"
	"brakewear/internal/rules"
	"brakewear/internal/store"
	"brakewear/internal/units"
	"brakewear/internal/web"
)

// VehiclePage is everything of one vehicle.
type VehiclePage struct {
	Shell
	Vehicle  fleet.Vehicle
	Fleet    string
	Depot    string
	Facts    []string // make, year, duty, odometer, in words
	Plan     Plan
	Axles    []AxleView
	Odometer *Picture
	Swaps    []string // what was found in the odometer readings
	Track    []OdometerRow
	Notes    []NoteRow // of the whole vehicle, newest first
	Measure  string    // link to its form
	Empty    *Empty    // what to do when it has no axle yet
	Tests    TestsView
	Done     string // what was just done here
	Shelf    string // what that did to it
	Findings []FindingView
	Settled  []FindingView // looked at, or no longer seen
	Log      []CorrectedRow
	Bookings *VehicleBookings
}

// AxleView is one axle: its forecast in words, what that rests on, and what
// was measured.
type AxleView struct {
	Number    int
	Title     string // "Left inner pad first"
	Verdict   Verdict
	Says      []string // the forecast in sentences
	Warnings  []string
	Basis     []string // what the forecast rests on, in sentences
	Positions []PositionRow
	Pictures  []Picture
	More      []Picture // of parts that are not first
	Measured  Measured
	Lane      *PlanLane // with the peg of its booking
	Booked    *BookedView
	Moved     *Moved // since a forecast before; nil = nothing to compare
}

// PositionRow is the forecast of one position.
type PositionRow struct {
	Place     string
	Decides   bool
	Thickness string
	Limit     string
	Rate      string // in units.Reader.WearUnit
	When      string // of its limit
	Lane      Lane   // the same, drawn: those of an axle under each other
	Readings  int
	Since     string
}

// NoteRow is what was seen of the whole vehicle at an inspection.
type NoteRow struct {
	fleet.Condition
	Cell Cell
}

// OdometerRow is one odometer reading.
type OdometerRow struct {
	Date   fleet.Date
	Km     string
	Note   string
	Upload int64
	Link   string // to correct it
	Was    string // what became of it; blank while it counts
}

func (d *Dashboard) vehicle(c *gin.Context) error {
	tell := reader(c)
	id, err := web.PathID(c, "vehicle")
	if err != nil {
		return err
	}
	today := d.svc.Today()
	var x vehicleRead
	err = d.lookingUp(c, func(d *Dashboard) (err error) {
		x, err = d.readVehicle(c, id, today)
		return err
	})
	if err != nil {
		return err
	}
	fs, track, err := d.svc.ForecastOf(c.Request.Context(), &x.h, x.learned, today)
	if err != nil {
		return err
	}
	return d.sendMade(c, http.StatusOK, "vehicle", func() any {
		p := d.vehiclePage(tell, &x.h, fs, &x.old, track, today)
		p.Done, p.Shelf, p.hidden = doneWords[c.Query("done")], fleet.Shelf(c.Query("shelf")).Words(), x.hidden
		d.addFindings(c, p, x.findings, today)
		addBookings(tell, p, fs, &x, today)
		addMoved(tell, p, fs, &x, today)
		p.Tests = d.testsView(web.SignedIn(c), tell, &x.h, x.thresholds)
		return *p
	})
}

// vehicleRead is all that a vehicle's page shows, as it was read.
type vehicleRead struct {
	h          store.History
	learned    int64 // id of the newest parameters
	old        store.Corrections
	findings   []store.FindingRow
	plan       *planned
	logged     []store.Logged
	bookings   []fleet.Booking
	upkeep     *fleet.Upkeep    // nil = nothing
	thresholds rules.Thresholds // nil = there is no brake test
	hidden     map[int64]bool   // uploads that brought something, and that who looks may not see
}

// uploads are those that the vehicle's records came with.
func (x *vehicleRead) uploads() (ids []int64) {
	for _, of := range []struct {
		readings   []fleet.Reading
		fitments   []fleet.Fitment
		odometers  []fleet.Odometer
		conditions []fleet.Condition
	}{{x.h.Readings, x.h.Fitments, x.h.Odometers, x.h.Conditions}, {x.old.Readings, x.old.Fitments, x.old.Odometers, x.old.Conditions}} {
		for i := range of.readings {
			ids = append(ids, of.readings[i].UploadID)
		}
		for i := range of.fitments {
			ids = append(ids, of.fitments[i].UploadID)
		}
		for i := range of.odometers {
			ids = append(ids, of.odometers[i].UploadID)
		}
		for i := range of.conditions {
			ids = append(ids, of.conditions[i].UploadID)
		}
	}
	slices.Sort(ids)
	return slices.Compact(ids)
}

// readVehicle asks for nothing that the vehicle does not have.
func (d *Dashboard) readVehicle(c *gin.Context, id int64, today fleet.Date) (x vehicleRead, err error) {
	ctx, sc := c.Request.Context(), d.scope(c)
	var has store.Around
	if x.h, has, err = d.svc.DB.HistoryAround(ctx, sc, id, today-movedBack-movedSlack); err != nil {
		return x, err
	}
	x.learned, x.findings, x.logged = has.Parameters, has.Findings, has.Logged
	if has.Corrections {
		if x.old, err = d.svc.DB.Corrections(ctx, sc, id); err != nil {
			return x, err
		}
	}
	if !sc.All() { // who sees all sees every file
		if x.hidden, err = d.svc.DB.HiddenUploads(ctx, sc, x.uploads()); err != nil {
			return x, err
		}
	}
	if x.plan, err = d.plannedFor(c, []int64{id}, has); err != nil {
		return x, err
	}
	if has.Bookings {
		if x.bookings, err = d.svc.DB.Bookings(ctx, sc, store.BookingQuery{Vehicle: id, From: today - pastBookings}); err != nil {
			return x, err
		}
	}
	if has.Away {
		ups, err := d.svc.DB.Upkeeps(ctx, sc, []int64{id}, today)
		if err != nil {
			return x, err
		}
		x.upkeep = ups[id]
	}
	if len(x.h.BrakeTests) > 0 {
		x.thresholds, err = d.svc.Thresholds(ctx, sc, x.h.Vehicle.FleetID)
	}
	return x, err
}

func (d *Dashboard) vehiclePage(tell units.Reader, h *store.History, fs []store.AxleForecast, old *store.Corrections, track forecast.Track, today fleet.Date) *VehiclePage {
	p := &VehiclePage{
		Shell:   Shell{Title: h.Vehicle.Number, Place: "vehicles", Cautions: true, of: ofVehicle(&h.Vehicle)},
		Vehicle: h.Vehicle,
		Fleet:   h.Fleet,
		Depot:   h.Depot,
		Facts:   facts(&h.Vehicle),
		Plan:    planOf(tell, h, fs),
		Measure: fmt.Sprintf("/vehicles/%d/measure", h.Vehicle.ID),
	}
	for _, x := range slices.Concat(h.Conditions, old.Conditions) {
		if x.Axle == 0 {
			p.Notes = append(p.Notes, NoteRow{x, seenCell(&x)})
		}
	}
	slices.SortStableFunc(p.Notes, func(a, b NoteRow) int { return cmp.Compare(b.Date, a.Date) })
	perDay := math.NaN()
	byAxle := map[int]*store.AxleForecast{}
	for i := range fs {
		byAxle[fs[i].Axle] = &fs[i]
		perDay = fs[i].KmPerDay
		if i == 0 && units.IsNumber(fs[i].OdometerKm) {
			p.Facts = append(p.Facts, "about "+tell.OdometerAbout(fs[i].OdometerKm)+" on "+tell.DayNear(today, today))
		}
	}
	if perDay > 0 {
		p.Facts = append(p.Facts, "about "+tell.Distance(perDay)+" a day")
	}
	for _, a := range h.Axles {
		v := AxleView{Number: a.Number, Title: "Nothing to forecast from", Measured: measuredOf(tell, h, a.Number, byAxle[a.Number], old)}
		if f := byAxle[a.Number]; f != nil {
			d.fillAxle(tell, &v, h, f, track, today)
		}
		p.Axles = append(p.Axles, v)
	}
	if len(h.Axles) == 0 {
		p.Empty = &Empty{
			Title: "No axle of this vehicle is known",
			Text:  "Hand in an axles file with its specifications, or readings of it: an axle that is measured is added by itself.",
			Link:  "/readings",
			Label: "Take files in",
		}
	}
	if pic := chart.Odometer(tell, h.Odometers, track, forecast.Day(today), perDay); pic != nil {
		p.Odometer = d.picture(h.Vehicle.ID, pic, "odometer", "Odometer")
	}
	p.Track, p.Swaps = odometerRows(tell, slices.Concat(h.Odometers, old.Odometers), track)
	p.Log = correctedRows(tell, h, old)
	return p
}

func facts(v *fleet.Vehicle) []string {
	var fs []string
	if s := strings.TrimSpace(v.Make + " " + v.Model); s != "" {
		fs = append(fs, s)
	}
	if v.Year != 0 {
		fs = append(fs, strconv.Itoa(v.Year))
	}
	if v.Category != "" {
		fs = append(fs, "category "+string(v.Category))
	}
	if v.Duty != "" {
		fs = append(fs, v.Duty)
	}
	return fs
}

// fillAxle puts an axle's forecast into words, figures and pictures.
func (d *Dashboard) fillAxle(tell units.Reader, v *AxleView, h *store.History, f *store.AxleForecast, track forecast.Track, today fleet.Date) {
	o := outlookOf(tell, f, today)
	v.Verdict, v.Says, v.Basis = o.verdict, o.says, o.basis
	v.Warnings = warningWords(tell, f.Warnings, v.Verdict, today)
	v.Title = axleTitle(f)
	for i := range f.Positions {
		v.Positions = append(v.Positions, positionRow(tell, f, i, today))
	}
	for _, pic := range axlePictures(tell, h, f, track) {
		to := &v.Pictures
		if !pic.first {
			to = &v.More
		}
		one := d.drawn.draw(pic.title, pic.chart, drawnAs{f, pic.file, tell})
		one.File = pictureFile(h.Vehicle.ID, pic.file)
		*to = append(*to, *one)
	}
}

// axleTitle names what will be first of an axle at its limit.
func axleTitle(f *store.AxleForecast) string {
	if f.Limiting < 0 || f.Limiting >= len(f.Positions) {
		return "Nothing to forecast from"
	}
	return capital(within(f.Positions[f.Limiting].Pos)) + " first"
}

func positionRow(tell units.Reader, f *store.AxleForecast, i int, today fleet.Date) PositionRow {
	q := &f.Positions[i]
	p10, p50, p90 := limitDates(q.Crossing, f.AsOf)
	row := PositionRow{
		Place:     capital(within(q.Pos)),
		Decides:   i == f.Limiting,
		Thickness: tell.MM(string(q.Pos.Part), q.ThicknessMM),
		Limit:     tell.Spec(string(q.Pos.Part), q.Spec.Limit),
		Rate:      "–",
		When:      strings.TrimPrefix(limitShort(tell, p10, p50, p90, today), "limit "),
		Readings:  q.Readings,
		Lane: laneOf(tell, yearFrom(today), &store.DueRow{
			P10: p10, P50: p50, P90: p90,
			ThicknessMM: q.ThicknessMM, NewMM: q.Spec.New, LimitMM: q.Spec.Limit,
		}),
	}
	if units.IsNumber(q.RatePer10000) {
		row.Rate = tell.Rate(string(q.Pos.Part), q.RatePer10000)
	}
	if q.Since != 0 {
		row.Since = tell.Day(fleet.Date(q.Since))
		if !q.SinceKnown {
			row.Since = "before " + row.Since
		}
	}
	return row
}

// within names a position of an axle: "left inner pad".
func within(p forecast.Position) string {
	return fleet.Position{Part: fleet.Part(p.Part), Side: fleet.Side(p.Side), Face: fleet.Face(p.Face)}.Within()
}

func odometerRows(tell units.Reader, os []fleet.Odometer, t forecast.Track) (rows []OdometerRow, swaps []string) {
	why := map[forecast.Odometer]string{}
	for _, x := range t.Dropped {
		why[x.Odometer] = x.Why
	}
	slices.SortStableFunc(os, func(a, b fleet.Odometer) int { return cmp.Compare(a.Date, b.Date) })
	for i := len(os) - 1; i >= 0; i-- { // newest first
		o := os[i]
		rows = append(rows, OdometerRow{
			Date:   o.Date,
			Km:     tell.Km(o.Km),
			Note:   tell.Text(why[forecast.Odometer{Day: forecast.Day(o.Date), Km: o.Km}], o.Date),
			Upload: o.UploadID,
			Link:   correctionPath(fleet.Record{Kind: fleet.OdometerRecord, ID: o.ID}),
			Was:    wasWords(o.Aside),
		})
	}
	for _, s := range t.Swaps {
		if s.Declared {
			swaps = append(swaps, fmt.Sprintf("On %s the instrument cluster was changed: the old one showed %s last, the new one %s. The distance goes on.",
				tell.Day(fleet.Date(s.Before)), tell.Distance(s.From), tell.Distance(s.To)))
			continue
		}
		swaps = append(swaps, fmt.Sprintf("Between %s and %s the odometer went on from %s to %s: taken as a changed or run-back instrument, the distance goes on.",
			tell.Day(fleet.Date(s.After)), tell.Day(fleet.Date(s.Before)), tell.Distance(s.From), tell.Distance(s.To)))
	}
	return rows, swaps
}
