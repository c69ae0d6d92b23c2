package dashboard

import (
	"fmt"
	"math"
	"net/http"
	"strconv"

	"github.com/gin-gonic/gin"

	"brakewear/dashboard/chart"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
	"brakewear/internal/units"
)

// OverviewPage is a fleet at a glance: what is left, what is to come and what
// it takes. Every figure leads to the axles or parts behind it.
type OverviewPage struct {
	Shell
	Fleets, Depots []Choice
	AsOf           string
	Again, Stale   string // link to look again, and of when the figures are; blank = up to date
	Figures        []OverviewFigure
	Now            *OverviewLink // what was to be booked by today and is not
	Late           *OverviewLink // what is booked too late
	Short          []string      // where hours do not suffice, in words
	Plan           string        // link to the proposal
	Trend          OverviewTrend
	Left           OverviewLeft
	Weeks          OverviewWeeks
	ByDepot        *OverviewDepots // nil = there are not two
	Cost           OverviewCost
	Wear           []OverviewWear
	Empty          *Empty
}

// OverviewFigure is one number at the top.
type OverviewFigure struct{ Name, Value, Note string }

// OverviewLeft is what is left, by class.
type OverviewLeft struct {
	Picture *Picture
	Rows    []LeftRow
	Apart   []OverviewLink // axles that are in no class
	Files   Files
}

// LeftRow is a class.
type LeftRow struct {
	Name, Link string
	Axles      int
	Share      string
}

// OverviewLink is a sentence with where it leads.
type OverviewLink struct{ Text, Link, Label string }

// Files are the addresses of a table as a file.
type Files struct{ CSV, XLSX string }

// OverviewWeeks are the limits by week, with the hours.
type OverviewWeeks struct {
	Limits, Hours *Picture
	Waiting       string // what waiting comes to; blank = nothing
	Wait          []WaitRow
	WaitGaps      []OverviewLink
	WaitFiles     Files
	Rows          []LimitsRow
	Files         Files
}

// LimitsRow is a week; the first row is all that was before.
type LimitsRow struct {
	Name, Link       string
	Expected, Booked string
	EvenOdds         int
	ToBook           int
	BookLink         string
	Needed, Free     string // hours of ToBook, and those there are
	// Short is how many hours are missing for all that is to be booked by the
	// end of the week; blank = there are enough.
	Short string
}

// OverviewCost is what the months take.
type OverviewCost struct {
	Pictures   []*Picture
	Months     []string // names of the columns
	Rows       []CostRow
	Parts      []MonthPartRow
	More       int // parts that are not shown
	Gaps       []OverviewLink
	Files      Files // of the costs
	PartsFiles Files
	Needed     string // link to the parts list
}

// CostRow is a kind of cost by month.
type CostRow struct {
	Name   string
	Months []string
	Sum    string
	Total  bool
}

// MonthPartRow is a part by month.
type MonthPartRow struct {
	Link, Number, What string
	Months             []string
	Sum, Shelf         string
	Out                string // when the shelf is empty; blank = it suffices
	Price, Cost        string
}

// OverviewWear is how fast groups wear, the fastest first.
type OverviewWear struct {
	By      string // "duty"
	Picture *Picture
	Rows    []WearRow
	More    int // groups that are not shown
	Files   Files
}

// WearRow is a group.
type WearRow struct {
	Name, Part, Link  string
	Axles             int
	Median, Low, High string // in units.Reader.WearUnit; middle 80 %
	Few               bool
}

const (
	// overviewParts and overviewGroups are how many rows a table shows on the
	// page; its file has all.
	overviewParts  = 15
	overviewGroups = 15
	// fewAxles is below which a spread says little: its ends would be single
	// axles. Judgement.
	fewAxles = 5
)

// overviewQuery reads the fleet and the depot asked for.
func (d *Dashboard) overviewQuery(c *gin.Context) (q store.OverviewQuery, err error) {
	if q.Fleet, err = queryID(c, "fleet"); err == nil {
		q.Depot, err = queryID(c, "depot")
	}
	return q, err
}

