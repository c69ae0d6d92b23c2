package dashboard

import (
	"context"
	"fmt"
	"net/http"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/units"
	"brakewear/internal/web"
)

// DuePage is the due-soon list: wear lanes with their words and numbers.
type DuePage struct {
	Shell
	Filter   DueFilter
	Headline string
	Risk     string // accepted, in words
	Stale    string // how old the forecasts are, when that matters
	Axis     Axis
	Rows     []DueRow
	Total    int
	From     string // link to the first page; blank on it
	Next     string // link to the next page; blank on the last
	CSV      string // link to the whole list
	XLSX     string // the same as a workbook
	Empty    *Empty // what to do next, when there are no rows
	Close    bool   // a line for each axle
	Other    string // link to the other form of the rows
	ToLookAt string // how many findings are open, in words; blank for none
}

// DueRow is one axle.
type DueRow struct {
	Link, Vehicle, Plate, Depot, Fleet string
	Of                                 string // its fleet, where others on the page have a vehicle of this number
	Axle                               int
	Place                              string // limiting position, in words
	Thickness, Limit, Unit             string
	Left                               string // share of the usable thickness, percent
	KmLeft                             string
	Readings                           int
	Lane                               Lane
	Limits                             string // when the limit is reached, in few words
	Booked                             *BookedView
	Verdict                            Verdict
	Worth                              string // what one more inspection would do
	Wait                               string // what it costs to leave it; blank where it is booked, or not known
	Warnings                           []string
}

// Empty says why a list is empty and what to do next.
type Empty struct {
	Title string
	Text  string
	Steps bool // show the way from files to a list
	Blank bool // nothing is known yet: that there is none of something would say too much
	Link  string
	Label string
}

// staleAfter is how many days old a forecast may be before the list says so.
// A refit is meant to run every night; a weekend without one changes nothing.
const staleAfter = 3

// dueRead is what the page needs from the database.
type dueRead struct {
	filter   DueFilter
	page     store.DuePage
	planned  *planned
	rows     string
	empty    *Empty
	toLookAt string
}

func (d *Dashboard) due(c *gin.Context) error {
	if err := d.svc.DB.AwaitDue(c.Request.Context()); err != nil {
		return err
	}
	var x dueRead
	err := d.inOneState(c, func(d *Dashboard) (err error) {
		x, err = d.readDue(c)
		return err
	})
	if err != nil {
		return err
	}
	return d.sendDue(c, x)
}

// inOneState calls fn with a Dashboard that reads one state of the database: the one
// in which the session was found, if that is held in memory. So nothing may have been
// written for the request before; fn may be called twice.
func (d *Dashboard) inOneState(c *gin.Context, fn func(d *Dashboard) error) error {
	return d.svc.DB.OneState(c.Request.Context(), "read a page", web.SignedIn(c).State, d.on(fn))
}

// lookingUp is inOneState for a page of one thing, which its key finds.
func (d *Dashboard) lookingUp(c *gin.Context, fn func(d *Dashboard) error) error {
	return d.svc.DB.Lookup(c.Request.Context(), "read a page", d.on(fn))
}

// on calls fn with a Dashboard on another DB.
func (d *Dashboard) on(fn func(d *Dashboard) error) func(db *store.DB) error {
	return func(db *store.DB) error {
		svc := *d.svc
		svc.DB = db
		within := *d
		within.svc = &svc
		return fn(&within)
	}
}

func (d *Dashboard) readDue(c *gin.Context) (x dueRead, err error) {
	ctx, sc, today := c.Request.Context(), d.scope(c), d.svc.Today()
	if x.filter, err = d.dueFilter(c); err != nil {
		return x, err
	}
	if x.rows, err = rowsAre(c); err != nil {
		return x, err
	}
	if x.page, err = d.svc.DB.DueSoon(ctx, sc, x.filter.query(today, c.Query("after"))); err != nil {
		return x, err
	}
	x.planned = d.planned(x.page.Rows)
	if len(x.page.Rows) == 0 {
		if x.empty, err = d.emptyDue(c, x.filter); err != nil {
			return x, err
		}
	}
	x.toLookAt, err = d.openFindings(c)
	return x, err
}

