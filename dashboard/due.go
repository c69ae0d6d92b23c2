package dashboard

import (
	"cmp"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"brakewear/forecast"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
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
	Empty    *Empty // what to do next, when there are no rows
}

// DueRow is one axle.
type DueRow struct {
	Link, Vehicle, Plate, Depot, Fleet string
	Axle                               int
	Place                              string // limiting position, in words
	Thickness, Limit                   string // mm
	Left                               string // share of the usable thickness, percent
	KmLeft                             string
	Readings                           int
	Lane                               Lane
	Verdict                            Verdict
	Worth                              string // what one more inspection would do
	Warnings                           []string
}

// Verdict is what to do with an axle, and by when.
type Verdict struct {
	Ask    string // what is asked: "book by"
	Strong string // the answer: "20 Mar"
	ISO    string // of the day, for machines; blank where the answer is none
	Why    string // in small beside it
	Urgent bool
}

// Empty says why a list is empty and what to do next.
type Empty struct {
	Title string
	Text  string
	Steps bool // show the way from files to a list
	Link  string
	Label string
}

// staleAfter is how many days old a forecast may be before the list says so.
// A refit is meant to run every night; a weekend without one changes nothing.
const staleAfter = 3

func (d *Dashboard) due(c *gin.Context) error {
	ctx, sc, today := c.Request.Context(), d.scope(c), d.today()
	f, err := d.dueFilter(c)
	if err != nil {
		return err
	}
	got, err := d.svc.DB.DueSoon(ctx, sc, f.query(today, c.Query("after")))
	if err != nil {
		return err
	}
	p := DuePage{
		Shell:    Shell{Title: "Due soon", Place: "due", Cautions: true},
		Filter:   f,
		Headline: headline(got.Total, f, today),
		Risk:     percent(d.risk()),
		Axis:     newAxis(today, f.axisDays()),
		Total:    got.Total,
		CSV:      "/due.csv" + f.values().encode(),
	}
	oldest := today
	for i := range got.Rows {
		r := &got.Rows[i]
		oldest = min(oldest, r.AsOf)
		p.Rows = append(p.Rows, dueRow(p.Axis, r))
	}
	if today-oldest > staleAfter {
		p.Stale = fmt.Sprintf("These forecasts are from %s. New readings since then count only for the vehicles they came from; a refit brings all up to today.", longDate(oldest))
	}
	if c.Query("after") != "" {
		p.From = "/" + f.values().encode()
	}
	if got.Next != "" {
		p.Next = "/" + f.values().with("after", got.Next).encode()
	}
	if len(p.Rows) == 0 {
		if p.Empty, err = d.emptyDue(c, f); err != nil {
			return err
		}
	}
	return d.send(c, http.StatusOK, "due", p)
}

func dueRow(a Axis, r *store.DueRow) DueRow {
	row := DueRow{
		Link:      "/vehicles/" + strconv.FormatInt(r.VehicleID, 10) + "#axle-" + strconv.Itoa(r.Axle),
		Vehicle:   r.Vehicle,
		Plate:     r.Plate,
		Depot:     r.Depot,
		Fleet:     r.Fleet,
		Axle:      r.Axle,
		Place:     "no limit known",
		Thickness: mm(r.ThicknessMM),
		Limit:     spec(r.LimitMM),
		KmLeft:    kmLeft(r.KmLeft),
		Readings:  r.Readings,
		Lane:      laneOf(a, r),
		Verdict:   verdict(r.BookBy, r.P10, r.P50, r.P90, r.PastLimit, r.Warnings, a.Today),
	}
	if r.Position.Part != "" {
		row.Place = r.Position.Within()
	}
	if left := leftOf(r.ThicknessMM, r.NewMM, r.LimitMM); isNumber(left) {
		row.Left = pct(100 * left)
	}
	if saved := r.Width80Days - r.Width80IfMeasured; saved >= worthMeasuring && !r.PastLimit {
		row.Worth = "Measured now, the window narrows by " + span(saved) + "."
	}
	row.Warnings = warningWords(r.Warnings, row.Verdict)
	return row
}

// warningWords are the warnings that the verdict does not say already.
func warningWords(ws []forecast.Warning, v Verdict) []string {
	var out []string
	for _, w := range ws {
		if w.Text != v.Why {
			out = append(out, capital(w.Text))
		}
	}
	return out
}

