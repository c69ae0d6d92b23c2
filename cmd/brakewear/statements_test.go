package main

import (
	"cmp"
	"fmt"
	"log/slog"
	"maps"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"testing"

	"brakewear/api"
	"brakewear/dashboard"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
	"brakewear/internal/web"
)

// addresses are what is asked of each address that is read, by its route. A new
// page has to have a line here; blank is for what no database is asked about.
var addresses = map[string]string{
	"/":                                "?within=0",
	"/due.csv":                         "?within=0",
	"/due.xlsx":                        "?within=0",
	"/overview":                        "",
	"/overview/:file":                  "weeks.csv",
	"/vehicles":                        "",
	"/vehicles/:id":                    "1",
	"/vehicles/:id/card":               "1",
	"/vehicles/:id/charts/:file":       "1 axle-1-pad.svg",
	"/vehicles/:id/days":               "1",
	"/vehicles/:id/limits":             "1",
	"/vehicles/:id/measure":            "1",
	"/vehicles/:id/odometer":           "1",
	"/vehicles/:id/measured/:upload":   "1 {form}",
	"/vehicles/:id/test":               "1",
	"/vehicles/:id/tests/:test":        "1 {test}",
	"/readings":                        "",
	"/readings/:id":                    "{upload}",
	"/readings/:id/problems.csv":       "{upload}",
	"/readings/files/:id":              "{file}",
	"/readings/files/:id/problems.csv": "{file}",
	"/measure":                         "?q=bus",
	"/rules":                           "",
	"/rules/fleets/:id":                "1",
	"/cards":                           "",
	"/cards/:id":                       "1",
	"/steps":                           "",
	"/findings":                        "",
	"/findings.csv":                    "",
	"/findings/:id":                    "1",
	"/corrections/:kind/:id":           "reading 1",
	"/corrections/:kind/:id/axle":      "reading 1",
	"/work":                            "",
	"/people":                          "",
	"/people/:id":                      "1",
	"/changes":                         "",
	"/changes.csv":                     "?record=calendar", // all of it goes in parts of 500 rows
	"/calendars":                       "",
	"/calendar/:file":                  "{secret}.ics",
	"/plan":                            "?week={monday}",
	"/plan.csv":                        "?week={monday}",
	"/plan.xlsx":                       "?week={monday}",
	"/plan/day":                        "?depot=1&day={monday}",
	"/plan/parts":                      "",
	"/plan/parts.csv":                  "",
	"/plan/parts.xlsx":                 "",
	"/bookings/new":                    "?vehicle=1",
	"/bookings/:id":                    "{booking}",
	"/workshops":                       "",
	"/workshops/:id":                   "1",
	"/parts":                           "",
	"/parts/new":                       "",
	"/parts/:id":                       "1",
	"/record":                          "",
	"/learned":                         "",
	"/account":                         "",
	"/accounts":                        "",
	"/accounts/:id":                    "1",
	"/link/:secret":                    "{link}",

	"/api/v1/fleets":                   "",
	"/api/v1/depots":                   "",
	"/api/v1/due":                      "",
	"/api/v1/overview":                 "",
	"/api/v1/vehicles":                 "",
	"/api/v1/vehicles/:id":             "1",
	"/api/v1/vehicles/:id/history":     "1",
	"/api/v1/vehicles/:id/forecasts":   "1",
	"/api/v1/vehicles/:id/corrections": "1",
	"/api/v1/vehicles/:id/brake_tests": "1",
	"/api/v1/vehicles/:id/days":        "1",
	"/api/v1/vehicles/:id/limits":      "1",
	"/api/v1/fleets/:id/thresholds":    "1",
	"/api/v1/findings":                 "",
	"/api/v1/findings/:id":             "1",
	"/api/v1/bookings":                 "",
	"/api/v1/bookings/:id":             "{booking}",
	"/api/v1/cards":                    "",
	"/api/v1/cards/:id":                "1",
	"/api/v1/cards/:id/entries":        "1",
	"/api/v1/people":                   "",
	"/api/v1/people/:id":               "1",
	"/api/v1/proposals":                "",
	"/api/v1/visits":                   "",
	"/api/v1/workshops":                "",
	"/api/v1/workshops/:id":            "1",
	"/api/v1/workshops/:id/days":       "1",
	"/api/v1/parts":                    "",
	"/api/v1/parts_needed":             "",
	"/api/v1/uploads":                  "?limit=3", // which looks for a page after, in both
	"/api/v1/uploads/:id":              "{upload}",
	"/api/v1/changes":                  "",
	"/api/v1/files/:id":                "{sent}",
}

