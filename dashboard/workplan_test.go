package dashboard

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/xuri/excelize/v2"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
	"brakewear/internal/units"
)

// vehicleID is the id of a vehicle of the small world.
func (w *world) vehicleID(t *testing.T, number string) (id int64) {
	t.Helper()
	if _, err := fmt.Sscanf(w.vehiclePath(t, number), "/vehicles/%d", &id); err != nil {
		t.Fatal(err)
	}
	return id
}

// proposed keeps a proposal for the small world by hand: Bus 1 at Harbour on
// Wednesday, and a van that has no place.
func proposed(t *testing.T, w *world) store.Proposal {
	t.Helper()
	cost, chance := 540., .02
	today := w.svc.Today()
	bookBy := today + 10
	visit := store.Visit{
		VehicleID: w.vehicleID(t, "Bus 1"), Advice: store.AdviseBook, Hours: 2.5, Cost: &cost, Chance: &chance, BookBy: &bookBy,
		Slot:    fleet.Slot{DepotID: 1, Day: today + 2, Bay: 1, Starts: 480, Minutes: 150},
		Work:    []fleet.WorkItem{{Axle: 1, Item: fleet.ItemPads, PartNumber: "P 1", Quantity: 1, Reason: "its set"}},
		Why:     "axle 1 is to be booked by 12 Mar",
		Changed: "was on Mon 9 Mar: closed that day",
	}
	none := store.Visit{
		VehicleID: w.vehicleID(t, "=Van <b>3</b>"), Advice: store.AdviseNothing, Slot: fleet.Slot{DepotID: 2},
		Work: []fleet.WorkItem{{Axle: 1, Item: fleet.ItemPads}}, Why: "axle 1: no technician hours are left", Remedy: "2.0 more technician hours at Hill on Tue 3 Mar.",
	}
	p := store.Proposal{FleetID: 1, By: "the clock", AsOf: today, Until: today + 60, Risk: .05, Cost: 10, Bound: 9.9, Visits: []store.Visit{visit, none},
		Figures: store.Figures{Placed: 1, Later: 2, Unplaced: 1, WastedMM: 1.5, Dropped: []string{"Bus 2: it is booked"}, DroppedAt: []int64{2}}}
	if err := w.svc.DB.SaveProposal(t.Context(), auth.AllFleets(), &p, []int64{1, 2}); err != nil {
		t.Fatal(err)
	}
	return p
}

// TestSetAside sets a proposed visit aside with a reason and takes it back. What
// cannot be done comes back to the week and the depot it was sent from, as ticked.
func TestSetAside(t *testing.T) {
	w := small(t)
	id := fmt.Sprint(proposed(t, w).Visits[0].ID)
	form := formAt(t, parse(t, w.get("/plan?week=2026-03-04&depot=1").Body.String()), "/plan/decide?depot=1&week=2026-03-02")
	if got := form.Get("do"); got != "" {
		t.Errorf("Enter on a tick sends %q, want nothing that decides", got)
	}
	rec := w.submit("/plan/decide?depot=1&week=2026-03-02", url.Values{"do": {""}, "visit": {id}, "why": {"driver away"}})
	page := parse(t, rec.Body.String())
	check(t, page, []has{
		{"h1", "Workshop plan 2 Mar – 8 Mar"}, {".fault", "Nothing was decided"}, {"input[name=visit][checked]", "*"},
		{"#aside-why", "*"}, {".run", "These figures are of 2 depots together."}, {".plan-card.is-proposed .card-name", "Bus 1"},
	})
	if why := find(page, "#aside-why"); len(why) != 1 || attr(why[0], "value") != "driver away" {
		t.Error("the reason is not kept")
	}
	check(t, parse(t, w.submit("/plan/decide?week=2026-03-09", url.Values{"do": {"ticked"}}).Body.String()), []has{{"h1", "Workshop plan 9 Mar – 15 Mar"}, {".fault", "Nothing was ticked"}})

	send := func(do string) {
		t.Helper()
		if rec := w.submit("/plan/decide", url.Values{"do": {do}, "visit": {id}, "why": {"driver away"}, "back": {"/plan"}}); rec.Code != http.StatusSeeOther {
			t.Errorf("%s: got status %d: %s", do, rec.Code, rec.Body)
		}
	}
	send("decline")
	check(t, parse(t, w.get("/plan").Body.String()), []has{
		{".entries-list li", "Bus 1 Wed 4 Mar, Harbour by dashboard: driver away"}, {".plan-card.is-proposed", ""}, {"button[value=reopen]", "Take back"},
		{"p.soft", "Proposals keep off these days."},
	})
	if got := attr(find(parse(t, w.get("/plan").Body.String()), "button[value=reopen]")[0], "aria-label"); got != "Take back Bus 1, Wed 4 Mar" {
		t.Errorf("taking back is called %q, want it to begin as it reads and to say of what", got)
	}
	send("reopen")
	check(t, parse(t, w.get("/plan").Body.String()), []has{{".plan-card.is-proposed .card-name", "Bus 1"}, {"button[value=reopen]", ""}})
}

