package dashboard

import (
	"cmp"
	"net/url"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"brakewear/internal/fleet"
	"brakewear/internal/store"
)

// DueFilter is what the list is narrowed to.
type DueFilter struct {
	Fleet, Depot int64
	Weeks        int // 0 = however far
	Text         string
	Sort         store.DueSort
	Booked       string // yes, no; blank = both
	Fleets       []Choice
	Depots       []Choice
	Horizons     []Choice
	Sorts        []Choice
	Bookings     []Choice
	Narrow       Narrow
	Only         string // what Narrow leaves, in words; blank = all
	Hidden       []HiddenField
	Whole        string // link to the list without Narrow
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
	tell := reader(c)
	f.Weeks = defaultWeeks
	if f.Text = strings.TrimSpace(c.Query("q")); f.Text != "" {
		f.Weeks = 0 // who looks for one vehicle wants it however far its limit is
	}
	if f.Narrow, err = readNarrow(c); err != nil {
		return f, err
	}
	if f.Narrow.any() {
		f.Weeks = 0 // so does who comes from the overview
		f.Only, f.Hidden = f.Narrow.words(tell, d.svc.Today()), f.Narrow.fields()
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
	if f.Depot, f.Depots, err = d.depotOfFleet(c, f.Fleet); err != nil {
		return f, err
	}
	if f.Booked = c.Query("booked"); f.Booked != "" && f.Booked != "yes" && f.Booked != "no" {
		return f, fleet.Invalidf("booked %q: want yes or no", f.Booked)
	}
	f.Bookings = []Choice{{"", bookedOrNot, f.Booked == ""}, {"no", "not booked", f.Booked == "no"}, {"yes", "booked", f.Booked == "yes"}}
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
	whole := f
	whole.Narrow = Narrow{}
	f.Whole = "/" + whole.values().encode()
	return f, nil
}

func (f DueFilter) query(today fleet.Date, after string) store.DueQuery {
	q := store.DueQuery{Fleet: f.Fleet, Depot: f.Depot, Text: f.Text, Sort: f.Sort, After: after}
	f.Narrow.set(&q, today)
	if f.Booked != "" {
		booked := f.Booked == "yes"
		q.Booked = &booked
	}
	if f.Weeks > 0 {
		if before := today + fleet.Date(7*f.Weeks); q.Before == nil || before < *q.Before {
			q.Before = &before
		}
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

// Words are the choices made, for where they are folded away.
func (f DueFilter) Words() string {
	var words []string
	for _, choices := range [][]Choice{f.Fleets, f.Depots, f.Horizons, f.Bookings} {
		for _, x := range choices {
			if x.Chosen && x.Label != bookedOrNot {
				words = append(words, x.Label)
			}
		}
	}
	if f.Sort != store.ByBookBy {
		words = append(words, "by "+sortLabel(f.Sort))
	}
	return capital(strings.Join(words, ", "))
}

const bookedOrNot = "or not"

// values are the query of a link that keeps the filter.
func (f DueFilter) values() query {
	q := f.Narrow.keep(query{})
	if f.Fleet != 0 {
		q = q.with("fleet", strconv.FormatInt(f.Fleet, 10))
	}
	if f.Depot != 0 {
		q = q.with("depot", strconv.FormatInt(f.Depot, 10))
	}
	if f.Text != "" {
		q = q.with("q", f.Text)
	}
	if f.Booked != "" {
		q = q.with("booked", f.Booked)
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