func (d *Dashboard) overview(c *gin.Context) error {
	tell := reader(c)
	q, err := d.overviewQuery(c)
	if err != nil {
		return err
	}
	p := OverviewPage{Shell: Shell{Title: "Overview", Place: "overview", Cautions: true}, Plan: "/plan"}
	if _, p.Fleets, err = d.fleetChoice(c); err != nil {
		return err
	}
	if q.Depot, p.Depots, err = d.depotOfFleet(c, q.Fleet); err != nil {
		return err
	}
	o, at, err := d.svc.OverviewSoon(c.Request.Context(), d.scope(c), q)
	if err != nil {
		return err
	}
	p.AsOf = tell.Day(o.AsOf)
	if !at.IsZero() {
		p.Again = c.Request.URL.RequestURI()
		p.Stale = at.In(tell.Clock()).Format("15:04:05 MST")
	}
	if p.Empty = emptyOverview(o); p.Empty != nil {
		return d.send(c, http.StatusOK, "overview", p)
	}
	x := overviewLinks{q, o.AsOf}
	p.Figures = overviewFigures(tell, o)
	p.Now, p.Late = x.now(tell, o), x.late(o)
	p.Short = shortWords(&o.Short)
	if q.Depot != 0 {
		p.Plan = "/plan" + query{}.with("depot", strconv.FormatInt(q.Depot, 10)).encode()
	}
	p.Trend = x.trend(tell, o)
	p.Left = x.left(o)
	p.Weeks = x.weeks(tell, o)
	p.ByDepot = x.depots(o)
	p.Cost = x.cost(o)
	p.Wear = []OverviewWear{x.wear(tell, o, store.WearByDuty), x.wear(tell, o, store.WearByDepot)}
	return d.send(c, http.StatusOK, "overview", p)
}

func emptyOverview(o *pipeline.Overview) *Empty {
	switch {
	case o.Left.Measured() > 0:
		return nil
	case o.Left.Axles == 0:
		return &Empty{Title: "No axles here yet", Text: "The overview fills itself from files: which vehicles there are, what their axles are specified for, and what was measured.", Steps: true}
	}
	return &Empty{
		Title: plural(o.Left.Axles, "axle", "axles") + ", none of them measured",
		Text:  "Hand in what was measured; the overview follows from the forecasts of the axles.",
		Link:  "/readings", Label: "Take readings in",
	}
}

// overviewLinks makes the tables of an overview with the links behind them.
type overviewLinks struct {
	query store.OverviewQuery
	today fleet.Date
}

// place is the fleet and depot asked for, as the query of a link.
func (x *overviewLinks) place() query {
	q := query{}
	if x.query.Fleet != 0 {
		q = q.with("fleet", strconv.FormatInt(x.query.Fleet, 10))
	}
	if x.query.Depot != 0 {
		q = q.with("depot", strconv.FormatInt(x.query.Depot, 10))
	}
	return q
}

// due is the due-soon list of those axles that n leaves.
func (x *overviewLinks) due(n Narrow, sort store.DueSort) string {
	return "/" + n.keep(x.place()).with("within", "0").with("sort", string(sort)).encode()
}

func (x *overviewLinks) files(name string) Files {
	keep := x.place().encode()
	return Files{CSV: "/overview/" + name + ".csv" + keep, XLSX: "/overview/" + name + ".xlsx" + keep}
}

func overviewFigures(tell units.Reader, o *pipeline.Overview) []OverviewFigure {
	last := o.Weeks[len(o.Weeks)-1].To
	sum := o.Past
	for i := range o.Weeks {
		w := &o.Weeks[i]
		sum.Expected += w.Expected
		sum.Booked += w.Booked
		sum.ToBook += w.ToBook
		sum.HoursToBook += w.HoursToBook
		sum.HoursFree += w.HoursFree
	}
	measured := o.Left.Measured()
	fs := []OverviewFigure{
		{"At or past the limit now", count(o.Left.Classes[0]), "of " + plural(measured, "measured axle", "measured axles")},
		{"Limits reached by " + tell.DayNear(last, o.AsOf), about(sum.Expected), about(sum.Booked) + " of them booked"},
		{"To be booked by then", count(sum.ToBook), hoursAbout(sum.HoursToBook) + " of work; " + hoursAbout(sum.HoursFree) + " are free"},
	}
	for _, k := range currencies(o) {
		total := 0.
		for i := range o.Months {
			for _, m := range o.Months[i].Costs {
				if m.Currency == k {
					total += m.Sum()
				}
			}
		}
		fs = append(fs, OverviewFigure{"Cost to " + tell.DayNear(o.Months[len(o.Months)-1].To, o.AsOf), money(k, total), "as far as prices are known"})
	}
	return fs
}

// currencies are those that there are costs in.
func currencies(o *pipeline.Overview) (ks []string) {
	seen := map[string]bool{}
	for i := range o.Months {
		for _, m := range o.Months[i].Costs {
			if !seen[m.Currency] {
				seen[m.Currency] = true
				ks = append(ks, m.Currency)
			}
		}
	}
	return ks
}