// TestSetAsideWithdrawal sets aside that a booking come off the plan: the page says
// that it stays, and nothing of days that are kept off.
func TestSetAsideWithdrawal(t *testing.T) {
	w := small(t)
	all := auth.AllFleets()
	b, err := w.svc.Book(t.Context(), all, "N. N.", pipeline.ByHand{VehicleID: w.vehicleID(t, "Bus 1"), Axles: []int{1}, Slot: fleet.Slot{DepotID: 1, Day: w.svc.Today() + 2}})
	if err != nil {
		t.Fatal(err)
	}
	p := store.Proposal{FleetID: 1, By: "the clock", AsOf: w.svc.Today(), Until: w.svc.Today() + 60, Visits: []store.Visit{
		{VehicleID: b.VehicleID, Advice: store.AdviseWithdraw, BookingID: b.ID, Slot: b.Slot, Work: b.Work, Why: "nothing is left to do"},
	}}
	if err := w.svc.DB.SaveProposal(t.Context(), all, &p, []int64{1}); err != nil {
		t.Fatal(err)
	}
	if err := w.svc.DB.DeclineVisits(t.Context(), all, "N. N.", "", []int64{p.Visits[0].ID}); err != nil {
		t.Fatal(err)
	}
	page := parse(t, w.get("/plan").Body.String())
	check(t, page, []has{{".entries-list li", "Bus 1 Wed 4 Mar, Harbour: take the booking off the plan by N. N."}, {"p.soft", "A booking that was to come off the plan stays on it."}})
	if got := text(page); strings.Contains(got, "keep off") {
		t.Errorf("got %q, and proposals keep off no day", got)
	}
}

// whatPlanned saves a run of the depots given that proposes nothing.
func whatPlanned(t *testing.T, w *world, depots ...int64) {
	t.Helper()
	p := store.Proposal{FleetID: 1, By: "N. N.", AsOf: w.svc.Today(), Until: w.svc.Today() + 3650, Figures: store.Figures{Unmeasured: 99}}
	if err := w.svc.DB.SaveProposal(t.Context(), auth.AllFleets(), &p, depots); err != nil {
		t.Fatal(err)
	}
}

