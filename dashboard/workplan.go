package dashboard

import (
	"cmp"
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/units"
	"brakewear/internal/web"
)

// WorkplanPage is the workshops' plan of a week: days across, depots down.
type WorkplanPage struct {
	Shell
	Week     string // in words
	Link     string // of this page, to come back to
	Earlier  string
	Later    string
	This     string // link to the present week; blank on it
	Depot    int64
	Depots   []Choice
	Run      *RunView // the proposal; nil before the first
	Open     int      // proposed visits that can be accepted, of all weeks
	Ticks    bool     // a proposed visit of this week can be ticked
	Decide   string   // where what is ticked goes: it comes back to this week if it cannot be done
	Reason   string   // typed for what is set aside
	Aside    []AsideRow
	AsideFor string   // what proposals make of it
	Said     *Said    // what became of accepting
	Names    []string // of the depots, down
	Days     []PlanDay
	Gone     int // of them before today, where today is one of the week's
	Unplaced []UnplacedRow
	Overdue  []PlanCard // booked for days gone by, and nobody said what became of them
	Elsewhen string     // where the next proposed visit is, when this week has none
	More     int        // depots that are not shown
	Exports  []Choice
	Empty    *Empty
}

// RunView sums a proposal up.
type RunView struct {
	When    string
	Figures []RunFigure
	Changes []string // since the one before, and why
}

// RunFigure is one of a proposal's figures.
type RunFigure struct {
	Text string
	Link string // to the axles counted; blank = none
}

// Said is what became of what was asked.
type Said struct {
	Done   string
	Faults []string
}

// PlanDay is a day of the plan.
type PlanDay struct {
	Title string
	ISO   string
	Today bool
	Past  bool
	Cells []PlanCell
}

// PlanCell is a depot's day.
type PlanCell struct {
	DepotID    int64
	Depot      string
	Closed     string // why there is no work; blank = open
	Used, Free string
	Share      string // of the hours that are used, percent
	Over       bool   // more than there is
	Sheet      string // link to the day sheet
	Cards      []PlanCard
	ISO        string
}

// PlanCard is a booking or a proposed visit.
type PlanCard struct {
	Visit   int64 // of a proposal, to be ticked; 0 = a booking
	Ticked  bool
	Booking int64  // 0 = a visit that is not booked
	Link    string // of the booking, or of the vehicle
	Vehicle string
	When    string // "08:00–10:30, bay 1"
	Day     string // where the card stands outside its day
	Hours   string
	Work    []string // per axle
	Why     string
	Changed string // since the proposal before
	Remedy  string // cheapest way to have it in time, where it is late
	State   string // proposed, booked, done, missed
	Advice  string // what is proposed of it: "move here from Mon 2 Mar"
	Kept    bool
	Lanes   []PlanLane
	Cost    string
	Movable bool
	Quick   bool // done and missed can be said right on the card
}

// PlanLane is an axle's wear lane in small, with the peg of the visit.
type PlanLane struct {
	Axle int
	Lane Lane
}

// UnplacedRow is a vehicle that has no place.
type UnplacedRow struct {
	Link, Vehicle, Depot string
	Work                 []string
	Why, Remedy          string
	BookBy               string
	Changed              string
}

const (
	// planDays are the days that the page shows at once.
	planDays = 7
	// planDepots is how many depots fit under each other.
	planDepots = 24
	// cardAxis is the calendar of the small lanes: from today to where most
	// booked axles' limits lie.
	cardAxis = 120
)

func (d *Dashboard) workplan(c *gin.Context) error { return d.showWorkplan(c, http.StatusOK, nil) }