// worthMeasuring is the gain in days from which the list suggests to measure:
// less than a fortnight does not move a booking.
const worthMeasuring = 14

// verdict says what to do. A forecast clears no axle that was last measured at
// or below its limit, or too long ago.
func verdict(bookBy, p10, p50, p90 *fleet.Date, past bool, warnings []forecast.Warning, today fleet.Date) Verdict {
	has := func(codes ...forecast.Code) bool {
		return slices.ContainsFunc(warnings, func(w forecast.Warning) bool { return slices.Contains(codes, w.Code) })
	}
	v := Verdict{Ask: "book by", Why: limitShort(p10, p50, p90, today)}
	switch {
	case past:
		v = Verdict{Ask: "book", Strong: "now", Why: "at or past its limit", Urgent: true}
		for _, w := range warnings {
			if w.Code == forecast.PastLimit {
				v.Why = w.Text
			}
		}
	case bookBy != nil && *bookBy < today:
		v.Ask, v.Strong = "book", "now"
		v.Why = "was to be booked by " + dateNear(*bookBy, today) + "; " + v.Why
	case has(forecast.Remeasure):
		v.Ask, v.Strong = "measure", "again"
		v.Why = "a thin reading disagrees"
		if bookBy != nil {
			v.Why += "; else book by " + dateNear(*bookBy, today)
		}
	case has(forecast.OldReadings, forecast.NoReadings):
		v.Ask, v.Strong = "measure", "first"
		v.Why = "nothing recent to go by"
		if bookBy != nil {
			v.Why += "; else book by " + dateNear(*bookBy, today)
		}
	case bookBy == nil && p50 == nil:
		v.Strong, v.Why = "no date", "nothing to date it by"
		if has(forecast.UsageUnknown) {
			v.Why = "too few odometer readings for a date"
		}
	case bookBy == nil:
		v.Strong = "not in sight"
	default:
		v.Strong, v.ISO = dateNear(*bookBy, today), bookBy.String()
	}
	return v
}

// limitShort is when the limit is reached, in the least words.
func limitShort(p10, p50, p90 *fleet.Date, today fleet.Date) string {
	near := func(d *fleet.Date) string { return dateNear(*d, today) }
	switch {
	case p10 == nil:
		return "limit not in sight"
	case p90 != nil && *p90 <= today:
		return "limit most likely passed"
	case p50 == nil:
		return "limit not before " + near(p10)
	case p90 == nil:
		return "limit from " + near(p10) + ", likely " + near(p50)
	case *p10 <= today:
		return "limit by " + near(p90) + ", likely " + near(p50)
	}
	return "limit " + near(p10) + " – " + near(p90) + ", likely " + near(p50)
}

func kmLeft(x float64) string {
	switch {
	case x <= 0:
		return "no distance left"
	case !isNumber(x):
		return "distance not known"
	}
	return kmAbout(x) + " km left"
}

func headline(total int, f DueFilter, today fleet.Date) string {
	if f.Weeks == 0 {
		return plural(total, "axle", "axles") + ", " + map[bool]string{true: "the most pressing first", false: "by " + sortLabel(f.Sort)}[f.Sort == store.ByBookBy]
	}
	by := dateNear(today+fleet.Date(7*f.Weeks), today)
	if total == 0 {
		return "No axle to book by " + by
	}
	return plural(total, "axle", "axles") + " to book by " + by
}