// TestPlanOfADepot has somebody who plans one depot, and sees what the case says,
// look at runs of that depot, of another and of all.
func TestPlanOfADepot(t *testing.T) {
	w := small(t)
	// As somebody sees it who plans the depot, and sees that of the other grant.
	seen := func(depot int64, more ...auth.Grant) *world {
		who := *w
		who.handler = w.asWho(t, auth.Who{Account: 1, Name: tester, Session: 1, Grants: append(more, auth.Grant{Role: auth.Planner, FleetID: 1, DepotID: depot})})
		return &who
	}
	harbour, hill, both := seen(1), seen(2), seen(1, auth.Grant{Role: auth.Technician, FleetID: 1})
	proposed(t, w)
	for _, c := range []struct {
		name    string
		w       *world
		path    string
		planned []int64 // by a new run; nil = the one before
		figures string  // are of; blank = nothing is said
		dropped bool    // the run tells of a vehicle of Hill
	}{
		{"all of all", w, "/plan", nil, "", true},
		{"one of all", w, "/plan?depot=2", nil, "2 depots together", true},
		{"Harbour's planner of all", harbour, "/plan", nil, "2 depots together", false},
		{"Hill's planner of all", hill, "/plan", nil, "2 depots together", true},
		{"all of Harbour's", w, "/plan", []int64{1}, "Harbour alone", false},
		{"Harbour of Harbour's", w, "/plan?depot=1", nil, "", false},
		{"Hill of Harbour's", w, "/plan?depot=2", nil, "Harbour alone", false},
		{"Harbour's planner of their own", harbour, "/plan", nil, "", false},
		{"Hill's planner of Harbour's", hill, "/plan", nil, "another depot alone", false},
		{"who does not say", w, "/plan", []int64{}, "all the depots that it planned", false},
	} {
		if c.planned != nil {
			whatPlanned(t, w, c.planned...)
		}
		got := text(find(parse(t, c.w.get(c.path).Body.String()), ".run")[0])
		_, of, _ := strings.Cut(got, "These figures are of ")
		if of, _, _ = strings.Cut(of, "."); of != c.figures {
			t.Errorf("%s: got figures of %q, want of %q", c.name, of, c.figures)
		}
		if strings.Contains(got, "Bus 2: it is booked") != c.dropped {
			t.Errorf("%s: got %q, want Bus 2 told of: %v", c.name, got, c.dropped)
		}
	}
	// What could not be decided comes back on the page of all that they see.
	page := parse(t, both.submit("/plan/decide", url.Values{"do": {""}}).Body.String())
	check(t, page, []has{{".fault", "Nothing was decided"}, {".shift .where", "Harbour"}, {".shift .where", "Hill"}, {"select[name=depot]", "Hill"}, {".unplaced", "=Van"}})
}

// TestToMeasureFirst follows the figure of axles that nobody measured to a list of
// as many, whatever the run counted when it was made.
func TestToMeasureFirst(t *testing.T) {
	w := small(t)
	w.takeIn(t, "vehicles.csv", "vehicle,fleet,depot,category,duty\nBus 4,Ferry Lines,Hill,M3,city\nBus 5,Ferry Lines,Harbour,M3,city\n")
	w.takeIn(t, "axles.csv", "vehicle,axle,brake,pad_new_mm,pad_limit_mm\nBus 4,1,disc,20,3\nBus 4,2,disc,20,3\nBus 5,1,disc,20,3\nBus 5,2,disc,20,3\nBus 5,3,disc,20,3\n")
	var lines strings.Builder // of the first axles
	for _, bus := range []string{"Bus 4", "Bus 5"} {
		fmt.Fprintf(&lines, "%s,2025-03-01,100000,1,pad,left,inner,15.5\n%s,2026-02-01,155000,1,pad,left,inner,5.1\n", bus, bus)
	}
	w.takeIn(t, "readings.csv", "vehicle,date,odometer_km,axle,part,side,face,value_mm\n"+lines.String())
	if _, err := w.svc.Refit(t.Context(), auth.AllFleets(), nil, w.svc.Today()); err != nil {
		t.Fatal(err)
	}
	whatPlanned(t, w, 1, 2)
	for path, want := range map[string]string{"/plan": "3", "/plan?depot=1": "2", "/plan?depot=2": "1"} {
		link := find(parse(t, w.get(path).Body.String()), ".figures a")
		if len(link) != 1 {
			t.Errorf("%s: got %d links, want one", path, len(link))
			continue
		}
		if got := text(link[0]); !strings.HasPrefix(got, want+" to measure first") {
			t.Errorf("%s: got %q, want %s", path, got, want)
		}
		check(t, parse(t, w.get(attr(link[0], "href")).Body.String()), []has{{"h1", want + " axle"}})
	}
}