// showWorkplan sends the page, with what became of what was asked.
func (d *Dashboard) showWorkplan(c *gin.Context, status int, said *Said) error {
	tell := reader(c)
	// Who sends a form may change less than they see: the page shows all of that.
	ctx, sc, today := c.Request.Context(), web.SignedIn(c).Scope(auth.See), d.svc.Today()
	monday, err := weekOf(c, today)
	if err != nil {
		return err
	}
	p := WorkplanPage{Shell: Shell{Title: "Workshop plan", Place: "plan", Cautions: true}, Said: said, Reason: c.PostForm("why")}
	if p.Depot, p.Depots, err = d.depotChoice(c, sc); err != nil {
		return err
	}
	ws, err := d.svc.DB.Workshops(ctx, sc, min(monday, today))
	if err == nil {
		err = d.tellApart(c, len(ws), func(i int) *fleet.Depot { return &ws[i].Depot })
	}
	if err != nil {
		return err
	}
	names := map[int64]string{}
	for i := range ws {
		names[ws[i].ID] = ws[i].Name
	}
	if p.Depot != 0 {
		ws = slices.DeleteFunc(ws, func(w store.DepotWorkshop) bool { return w.ID != p.Depot })
	}
	shown := map[int64]bool{}
	for i := range ws {
		shown[ws[i].ID] = true
	}
	if len(ws) > planDepots {
		p.More = len(ws) - planDepots
		ws = ws[:planDepots]
	}
	p.links(tell, monday, today)
	bookings, err := d.svc.DB.Bookings(ctx, sc, store.BookingQuery{Depot: p.Depot, From: min(monday, today-overdueDays), To: monday + planDays - 1,
		States: []fleet.BookingState{fleet.Booked, fleet.Done, fleet.Missed}})
	if err != nil {
		return err
	}
	visits, err := d.svc.DB.Visits(ctx, sc, store.VisitQuery{Depot: p.Depot, State: store.VisitOpen})
	if err != nil {
		return err
	}
	if p.Run, err = d.runView(c, sc, visits, p.Depot, names, shown); err != nil {
		return err
	}
	if p.Aside, p.AsideFor, err = d.setAside(c, sc, p.Depot); err != nil {
		return err
	}
	draw, err := d.planDrawer(c, sc, bookings, visits, monday, today)
	if err != nil {
		return err
	}
	for i := range ws {
		p.Names = append(p.Names, ws[i].Name)
	}
	for n := range planDays {
		day := monday + fleet.Date(n)
		if pd := draw.day(tell, ws, day); n < 5 || pd.busy() {
			if p.Days = append(p.Days, pd); pd.Today {
				p.Gone = len(p.Days) - 1
			}
		}
	}
	for i := range visits {
		v := &visits[i]
		if v.Advice == store.AdviseNothing {
			p.Unplaced = append(p.Unplaced, unplacedRow(tell, sc, v, today))
			continue
		}
		mine := draw.plans.Sees(v.FleetID, v.DepotID)
		if mine {
			p.Open++
		}
		if mine && v.Day >= monday && v.Day < monday+planDays {
			p.Ticks = true
		}
		if v.Day != 0 && p.Elsewhen == "" {
			p.Elsewhen = p.at(v.Day - fleet.Date(v.Day.Weekday()))
		}
	}
	if p.Elsewhen == p.Link || slices.ContainsFunc(visits, func(v store.Visit) bool { return v.Day >= monday && v.Day < monday+planDays }) {
		p.Elsewhen = ""
	}
	for i := range bookings {
		if b := &bookings[i]; b.State == fleet.Booked && b.Day < today {
			card := draw.booking(tell, b)
			card.Day, card.Quick = dayNear(tell, b.Day, today), draw.plans.Sees(b.FleetID, b.DepotID)
			p.Overdue = append(p.Overdue, card)
		}
	}
	if len(ws) == 0 {
		p.Empty = &Empty{Title: "No workshop yet", Text: "Depots come with the vehicles: hand in a vehicles file that names them.", Link: "/readings", Label: "Take files in"}
	}
	return d.send(c, status, "workplan", p)
}

// overdueDays is how far back the page looks for bookings that nobody ended.
const overdueDays = 60

