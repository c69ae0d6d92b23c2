package dashboard

import (
	"image/png"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"

	"golang.org/x/net/html"

	"brakewear/internal/store"
)

// get asks w for one page.
func (w *world) get(path string) *httptest.ResponseRecorder {
	rec := httptest.NewRecorder()
	w.handler.ServeHTTP(rec, httptest.NewRequest(http.MethodGet, path, nil))
	return rec
}

// has wants the first element that fits selector to read like text; "" wants
// no such element, "*" any.
type has struct{ selector, text string }

func check(t *testing.T, doc *html.Node, hs []has) {
	t.Helper()
	for _, h := range hs {
		got := find(doc, h.selector)
		switch {
		case h.text == "" && len(got) > 0:
			t.Errorf("%s: got %q, want none", h.selector, text(got[0]))
		case h.text != "" && len(got) == 0:
			t.Errorf("%s: got none, want %q", h.selector, h.text)
		case h.text != "" && h.text != "*" && !anyReads(got, h.text):
			t.Errorf("%s: got %q, want %q", h.selector, text(got[0]), h.text)
		}
	}
}

func anyReads(ns []*html.Node, want string) bool {
	for _, n := range ns {
		if strings.Contains(text(n), want) {
			return true
		}
	}
	return false
}

func TestPages(t *testing.T) {
	w := small(t)
	bus, van := w.vehiclePath(t, "Bus 1"), w.vehiclePath(t, "=Van <b>3</b>")
	for _, c := range []struct {
		name   string
		path   string
		status int
		has    []has
	}{
		{"due soon", "/?within=0", 200, []has{
			{"h1", "4 axles, the most pressing first"},
			{"nav a[aria-current]", "To book"},
			{".row .who a", "Bus 1"},
			{".row .plate", "KEA 1"},
			{".row .place", "left inner pad"},
			{".row .facts", "limit 3.0"},
			{".row .verdict time[datetime]", "*"},
			{".row svg[role=img] .lens", "*"},
			{"footer.cautions", "licensed technician"},
			{".who b", ""}, // markup in a name stays text
		}},
		{"at its limit", "/?q=van&within=0", 200, []has{
			{".row.urgent .verdict strong", "now"},
			{".row .stop", "*"},
			{".row .who a", "=Van <b>3</b>"},
		}},
		{"measured two years ago", "/?q=KEA+2&within=0", 200, []has{
			{".row .verdict strong", "*"},
			{".row .verdict time", ""}, // no date clears it
			{".row .warnings", "Last measured 722 days ago"},
		}},
		{"by depot", "/?within=0&depot=2&sort=km_left", 200, []has{{"h1", "by distance left"}, {".row .depot", "Hill"}, {"select[name=depot] option[selected]", "Hill"}}},
		{"nothing found", "/?q=tram", 200, []has{{"h1", "No axle for “tram”"}, {".empty", "No axle fits"}, {".row", ""}, {".empty a[href=/?within=0]", "*"}}},
		{"nothing soon", "/?within=2&depot=1", 200, []has{{"h1", "*"}}},
		{"bad horizon", "/?within=soon", 400, []has{{"h1", "cannot be done"}, {"main", "number of weeks"}}},
		{"bad depot", "/?depot=x", 400, []has{{"main", "want the number of a depot"}}},
		{"no such depot", "/?depot=99", 404, []has{{"main", "Depot 99: there is none, or none that you may see"}}},
		{"no such depot of a fleet", "/?fleet=1&depot=99", 404, []has{{"main", "Depot 99: there is none, or none that you may see"}}},
		{"no such fleet", "/?fleet=99", 404, []has{{"main", "Fleet 99: there is none, or none that you may see"}}},
		{"a plan of no depot", "/plan?depot=99", 404, []has{{"main", "Depot 99: there is none"}}},
		{"a plan's file of no depot", "/plan.csv?depot=99", 404, []has{{"main", "Depot 99: there is none"}}},
		{"parts of no depot", "/plan/parts.csv?depot=99", 404, []has{{"main", "Depot 99: there is none"}}},
		{"figures of no depot", "/overview/weeks.csv?depot=99", 404, []has{{"main", "Depot 99: there is none"}}},
		{"figures of no fleet", "/overview/weeks.csv?fleet=99", 404, []has{{"main", "Fleet 99: there is none"}}},
		{"bad sort", "/?sort=colour", 400, []has{{"main", "colour"}}},
		{"bad cursor", "/?after=!!", 400, []has{{"h1", "cannot be done"}}},
		{"vehicle", bus, 200, []has{
			{"h1", "Bus 1"},
			{"#axle-1 h2", "Left inner pad first"},
			{"#axle-1 .verdict", "book"},
			{"#axle-1 .basis", "readings of this axle"},
			{"#axle-1 .picture .wide svg[role=img]", "*"},
			{"#axle-1 .picture .narrow svg[role=img]", "*"},
			{"#axle-1 table", "15.5"},
			{"#axle-2 table", "11.0"},
			{".plan svg[role=img] .first", "*"},
			{".plan svg", "axle 2"},
			{"footer.cautions", "stands"},
		}},
		{"vehicle at its limit", van, 200, []has{{"h1", "=Van <b>3</b>"}, {"#axle-1 .verdict.urgent", "now"}}},
		{"no such vehicle", "/vehicles/999", 404, []has{{"h1", "Not found"}, {".empty p", "Vehicle 999"}}},
		{"no vehicle's number", "/vehicles/abc", 404, []has{{"h1", "Not found"}}},
		{"vehicles", "/vehicles", 200, []has{{"h1", "3 vehicles"}, {".card-name", "Bus 1"}, {".card-due", "now: at or past a limit"}}},
		{"vehicles found", "/vehicles?q=kea+2", 200, []has{{"h1", "1 vehicle for “kea 2”"}, {".card-name", "Bus 2"}}},
		{"no vehicles found", "/vehicles?q=tram", 200, []has{{".empty", "No vehicle fits"}}},
		{"readings", "/readings", 200, []has{
			{"form[method=post] input[type=file]", "*"},
			{".upload-row", "readings.csv"},
			{".kind code", "value_mm"},
			{"a[href=/templates/readings.xlsx]", "*"},
		}},
		{"upload", "/readings/3", 200, []has{{"h1", "readings.csv"}, {".tally", "taken 8 refused 0"}}},
		{"no such upload", "/readings/99", 404, []has{{"h1", "Not found"}}},
		{"nowhere", "/nowhere", 404, []has{{"h1", "Not found"}}},
	} {
		t.Run(c.name, func(t *testing.T) {
			rec := w.get(c.path)
			if rec.Code != c.status {
				t.Fatalf("got status %d, want %d: %s", rec.Code, c.status, rec.Body)
			}
			body := rec.Body.String()
			doc := parse(t, body)
			check(t, doc, c.has)
			if titles := find(doc, "h1"); len(titles) != 1 {
				t.Errorf("got %d first headings, want 1", len(titles))
			}
			for _, n := range find(doc, "[style]") {
				t.Errorf("inline style on %s: %s", n.Data, attr(n, "style"))
			}
			seen := map[string]bool{}
			for _, n := range find(doc, "[id]") {
				if id := attr(n, "id"); seen[id] {
					t.Errorf("two elements have the id %q", id)
				} else {
					seen[id] = true
				}
			}
			for _, bad := range []string{"NaN", "Inf", "<nil>", "ZgotmplZ", "%!", " safe"} {
				if strings.Contains(body, bad) {
					t.Errorf("the page says %q", bad)
				}
			}
		})
	}
}