// asksNothing are the routes that no database is asked about.
var asksNothing = []string{
	"/static/*name", "/templates/:file", "/help", "/sign-in", "/sign-in/link", "/sign-in/code", "/sign-in/openid", "/sign-in/openid/back", "/measure-worker.js", "/rules/sets/:set",
	"/api/v1/rule_sets", "/api/v1/openapi.yaml", "/api/v1/columns", "/api/v1/templates/:file",
}

// growing are the tables that grow with every day of a fleet's life: no page
// reads one of them from end to end.
var growing = []string{
	"thickness_readings", "odometer_readings", "inspections", "fitments", "brake_tests",
	"forecast_positions", "forecast_log", "axle_specs", "axles", "axle_limits",
	"upload_problems", "upload_places", "corrections", "booking_work", "booking_changes",
	"job_card_entries", "job_card_parts", "job_card_stock", "track_record", "cluster_swaps", "inspection_conditions", "brake_efforts", "brake_test_verdicts", "brake_test_rejudgements", "audit_log",
}

// counts are routes that count the axles there are, which their index does: a
// fleet's axles grow with the fleet, not with its days.
var counts = []string{"/overview", "/overview/:file", "/api/v1/overview"}

// address fills in a route: what its parameters are, in order, then its query.
func address(route, with string, marks map[string]string) string {
	for mark, value := range marks {
		with = strings.ReplaceAll(with, "{"+mark+"}", value)
	}
	with, query, asks := strings.Cut(with, "?")
	values := strings.Fields(with)
	parts := strings.Split(route, "/")
	for i, p := range parts {
		if strings.HasPrefix(p, ":") && len(values) > 0 {
			parts[i], values = values[0], values[1:]
		}
	}
	path := strings.Join(parts, "/")
	if asks {
		path += "?" + query
	}
	return path
}

// TestEveryAddressIsWatched wants a line in addresses for each route that reads.
func TestEveryAddressIsWatched(t *testing.T) {
	svc := &pipeline.Service{}
	pages, err := dashboard.New(svc)
	if err != nil {
		t.Fatal(err)
	}
	r := web.NewEngine(slog.New(slog.DiscardHandler))
	pages.Register(r)
	api.New(svc).Register(r)
	there := map[string]bool{}
	for _, x := range r.Routes() {
		if x.Method != http.MethodGet {
			continue
		}
		there[x.Path] = true
		if _, ok := addresses[x.Path]; !ok && !slices.Contains(asksNothing, x.Path) {
			t.Errorf("%s: say in addresses what to ask of it, so that its statements are counted", x.Path)
		}
	}
	for route := range addresses {
		if !there[route] {
			t.Errorf("%s: there is no such route", route)
		}
	}
}

