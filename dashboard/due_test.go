package dashboard

import (
	"bytes"
	"encoding/csv"
	"net/http"
	"net/http/httptest"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"brakewear/forecast"
	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
	"brakewear/internal/units"
	"brakewear/internal/web"
)

// TestCloseRows: a line for each axle says of it what decides, and the browser
// keeps the form until another is asked for.
func TestCloseRows(t *testing.T) {
	w := island(t)
	ask := func(path, kept string) *httptest.ResponseRecorder {
		t.Helper()
		r := httptest.NewRequestWithContext(t.Context(), http.MethodGet, path, nil)
		if kept != "" {
			r.AddCookie(&http.Cookie{Name: web.SessionCookie + "-" + rowsCookie, Value: kept})
		}
		rec := httptest.NewRecorder()
		w.handler.ServeHTTP(rec, r)
		return rec
	}
	for _, c := range []struct {
		path, kept string
		close      bool
	}{
		{"/?within=0", "", false},
		{"/?within=0&rows=close", "", true},
		{"/?within=0", closeRows, true},
		{"/?within=0", "goats", false},
		{"/?within=0&rows=full", closeRows, false},
	} {
		rec := ask(c.path, c.kept)
		doc := parse(t, rec.Body.String())
		lines := find(doc, ".lanes.close .row")
		if (len(lines) > 0) != c.close {
			t.Errorf("%s with %q kept: got %d lines", c.path, c.kept, len(lines))
		}
		asked := strings.Contains(c.path, "rows=")
		if set := rec.Header().Get("Set-Cookie"); asked != strings.Contains(set, rowsCookie) || asked && !strings.Contains(set, "HttpOnly; SameSite=Lax") {
			t.Errorf("%s: sets %q", c.path, set)
		}
		if !c.close {
			continue
		}
		full := find(parse(t, ask("/?within=0&rows=full", "").Body.String()), ".row")
		if len(full) != len(lines) {
			t.Fatalf("got %d lines for %d axles", len(lines), len(full))
		}
		for i := range lines {
			for _, part := range []string{".who a", ".place", ".verdict strong", ".lane title"} {
				got, want := text(find(lines[i], part)[0]), text(find(full[i], part)[0])
				if got != want {
					t.Errorf("line %d, %s: got %q, want %q", i, part, got, want)
				}
			}
		}
	}
	if rec := ask("/?rows=goats", ""); rec.Code != http.StatusBadRequest {
		t.Errorf("another form: got %d", rec.Code)
	}
}