func (d *Dashboard) sendDue(c *gin.Context, x dueRead) error {
	return d.sendMade(c, http.StatusOK, "due", func() any { return d.duePage(c, x) })
}

func (d *Dashboard) duePage(c *gin.Context, x dueRead) DuePage {
	tell := reader(c)
	today, f, got := d.svc.Today(), x.filter, x.page
	p := DuePage{
		Shell:    Shell{Title: "To book", Place: "due", Cautions: true},
		Filter:   f,
		Headline: headline(tell, got.Total, f, today),
		Risk:     percent(d.svc.AcceptedRisk()),
		Axis:     newAxis(today, f.axisDays()),
		Total:    got.Total,
		CSV:      "/due.csv" + f.values().encode(),
		XLSX:     "/due.xlsx" + f.values().encode(),
		Empty:    x.empty,
		Close:    x.rows == closeRows,
		ToLookAt: x.toLookAt,
	}
	if x.empty != nil && x.empty.Blank {
		p.Headline = p.Title
	}
	oldest := today
	for i := range got.Rows {
		r := &got.Rows[i]
		oldest = min(oldest, r.AsOf)
		row := dueRow(tell, p.Axis, r)
		x.planned.pin(tell, &row, p.Axis, r)
		p.Rows = append(p.Rows, row)
	}
	tellRowsApart(p.Rows)
	if today-oldest > staleAfter {
		p.Stale = fmt.Sprintf("These forecasts are from %s. New readings since then count only for the vehicles they came from; a refit brings all up to today.", tell.Day(oldest))
	}
	if c.Query("after") != "" {
		p.From = "/" + f.values().encode()
	}
	other := closeRows
	if p.Close {
		other = fullRows
	}
	p.Other = "/" + f.values().with("rows", other).encode()
	if got.Next != "" {
		p.Next = "/" + f.values().with("after", got.Next).encode()
	}
	return p
}

// tellRowsApart names the fleet of rows whose depot, or vehicle, is called as another
// fleet's is.
func tellRowsApart(rows []DueRow) {
	vehicles := sharedNames(len(rows), func(i int) (string, string) { return rows[i].Vehicle, rows[i].Fleet })
	depots := sharedNames(len(rows), func(i int) (string, string) { return rows[i].Depot, rows[i].Fleet })
	for i := range rows {
		r := &rows[i]
		if vehicles[r.Vehicle] {
			r.Of = r.Fleet
		}
		if vehicles[r.Vehicle] || depots[r.Depot] {
			r.Depot += " (" + r.Fleet + ")"
		}
	}
}

func dueRow(tell units.Reader, a Axis, r *store.DueRow) DueRow {
	row := DueRow{
		Link:      "/vehicles/" + strconv.FormatInt(r.VehicleID, 10) + "#axle-" + strconv.Itoa(r.Axle),
		Vehicle:   r.Vehicle,
		Plate:     r.Plate,
		Depot:     r.Depot,
		Fleet:     r.Fleet,
		Axle:      r.Axle,
		Place:     "no limit known",
		Thickness: tell.MM(string(r.Position.Part), r.ThicknessMM),
		Unit:      tell.ThicknessUnit(),
		Limit:     tell.Spec(string(r.Position.Part), r.LimitMM),
		KmLeft:    kmLeft(tell, r.KmLeft),
		Readings:  r.Readings,
		Lane:      laneOf(tell, a, r),
		Limits:    strings.TrimPrefix(limitShort(tell, r.P10, r.P50, r.P90, a.Today), "limit "),
		Verdict:   verdict(tell, r.BookBy, r.P10, r.P50, r.P90, r.PastLimit, r.Warnings, a.Today),
	}
	if r.Position.Part != "" {
		row.Place = r.Position.Within()
	}
	if left := leftOf(r.ThicknessMM, r.NewMM, r.LimitMM); units.IsNumber(left) {
		row.Left = pct(100 * left)
	}
	if saved := r.Width80Days - r.Width80IfMeasured; saved >= worthMeasuring && saved >= r.Width80Days/2 && !r.PastLimit {
		row.Worth = "Measured now: " + span(saved) + " narrower."
	}
	row.Warnings = warningWords(tell, r.Warnings, row.Verdict, a.Today)
	return row
}

