package dashboard

import (
	"errors"
	"fmt"
	"net/http"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/units"
	"brakewear/internal/web"
)

// WorkshopsPage lists the depots, to set their workshops.
type WorkshopsPage struct {
	Shell
	Rows []WorkshopRow
}

// WorkshopRow is a depot in the list.
type WorkshopRow struct {
	Link, Depot, Fleet string
	Bays               string
	Week               string // opening hours in words
	Hours              string // technician hours a week
	Set                bool   // somebody has set it
}

// WorkshopPage sets what a depot's workshop has and what its work costs.
type WorkshopPage struct {
	Shell
	Link     string
	Depot    string
	Fleet    string
	Set      bool
	Saved    bool
	Shown    string // the form, see sinceShown
	Faults   int
	TimeZone Field
	Size     []Field // bays, overtime
	Week     []WeekRow
	Tasks    []TaskRow
	Money    []Field
	Closures []ClosureRow
	Close    []Field // form of a new closure
	Holidays Field   // many at once
}

// WeekRow is a day of the week.
type WeekRow struct {
	Day                        string
	Opens, Closes, Technicians Field
}

// TaskRow is a kind of work with its hours.
type TaskRow struct {
	Label        string
	Light, Heavy Field
}

// ClosureRow is days closed or short of hands.
type ClosureRow struct {
	Days   string
	Hours  string
	Reason string
	Drop   string // address that takes it back
	Booked string // what stands on these days; blank = nothing
	Plan   string // link to where that is
}

var taskWords = map[fleet.Task]string{
	fleet.TaskSetUp:       "Set-up, once a visit",
	fleet.TaskPads:        "Pads of an axle",
	fleet.TaskPadsRotors:  "Pads and rotors of an axle",
	fleet.TaskLinings:     "Linings of an axle",
	fleet.TaskLiningDrums: "Linings and drums of an axle",
	fleet.TaskHoses:       "Hoses of an axle, more",
	fleet.TaskCalipers:    "Calipers of an axle, more",
	fleet.TaskBleed:       "Brake fluid, more",
}

func (d *Dashboard) workshops(c *gin.Context) error {
	ws, err := d.svc.DB.Workshops(c.Request.Context(), d.scope(c), d.svc.Today())
	if err != nil {
		return err
	}
	p := WorkshopsPage{Shell: Shell{Title: "Workshops", Place: "plan"}}
	for i := range ws {
		w := &ws[i]
		hours := 0.
		for _, day := range w.Workshop.Week {
			if day.Open() {
				hours += day.Technicians
			}
		}
		p.Rows = append(p.Rows, WorkshopRow{
			Link:  workshopPath(w.ID),
			Depot: w.Name,
			Fleet: w.Fleet,
			Bays:  plural(w.Workshop.Bays, "bay", "bays"),
			Week:  weekWords(w.Workshop.Week),
			Hours: hoursWords(hours) + " of technicians a week",
			Set:   w.Workshop.Set,
		})
	}
	return d.send(c, http.StatusOK, "workshops", p)
}

func workshopPath(id int64) string { return "/workshops/" + strconv.FormatInt(id, 10) }

// weekWords names the opening hours, days alike together: Mon–Fri 08:00–17:00.
func weekWords(week [7]fleet.WorkDay) string {
	var words []string
	for i := 0; i < 7; {
		k := i
		for k < 6 && week[k+1].Opens == week[i].Opens && week[k+1].Closes == week[i].Closes && week[k+1].Open() == week[i].Open() {
			k++
		}
		if week[i].Open() {
			name := fleet.Weekdays[i][:3]
			if k > i {
				name += "–" + fleet.Weekdays[k][:3]
			}
			words = append(words, fmt.Sprintf("%s %s–%s", name, week[i].Opens, week[i].Closes))
		}
		i = k + 1
	}
	if len(words) == 0 {
		return "closed all week"
	}
	return strings.Join(words, ", ")
}

func (d *Dashboard) workshop(c *gin.Context) error { return d.showWorkshop(c, http.StatusOK, nil) }

