package main

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/gin-gonic/gin"
	"github.com/google/go-cmp/cmp"

	"brakewear/internal/auth"
	"brakewear/internal/demo"
	"brakewear/internal/fleet"
	"brakewear/internal/golden"
	"brakewear/internal/monitor"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
	"brakewear/internal/web"
)

// town is the whole program over the demo's invented fleet and a second one.
type town struct {
	svc     *pipeline.Service
	file    string
	engine  *gin.Engine
	handler http.Handler
}

func newTown(t *testing.T) *town { return townOn(t, storetest.URL(t, store.SQLite)) }

// townOn is the town of a database.
func townOn(t *testing.T, file string) *town {
	t.Helper()
	w := &town{file: file}
	db := storetest.MustOpen(t, w.file)
	now := func() time.Time { return time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC) }
	db.Now = now
	w.svc = &pipeline.Service{DB: db, Now: now, Model: "pooled"}
	e := &env{ctx: t.Context(), stdout: io.Discard, stderr: io.Discard, now: now, log: slog.New(slog.DiscardHandler)}
	var err error
	if w.engine, err = routes(e, w.svc, monitor.New(db, "test", e.log), listening{}, nil); err != nil {
		t.Fatal(err)
	}
	w.handler = web.Protect(w.engine)
	return w
}

// signIn returns the session of a new account.
func (w *town) signIn(t *testing.T, name string, grants ...auth.Grant) string {
	t.Helper()
	secret, err := storetest.SignIn(t.Context(), w.svc.DB, name, grants...)
	if err != nil {
		t.Fatal(err)
	}
	return secret
}

// send sends a request by a session, "" = none, and returns the answer.
func (w *town) send(ctx context.Context, method, path, session string, form string) *httptest.ResponseRecorder {
	r := httptest.NewRequestWithContext(ctx, method, path, strings.NewReader(form))
	if strings.HasPrefix(path, "/api/") {
		r.Header.Set("Content-Type", "application/json")
	} else if strings.HasPrefix(form, "--x") {
		r.Header.Set("Content-Type", "multipart/form-data; boundary=x")
	} else if method != http.MethodGet {
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	}
	if session != "" {
		r.AddCookie(&http.Cookie{Name: web.SessionCookie, Value: session})
	}
	rec := httptest.NewRecorder()
	w.handler.ServeHTTP(rec, r)
	return rec
}

// turnedAway says whether an answer is that of a guard.
func turnedAway(rec *httptest.ResponseRecorder) bool {
	return rec.Code == http.StatusUnauthorized || rec.Code == http.StatusForbidden ||
		rec.Code == http.StatusSeeOther && strings.HasPrefix(rec.Header().Get("Location"), web.SignInPath)
}

var parameter = regexp.MustCompile(`[:*][a-z]+`)

// TestWhoMayDoWhat walks every route of the program as every role and as a
// stranger, and compares who is let in with the table in testdata/rights.txt:
// the one to read, and to change with a reason.
func TestWhoMayDoWhat(t *testing.T) {
	w := newTown(t)
	whole := map[string][]auth.Grant{"no role": {{Role: auth.Admin}}} // which is taken back
	var who []string
	for _, r := range auth.Roles {
		whole[string(r)] = []auth.Grant{{Role: r}}
		who = append(who, string(r))
	}
	// Somebody who runs one fleet of several, and nothing of the installation.
	f := pipeline.File{Name: "vehicles.csv", Body: strings.NewReader("vehicle,fleet,depot\nCart 1,Quarry Carts,Pit\n")}
	if _, _, err := w.svc.TakeIn(t.Context(), auth.AllFleets(), "test", f, fleet.DateOf(w.svc.Now())); err != nil {
		t.Fatal(err)
	}
	whole["admin of a fleet"] = []auth.Grant{{Role: auth.Admin, FleetID: 1}}
	who = append(who, "admin of a fleet", "no role", "nobody")

	var b strings.Builder
	routes := w.engine.Routes()
	slices.SortFunc(routes, func(a, b gin.RouteInfo) int {
		return strings.Compare(a.Path+" "+a.Method, b.Path+" "+b.Method)
	})
	seen := map[string]bool{}
	for _, r := range routes {
		seen[r.Method+" "+r.Path] = true
		// A record that is not there: whoever is let in is told so.
		path := parameter.ReplaceAllString(r.Path, "999999")
		var in []string
		for i, name := range who {
			session := ""
			if name != "nobody" { // signed in anew each time: some routes sign out
				session = w.signIn(t, fmt.Sprintf("p%d-%d", len(seen), i), whole[name]...)
			}
			if name == "no role" {
				storetest.Exec(t, w.file, "update grants set ended_at = given_at where id = (select max(id) from grants)")
			}
			if rec := w.send(t.Context(), r.Method, path, session, ""); !turnedAway(rec) || strings.HasPrefix(r.Path, web.SignInPath) || r.Path == "/sign-out" && session != "" {
				in = append(in, name)
			}
		}
		fmt.Fprintf(&b, "%-6s %s: %s\n", r.Method, r.Path, strings.Join(in, ", "))
	}
	for _, r := range web.Routes {
		if !seen[r.Method+" "+r.Path] {
			t.Errorf("web.Routes has %s %s, which the program has not", r.Method, r.Path)
		}
	}
	golden.Text(t, "testdata/rights.txt", b.String())
}