// weekOf reads the week asked for: any of its days. It returns its Monday.
func weekOf(c *gin.Context, today fleet.Date) (fleet.Date, error) {
	d := today
	if s := c.Query("week"); s != "" {
		var err error
		if d, err = fleet.ParseDate(s); err != nil {
			return 0, fleet.Invalidf("week: %v", err)
		}
	}
	return d - fleet.Date(d.Weekday()), nil
}

// at is the address of a week of the plan.
func (p *WorkplanPage) at(monday fleet.Date) string {
	q := query{}.with("week", monday.String())
	if p.Depot != 0 {
		q = q.with("depot", strconv.FormatInt(p.Depot, 10))
	}
	return "/plan" + q.encode()
}

func (p *WorkplanPage) links(tell units.Reader, monday, today fleet.Date) {
	p.Week = tell.DayNear(monday, today) + " – " + tell.DayNear(monday+planDays-1, today)
	p.Link = p.at(monday)
	p.Decide = "/plan/decide" + strings.TrimPrefix(p.Link, "/plan")
	p.Earlier, p.Later = p.at(monday-planDays), p.at(monday+planDays)
	if now := today - fleet.Date(today.Weekday()); now != monday {
		p.This = p.at(now)
	}
	depot := query{}
	if p.Depot != 0 {
		depot = depot.with("depot", strconv.FormatInt(p.Depot, 10))
	}
	p.Exports = []Choice{
		{Value: "/plan.csv" + depot.encode(), Label: "Plan as CSV"},
		{Value: "/plan.xlsx" + depot.encode(), Label: "Plan as XLSX"},
	}
}

// runView sums the newest proposal up, on a page of the depots shown; names are
// those of all depots that sc sees.
func (d *Dashboard) runView(c *gin.Context, sc auth.Scope, visits []store.Visit, depot int64, names map[int64]string, shown map[int64]bool) (*RunView, error) {
	tell, today := reader(c), d.svc.Today()
	runs, err := d.svc.DB.NewestProposals(c.Request.Context(), sc)
	if err != nil || len(runs) == 0 {
		return nil, err
	}
	var f store.Figures
	var cost, bound float64
	unsaid := false // a run does not say what it plans
	for _, r := range runs {
		f.Placed += r.Figures.Placed
		f.Later += r.Figures.Later
		f.Unplaced += r.Figures.Unplaced
		f.Late += r.Figures.Late
		f.WastedMM += r.Figures.WastedMM
		f.PastLimit += r.Figures.PastLimit
		f.Overtime += r.Figures.Overtime
		f.Unmeasured += r.Figures.Unmeasured
		f.Cut = f.Cut || r.Figures.Cut
		f.Dropped = append(f.Dropped, r.Figures.Dropped...)
		f.Depots = append(f.Depots, r.Figures.Depots...)
		unsaid = unsaid || r.Figures.Depots == nil
		cost += r.Cost
		bound += r.Bound
	}
	newest := runs[0]
	v := &RunView{When: fmt.Sprintf("Proposed %s by %s, to %s, at an accepted risk of %s.",
		tell.AtShort(newest.At), newest.By, tell.DayNear(newest.Until, today), percent(newest.Risk))}
	if s := figuresOf(f.Depots, unsaid, names, shown); s != "" {
		v.When += " These figures are of " + s + "."
	}
	add := func(text string) { v.Figures = append(v.Figures, RunFigure{Text: text}) }
	say := func(n int, one, many string) {
		if n > 0 {
			add(plural(n, one, many))
		}
	}
	say(f.Placed, "axle with a place", "axles with a place")
	say(f.Later, "may wait", "may wait")
	say(f.Unplaced, "without a place", "without a place")
	say(f.Late, "later than its book-by date", "later than their book-by dates")
	if f.Placed+f.Later+f.Unplaced == 0 {
		add("no axle whose forecast asks for a booking by then")
	}
	if f.Unmeasured > 0 {
		// As many as the list behind it has now.
		n, no := Narrow{Measured: "no", DueTo: &newest.Until}, false
		ask, link := store.DueQuery{Depot: depot, Booked: &no, Limit: 1}, query{}.with("booked", "no")
		n.set(&ask, today)
		if depot != 0 {
			link = link.with("depot", strconv.FormatInt(depot, 10))
		}
		list, err := d.svc.DB.DueSoon(c.Request.Context(), sc, ask)
		if err != nil {
			return nil, err
		}
		if list.Total > 0 {
			v.Figures = append(v.Figures, RunFigure{count(list.Total) + " to measure first: no reading of the parts that are on", "/" + n.keep(link).encode()})
		}
	}
	if f.Placed > 0 {
		add(tell.Thickness(linings, f.WastedMM) + " of lining thrown away")
	}
	if f.PastLimit >= .05 {
		add(fmt.Sprintf("%.1f expected past the limit when they come", f.PastLimit))
	}
	if f.Overtime > 0 {
		add(hoursWords(f.Overtime) + " of overtime")
	}
	if cost > 0 && bound > 0 && cost >= bound {
		if gap := (cost - bound) / cost; gap >= .0005 {
			add("at most " + percent(gap) + " dearer than the best plan there can be")
		} else {
			add("no plan is cheaper")
		}
	}
	if f.Cut {
		add("looked for as long as somebody waits; the one made at night is looked for longer")
	}
	for i := range visits {
		if x := &visits[i]; x.Changed != "" {
			v.Changes = append(v.Changes, x.Vehicle+": "+tell.Text(x.Changed, today))
		}
	}
	for _, s := range f.Dropped {
		v.Changes = append(v.Changes, tell.Text(s, today)+", so it is off the proposal")
	}
	return v, nil
}