// showWorkshop sends the page; f has the form where it comes back with faults.
func (d *Dashboard) showWorkshop(c *gin.Context, status int, f *fields) error {
	tell := reader(c)
	id, err := web.PathID(c, "depot")
	if err != nil {
		return err
	}
	today := d.svc.Today()
	w, err := d.svc.DB.Workshop(c.Request.Context(), d.scope(c), id, today)
	if err != nil {
		return err
	}
	s := &w.Workshop
	p := WorkshopPage{
		Shell:    Shell{Title: "Workshop " + w.Name, Place: "plan", of: place{w.FleetID, id}},
		Link:     workshopPath(id),
		Depot:    w.Name,
		Fleet:    w.Fleet,
		Set:      s.Set,
		Saved:    c.Query("saved") != "",
		Shown:    shownForm(formOf(&w)),
		TimeZone: f.field("time_zone", "Time zone", w.TimeZone),
		Size: []Field{
			f.field("bays", "Bays", strconv.Itoa(s.Bays)),
			f.field("overtime", "Overtime that a day may run to", plain(s.Overtime)).with("h"),
			f.field("fluid_months", "Brake fluid is changed after", strconv.Itoa(s.FluidMonths)).with("months"),
		},
		Money: []Field{
			f.field("currency", "Currency", s.Currency),
			f.field("labour_rate", "An hour of work", plain(s.LabourRate)),
			f.field("overtime_rate", "An hour of overtime", plain(s.OvertimeRate)),
			f.field("visit_cost", "A vehicle coming in at all: brought, fetched, missed at work", plain(s.VisitCost)),
			f.field("set_light", "A set of pads or linings, car or van, where no part tells it", plain(s.SetLight)),
			f.field("set_heavy", "The same, heavy vehicle", plain(s.SetHeavy)),
			f.field("past_light", "Damage expected where an axle comes in past its limit, car or van", plain(s.PastLight)),
			f.field("past_heavy", "The same, heavy vehicle", plain(s.PastHeavy)),
		},
		Close: []Field{
			f.field("first", "First day", "").as("date"),
			f.field("last", "Last day (blank: the same)", "").as("date"),
			f.field("hours", "Technician hours a day (blank: closed)", ""),
			f.field("reason", "Reason", ""),
		},
		Holidays: f.field("holidays", "Public holidays and closed days, a line each: day, then its name", ""),
	}
	for i, day := range s.Week {
		n := strconv.Itoa(i)
		row := WeekRow{
			Day:         fleet.Weekdays[i],
			Opens:       f.field("opens_"+n, fleet.Weekdays[i]+" opens", clockField(day, day.Opens)).as("time"),
			Closes:      f.field("closes_"+n, fleet.Weekdays[i]+" closes", clockField(day, day.Closes)).as("time"),
			Technicians: f.field("technicians_"+n, fleet.Weekdays[i]+" technician hours", plain(day.Technicians)),
		}
		p.Week = append(p.Week, row)
	}
	for _, t := range fleet.Tasks {
		row := TaskRow{
			Label: taskWords[t],
			Light: f.field("light_"+string(t), taskWords[t]+", car or van", plain(s.Hours[t].Light)),
			Heavy: f.field("heavy_"+string(t), taskWords[t]+", heavy", plain(s.Hours[t].Heavy)),
		}
		p.Tasks = append(p.Tasks, row)
	}
	bookings, err := d.closedOver(c, id, w.Closures)
	if err != nil {
		return err
	}
	for _, x := range w.Closures {
		row := ClosureRow{
			Days:   rangeWords(tell, x.First, x.Last, today),
			Hours:  "closed",
			Reason: x.Reason,
			Drop:   fmt.Sprintf("%s/closures/%d/drop", p.Link, x.ID),
		}
		if x.Technicians > 0 {
			row.Hours = hoursWords(x.Technicians) + " a day"
		}
		n := 0
		for _, b := range bookings {
			if x.First <= b.Day && b.Day <= x.Last {
				if n++; n == 1 {
					row.Plan = fmt.Sprintf("/plan?week=%s&depot=%d", b.Day, id)
				}
			}
		}
		if n > 0 {
			row.Booked = plural(n, "booking stands", "bookings stand") + " here"
		}
		p.Closures = append(p.Closures, row)
	}
	if f != nil {
		p.Faults = len(f.faults)
	}
	return d.send(c, status, "workshop", p)
}