// about is an expected number, no more exact than it is of use.
func about(x float64) string {
	switch {
	case x < worthSaying:
		return "0"
	case x < 9.95:
		return strconv.FormatFloat(x, 'f', 1, 64)
	}
	return units.Thousands(int64(math.Round(x)))
}

// hoursAbout is an expected time of work.
func hoursAbout(x float64) string { return about(x) + "\u00a0h" }

// shortWords say where the hours do not suffice; nothing where they do.
func shortWords(s *pipeline.HoursShort) (says []string) {
	if s.TooFew < worthSaying {
		return nil
	}
	if s.NoHours >= worthSaying {
		says = append(says, fmt.Sprintf("%s of the %s limits expected on axles that are not booked fall in weeks in which their depot has no free hours.", about(s.NoHours), about(s.Expected)))
	}
	if more := s.TooFew - s.NoHours; more >= worthSaying {
		says = append(says, fmt.Sprintf("%s fall in weeks in which their depot has some, but fewer than they need.", about(more)))
	}
	return append(says, "A proposal books them ahead of these weeks as far as there are hours.")
}

// worthSaying is the expected number of axles below which nothing is said.
const worthSaying = .05

func (x *overviewLinks) left(o *pipeline.Overview) OverviewLeft {
	l := OverviewLeft{Files: x.files("left")}
	if ch := chart.LiningLeft(o.Left.Classes); ch != nil {
		l.Picture = newPicture("Axles by the share of usable thickness left", ch)
	}
	measured := o.Left.Measured()
	for i, n := range o.Left.Classes {
		class := store.LeftClasses[i]
		row := LeftRow{Name: capital(leftWords(class)), Axles: n, Share: shareOf(n, measured)}
		if n > 0 {
			row.Link = x.due(Narrow{Measured: "yes", Left: class}, store.ByThicknessLeft)
		}
		l.Rows = append(l.Rows, row)
	}
	if n := o.Left.Unmeasured; n > 0 {
		l.Apart = append(l.Apart, OverviewLink{
			Text:  plural(n, "axle has", "axles have") + " no reading that says what is left: not in the picture, nor in anything below.",
			Link:  x.due(Narrow{Measured: "no"}, store.ByVehicle),
			Label: "Show " + map[bool]string{true: "it", false: "them"}[n == 1],
		})
	}
	if n := o.Left.NoForecast; n > 0 {
		l.Apart = append(l.Apart, OverviewLink{
			Text:  plural(n, "axle has", "axles have") + " no forecast: no specification is known, or the next refit brings it.",
			Link:  "/vehicles" + x.place().encode(),
			Label: "Vehicles",
		})
	}
	return l
}

// now says what was to be booked by today.
func (x *overviewLinks) now(tell units.Reader, o *pipeline.Overview) *OverviewLink {
	if o.Past.ToBook == 0 {
		return nil
	}
	return &OverviewLink{
		Text: fmt.Sprintf("%s without a booking, to be booked by today at the latest: %s of work, and %s are free until %s.",
			plural(o.Past.ToBook, "axle is", "axles are"), hoursAbout(o.Past.HoursToBook), hoursAbout(o.Weeks[0].HoursFree), dayNear(tell, o.Weeks[0].To, x.today)),
		Link:  x.unbooked(Narrow{Measured: "yes", DueTo: &x.today}),
		Label: "Show them",
	}
}

// late says what is booked too late.
func (x *overviewLinks) late(o *pipeline.Overview) *OverviewLink {
	if o.Late.Axles == 0 {
		return nil
	}
	return &OverviewLink{
		Text: fmt.Sprintf("%s booked for a day after the one to book by. Expected to reach the limit before that day: %s.",
			plural(o.Late.Axles, "axle is", "axles are"), about(o.Late.Expected)),
		Link:  x.due(Narrow{Measured: "yes", Late: true}, store.ByBookBy),
		Label: "Show " + map[bool]string{true: "it", false: "them"}[o.Late.Axles == 1],
	}
}

// unbooked is the due-soon list of those axles that n leaves and that have no
// booking.
func (x *overviewLinks) unbooked(n Narrow) string {
	return x.due(n, store.ByBookBy) + "&booked=no"
}