// TestStatements asks every page and address of a fleet with 5 rows of
// everything and of one with 50: both take the same statements, and none reads
// a table that grows from end to end.
func TestStatements(t *testing.T) {
	for _, dialect := range []string{store.SQLite, store.Postgres} {
		t.Run(dialect, func(t *testing.T) {
			few, many := newRowsWorld(t, dialect, 5), newRowsWorld(t, dialect, 50)
			for _, route := range slices.Sorted(maps.Keys(addresses)) {
				a, b := few.ask(t, route), many.ask(t, route)
				if len(a.Queries()) != len(b.Queries()) {
					t.Errorf("%s: %d statements with 5 rows, %d with 50%s", route, len(a.Queries()), len(b.Queries()), more(a, b))
				}
				tables := growing
				if slices.Contains(counts, route) {
					tables = slices.DeleteFunc(slices.Clone(growing), func(table string) bool { return table == "axles" })
				}
				for _, whole := range b.Whole(t, many.url, tables) {
					t.Errorf("%s reads a table whole: %s", route, whole)
				}
			}
			// In every order and under every filter the due-soon list finds its rows
			// by an index. Asked for again, a server is asked for the session alone, and
			// with it whether anything was written.
			for _, sort := range store.DueSorts {
				for _, filter := range []string{"within=8", "fleet=1", "fleet=1&depot=1", "booked=no", "booked=yes", "q=bus", "q=bus+3", "measured=yes", "measured=no", "part=pad",
					"late=yes", "left=past", "left=40-50", "duty=", "moved=into-past", "moved=faster",
					"limit_from=2026-03-01&limit_to=2026-03-31", "due_from=2026-03-01&due_to=2026-03-31"} {
					path := "/?within=0&" + filter + "&sort=" + string(sort)
					for _, whole := range many.request(t, http.MethodGet, path, "", http.StatusOK).Whole(t, many.url, growing) {
						t.Errorf("%s reads a table whole: %s", path, whole)
					}
					again := many.request(t, http.MethodGet, path, "", http.StatusOK).Queries()
					if dialect == store.Postgres && (len(again) != 1 || !strings.Contains(again[0], "from sessions s")) {
						t.Errorf("%s again: got %q, want the session alone", path, again)
					}
				}
			}
			// So does a reading of one vehicle on its way in.
			body := `[{"vehicle":"Bus 3","date":"2026-03-01","odometer_km":153100,"axle":1,"part":"pad","side":"left","face":"inner","value_mm":5.2}]`
			for _, whole := range many.request(t, http.MethodPost, "/api/v1/readings", body, http.StatusCreated).Whole(t, many.url, growing) {
				t.Errorf("an upload of one reading reads a table whole: %s", whole)
			}
			// What is looked for is seen when it is there.
			storetest.Exec(t, few.url, "drop index thickness_readings_key")
			if got := few.ask(t, "/vehicles/:id").Whole(t, few.url, growing); len(got) == 0 {
				t.Error("a vehicle's page without an index of readings: got no table read whole")
			}
		})
	}
}

// more says which statements the second ran more often than the first.
func more(a, b *storetest.Statements) string {
	n := map[string]int{}
	for _, q := range a.Queries() {
		n[q]--
	}
	for _, q := range b.Queries() {
		n[q]++
	}
	var out []string
	for _, q := range slices.SortedFunc(maps.Keys(n), func(x, y string) int { return cmp.Or(n[y]-n[x], strings.Compare(x, y)) }) {
		if n[q] != 0 {
			out = append(out, fmt.Sprintf("\n\t%+d: %.300s", n[q], q))
		}
	}
	return strings.Join(out, "")
}

// ask gets an address of the route and returns what was run for it, when something was
// written since the last time.
func (w *rowsWorld) ask(t *testing.T, route string) *storetest.Statements {
	t.Helper()
	storetest.Exec(t, w.url, "update fleets set name = name")
	return w.request(t, http.MethodGet, address(route, addresses[route], w.marks), "", http.StatusOK)
}

func (w *rowsWorld) request(t *testing.T, method, path, body string, status int) *storetest.Statements {
	t.Helper()
	ctx, run := storetest.Watch(t.Context())
	req := httptest.NewRequestWithContext(ctx, method, path, strings.NewReader(body))
	if body != "" {
		req.Header.Set("Content-Type", "application/json")
	}
	rec := httptest.NewRecorder()
	w.handler.ServeHTTP(rec, req)
	if rec.Code != status {
		t.Errorf("%s %s: got status %d, want %d: %.300s", method, path, rec.Code, status, rec.Body)
	}
	if len(run.Queries()) == 0 {
		t.Errorf("%s %s: ran nothing; is it watched?", method, path)
	}
	return run
}