func TestEmpty(t *testing.T) {
	w := empty(t)
	doc := parse(t, w.get("/").Body.String())
	check(t, doc, []has{{"h1", "To book"}, {"form.filter", ""}, {".empty h2", "Nothing has been taken in yet"}, {".steps", "Vehicles"}, {"a[href=/templates/axles.csv]", "*"}})
	check(t, parse(t, w.get("/vehicles").Body.String()), []has{{"h1", "Vehicles"}, {".empty h2", "No vehicles yet"}})
	check(t, parse(t, w.get("/findings").Body.String()), []has{{"h1", "Findings"}, {".empty h2", "No vehicles yet"}, {".steps", "Readings"}, {"form.filter", ""}})
	check(t, parse(t, w.get("/readings").Body.String()), []has{{"main", "Nothing yet"}})
	w.takeIn(t, "vehicles.csv", smallVehicles)
	check(t, parse(t, w.get("/").Body.String()), []has{{"h1", "To book"}, {".empty h2", "3 vehicles, no axles yet"}, {".empty", "Hand in an axles file"}})
	check(t, parse(t, w.get("/readings/1").Body.String()), []has{{".next a[href=/readings]", "Hand the next file in"}, {".next", "once its axles are known"}})
	check(t, parse(t, w.get("/bookings/new?vehicle=1").Body.String()), []has{{".empty h2", "No axle of this vehicle is known"}, {"form.settings", ""}})
	if rec := w.submit("/plan/propose", url.Values{}); rec.Code != http.StatusSeeOther {
		t.Fatalf("propose: got %d: %s", rec.Code, rec.Body)
	}
	check(t, parse(t, w.get("/plan").Body.String()), []has{{".figures", "no axle whose forecast asks for a booking by then"}})
	check(t, parse(t, w.get(w.vehiclePath(t, "Bus 1")).Body.String()), []has{{".empty h2", "No axle of this vehicle is known"}})
	w.takeIn(t, "axles.csv", smallAxles)
	check(t, parse(t, w.get(w.vehiclePath(t, "Bus 1")).Body.String()), []has{{"#axle-2 h2", "*"}, {"footer.cautions", "*"}})
	check(t, parse(t, w.get("/readings/2").Body.String()), []has{{"main", "An axles file from"}})
}