func (d *Dashboard) emptyDue(c *gin.Context, f DueFilter) (*Empty, error) {
	vehicles, _, readings, err := d.svc.DB.Counts(c.Request.Context(), d.scope(c))
	switch {
	case err != nil:
		return nil, err
	case vehicles == 0:
		return &Empty{
			Title: "Nothing has been taken in yet",
			Text:  "The list fills itself from files: which vehicles there are, what their axles are specified for, and what was measured.",
			Steps: true,
		}, nil
	case readings == 0:
		return &Empty{
			Title: plural(vehicles, "vehicle", "vehicles") + ", no readings yet",
			Text:  "Hand in what was measured; every axle with a reading gets its lane here.",
			Link:  "/readings",
			Label: "Take readings in",
		}, nil
	case f.Text != "" || f.Fleet != 0 || f.Depot != 0:
		return &Empty{
			Title: "No axle fits this filter",
			Text:  "Nothing of this choice is to be booked in that time. Take a longer time, or look at everything.",
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
	}, nil
}

// DueFilter is what the list is narrowed to.
type DueFilter struct {
	Fleet, Depot int64
	Weeks        int // 0 = however far
	Text         string
	Sort         store.DueSort
	Fleets       []Choice
	Depots       []Choice
	Horizons     []Choice
	Sorts        []Choice
}

// Choice is an option of a form.
type Choice struct {
	Value, Label string
	Chosen       bool
}

// horizons in weeks, and the calendar in days that goes with each: limit dates
// lie well behind book-by dates.
var horizons = []struct{ weeks, axis int }{{2, 91}, {4, 91}, {8, 182}, {13, 182}, {26, 364}, {52, 546}, {0, 364}}

// defaultWeeks is what a planner looks ahead: two months.
const defaultWeeks = 8

var sortLabels = map[store.DueSort]string{
	store.ByBookBy:        "book-by date",
	store.ByLimitDate:     "likely limit date",
	store.ByVehicle:       "vehicle",
	store.ByKmLeft:        "distance left",
	store.ByThicknessLeft: "thickness left",
	store.ByNarrowing:     "most worth measuring",
}

func sortLabel(s store.DueSort) string { return cmp.Or(sortLabels[s], string(s)) }

func (d *Dashboard) dueFilter(c *gin.Context) (f DueFilter, err error) {
	f.Weeks = defaultWeeks
	if f.Text = strings.TrimSpace(c.Query("q")); f.Text != "" {
		f.Weeks = 0 // who looks for one vehicle wants it however far its limit is
	}
	if s := c.Query("within"); s != "" {
		if f.Weeks, err = strconv.Atoi(s); err != nil || f.Weeks < 0 || f.Weeks > 520 {
			return f, fleet.Invalidf("within %q: want a number of weeks, 0 for all", s)
		}
	}
	f.Sort = cmp.Or(store.DueSort(c.Query("sort")), store.ByBookBy)
	if f.Fleet, f.Fleets, err = d.fleetChoice(c); err != nil {
		return f, err
	}
	if f.Depot, f.Depots, err = d.depotChoice(c); err != nil {
		return f, err
	}
	for _, h := range horizons {
		label := "in " + plural(h.weeks, "week", "weeks")
		if h.weeks == 0 {
			label = "however far"
		}
		f.Horizons = append(f.Horizons, Choice{strconv.Itoa(h.weeks), label, h.weeks == f.Weeks})
	}
	for _, s := range store.DueSorts {
		f.Sorts = append(f.Sorts, Choice{string(s), sortLabel(s), s == f.Sort})
	}
	return f, nil
}

func (f DueFilter) query(today fleet.Date, after string) store.DueQuery {
	q := store.DueQuery{Fleet: f.Fleet, Depot: f.Depot, Text: f.Text, Sort: f.Sort, After: after}
	if f.Weeks > 0 {
		before := today + fleet.Date(7*f.Weeks)
		q.Before = &before
	}
	return q
}

func (f DueFilter) axisDays() int {
	for _, h := range horizons {
		if h.weeks == f.Weeks {
			return h.axis
		}
	}
	return max(91, 14*f.Weeks)
}

// values are the query of a link that keeps the filter.
func (f DueFilter) values() query {
	q := query{}
	if f.Fleet != 0 {
		q = q.with("fleet", strconv.FormatInt(f.Fleet, 10))
	}
	if f.Depot != 0 {
		q = q.with("depot", strconv.FormatInt(f.Depot, 10))
	}
	if f.Text != "" {
		q = q.with("q", f.Text)
	}
	if f.Weeks != defaultWeeks {
		q = q.with("within", strconv.Itoa(f.Weeks))
	}
	if f.Sort != store.ByBookBy {
		q = q.with("sort", string(f.Sort))
	}
	return q
}

// query is the query of a link.
type query map[string]string

func (q query) with(name, value string) query {
	out := query{name: value}
	for k, v := range q {
		if k != name {
			out[k] = v
		}
	}
	return out
}

func (q query) encode() string {
	v := url.Values{}
	for name, value := range q {
		v.Set(name, value)
	}
	if len(v) == 0 {
		return ""
	}
	return "?" + v.Encode()
}