func TestWorkplan(t *testing.T) {
	w := small(t)
	page := parse(t, w.get("/plan").Body.String())
	check(t, page, []has{
		{"h1", "Workshop plan 2 Mar – 8 Mar"}, {"nav a[aria-current]", "Workshop plan"}, {".run", "Nothing has been proposed yet"},
		{".day h2", "Mon 2 Mar"}, {".shift .where", "Hill"}, {".shift-head", "0 h of 8 h"}, {".decide", ""}, {"footer.cautions", "*"},
	})
	if n := len(find(page, ".day")); n != 6 { // the names and five days
		t.Errorf("got %d columns: a weekend on which nothing is open is not shown", n)
	}
	p := proposed(t, w)
	page = parse(t, w.get("/plan").Body.String())
	check(t, page, []has{
		{".run", "Proposed 2 Mar, 09:00 UTC by the clock"}, {".figures", "1 axle with a place"}, {".figures", "at most 1 % dearer than the best"},
		{".run details li", "Bus 1: was on Mon 9 Mar: closed that day"}, {".run details li", "Bus 2: it is booked, so it is off the proposal"},
		{".plan-card.is-proposed .card-name", "Bus 1"}, {".plan-card .when", "08:00–10:30, bay 1 · 2.5 h"}, {".plan-card .todo", "axle 1: pads"},
		{".plan-card .small-lane svg[role=img] .peg", "*"}, {".plan-card", "about 540"}, {".plan-card .why", "Axle 1 is to be booked by 12 Mar."},
		{".unplaced", "=Van <b>3</b>"}, {".unplaced .remedy", "2.0 more technician hours"}, {".unplaced b b", ""},
		{".decide", "Accept the one proposed visit"},
	})
	// On the due-soon list it is proposed, with no peg.
	check(t, parse(t, w.get("/?q=bus+1").Body.String()), []has{{".row .peg-link", "proposed for Wed 4 Mar, about 540"}, {".row .peg", ""}})

	for _, c := range []struct {
		form   url.Values
		status int
		say    string
	}{
		{url.Values{"do": {"ticked"}}, http.StatusBadRequest, "Nothing was ticked"},
		{url.Values{"do": {"decline"}}, http.StatusBadRequest, "Nothing was ticked"},
		{url.Values{"do": {"decline"}, "visit": {fmt.Sprint(p.Visits[0].ID)}, "why": {strings.Repeat("x", 201)}}, http.StatusBadRequest, "Reason: "},
		{url.Values{"do": {"dance"}}, http.StatusBadRequest, "want ticked, all, decline or reopen"},
		{url.Values{"do": {"ticked"}, "visit": {"x"}}, http.StatusBadRequest, ""},
		{url.Values{"do": {"ticked"}, "visit": {fmt.Sprint(p.Visits[0].ID)}, "back": {"/plan?week=2026-03-02"}}, http.StatusSeeOther, ""},
		{url.Values{"do": {"ticked"}, "visit": {fmt.Sprint(p.Visits[0].ID)}}, http.StatusConflict, "accepted the visit of Bus 1"},
	} {
		rec := w.submit("/plan/decide", c.form)
		if rec.Code != c.status || !strings.Contains(text(parse(t, rec.Body.String())), c.say) {
			t.Errorf("%v: got %d %s", c.form, rec.Code, text(parse(t, rec.Body.String())))
		}
	}
	page = parse(t, w.get("/plan").Body.String())
	check(t, page, []has{{".plan-card.is-booked .card-name", "Bus 1"}, {".plan-card.is-proposed", ""}, {".shift-head", "2.5 h of 8 h"}, {".decide", ""}})
	// Booked: the peg, the words and the verdict on the list.
	check(t, parse(t, w.get("/?q=bus+1").Body.String()), []has{
		{".row .lane svg[role=img] .peg", "*"}, {".row .peg-link", "Wednesday, about 540"}, {".row .verdict", "booked for 4 Mar"},
	})
	check(t, parse(t, w.get("/?within=0&booked=yes").Body.String()), []has{{"h1", "1 axle"}})
	check(t, parse(t, w.get("/?within=0&booked=no").Body.String()), []has{{"h1", "3 axles"}})
	check(t, parse(t, w.get("/plan?week=2026-03-12").Body.String()), []has{{"h1", "9 Mar – 15 Mar"}, {".weeks", "This week"}, {".plan-card", ""}})
	check(t, parse(t, w.get("/plan?depot=2").Body.String()), []has{{".shift .where", "Hill"}, {".plan-card", ""}})
	if rec := w.get("/plan?week=soon"); rec.Code != http.StatusBadRequest {
		t.Errorf("a week that is none: got status %d", rec.Code)
	}
}