func BenchmarkDuePage(b *testing.B) {
	w, err := newWorld(b.Context(), storetest.URL(b, store.SQLite))
	if err != nil {
		b.Fatal(err)
	}
	defer w.svc.DB.Close()
	d, err := New(w.svc)
	if err != nil {
		b.Fatal(err)
	}
	today := fleet.DateOf(now)
	axis := newAxis(today, 182)
	row := store.DueRow{
		VehicleID: 1, Vehicle: "Bus 1", Plate: "KEA 1", Depot: "Harbour", Axle: 1, Position: fleet.Position{Axle: 1, Part: fleet.Pad, Side: fleet.Left, Face: fleet.Inner},
		ThicknessMM: 5, NewMM: 20, LimitMM: 3, KmLeft: 12_345, P10: in(20), P50: in(40), P90: in(70), BookBy: in(15), Readings: 7,
		Warnings: []forecast.Warning{{Text: "The distance driven rests on two odometer readings."}},
	}
	for _, rows := range []string{fullRows, closeRows} {
		b.Run(rows, func(b *testing.B) {
			b.ReportAllocs()
			var into bytes.Buffer
			for b.Loop() {
				p := DuePage{Axis: axis, Close: rows == closeRows}
				for range store.DefaultLimit {
					p.Rows = append(p.Rows, dueRow(units.Reader{}, axis, &row))
				}
				into.Reset()
				if err := d.pages["due"].renderInto(&into, p, nil, units.Reader{}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// Who takes a list out as a file stands in the log of changes, with what it was.
func TestExportsAreTold(t *testing.T) {
	w := small(t)
	for _, path := range []string{"/due.csv?within=0", "/due.xlsx", "/findings.csv", "/plan.csv", "/plan/parts.xlsx", "/changes.csv", "/overview/weeks.csv"} {
		if rec := w.get(path); rec.Code != http.StatusOK {
			t.Errorf("%s: got %d", path, rec.Code)
		}
		ds, err := w.svc.DB.Deeds(t.Context(), auth.AllFleets(), store.DeedQuery{Record: "database"})
		if err != nil || len(ds) == 0 {
			t.Fatalf("%s: %d rows in the log, %v", path, len(ds), err)
		}
		if d := ds[0]; d.By != tester || d.Act != "exported" || d.Detail != path {
			t.Errorf("%s: the log says %+v", path, d)
		}
	}
}

// TestWaitingCosts: an axle that is not booked says on the list and on its
// vehicle's page what it costs to leave it, one that is booked does not.
func TestWaitingCosts(t *testing.T) {
	w := island(t)
	page := parse(t, w.get("/?within=0").Body.String())
	told := 0
	for _, row := range find(page, ".row") {
		words := text(row)
		waits := strings.Contains(words, "Waiting until 5 Apr costs about SC ")
		if waits && strings.Contains(words, "booked for") {
			t.Errorf("booked, and still waiting: %s", words)
		}
		if waits {
			told++
		}
	}
	if told == 0 {
		t.Fatal("no axle says what waiting costs")
	}
	// Bus 111 is proposed and not booked. 800 is the figure for heavy vehicles of
	// the demo's workshops, the default one's.
	body := w.get(w.vehiclePath(t, "Bus 111")).Body.String()
	for _, want := range []string{"If it is left until 5 Apr", "Times SC 800, what its workshop expects"} {
		if !strings.Contains(strings.ReplaceAll(body, "&nbsp;", " "), want) {
			t.Errorf("the vehicle's page does not say %q", want)
		}
	}
	if body := w.get(w.vehiclePath(t, "Refuse 44")).Body.String(); strings.Contains(body, "If it is left until") {
		t.Error("a booked axle's page says what waiting costs")
	}
}

// TestWaitingCostsNothing: what is too little to speak of, and what is not known, is
// not said.
func TestWaitingCostsNothing(t *testing.T) {
	const today = fleet.Date(20_000)
	past := forecast.DistOf(func(float64) float64 { return float64(today) })
	for name, c := range map[string]struct {
		waiting store.AxleWaiting
		want    string
	}{
		"four":        {store.AxleWaiting{Day: past, Damage: 4}, ""},
		"a hundred":   {store.AxleWaiting{Day: past, Damage: 100}, " costs about 100."},
		"no day":      {store.AxleWaiting{Damage: 100}, ""},
		"no figure":   {store.AxleWaiting{Day: past}, ""},
		"a far limit": {store.AxleWaiting{Day: forecast.DistOf(func(float64) float64 { return float64(today) + 1000 }), Damage: 100}, ""},
	} {
		p := planned{waiting: map[store.AxleKey]store.AxleWaiting{{VehicleID: 1, Axle: 1}: c.waiting}, today: today, risk: .05}
		if got := p.wait(units.Reader{}, 1, 1); !strings.HasSuffix(got.short, c.want) || (got.short == "") != (c.want == "") || (got.long == "") != (c.want == "") {
			t.Errorf("%s: got %q, want …%q", name, got, c.want)
		}
		if got := p.wait(units.Reader{}, 1, 2); got != (waitWords{}) {
			t.Errorf("an axle of which nothing is known: got %q", got)
		}
	}
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
	if got := rec.Header().Get("Content-Disposition"); got != `attachment; filename="to-book-2026-03-02.csv"` {
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