// closedOver returns what is booked at a depot from today to the last of its closures.
func (d *Dashboard) closedOver(c *gin.Context, id int64, cs []fleet.Closure) ([]fleet.Booking, error) {
	if len(cs) == 0 {
		return nil, nil
	}
	q := store.BookingQuery{Depot: id, From: d.svc.Today(), States: []fleet.BookingState{fleet.Booked}}
	for _, x := range cs {
		q.To = max(q.To, x.Last)
	}
	return d.svc.DB.Bookings(c.Request.Context(), d.scope(c), q)
}

// with adds the unit behind the input, as the kind of input.
func (x Field) with(unit string) Field { x.Unit = unit; return x }
func (x Field) as(kind string) Field   { x.Type = kind; return x }

func clockField(day fleet.WorkDay, t fleet.Clock) string {
	if day.Closes <= day.Opens {
		return ""
	}
	return t.String()
}

// rangeWords names days from first to last.
func rangeWords(tell units.Reader, first, last, today fleet.Date) string {
	if first == last {
		return dayNear(tell, first, today)
	}
	return dayNear(tell, first, today) + " – " + dayNear(tell, last, today)
}

// dayNear is dateNear with the day of the week: Mon 2 Mar.
func dayNear(tell units.Reader, d, today fleet.Date) string {
	return d.Time().Format("Mon ") + tell.DayNear(d, today)
}

// setWorkshop takes the settings in; a form with faults comes back as it was.
func (d *Dashboard) setWorkshop(c *gin.Context) error {
	id, err := web.PathID(c, "depot")
	if err != nil {
		return err
	}
	ctx, sc := c.Request.Context(), d.scope(c)
	f := readFields(c)
	kept, err := d.svc.DB.Workshop(ctx, sc, id, d.svc.Today())
	if err != nil {
		return err
	}
	f.sinceShown(formOf(&kept))
	s := fleet.DefaultWorkshop()
	s.DepotID = id
	s.Bays, s.Overtime, s.FluidMonths = f.whole("bays"), f.number("overtime"), f.whole("fluid_months")
	s.Currency = f.text("currency")
	for name, to := range map[string]*float64{
		"labour_rate": &s.LabourRate, "overtime_rate": &s.OvertimeRate, "visit_cost": &s.VisitCost,
		"set_light": &s.SetLight, "set_heavy": &s.SetHeavy, "past_light": &s.PastLight, "past_heavy": &s.PastHeavy,
	} {
		*to = f.number(name)
	}
	for i := range s.Week {
		n := strconv.Itoa(i)
		s.Week[i] = fleet.WorkDay{Opens: f.clock("opens_" + n), Closes: f.clock("closes_" + n), Technicians: f.number("technicians_" + n)}
	}
	for _, t := range fleet.Tasks {
		s.Hours[t] = fleet.TaskHours{Light: f.number("light_" + string(t)), Heavy: f.number("heavy_" + string(t))}
	}
	for _, x := range s.Faults() {
		f.fault(x.Field, "%s", capital(x.Text))
	}
	zone := f.text("time_zone")
	if err := f.take("time_zone", fleet.ValidTimeZone(zone)); err != nil {
		return err
	}
	if !f.ok() {
		return d.showWorkshop(c, http.StatusBadRequest, f)
	}
	err = d.svc.ChangeWorkshop(ctx, sc, d.who(c), &kept, s, zone)
	if errors.Is(err, store.ErrMeanwhile) {
		return d.setWorkshop(c) // against what is kept now
	}
	if err != nil {
		return err
	}
	c.Redirect(http.StatusSeeOther, workshopPath(id)+"?saved=1")
	return nil
}