func (x *overviewLinks) weeks(tell units.Reader, o *pipeline.Overview) OverviewWeeks {
	w := OverviewWeeks{Files: x.files("weeks")}
	spans := append([]pipeline.LimitSpan{o.Past}, o.Weeks...)
	var drawn []chart.Span
	lack := 0. // hours that all weeks so far are short of
	for i := range spans {
		s := &spans[i]
		row := LimitsRow{
			Name:     daysWords(tell, s.From, s.To),
			Expected: about(s.Expected),
			Booked:   about(s.Booked),
			EvenOdds: s.EvenOdds,
			ToBook:   s.ToBook,
			Needed:   about(s.HoursToBook),
			Free:     about(s.HoursFree),
		}
		n := Narrow{Measured: "yes", From: &s.From, To: &s.To}
		book := Narrow{Measured: "yes", DueFrom: &s.From, DueTo: &s.To}
		if s.From == 0 {
			row.Name, row.Free, n.From = "By now", "–", nil
			book.DueFrom, book.DueTo = nil, &x.today
			lack = s.HoursToBook
		} else if lack += s.HoursToBook - s.HoursFree; lack >= worthSaying {
			row.Short = about(lack) + " too few"
		}
		if s.EvenOdds > 0 {
			row.Link = x.due(n, store.ByLimitDate)
		}
		if s.From == x.today {
			tomorrow := x.today + 1 // what is due today is due now
			book.DueFrom = &tomorrow
		}
		if s.ToBook > 0 {
			row.BookLink = x.unbooked(book)
		}
		w.Rows = append(w.Rows, row)
		drawn = append(drawn, chart.Span{From: s.From, To: s.To, Expected: s.Expected, Booked: s.Booked, Needed: s.HoursToBook, Free: s.HoursFree})
	}
	if ch := chart.Limits(tell, drawn); ch != nil {
		w.Limits = newPicture("Limits reached, by week", ch)
	}
	w.Waiting = waitingWords(tell, o)
	if w.Waiting != "" {
		w.Wait, w.WaitGaps, w.WaitFiles = waitRows(tell, o), waitGaps(o), x.files("waiting")
	}
	if ch := chart.Hours(tell, drawn); ch != nil {
		w.Hours = newPicture("Hours of work to book by then, and hours that are free", ch)
	}
	return w
}

func (x *overviewLinks) wear(tell units.Reader, o *pipeline.Overview, by store.WearGroup) OverviewWear {
	rates := o.Duty
	if by == store.WearByDepot {
		rates = o.Depot
	}
	w := OverviewWear{By: string(by), Files: x.files("wear-" + string(by))}
	var drawn []chart.Range
	names := depotNames(len(rates), func(i int) (int64, string, string) { return rates[i].DepotID, rates[i].Name, rates[i].Fleet })
	for i := range rates {
		r := &rates[i]
		said := func(k int) string { return tell.Rate(string(r.Part), r.MMPer10000[k]) }
		n, link := Narrow{Measured: "yes", Part: r.Part}, *x
		if by == store.WearByDepot {
			link.query.Depot = r.DepotID
		} else {
			n.Duty = &r.Name
		}
		row := WearRow{
			Name: names[i], Part: plurals(r.Part), Axles: r.Axles, Few: r.Axles < fewAxles,
			Link:   link.due(n, store.ByBookBy),
			Median: said(2), Low: said(0), High: said(4),
		}
		if by == store.WearByDuty {
			row.Name = dutyWords(r.Name)
		}
		if row.Few {
			row.Low, row.High = "", ""
		} else {
			drawn = append(drawn, chart.Range{Name: row.Name + ", " + row.Part, N: r.Axles, At: r.MMPer10000})
		}
		if len(w.Rows) == overviewGroups {
			w.More++
			continue
		}
		w.Rows = append(w.Rows, row)
	}
	for i := range drawn {
		for k := range drawn[i].At {
			drawn[i].At[k] = tell.OfRate(linings, drawn[i].At[k])
		}
	}
	title := "Wear rate by " + string(by) + ", the fastest first"
	if ch := chart.Ranges(title, tell.WearAxis(linings), drawn); ch != nil {
		w.Picture = newPicture(title, ch)
	}
	return w
}

// daysWords names the days of a week, as short as a column wants it: 2 – 8 Mar.
func daysWords(tell units.Reader, from, to fleet.Date) string {
	a, b := from.Time(), to.Time()
	switch {
	case from == to:
		return tell.DayShort(to)
	case a.Month() == b.Month() && tell.DayShort(to) == b.Format("2 Jan"):
		return a.Format("2") + " – " + b.Format("2 Jan")
	}
	return tell.DayShort(from) + " – " + tell.DayShort(to)
}

// monthName names a month, or what is left of one.
func monthName(m *pipeline.MonthOutlook) string {
	name := m.From.Time().Format("Jan")
	if m.From.Time().Day() > 1 {
		name = "rest of " + name
	}
	return name
}