// figuresOf says which depots a proposal's figures are of, where those are not the
// ones shown; names are those of all depots that one sees. Where it is unsaid they
// are of whole fleets, or of what somebody planned who saw less.
func figuresOf(planned []int64, unsaid bool, names map[int64]string, shown map[int64]bool) string {
	same := len(planned) == len(shown) && !slices.ContainsFunc(planned, func(id int64) bool { return !shown[id] })
	switch {
	case unsaid:
		return "all the depots that it planned"
	case same:
		return ""
	case len(planned) > 1:
		return plural(len(planned), "depot", "depots") + " together"
	}
	return cmp.Or(names[planned[0]], "another depot") + " alone"
}

func unplacedRow(tell units.Reader, sc auth.Scope, v *store.Visit, today fleet.Date) UnplacedRow {
	row := UnplacedRow{
		Link:    visitLink(sc, v),
		Vehicle: v.Vehicle,
		Depot:   v.Depot,
		Work:    workLines(v.Work),
		Why:     capital(tell.Text(v.Why, today)) + ".",
		Remedy:  cmp.Or(tell.Text(v.Remedy, today), "Nothing that the plan knows of lets it be booked in time."),
		Changed: tell.Text(v.Changed, today),
	}
	if v.BookBy != nil {
		row.BookBy = tell.DayNear(*v.BookBy, today)
	}
	return row
}

// workLines puts the work of a visit into a line for each axle.
func workLines(work []fleet.WorkItem) (lines []string) {
	last := -1
	for _, w := range work {
		if w.Axle == last {
			lines[len(lines)-1] += ", " + w.Item.Words()
			continue
		}
		last = w.Axle
		if w.Axle == 0 {
			lines = append(lines, w.Item.Words())
		} else {
			lines = append(lines, "axle "+strconv.Itoa(w.Axle)+": "+w.Item.Words())
		}
	}
	return lines
}

// busy says whether there is anything to see in the day.
func (p *PlanDay) busy() bool {
	return slices.ContainsFunc(p.Cells, func(x PlanCell) bool { return x.Closed == "" || len(x.Cards) > 0 })
}