// A booking that comes back with a fault shows what its page shows: all that is seen,
// not what may be changed.
func TestBookingComesBackWhole(t *testing.T) {
	w := small(t)
	van := w.vehicleID(t, "=Van <b>3</b>") // of Hill
	b, err := w.svc.Book(t.Context(), auth.AllFleets(), "N. N.", pipeline.ByHand{VehicleID: van, Axles: []int{1}, Slot: fleet.Slot{DepotID: 1, Day: w.svc.Today() + 2}})
	if err != nil {
		t.Fatal(err)
	}
	who := *w
	who.handler = w.asWho(t, auth.Who{Account: 1, Name: tester, Session: 1, Grants: []auth.Grant{{Role: auth.Planner, FleetID: 1, DepotID: 1}, {Role: auth.Technician, FleetID: 1}}})
	path := bookingLink(b.ID)
	want := []has{{"a[href=" + vehicleLink(van) + "]", "*"}}
	check(t, parse(t, who.get(path).Body.String()), want)
	rec := who.submit(path+"/move", url.Values{"day": {"soon"}})
	if rec.Code != http.StatusConflict {
		t.Errorf("got status %d", rec.Code)
	}
	check(t, parse(t, rec.Body.String()), want)
}

// A booking by hand is made, moved and ended by forms that keep what was typed.
func TestBookingForms(t *testing.T) {
	w := small(t)
	bus := fmt.Sprint(w.vehicleID(t, "Bus 1"))
	page := parse(t, w.get("/bookings/new?vehicle="+bus).Body.String())
	check(t, page, []has{{"h1", "Book Bus 1"}, {".checks", "axle 1, book by"}, {"select[name=depot] option[selected]", "Harbour"}})
	form := formAt(t, page, "/bookings")
	form.Set("note", "bring the key")
	rec := w.submit("/bookings", form)
	check(t, parse(t, rec.Body.String()), []has{{".fault", "2 fields"}, {"#w-day", "Give a day"}, {".wrong", "Tick an axle"}})
	form["axle"] = []string{"1", "2"}
	form.Set("day", "2026-03-07")
	// Faults have days as who reads them has.
	abroad := w.seenBy(t, "abroad", units.Reader{DaysAs: units.ISO})
	check(t, parse(t, abroad.submit("/bookings", form).Body.String()), []has{{"#w-day", "Harbour is closed on 2026-03-07"}})
	rec = w.submit("/bookings", form)
	check(t, parse(t, rec.Body.String()), []has{{"#w-day", "Harbour is closed on 7 Mar 2026"}, {"input[name=axle][checked]", "*"}})
	if got := formAt(t, parse(t, rec.Body.String()), "/bookings").Get("note"); got != "bring the key" {
		t.Errorf("the note is lost: %q", got)
	}
	form.Set("day", "2026-03-02")
	if rec = w.submit("/bookings", form); rec.Code != http.StatusSeeOther {
		t.Fatalf("got status %d: %s", rec.Code, rec.Body)
	}
	at := rec.Header().Get("Location")
	page = parse(t, w.get(at).Body.String())
	check(t, page, []has{
		{"h1", "Bus 1"}, {".state", "booked, kept by a person"}, {"table tbody", "axle 2"}, {".small-lane .peg", "*"},
		{"form[action=/cards]", "Open its job card"}, {"main", "booked by dashboard for Mon 2 Mar, 08:00, Harbour"},
	})
	// The form says what is booked, and books no axle twice.
	check(t, parse(t, w.get("/bookings/new?vehicle="+bus).Body.String()), []has{{".checks", "axle 1, book by 11 Mar, booked for Mon 2 Mar"}})
	form.Set("day", "2026-03-03")
	check(t, parse(t, w.submit("/bookings", form).Body.String()), []has{{".wrong", "Axle 1 is booked for 2 Mar 2026 at Harbour already: move that booking, or take it off the plan"}, {"input[name=axle][checked]", "*"}})
	check(t, parse(t, w.get("/plan/day?depot=1&day=2026-03-02").Body.String()), []has{
		{"h1", "Harbour, Monday 2 Mar 2026"}, {".sheet-job h2", "Bay 1, 08:00–12:00 Bus 1"}, {".sheet-job", "bring the key"}, {"footer.cautions", "*"},
	})
	for _, c := range []struct {
		path   string
		form   url.Values
		status int
		say    string
	}{
		{"/move", url.Values{"day": {"2026-02-27"}}, http.StatusConflict, "27 Feb 2026 has gone by"},
		{"/move", url.Values{"day": {"2026-03-08"}}, http.StatusConflict, "Harbour is closed on 8 Mar 2026"},
		{"/move", url.Values{"day": {"2026-03-03"}, "starts": {"16:00"}}, http.StatusConflict, "and the job takes 4 h"},
		{"/move", url.Values{"day": {"2026-03-03"}, "starts": {"09:00"}, "why": {"the driver asked, 3 mm on 5 Mar"}}, http.StatusSeeOther, "from Mon 2 Mar 08:00, Harbour to Tue 3 Mar 09:00, Harbour: the driver asked, 3 mm on 5 Mar"},
		{"/done", url.Values{}, http.StatusConflict, "cannot be done before"},
		{"/move", url.Values{"day": {"2026-03-02"}}, http.StatusSeeOther, ""},
		{"/note", url.Values{"note": {"new key"}}, http.StatusSeeOther, ""},
		{"/done", url.Values{"odometer": {"far"}}, http.StatusConflict, "“far” is no whole number"},
		{"/missed", url.Values{"why": {"the driver was ill"}}, http.StatusSeeOther, "missed by dashboard: the driver was ill"},
		{"/missed", url.Values{}, http.StatusConflict, "is missed already"},
		{"/eaten", url.Values{}, http.StatusNotFound, ""},
	} {
		rec := w.submit(at+c.path, c.form)
		if rec.Code != c.status {
			t.Errorf("%s %v: got status %d: %s", c.path, c.form, rec.Code, text(parse(t, rec.Body.String())))
			continue
		}
		body := rec.Body.String()
		if rec.Code == http.StatusSeeOther {
			body = w.get(at).Body.String()
		}
		if got := text(parse(t, body)); c.path != "/missed" && c.path != "/done" && !strings.Contains(got, c.say) || c.status == http.StatusSeeOther && !strings.Contains(got, c.say) {
			t.Errorf("%s %v: got %q, want %q in it", c.path, c.form, got, c.say)
		}
	}
	// Where it was dragged only the first fault of the form is said, every time.
	for range 8 {
		req := httptest.NewRequest("POST", at+"/move", strings.NewReader("day=&starts=noon&bay=front&depot=none"))
		req.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		req.Header.Set("Accept", "application/json")
		rec := httptest.NewRecorder()
		w.handler.ServeHTTP(rec, req)
		if !strings.Contains(rec.Body.String(), "Give a day") {
			t.Fatalf("four faults: got %s, want that of the day", rec.Body)
		}
	}
	if rec := w.get("/bookings/99"); rec.Code != http.StatusNotFound {
		t.Errorf("no such booking: got status %d", rec.Code)
	}
	// A form comes back only to a page of ours.
	for back, want := range map[string]string{"/plan?week=2026-03-02": "/plan?week=2026-03-02", "//evil.example": "/bookings/", "https://evil.example": "/bookings/", `/\evil.example`: "/bookings/"} {
		form.Set("day", "2026-03-09")
		made := w.submit("/bookings", form).Header().Get("Location")
		rec := w.submit(made+"/withdrawn", url.Values{"back": {back}})
		if got := rec.Header().Get("Location"); !strings.HasPrefix(got, want) {
			t.Errorf("back to %q: went to %q", back, got)
		}
	}
}