// worthMeasuring is the gain in days from which the list suggests to measure,
// if it is half of the window as well: less than a month seldom moves a
// booking, and where everything is suggested nothing is.
const worthMeasuring = 28

func kmLeft(tell units.Reader, x float64) string {
	switch {
	case x <= 0:
		return "no distance left"
	case !units.IsNumber(x):
		return "distance not known"
	}
	return tell.DistanceAbout(x) + " left"
}

func headline(tell units.Reader, total int, f DueFilter, today fleet.Date) string {
	axles := plural(total, "axle", "axles")
	if total == 0 {
		axles = "No axle"
	}
	if f.Text != "" {
		axles += " for “" + f.Text + "”"
	}
	if f.Only != "" {
		axles += " " + f.Only
	}
	switch {
	case f.Weeks != 0:
		head := axles + " to book by " + tell.DayNear(today+fleet.Date(7*f.Weeks), today)
		switch {
		case total == 0:
		case f.Booked == "":
			head += ", booked " + bookedOrNot
		case f.Booked == "yes":
			head += ", all booked"
		}
		return head
	case total == 0:
		return axles
	case f.Sort == store.ByBookBy:
		return axles + ", the most pressing first"
	}
	if f.Only != "" {
		axles += ","
	}
	return axles + " by " + sortLabel(f.Sort)
}

// takenIn says whether sc sees any vehicle, and any reading that counts.
func (d *Dashboard) takenIn(ctx context.Context, sc auth.Scope) (vehicles, readings bool, err error) {
	if vehicles, err = d.svc.DB.MoreVehicles(ctx, sc, 0); err != nil {
		return false, false, err
	}
	readings, err = d.svc.DB.HasReadings(ctx, sc)
	return vehicles, readings, err
}

func (d *Dashboard) emptyDue(c *gin.Context, f DueFilter) (*Empty, error) {
	ctx, sc := c.Request.Context(), d.scope(c)
	known, measured, err := d.takenIn(ctx, sc)
	switch {
	case err != nil:
		return nil, err
	case !known:
		return &Empty{
			Title: "Nothing has been taken in yet",
			Text:  "The list fills itself from files: which vehicles there are, what their axles are specified for, and what was measured.",
			Steps: true,
			Blank: true,
		}, nil
	case !measured:
		vehicles, axles, _, err := d.svc.DB.Counts(ctx, sc)
		if err != nil {
			return nil, err
		}
		e := &Empty{
			Title: plural(vehicles, "vehicle", "vehicles") + ", no readings yet",
			Text:  "Hand in what was measured; every axle with a reading gets its lane here.",
			Link:  "/readings",
			Label: "Take readings in",
			Blank: true,
		}
		if axles == 0 {
			e.Title = plural(vehicles, "vehicle", "vehicles") + ", no axles yet"
			e.Text = "Hand in an axles file: kind of brake, new and limit values. Then what was measured: every axle with a reading gets its lane here."
			e.Label = "Take files in"
		}
		return e, nil
	case f.Text != "" || f.Fleet != 0 || f.Depot != 0 || f.Booked != "" || f.Narrow.any():
		text := "No axle of this choice has a forecast."
		switch {
		case f.Weeks != 0:
			text = "Nothing of this choice is to be booked within " + plural(f.Weeks, "week", "weeks") + ". Take a longer time, or look at everything."
		case f.Text != "":
			text = "No axle with a forecast goes by “" + f.Text + "” here. See how it is written, or look at everything."
		}
		return &Empty{
			Title: "No axle fits this filter",
			Text:  text,
			Link:  "/?within=0",
			Label: "Show all axles",
		}, nil
	case f.Weeks != 0:
		return &Empty{
			Title: "Nothing to book in " + plural(f.Weeks, "week", "weeks"),
			Text:  "That is a forecast from what was measured, not a clean bill: axles that nobody measured are not in it.",
			Link:  "/?within=0",
			Label: "Show all axles",
		}, nil
	}
	return &Empty{
		Title: "No forecasts yet",
		Text:  "There are readings, but none has been forecast. Run “brakewear refit”, or hand in a readings file.",
		Link:  "/readings",
		Label: "Take readings in",
		Blank: true,
	}, nil
}