// records names the parameters of the routes that begin so, the longest
// beginning deciding: a query for a record of the demo's fleet.
var records = map[string]string{
	"/vehicles/:id":                         "select vehicle_id from brake_tests",
	"/vehicles/:id/tests/:test":             "select vehicle_id, id from brake_tests",
	"/vehicles/:id/measured/:upload":        "select vehicle_id, upload_id from brake_tests",
	"/vehicles/:id/charts/:file":            "select vehicle_id, 'axle-1-pad.svg' from brake_tests",
	"/vehicles/:id/days/:kind":              "select vehicle_id, 'away', id from absences",
	"/readings/files/:id":                   "select id from kept_files",
	"/readings/:id":                         "select upload_id from brake_tests",
	"/findings/:id":                         "select id from findings where state = 'open'",
	"/corrections/:kind/:id":                "select 'reading', id from thickness_readings",
	"/corrections/:kind/:id/axle":           "select 'reading', id from thickness_readings where set_aside_at is null",
	"/rules/fleets/:id":                     "select min(id) as id from fleets",
	"/bookings/:id":                         "select id from bookings where state = 'booked'",
	"/bookings/:id/:end":                    "select id, 'withdrawn' from bookings where state = 'booked'",
	"/workshops/:id":                        "select depot_id from workshops",
	"/workshops/:id/closures/:":             "select depot_id, id from closures",
	"/parts/:id":                            "select id from stock_parts",
	"/cards/:id":                            "select id from job_cards",
	"/api/v1/cards/:id":                     "select id from job_cards",
	"/api/v1/people/:id":                    "select id from recipients",
	"/calendars/:id":                        "select id from calendar_feeds",
	"/people/:id":                           "select id from recipients",
	"/accounts/:id":                         "select account_id from grants where fleet_id = 1 and role = 'manager'",
	"/accounts/:id/roles/:role":             "select account_id, id from grants where fleet_id = 1 and role = 'manager'",
	"/account/tokens/:id":                   "select id from api_tokens",
	"/api/v1/vehicles/:id":                  "select vehicle_id from brake_tests",
	"/api/v1/uploads/:id":                   "select upload_id from brake_tests",
	"/api/v1/files/:id":                     "select id from kept_files",
	"/api/v1/findings/:id":                  "select id from findings where state = 'open'",
	"/api/v1/readings/:id":                  "select id from thickness_readings",
	"/api/v1/odometer/:id":                  "select id from odometer_readings",
	"/api/v1/fitments/:id":                  "select id from fitments",
	"/api/v1/readings/:id/move":             "select id from thickness_readings where set_aside_at is null and axle = 1",
	"/api/v1/conditions/:id":                "select id from inspection_conditions",
	"/api/v1/brake_tests/:id":               "select id from brake_tests where set_aside_at is null",
	"/api/v1/fleets/:id":                    "select min(id) as id from fleets",
	"/api/v1/bookings/:id":                  "select id from bookings where state = 'booked'",
	"/api/v1/workshops/:id":                 "select depot_id from workshops",
	"/api/v1/workshops/:id/closures/:":      "select depot_id, id from closures",
	"/api/v1/vehicles/:id/absences/:":       "select vehicle_id, id from absences",
	"/api/v1/vehicles/:id/planned_visits/:": "select vehicle_id, id from planned_visits",
}

// open are the routes with parameters that name no fleet's record.
var open = []string{"/static/", "/link/", "/calendar/", "/templates/", "/rules/sets/", "/overview/", "/api/v1/templates/"}

// at returns the address of a record of the demo's fleet, and false where the
// route names none.
func (w *town) at(t *testing.T, path string) (string, bool) {
	t.Helper()
	if !parameter.MatchString(path) || slices.ContainsFunc(open, func(p string) bool { return strings.HasPrefix(path, p) }) {
		return path, false
	}
	best := ""
	for begins := range records {
		if strings.HasPrefix(path, begins) && len(begins) > len(best) {
			best = begins
		}
	}
	if best == "" {
		t.Fatalf("records has no line for %s", path)
	}
	rows := storetest.Dump(t, w.file, records[best]+" limit 1")
	if len(rows) == 0 {
		t.Fatalf("%s: the demo has none: %s", path, records[best])
	}
	for _, column := range strings.Fields(rows[0]) {
		_, value, _ := strings.Cut(column, "=")
		path = strings.Replace(path, parameter.FindString(path), value, 1)
	}
	return path, true
}