// A booking that nobody ended is asked about, and done starts a new segment.
func TestOverdueBooking(t *testing.T) {
	w := small(t)
	bus := w.vehicleID(t, "Bus 1")
	b, err := w.svc.Book(t.Context(), auth.AllFleets(), "N. N.", pipeline.ByHand{VehicleID: bus, Axles: []int{1}, Slot: fleet.Slot{DepotID: 1, Day: w.svc.Today() - 3}})
	if err != nil {
		t.Fatal(err)
	}
	page := parse(t, w.get("/plan").Body.String())
	check(t, page, []has{{".overdue .card-name", "Bus 1"}, {".overdue .when", "Fri 27 Feb"}})
	check(t, parse(t, w.get("/?q=bus+1").Body.String()), []has{{".peg-link", "was booked for Fri 27 Feb: say what became of it"}})
	if rec := w.submit(bookingLink(b.ID)+"/done", url.Values{"back": {"/plan"}, "odometer": {"157000"}}); rec.Code != http.StatusSeeOther {
		t.Fatalf("got status %d: %s", rec.Code, rec.Body)
	}
	check(t, parse(t, w.get("/plan").Body.String()), []has{{".overdue", ""}})
	check(t, parse(t, w.get(w.vehiclePath(t, "Bus 1")).Body.String()), []has{{"#axle-1 .fitted", "new pad"}})
}