func TestChartFiles(t *testing.T) {
	w := small(t)
	bus := w.vehiclePath(t, "Bus 1")
	for _, c := range []struct {
		file   string
		status int
		typ    string
	}{
		{"axle-1-pad.svg", 200, "image/svg+xml"},
		{"axle-1-pad.png", 200, "image/png"},
		{"axle-1-chance.png", 200, "image/png"},
		{"odometer.svg", 404, ""}, // its odometer came with the readings only
		{"axle-1-pad.gif", 404, ""},
		{"axle-9-pad.svg", 404, ""},
	} {
		rec := w.get(bus + "/charts/" + c.file)
		if rec.Code != c.status {
			t.Errorf("%s: got status %d, want %d", c.file, rec.Code, c.status)
			continue
		}
		if c.status != 200 {
			continue
		}
		if got := rec.Header().Get("Content-Type"); got != c.typ {
			t.Errorf("%s: got %s, want %s", c.file, got, c.typ)
		}
		if c.typ == "image/png" {
			img, err := png.Decode(rec.Body)
			if err != nil {
				t.Errorf("%s: %v", c.file, err)
			} else if got := img.Bounds().Dx(); got != fileWidth*fileScale {
				t.Errorf("%s: got %d dots wide, want %d", c.file, got, fileWidth*fileScale)
			}
		}
	}
}

func TestForeignPost(t *testing.T) {
	w := small(t)
	req := httptest.NewRequest(http.MethodPost, "/readings", nil)
	req.Header.Set("Sec-Fetch-Site", "cross-site")
	rec := httptest.NewRecorder()
	w.handler.ServeHTTP(rec, req)
	if rec.Code != http.StatusForbidden {
		t.Errorf("got %d, want %d", rec.Code, http.StatusForbidden)
	}
}

// TestUnavailable wants a page, and no detail of ours, when the database is
// gone.
func TestUnavailable(t *testing.T) {
	w := empty(t)
	lost, err := store.Open(t.Context(), t.TempDir()+"/lost.db")
	if err != nil {
		t.Fatal(err)
	}
	if err := lost.Close(); err != nil {
		t.Fatal(err)
	}
	db := w.svc.DB
	w.svc.DB = lost
	defer func() { w.svc.DB = db }()
	for _, path := range []string{"/", "/vehicles", "/readings", "/vehicles/1", "/due.csv"} {
		rec := w.get(path)
		if rec.Code < 500 {
			t.Errorf("%s: got %d, want 500 or more", path, rec.Code)
		}
		if strings.Contains(rec.Body.String(), "sql:") {
			t.Errorf("%s: tells %s", path, rec.Body)
		}
	}
}