// addClosure adds closed days: one range, or a pasted list of holidays.
func (d *Dashboard) addClosure(c *gin.Context) error {
	id, err := web.PathID(c, "depot")
	if err != nil {
		return err
	}
	f := readFields(c)
	var cs []fleet.Closure
	if f.text("holidays") != "" {
		cs = readHolidays(f, id)
	} else {
		x := fleet.Closure{DepotID: id, First: f.must("first"), Technicians: f.number("hours"), Reason: f.text("reason")}
		x.Last = x.First
		if last := f.day("last"); last != nil {
			x.Last = *last
		}
		if f.ok() {
			if err := f.take("last", x.Validate()); err != nil {
				return err
			}
		}
		cs = append(cs, x)
	}
	if !f.ok() {
		return d.showClosureFault(c, f)
	}
	if err := d.svc.DB.AddClosures(c.Request.Context(), d.scope(c), cs); err != nil {
		return err
	}
	c.Redirect(http.StatusSeeOther, workshopPath(id)+"#closures")
	return nil
}

// showClosureFault sends the page with the closure's form as it was typed; the
// settings, which are another form, are as they are kept.
func (d *Dashboard) showClosureFault(c *gin.Context, f *fields) error {
	id, err := web.PathID(c, "depot")
	if err != nil {
		return err
	}
	w, err := d.svc.DB.Workshop(c.Request.Context(), d.scope(c), id, d.svc.Today())
	if err != nil {
		return err
	}
	keep := formOf(&w)
	for name, value := range keep {
		c.Request.PostForm.Set(name, value)
	}
	return d.showWorkshop(c, http.StatusBadRequest, f)
}

// formOf is the settings' form as it is kept.
func formOf(w *store.DepotWorkshop) map[string]string {
	s := &w.Workshop
	form := map[string]string{
		"time_zone": w.TimeZone, "bays": strconv.Itoa(s.Bays), "overtime": plain(s.Overtime), "fluid_months": strconv.Itoa(s.FluidMonths),
		"currency": s.Currency, "labour_rate": plain(s.LabourRate), "overtime_rate": plain(s.OvertimeRate), "visit_cost": plain(s.VisitCost),
		"set_light": plain(s.SetLight), "set_heavy": plain(s.SetHeavy), "past_light": plain(s.PastLight), "past_heavy": plain(s.PastHeavy),
	}
	for i, day := range s.Week {
		n := strconv.Itoa(i)
		form["opens_"+n], form["closes_"+n], form["technicians_"+n] = clockField(day, day.Opens), clockField(day, day.Closes), plain(day.Technicians)
	}
	for _, t := range fleet.Tasks {
		form["light_"+string(t)], form["heavy_"+string(t)] = plain(s.Hours[t].Light), plain(s.Hours[t].Heavy)
	}
	return form
}

// readHolidays reads a line for each closed day: the day, then its name.
func readHolidays(f *fields, depotID int64) (cs []fleet.Closure) {
	for i, line := range strings.Split(f.text("holidays"), "\n") {
		line = strings.TrimSpace(line)
		if line == "" {
			continue
		}
		day, name, _ := strings.Cut(strings.NewReplacer(";", " ", ",", " ", "\t", " ").Replace(line), " ")
		d, err := fleet.ParseDate(day)
		if err != nil {
			f.fault("holidays", "Line %d: “%s” does not begin with a day such as 2026-12-25", i+1, line)
			continue
		}
		x := fleet.Closure{DepotID: depotID, First: d, Last: d, Reason: strings.TrimSpace(name)}
		if err := x.Validate(); err != nil {
			f.fault("holidays", "Line %d: %v", i+1, err)
			continue
		}
		cs = append(cs, x)
	}
	return cs
}

func (d *Dashboard) dropClosure(c *gin.Context) error {
	id, err := web.PathID(c, "depot")
	if err != nil {
		return err
	}
	closure, err := web.PathNumber(c, "closure", "closure")
	if err != nil {
		return err
	}
	if err := d.svc.DB.DropClosure(c.Request.Context(), d.scope(c), id, closure); err != nil {
		return err
	}
	c.Redirect(http.StatusSeeOther, workshopPath(id)+"#closures")
	return nil
}

// isKind says whether err is of one of the kinds.
func isKind(err error, kinds ...error) bool {
	for _, k := range kinds {
		if errors.Is(err, k) {
			return true
		}
	}
	return false
}