// demoTown is a town in which the demo's fleet has one of every record.
func demoTown(t *testing.T) *town {
	t.Helper()
	file := filepath.Join(t.TempDir(), "town.db")
	if demoTownFile == nil {
		if _, err := makeDemoTown(t).svc.DB.Backup(t.Context(), file); err != nil {
			t.Fatal(err)
		}
		var err error
		if demoTownFile, err = os.ReadFile(file); err != nil {
			t.Fatal(err)
		}
		return townOn(t, file)
	}
	if err := os.WriteFile(file, demoTownFile, 0o600); err != nil {
		t.Fatal(err)
	}
	return townOn(t, file)
}

// demoTownFile is the database of makeDemoTown, made once for the process.
var demoTownFile []byte

func makeDemoTown(t *testing.T) *town {
	t.Helper()
	w := newTown(t)
	ctx, sc, svc := t.Context(), auth.AllFleets(), w.svc
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	must(demo.TakeIn(ctx, svc, demo.Island(svc.Today())))
	_, err := svc.Refit(ctx, sc, nil, svc.Today())
	must(err)
	must(demo.Plan(ctx, svc))
	vehicles, err := svc.DB.Vehicles(ctx, sc, store.VehicleQuery{Text: "Bus 112"})
	must(err)
	bus := vehicles.Rows[0]
	_, err = svc.OpenCardFor(ctx, sc, "test", bus.ID, []fleet.WorkItem{{Axle: 1, Item: fleet.ItemPads}})
	must(err)
	workshops, err := svc.DB.Workshops(ctx, sc, svc.Today())
	must(err)
	depot, first, last := workshops[0].ID, svc.Today()+30, svc.Today()+31
	must(svc.DB.AddClosures(ctx, sc, []fleet.Closure{{DepotID: depot, First: first, Last: last, Reason: "test"}}))
	must(svc.DB.AddAbsence(ctx, sc, fleet.Absence{VehicleID: bus.ID, First: &first, Last: &last, Reason: "test"}))
	_, err = svc.Inspect(ctx, sc, "test", pipeline.Inspection{VehicleID: bus.ID, Date: svc.Today(), Conditions: []fleet.Condition{{Kind: fleet.Noted, Note: "a pin is stiff"}}})
	must(err)
	must(svc.DB.AddPlannedVisit(ctx, sc, fleet.PlannedVisit{VehicleID: bus.ID, Day: first, What: "test"}))
	must(svc.DB.AddCalendarFeed(ctx, sc, &store.CalendarFeed{DepotID: depot}, auth.NewSecret()))
	must(svc.DB.SaveRecipient(ctx, sc, "test", &store.Recipient{Name: "Ann", Address: "ann@example.org", Role: "planner", Everything: true}))
	_, err = svc.HandIn(ctx, sc, "test", pipeline.File{Name: "readings.csv", Body: strings.NewReader(readingsCSV)}, false)
	must(err)
	must(svc.DB.BeginJob(ctx, "backup", "UTC", svc.Now()))
	fleets, err := svc.DB.Fleets(ctx, sc)
	must(err)
	s := w.signIn(t, "islander", auth.Grant{Role: auth.Manager, FleetID: fleets[0].ID})
	who, err := svc.DB.SessionOf(ctx, s)
	must(err)
	must(svc.DB.AddToken(ctx, who, &store.Token{Name: "test", Rights: []auth.Right{auth.See}, Until: svc.Now().Add(time.Hour)}, auth.NewSecret()))
	return w
}

