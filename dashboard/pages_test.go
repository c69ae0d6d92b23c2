package dashboard

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"image/png"
	"mime/multipart"
	"net/http"
	"net/http/httptest"
	"net/url"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"golang.org/x/net/html"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
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
			{"nav a[aria-current]", "Due soon"},
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

// TestLinks follows every link of every page once, on the page or to another;
// of calendars, which go on without end, some pages only.
func TestLinks(t *testing.T) {
	w := small(t)
	done := map[string]bool{}
	const enough = 5
	calendar := map[string]int{} // pages followed, by path
	todo := []string{"/?within=0"}
	for len(todo) > 0 {
		path := todo[0]
		todo = todo[1:]
		if done[path] {
			continue
		}
		done[path] = true
		if at, query, ok := strings.Cut(path, "?"); ok && (strings.Contains(query, "week=") || strings.Contains(query, "day=")) {
			if calendar[at]++; calendar[at] > enough {
				continue
			}
		}
		rec := w.get(path)
		if rec.Code != http.StatusOK {
			t.Errorf("%s: got status %d", path, rec.Code)
			continue
		}
		if !strings.HasPrefix(rec.Header().Get("Content-Type"), "text/html") {
			continue
		}
		doc := parse(t, rec.Body.String())
		for _, n := range find(doc, "[href]") {
			to, err := url.Parse(attr(n, "href"))
			if err != nil {
				t.Errorf("%s: %v", path, err)
				continue
			}
			if to.Path == "" {
				if to.Fragment != "" && len(find(doc, "#"+to.Fragment)) == 0 {
					t.Errorf("%s links to #%s, which is not on it", path, to.Fragment)
				}
				continue
			}
			to.Fragment = ""
			todo = append(todo, to.String())
		}
		for _, n := range find(doc, "script[src]") {
			todo = append(todo, attr(n, "src"))
		}
	}
	if len(done) < 30 {
		t.Errorf("followed %d links only", len(done))
	}
}