// The days gone by of the present week are behind a link on a phone, and there.
func TestPlanFromToday(t *testing.T) {
	w := small(t)
	w.svc.Now = func() time.Time { return now.AddDate(0, 0, 2) } // Wednesday
	page := parse(t, w.get("/plan").Body.String())
	check(t, page, []has{{"a.gone[href=#days]", "2 days of this week gone by"}, {".from-today .is-past", "Mon 2 Mar"}, {".is-today", "Wed 4 Mar"}})
	if got := len(find(page, ".is-past")); got != 2 {
		t.Errorf("got %d days gone by, want 2", got)
	}
	check(t, parse(t, w.get("/plan?week=2026-02-23").Body.String()), []has{{".gone", ""}, {".from-today", ""}})
}

func TestPlanFiles(t *testing.T) {
	w := small(t)
	proposed(t, w)
	if _, err := w.svc.Book(t.Context(), auth.AllFleets(), "N. N.", pipeline.ByHand{VehicleID: w.vehicleID(t, "Bus 2"), Axles: []int{1}, Slot: fleet.Slot{DepotID: 2, Day: w.svc.Today()}, Note: "=1+1"}); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		path string
		name string
		want []string // of the rows after the header, comma-joined beginnings
	}{
		{"/plan", "plan", []string{
			"Ferry Lines,Hill,2026-03-02,08:00,10:30,1,2.50,Bus 2,KEA 2,booked,,1,pads",
			"Ferry Lines,Harbour,2026-03-04,08:00,10:30,1,2.50,Bus 1,KEA 1,proposed,book,1,pads,P 1,1,its set; axle 1 is to be booked by 12 Mar,540.00,2026-03-12",
			"Ferry Lines,Hill,,,,,0.00,'=Van <b>3</b>,KEA 3,proposed,unplaced,1,pads",
		}},
		{"/plan/parts", "parts", []string{"Ferry Lines,,pads,,", "Ferry Lines,,pads,,"}},
		{"/due", "to-book", []string{"Bus 2,KEA 2,Ferry Lines,Hill,1,pad,left,inner,"}},
	} {
		rec := w.get(c.path + ".csv")
		rows, err := csv.NewReader(rec.Body).ReadAll()
		if err != nil || rec.Code != http.StatusOK || !strings.Contains(rec.Header().Get("Content-Disposition"), c.name+"-2026-03-02.csv") {
			t.Errorf("%s: %d %v %v", c.path, rec.Code, rec.Header(), err)
			continue
		}
		if len(rows)-1 < len(c.want) {
			t.Errorf("%s: got %d rows: %v", c.path, len(rows), rows)
			continue
		}
		for i, want := range c.want {
			if got := strings.Join(rows[i+1], ","); !strings.HasPrefix(got, want) {
				t.Errorf("%s: got %q, want %q", c.path, got, want)
			}
		}
		// The workbook has the same rows; text needs no apostrophe there.
		rec = w.get(c.path + ".xlsx")
		f, err := excelize.OpenReader(bytes.NewReader(rec.Body.Bytes()))
		if err != nil {
			t.Errorf("%s.xlsx: %d %v", c.path, rec.Code, err)
			continue
		}
		sheet, err := f.GetRows(c.name)
		if err != nil || len(sheet) != len(rows) || strings.Join(sheet[0], ",") != strings.Join(rows[0], ",") {
			t.Errorf("%s.xlsx: got %d rows %v, %v", c.path, len(sheet), sheet[0], err)
		}
		if rec.Header().Get("Content-Type") != "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet" {
			t.Errorf("%s.xlsx: got the type %q", c.path, rec.Header().Get("Content-Type"))
		}
		f.Close()
	}
	if rec := w.get("/plan/parts?from=2026-03-09&to=2026-03-01"); rec.Code != http.StatusBadRequest {
		t.Errorf("days backwards: got status %d", rec.Code)
	}
	check(t, parse(t, w.get("/plan/parts").Body.String()), []has{{"h1", "Parts needed Mon 2 Mar – Mon 27 Apr"}, {".needs tbody", "no part is known to fit"}})
}