// TestStrangerToAFleet walks every route as somebody who may do everything on
// another fleet: nothing of the demo's fleet shows, and nothing of it changes.
func TestStrangerToAFleet(t *testing.T) {
	w := demoTown(t)
	f := pipeline.File{Name: "vehicles.csv", Body: strings.NewReader("vehicle,fleet,depot\nCart 1,Quarry Carts,Pit\n")}
	if _, _, err := w.svc.TakeIn(t.Context(), auth.AllFleets(), "test", f, w.svc.Today()); err != nil {
		t.Fatal(err)
	}
	var quarry int64
	var names []string // that only the demo's fleet has
	fleets, err := w.svc.DB.Fleets(t.Context(), auth.AllFleets())
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range fleets {
		if f.Name == "Quarry Carts" {
			quarry = f.ID
			continue
		}
		names = append(names, f.Name)
	}
	depots, err := w.svc.DB.Depots(t.Context(), auth.AllFleets())
	if err != nil {
		t.Fatal(err)
	}
	for _, d := range depots {
		if d.FleetID != quarry {
			names = append(names, d.Name)
		}
	}
	names = append(names, "Bus 112")
	stranger := w.signIn(t, "stranger", auth.Grant{Role: auth.Admin, FleetID: quarry})
	all := w.signIn(t, "all", auth.Grant{Role: auth.Admin})

	tables := storetest.Dump(t, w.file, "select name from sqlite_master where type = 'table' and sql like '%fleet_id%'")
	state := func() string {
		var b strings.Builder
		for _, table := range tables {
			_, name, _ := strings.Cut(strings.TrimSpace(table), "=")
			fmt.Fprintln(&b, name, storetest.Dump(t, w.file, fmt.Sprintf("select * from %q where fleet_id <> %d", name, quarry)))
		}
		return b.String()
	}
	before := state()
	for _, r := range w.engine.Routes() {
		rule, _ := web.RuleOf(r.Method, r.Path)
		if rule.Right == auth.Public || rule.Right == auth.Open || r.Path == "/sign-out" {
			continue
		}
		path, ofDemo := w.at(t, r.Path)
		form := "act=set-aside&why=mine&by=me&reason=mine&name=mine&state=done&note=mine&form=absence&first=2026-05-01&last=2026-05-02"
		if strings.HasPrefix(path, "/api/") {
			form = "{}"
		}
		rec := w.send(t.Context(), r.Method, path, stranger, form)
		for _, c := range rec.Result().Cookies() { // the session goes on under another secret
			if c.Name == web.SessionCookie {
				stranger = c.Value
			}
		}
		body := rec.Body.String()
		for _, name := range names {
			if strings.Contains(body, name) {
				t.Errorf("%s %s: shows %q to a stranger", r.Method, path, name)
			}
		}
		if !ofDemo {
			continue
		}
		switch rec.Code {
		case http.StatusNotFound, http.StatusForbidden:
		case http.StatusBadRequest:
			// A form with faults is told so before its record is looked for. That
			// a store method changes nothing of another fleet, its own test shows.
			if r.Method == http.MethodGet {
				t.Errorf("%s %s: got 400 for a stranger, want 404: %.300s", r.Method, path, body)
			}
		default:
			t.Errorf("%s %s: got %d for a stranger, want 404: %.300s", r.Method, path, rec.Code, body)
		}
		// The record is there: who may see it does.
		if r.Method == http.MethodGet && rule.Right != auth.Own && r.Path != "/vehicles/:id/measured/:upload" { // the demo has no form sent
			if rec := w.send(t.Context(), r.Method, path, all, ""); rec.Code != http.StatusOK {
				t.Errorf("%s %s: got %d for who may see all", r.Method, path, rec.Code)
			}
		}
	}
	if diff := cmp.Diff(before, state()); diff != "" {
		t.Errorf("a stranger changed another fleet:\n%s", diff)
	}
}

// A check of rows that name another fleet's vehicle says what it says of one that
// is nowhere.
func TestCheckTellsNoStranger(t *testing.T) {
	w := demoTown(t)
	f := pipeline.File{Name: "vehicles.csv", Body: strings.NewReader("vehicle,fleet,depot\nCart 1,Quarry Carts,Pit\n")}
	if _, _, err := w.svc.TakeIn(t.Context(), auth.AllFleets(), "test", f, w.svc.Today()); err != nil {
		t.Fatal(err)
	}
	fleets, err := w.svc.DB.Fleets(t.Context(), auth.AllFleets())
	if err != nil {
		t.Fatal(err)
	}
	quarry := fleets[slices.IndexFunc(fleets, func(f fleet.Fleet) bool { return f.Name == "Quarry Carts" })]
	check := func(name, session, vehicle string) string {
		rec := w.send(t.Context(), http.MethodPost, "/api/v1/checks", session,
			fmt.Sprintf(`[{"vehicle":%q,"date":"2026-03-01","odometer_km":900000}]`, vehicle))
		if rec.Code != http.StatusOK {
			t.Fatalf("%s checks %s: got %d: %s", name, vehicle, rec.Code, rec.Body)
		}
		return strings.ReplaceAll(rec.Body.String(), vehicle, "it")
	}
	stranger := w.signIn(t, "stranger", auth.Grant{Role: auth.Admin, FleetID: quarry.ID})
	nowhere := check("a stranger", stranger, "Bus 999")
	if got := check("a stranger", stranger, "Bus 112"); got != nowhere {
		t.Errorf("of another fleet's vehicle: got %s, want what is said of none: %s", got, nowhere)
	}
	if got := check("who sees all", w.signIn(t, "all", auth.Grant{Role: auth.Admin}), "Bus 112"); got == nowhere {
		t.Errorf("who sees it is told the same: %s", got)
	}
}