func TestEmpty(t *testing.T) {
	w := empty(t)
	doc := parse(t, w.get("/").Body.String())
	check(t, doc, []has{{"h1", "Due soon"}, {"form.filter", ""}, {".empty h2", "Nothing has been taken in yet"}, {".steps", "Vehicles"}, {"a[href=/templates/axles.csv]", "*"}})
	check(t, parse(t, w.get("/vehicles").Body.String()), []has{{"h1", "Vehicles"}, {".empty h2", "No vehicles yet"}})
	check(t, parse(t, w.get("/readings").Body.String()), []has{{"main", "Nothing yet"}})
	w.takeIn(t, "vehicles.csv", smallVehicles)
	check(t, parse(t, w.get("/").Body.String()), []has{{"h1", "Due soon"}, {".empty h2", "3 vehicles, no axles yet"}, {".empty", "Hand in an axles file"}})
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

// TestPaging walks the pages of the demo fleet: every axle comes once, in the
// order of the CSV file.
func TestPaging(t *testing.T) {
	w := island(t)
	var pages []string
	for path, n := "/?within=0", 0; path != ""; n++ {
		if n > 10 {
			t.Fatal("the pages do not end")
		}
		doc := parse(t, w.get(path).Body.String())
		for _, row := range find(doc, ".row") {
			axle := text(find(row, ".place small")[0])
			pages = append(pages, text(find(row, ".who a")[0])+" "+strings.ToLower(axle))
		}
		path = ""
		if next := find(doc, ".pager a[rel=next]"); len(next) > 0 {
			path = attr(next[0], "href")
		}
	}
	rec := w.get("/due.csv?within=0")
	rows, err := csv.NewReader(rec.Body).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if len(rows)-1 != len(pages) || len(pages) < 100 {
		t.Fatalf("got %d rows on the pages, %d in the file", len(pages), len(rows)-1)
	}
	for i, want := range rows[1:] {
		if got, want := pages[i], want[0]+" axle "+want[4]; got != want {
			t.Fatalf("row %d: got %q, want %q", i+1, got, want)
		}
	}
}

func TestSorts(t *testing.T) {
	w := island(t)
	seen := map[string]bool{}
	for _, s := range store.DueSorts {
		doc := parse(t, w.get("/?within=0&sort="+string(s)).Body.String())
		check(t, doc, []has{{"select[name=sort] option[selected]", sortLabels[s]}, {".row", "*"}})
		seen[text(find(doc, ".lanes ol")[0])] = true
	}
	if len(seen) != len(store.DueSorts) {
		t.Errorf("%d sorts give %d different lists", len(store.DueSorts), len(seen))
	}
}

func TestDueCSV(t *testing.T) {
	w := small(t)
	visit, err := w.svc.Book(t.Context(), auth.AllFleets(), "test", pipeline.ByHand{VehicleID: w.vehicleID(t, "=Van <b>3</b>"), Axles: []int{1}, Slot: fleet.Slot{DepotID: 1, Day: fleet.NewDate(2026, 3, 4)}})
	if err != nil {
		t.Fatal(err)
	}
	rec := w.get("/due.csv?within=0")
	if got := rec.Header().Get("Content-Disposition"); got != `attachment; filename="due-soon-2026-03-02.csv"` {
		t.Errorf("Content-Disposition: got %s", got)
	}
	rows, err := csv.NewReader(rec.Body).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if got := strings.Join(rows[0], ","); got != strings.Join(dueColumns, ",") {
		t.Errorf("header: got %s", got)
	}
	var van []string
	for _, r := range rows[1:] {
		if strings.Contains(r[0], "Van") {
			van = r
		}
	}
	if van == nil {
		t.Fatal("no row of the van")
	}
	if got := rows[1:]; len(got) < 2 || got[len(got)-1][slices.Index(dueColumns, "booked_for")] != "" {
		t.Error("an axle that is not booked is given a day")
	}
	if want := "'=Van <b>3</b>"; van[0] != want { // else a spreadsheet runs it
		t.Errorf("vehicle: got %q, want %q", van[0], want)
	}
	at := func(name string) string {
		for i, c := range rows[0] {
			if c == name {
				return van[i]
			}
		}
		t.Fatalf("no column %s", name)
		return ""
	}
	for name, want := range map[string]string{
		"part": "pad", "side": "right", "face": "outer", "new_mm": "12.00", "limit_mm": "2.00",
		"past_limit": "true", "readings": "2", "as_of": "2026-03-02", "depot": "Hill",
		"booked_for": "2026-03-04", "booked_at": "Harbour", "cost_of_visit": strconv.FormatFloat(*visit.Cost, 'f', 2, 64),
	} {
		if got := at(name); got != want {
			t.Errorf("%s: got %q, want %q", name, got, want)
		}
	}
	if !regexp.MustCompile(`^-?\d+$`).MatchString(at("km_left")) {
		t.Errorf("km_left: got %q, want a number, its minus as it is", at("km_left"))
	}
	if rec := w.get("/due.csv?sort=colour"); rec.Code != http.StatusBadRequest || rec.Header().Get("Content-Disposition") != "" {
		t.Errorf("bad sort: got %d, %v; want a page that says so", rec.Code, rec.Header())
	}
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

// post hands a file in, to be taken in unchecked when direct.
func (w *world) post(t *testing.T, kind, name, content string, direct bool) *httptest.ResponseRecorder {
	t.Helper()
	var b bytes.Buffer
	form := multipart.NewWriter(&b)
	if err := form.WriteField("kind", kind); err != nil {
		t.Fatal(err)
	}
	if direct {
		if err := form.WriteField("direct", "yes"); err != nil {
			t.Fatal(err)
		}
	}
	if name != "" {
		f, err := form.CreateFormFile("file", name)
		if err != nil {
			t.Fatal(err)
		}
		fmt.Fprint(f, content)
	}
	if err := form.Close(); err != nil {
		t.Fatal(err)
	}
	req := httptest.NewRequest(http.MethodPost, "/readings", &b)
	req.Header.Set("Content-Type", form.FormDataContentType())
	rec := httptest.NewRecorder()
	w.handler.ServeHTTP(rec, req)
	return rec
}

func TestUploads(t *testing.T) {
	w := small(t)
	for _, c := range []struct {
		name       string
		kind       string
		file, text string
		status     int // of the answer to the post
		has        []has
	}{
		{"good", "", "visit readings.csv", "vehicle,date,odometer_km,axle,part,side,face,value_mm\nBus 2,2026-02-28,90000,1,pad,left,inner,4.2\n", 303,
			[]has{{".tally", "taken 1 refused 0"}, {".next a[href=/]", "*"}, {".problems", ""}}},
		{"the same again", "", "copy of visit readings.csv", "vehicle,date,odometer_km,axle,part,side,face,value_mm\nBus 2,2026-02-28,90000,1,pad,left,inner,4.2\n", 303,
			[]has{{".notice", "nothing was changed"}}},
		{"some refused", "readings", "mixed.csv", "vehicle,date,axle,part,value_mm\nBus 1,2026-02-30,1,pad,5\nBus 1,2026-03-01,2,pad,9.9\nBus 1,2026-03-01,2,pad,<script>alert(1)</script>\n", 303,
			[]has{{".tally", "taken 1 refused 2"}, {".problems", "line 2"}, {".problems q", "2026-02-30"}, {".problems q", "<script>"}, {".problems script", ""}}},
		{"no odometer", "", "no odometer.csv", "vehicle,date,axle,part,side,face,value_mm\nBus 1,2026-03-02,1,pad,left,inner,4.0\n", 303,
			[]has{{".tally", "taken 1 refused 0"}, {"main", "Taken, with a note"}, {".problems", "odometer"}}},
		{"doubtful", "", "doubtful.csv", "vehicle,date,odometer_km,axle,part,side,face,value_mm\nBus 1,2026-03-02,,2,pad,,,19\n", 303,
			[]has{{".tally", "taken 1 of them doubtful 1 refused 0"}, {"main", "Taken, but doubtful"}, {".problems", "thicker than last time"}}},
		{"no header", "", "notes.csv", "dear workshop,please\nfind,attached\n", 400,
			[]has{{".fault[role=alert]", "not taken in"}, {"form.upload", "*"}}},
		{"empty", "", "empty.csv", "", 400, []has{{".fault", "empty"}}},
		{"no file", "", "", "", 400, []has{{".fault", "No file was chosen"}}},
		{"another kind", "poems", "a.csv", "x", 400, []has{{"h1", "cannot be done"}}},
	} {
		t.Run(c.name, func(t *testing.T) {
			rec := w.post(t, c.kind, c.file, c.text, true)
			if rec.Code != c.status {
				t.Fatalf("got status %d, want %d: %s", rec.Code, c.status, rec.Body)
			}
			if c.status == http.StatusSeeOther {
				rec = w.get(rec.Header().Get("Location"))
			}
			check(t, parse(t, rec.Body.String()), c.has)
		})
	}
	// The list follows what was handed in.
	check(t, parse(t, w.get("/?q=KEA+2&within=0").Body.String()), []has{{".row .num", "4.2"}, {".row .facts", "3 readings"}})
	rows, err := csv.NewReader(w.get("/readings/6/problems.csv").Body).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	if len(rows) < 2 || rows[0][0] != "line" {
		t.Errorf("problems of upload 6: got %q", rows)
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

func TestTemplates(t *testing.T) {
	w := empty(t)
	for file, status := range map[string]int{
		"vehicles.csv": 200, "axles.csv": 200, "readings.csv": 200, "readings.xlsx": 200,
		"readings.pdf": 404, "poems.csv": 404, "readings": 404,
	} {
		if rec := w.get("/templates/" + file); rec.Code != status {
			t.Errorf("%s: got %d, want %d", file, rec.Code, status)
		}
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
