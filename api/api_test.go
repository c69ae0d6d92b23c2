package api

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"mime/multipart"
	"net/http"
	"net/http/httptest"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"brakewear/internal/auth"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
	"brakewear/internal/web"
)

// The vehicles, places and readings of these tests are invented.

// now is when the tests' clock stands still.
var now = time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)

// client sends requests to an API over an empty database and compares every
// answer with the document.
type client struct {
	t       *testing.T
	doc     *document
	handler http.Handler
}

func newClient(t *testing.T, db *store.DB) *client {
	t.Helper()
	db.Now = func() time.Time { return now }
	r := web.NewEngine(slog.New(slog.DiscardHandler))
	r.Use(web.Guard(db))
	New(&pipeline.Service{DB: db, Now: db.Now}).Register(r)
	session, err := storetest.SignIn(t.Context(), db, "API", auth.Grant{Role: auth.Admin})
	if err != nil {
		t.Fatal(err)
	}
	h := web.Protect(r)
	return &client{t, readDocument(t), http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.Header.Get("Authorization") == "" {
			r.AddCookie(&http.Cookie{Name: web.SessionCookie, Value: session})
		}
		h.ServeHTTP(w, r)
	})}
}

// call is one request and what is expected of its answer.
type call struct {
	name   string
	method string // "" = GET, or POST with a body
	path   string // below Prefix
	kind   string // of the body; "" = application/json
	key    string
	body   string
	status int      // 0 = 200
	want   []string // parts of the body, with spaces left out
	not    []string
}

func (c *client) do(x call) *httptest.ResponseRecorder {
	c.t.Helper()
	method := x.method
	if method == "" {
		method = http.MethodGet
		if x.body != "" {
			method = http.MethodPost
		}
	}
	req := httptest.NewRequestWithContext(c.t.Context(), method, Prefix+x.path, strings.NewReader(x.body))
	if method == http.MethodPost {
		req.Header.Set("Content-Type", "application/json")
		if x.kind != "" {
			req.Header.Set("Content-Type", x.kind)
		}
	}
	if x.key != "" {
		req.Header.Set("Idempotency-Key", x.key)
	}
	w := httptest.NewRecorder()
	c.handler.ServeHTTP(w, req)
	status := x.status
	if status == 0 {
		status = http.StatusOK
	}
	if w.Code != status {
		c.t.Errorf("%s %s: got status %d, want %d: %s", method, x.path, w.Code, status, w.Body)
	}
	for _, fault := range c.doc.check(method, req.URL.Path, w) {
		c.t.Errorf("%s %s: %s", method, x.path, fault)
	}
	if w.Code < 300 && (x.kind == "" || x.kind == "application/json") {
		for _, fault := range c.doc.sent(method, req.URL.Path, x.body) {
			c.t.Errorf("%s %s: it was taken, and the document forbids it: %s", method, x.path, fault)
		}
	}
	for _, s := range x.want {
		if !strings.Contains(w.Body.String(), s) {
			c.t.Errorf("%s %s: got %s, want %s in it", method, x.path, w.Body, s)
		}
	}
	for _, s := range x.not {
		if strings.Contains(w.Body.String(), s) {
			c.t.Errorf("%s %s: got %s, want no %s in it", method, x.path, w.Body, s)
		}
	}
	return w
}

// run makes the calls in turn, each a subtest.
func (c *client) run(calls []call) {
	for _, x := range calls {
		c.t.Run(x.name, func(t *testing.T) {
			in := *c
			in.t = t
			in.do(x)
		})
	}
}

const (
	vehiclesCSV = "vehicle;fleet;depot;plate;category;year\nBus 1;Ferry Lines;Harbour;KEA 1;M3;2019\nBus 2;Ferry Lines;Hill;KEA 2;M3;\nVan 3;Hill Farms;Barn;KEA 3;N1;2021\n"
	axlesCSV    = "vehicle,axle,brake,pad_new_mm,pad_limit_mm,lining_new_mm,lining_limit_mm\nBus 1,1,disc,20,3,,\nBus 1,2,disc,20,3,,\nBus 2,1,disc,20,3,,\nVan 3,1,disc,12,2,,\nVan 3,2,drum,,,5,1.5\n"
	readings    = `[
		{"vehicle":"Bus 1","date":"2025-03-01","odometer_km":100000,"axle":1,"part":"pad","side":"left","face":"inner","value_mm":15.5},
		{"vehicle":"Bus 1","date":"2025-09-01","odometer_km":130000,"axle":1,"part":"pad","side":"left","face":"inner","value_mm":9.9},
		{"vehicle":"Bus 1","date":"2026-02-01","odometer_km":155000,"axle":1,"part":"pad","side":"left","face":"inner","value_mm":5.1},
		{"vehicle":"Bus 1","date":"2026-02-01","odometer_km":155000,"axle":2,"part":"pad","value_mm":"7/16 in"},
		{"vehicle":"Bus 2","date":"2026-02-01","odometer_km":90000,"axle":1,"part":"pad","side":"right","value_mm":14.2,"note":"pin stiff"},
		{"vehicle":"Van 3","date":"2026-02-01","odometer_km":40000,"axle":1,"part":"pad","side":"right","face":"outer","value_mm":1.9},
		{"vehicle":"Van 3","date":"2026-02-01","odometer_km":40000,"axle":2,"part":"lining","side":"right","value_mm":"<3"}
	]`
)

// TestAPI plays a feed and a reader on both databases, from nothing to a
// due-soon list.
func TestAPI(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		c := newClient(t, db)
		c.run([]call{
			{name: "document", path: "/openapi.yaml", want: []string{"openapi: 3.1.0"}},
			{name: "nothing yet", path: "/due", want: []string{`{"items":[],"next":null,"total":0}`}},
			{name: "no uploads", path: "/uploads", want: []string{`{"items":[],"next":null}`}},

			{name: "file as body", path: "/uploads?name=vehicles.csv", kind: "text/csv", body: vehiclesCSV, status: 201, want: []string{`"kind":"vehicles"`, `"name":"vehicles.csv"`, `"accepted":3,"refused":0,"repeated":0`, `"problems":[]`}},
			{name: "the same again", path: "/uploads?kind=vehicles", kind: "text/csv", body: vehiclesCSV, want: []string{`"accepted":0,"refused":0,"repeated":3`}},
			{name: "axles", path: "/uploads", kind: "application/octet-stream", body: axlesCSV, status: 201, want: []string{`"kind":"axles"`, `"accepted":5`}},
			{name: "vehicles as rows", path: "/vehicles", body: `[{"vehicle":"Bus 2","fleet":"Ferry Lines","depot":"Hill","duty":"city"}]`, status: 201, want: []string{`"accepted":1`}},
			{name: "axles as rows", path: "/axles", body: `[{"vehicle":"Bus 2","axle":2,"brake":"disc","pad_new_mm":20,"pad_limit_mm":3}]`, status: 201},
			{name: "fitments as rows", path: "/fitments", body: `[{"vehicle":"Bus 1","date":"2024-11-01","odometer_km":80000,"axle":1,"part":"pad","value_mm":null}]`, status: 201},
			{name: "readings as rows", path: "/readings", body: readings, status: 201, want: []string{`"accepted":7,"refused":0`}},
			{name: "readings again", path: "/readings", body: readings, want: []string{`"accepted":0,"refused":0,"repeated":7`}},

			{name: "a feed's odometers", path: "/odometer", key: "k1", body: `[{"vehicle":"Bus 1","date":"2026-02-20T06:00:00Z","odometer_km":158000},{"vehicle":"Bus 9","date":"2026-02-20","odometer_km":1},{"vehicle":"Bus 2","date":"2026-02-30","odometer_km":"many"}]`, status: 201,
				want: []string{`"accepted":1,"refused":2`, `{"line":2,"column":"vehicle","read":"Bus 9","message":"no vehicle has this number`, `{"line":3,"column":"date","read":"2026-02-30","message":"there is no day 30`, `{"line":3,"column":"odometer_km","read":"many"`}},
			{name: "the answer was lost, sent again", path: "/odometer", key: "k1", body: `[{"vehicle":"Bus 1","date":"2026-02-20T06:00:00Z","odometer_km":158000},{"vehicle":"Bus 9","date":"2026-02-20","odometer_km":1},{"vehicle":"Bus 2","date":"2026-02-30","odometer_km":"many"}]`, status: 201,
				want: []string{`"accepted":1,"refused":2,"repeated":0`}},
			{name: "the key for other content", path: "/odometer", key: "k1", body: `[{"vehicle":"Bus 1","date":"2026-02-21","odometer_km":158100}]`, status: 409, want: []string{`"detail":"key \"k1\" was used for another content`}},
			{name: "a key too long", path: "/odometer", key: strings.Repeat("k", 256), body: `[{"vehicle":"Bus 1"}]`, status: 400, want: []string{`"parameter":"Idempotency-Key"`}},
			{name: "not one row", path: "/odometer", body: `[{"vehicle":"Bus 9","date":"2026-02-20","odometer_km":1},{"vehicle":"Bus 1","date":"2026-02-20"}]`, status: 422,
				want: []string{`"status":422`, `"detail":"None of the 2 rows can be taken; /api/v1/uploads/`, `"errors":[{"line":1,"column":"vehicle","read":"Bus 9","detail":"no vehicle`, `{"line":2,"column":"odometer_km","detail":"blank: write the odometer`}},
			{name: "no JSON", path: "/odometer", body: `[{"vehicle":"Bus 1",`, status: 400, want: []string{`not JSON near byte 20, item 1: the text ends before the array does`}},
			{name: "a file at a feed's address", path: "/odometer", kind: "text/csv", body: "vehicle,date,odometer_km\n", status: 415, want: []string{"files go to /api/v1/uploads"}},
			{name: "changes", path: "/changes?record=upload&record_id=1&by=&to=2100-01-01&limit=1", want: []string{`"act":"taken in"`, `"record":"upload","record_id":1`, `"via":"api"`, `"detail":"vehicles.csv"`, `"next":"`}},
			{name: "changes of nobody", path: "/changes?by=nobody", want: []string{`{"items":[],"next":null}`}},
			{name: "changes by a wrong filter", path: "/changes?record=soup&record_id=x&from=x&cursor=x", status: 400, want: []string{"want one of account", `"parameter":"record_id"`, `"parameter":"from"`, `"parameter":"cursor"`}},
			{name: "no table", path: "/uploads", kind: "text/csv", body: "soup\nleek\n", status: 400, want: []string{"upload, line 1: these are not the columns"}},
			{name: "no file", method: "POST", path: "/uploads", kind: "text/csv", status: 400, want: []string{"the file is empty"}},
			{name: "a form without a file", path: "/uploads", kind: "multipart/form-data; boundary=x", body: "--x\r\nContent-Disposition: form-data; name=\"a\"\r\n\r\nb\r\n--x--\r\n", status: 400, want: []string{`the form has no part \"file\"`}},
			{name: "a form that breaks off", path: "/uploads", kind: "multipart/form-data; boundary=x", body: "--x\r\nContent-Disp", status: 400, want: []string{"the form cannot be read"}},
			{name: "dates of an order that is none", path: "/uploads?dates=ydm&kind=menus", kind: "text/csv", body: "x", status: 400,
				want: []string{`"errors":[{"parameter":"dates","read":"ydm","detail":"want one of dmy, mdy, ymd"},{"parameter":"kind","read":"menus","detail":"want one of vehicles,`}},
			{name: "dates of a declared order", path: "/uploads?dates=dmy", kind: "text/csv", body: "vehicle,date,odometer_km\nBus 2,03/02/2026,90300\n", status: 201},

			{name: "fleets", path: "/fleets", want: []string{`"name":"Ferry Lines"`, `"name":"Hill Farms"`}},
			{name: "depots", path: "/depots", want: []string{`"name":"Barn"`, `"time_zone":"UTC"`}},
			{name: "due", path: "/due", want: []string{`"total":6`, `"next":null`}},
			{name: "due, text", path: "/due?q=kea+3", want: []string{`"total":2`, `"vehicle":"Van 3"`, `"past_limit":true`}, not: []string{"Bus"}},
			{name: "due, by a day", path: "/due?before=2026-03-02&sort=vehicle", want: []string{`"vehicle":"Van 3"`}, not: []string{`"total":6`}},
			{name: "due, faults", path: "/due?before=soon&limit=501&sort=colour&fleet=a&limt=3", status: 400, want: []string{
				`"title":"Bad Request"`, `{"parameter":"before","read":"soon","detail":"no date`, `{"parameter":"fleet","read":"a","detail":"no id`,
				`{"parameter":"limit","read":"501","detail":"want 1 to 500"}`, `{"parameter":"limt","detail":"no such parameter here: want fleet, depot, q, before, sort, booked, cursor, limit, measured, left, limit_from, limit_to, due_from, part, moved, late, duty"}`, `{"parameter":"sort","read":"colour","detail":"want one of book_by`}},
			{name: "due, narrowed", path: "/due?measured=true&left=past&part=pad", want: []string{`"vehicle":"Van 3"`}, not: []string{`"total":6`}},
			{name: "due, booked late", path: "/due?late=true", want: []string{`"total":0`}},
			{name: "due, booked late or not", path: "/due?late=false", want: []string{`"total":6`}},
			{name: "due, of a duty", path: "/due?duty=moon+landing", want: []string{`"total":0`}},
			{name: "due, since a month ago", path: "/due?moved=into-past", want: []string{`"total":0`}},
			{name: "due, moved how", path: "/due?moved=away", status: 400, want: []string{`{"parameter":"moved","read":"away","detail":"want one of into-past, out-of-past`}},
			{name: "due, narrowed with faults", path: "/due?left=half&part=horn&measured=perhaps&limit_from=soon", status: 400, want: []string{
				`{"parameter":"left","read":"half"`, `{"parameter":"part","read":"horn"`, `{"parameter":"measured","read":"perhaps"`, `{"parameter":"limit_from","read":"soon"`}},
			{name: "overview", path: "/overview", want: []string{`"as_of":"2026-03-02"`, `{"left":"past","axles":`, `"weeks":[{"from":null,"to":"2026-03-01"`, `"from":"2026-03-02","to":"2026-03-08"`, `"months":[{"from":"2026-03-02","to":"2026-03-31"`, `"mm_per_10000_km":{"p10":`}},
			{name: "overview of a depot that is none", path: "/overview?depot=999", want: []string{`"axles":0,"classes":[{"left":"past","axles":0}`, `"parts":[]`, `"depot":[]`}},
			{name: "overview, faults", path: "/overview?depot=x&weeks=3", status: 400, want: []string{`"parameter":"depot"`, `"parameter":"weeks"`}},
			{name: "due, a cursor that is none", path: "/due?cursor=abc", status: 400},
			{name: "vehicles", path: "/vehicles", want: []string{`"total":3`, `"year":null`, `"year":2019`, `"last_reading":"2026-02-01"`}},
			{name: "vehicles, none", path: "/vehicles?q=nothing", want: []string{`"items":[]`}},
			{name: "no such vehicle", path: "/vehicles/999", status: 404, want: []string{`"title":"Not Found"`}},
			{name: "no id", path: "/vehicles/abc/forecasts", status: 404},
			{name: "no such upload", path: "/uploads/0", status: 404},
			{name: "uploads, a cursor that is none", path: "/uploads?cursor=x", status: 400},
			{name: "columns", path: "/columns", want: []string{`"name":"value_mm"`, `"/api/v1/templates/readings.xlsx"`}},
			{name: "template", path: "/templates/odometer.csv", want: []string{"vehicle,fleet,date,odometer_km,previous_km\r\n"}},
			{name: "template, workbook", path: "/templates/readings.xlsx", want: []string{"PK"}},
			{name: "no such template", path: "/templates/menus.csv", status: 404},
			{name: "no such format", path: "/templates/readings.pdf", status: 404},
		})
		t.Run("a vehicle", func(t *testing.T) { c.in(t).aVehicle() })
		t.Run("checks", func(t *testing.T) { c.in(t).checks() })
		t.Run("a cluster swap", func(t *testing.T) { c.in(t).clusterSwap() })
		t.Run("brake tests", func(t *testing.T) { c.in(t).brakeTests() })
		t.Run("inspections", func(t *testing.T) { c.in(t).inspections() })
		t.Run("pages", func(t *testing.T) { c.in(t).pages() })
		t.Run("a form", func(t *testing.T) { c.in(t).form() })
		t.Run("findings", func(t *testing.T) { c.in(t).findings() })
		t.Run("plan", func(t *testing.T) { c.in(t).plan(db) })
		t.Run("limits", func(t *testing.T) { c.in(t).limits() })
		t.Run("long lists", func(t *testing.T) { c.in(t).longLists(db) })
		t.Run("wrong records", func(t *testing.T) { c.in(t).wrongRecords() })
		for _, op := range c.doc.operations() {
			if !c.doc.called[op] {
				t.Errorf("%s was never answered well", op)
			}
		}
	})
}

func (c *client) in(t *testing.T) *client { return &client{t, c.doc, c.handler} }

// get decodes an answer into v.
func (c *client) get(path string, v any) {
	c.t.Helper()
	if err := json.Unmarshal(c.do(call{path: path}).Body.Bytes(), v); err != nil {
		c.t.Fatal(err)
	}
}

// aVehicle wants a vehicle's resources to say what was taken in.
func (c *client) aVehicle() {
	var found Page[VehicleItem]
	c.get("/vehicles?q=bus+1", &found)
	if len(found.Items) != 1 || found.Items[0].Axles != 2 || found.Items[0].BookBy == nil {
		c.t.Fatalf("got %+v, want Bus 1 with two axles and a book-by date", found.Items)
	}
	self := "/vehicles/" + strconv.FormatInt(found.Items[0].ID, 10)

	var v VehicleDetail
	c.get(self, &v)
	if want := (Spec{"pad", 20, 3, "maker", 3, "maker"}); v.Fleet != "Ferry Lines" || len(v.Axles) != 2 || v.Axles[0].Specs[0] != want {
		c.t.Errorf("got %+v, want pads of %+v", v, want)
	}
	c.do(call{path: self + "?full=1", status: 400})

	var h History
	c.get(self+"/history", &h)
	if len(h.Readings) != 4 || len(h.Odometer) != 1 || len(h.Fitments) != 1 || h.Fitments[0].ValueMM != nil {
		c.t.Fatalf("got %+v, want 4 readings, 1 odometer reading and 1 fitment of no value", h)
	}
	var some History
	c.get(self+"/history?from=2025-03-02&to=2026-02-01", &some)
	if d := cmp.Diff(h.Readings[1:], some.Readings); d != "" {
		c.t.Errorf("from the second visit to the last: %s", d)
	}
	some = History{}
	c.get(self+"/history?to=2025-08-31", &some)
	if d := cmp.Diff(h.Readings[:1], some.Readings); d != "" || len(some.Odometer) > 0 {
		c.t.Errorf("before the second visit: %s, %+v", d, some.Odometer)
	}
	c.do(call{path: self + "/history?from=yesterday", status: 400, want: []string{`"parameter":"from"`}})
	// 7/16 in = 11.1125 mm: 25.4 mm to the inch.
	last := h.Readings[3]
	if last.ValueMM != 11.1125 || last.Given != "7/16" || last.Unit != "in" || last.Side != "" {
		c.t.Errorf("got %+v, want 11.1125 mm, given as 7/16 in", last)
	}

	var fs List[pipeline.Report]
	c.get(self+"/forecasts", &fs)
	if len(fs.Items) != 2 {
		c.t.Fatalf("got %d forecasts, want one for each axle", len(fs.Items))
	}
	f := fs.Items[0]
	if f.Vehicle != "Bus 1" || f.Axle != 1 || f.AsOf.String() != "2026-03-02" || f.Limiting == nil || f.Limiting.Face != "inner" || f.Readings != 3 {
		c.t.Errorf("got %+v, want the front axle's inner pad from 3 readings", f)
	}
	if f.LimitKm.P10 == nil || f.LimitKm.P50 == nil || !(*f.LimitKm.P10 < *f.LimitKm.P50) || *f.LimitKm.P50 < 155000 {
		c.t.Errorf("got limit at %+v, want quantiles beyond 155,000 km", f.LimitKm)
	}
}

// checks checks files, with and without keeping them.
func (c *client) checks() {
	const (
		head = "vehicle,date,odometer_km,axle,part,side,face,value_mm\n"
		text = head + "Bus 1,2026-02-25,158400,1,pad,left,inner,4.4\nBus 1,2026-02-25,158400,2,pad,,,2.0\nBus 9,2026-02-25,1,1,pad,,,2\n"
		rows = `[{"vehicle":"Bus 1","date":"2026-02-26","odometer_km":12}]`
	)
	c.run([]call{
		{name: "a file", path: "/checks?name=readings.csv", kind: "text/csv", body: text, want: []string{
			`{"kind":"readings","accepted":2,"refused":1,"repeated":0,"doubtful":1,"before":null,"problems":[{"line":3,"column":"value_mm","read":"2","message":"Bus 1, axle 2 pad: outside what`,
			`"first":[{"line":2,"vehicle":"Bus 1","date":"2026-02-25","odometer_km":158400,"place":"axle 1 left inner pad","part":"pad","mm":4.4,"given":"4.4 mm"}`}},
		{name: "rows", path: "/checks", body: rows, want: []string{`"kind":"odometer","accepted":1`, `"doubtful":1`, "goes on from 12 km"}},
		{name: "what was handed in before", path: "/checks", body: readings, want: []string{`"accepted":0,"refused":0,"repeated":7`, `"before":`}, not: []string{`"before":null`}},
		{name: "no table", path: "/checks", kind: "text/csv", body: "soup\nleek\n", status: 400, want: []string{"these are not the columns"}},
		{name: "no such parameter", path: "/checks?chek=1", kind: "text/csv", body: text, status: 400, want: []string{`"parameter":"chek"`}},
		{name: "kept: no table", path: "/files", kind: "text/csv", body: "soup\nleek\n", status: 400},
		{name: "kept: no such file", path: "/files/999", status: 404},
		{name: "kept: take no such file", method: "POST", path: "/files/999/take", status: 404},
		{name: "kept: drop no such file", method: "DELETE", path: "/files/999", status: 404},
	})
	var before, after Page[Upload]
	c.get("/uploads", &before)
	kept := func(x call) (f File) {
		c.t.Helper()
		w := c.do(x)
		if err := json.Unmarshal(w.Body.Bytes(), &f); err != nil {
			c.t.Fatal(err)
		}
		if want := fmt.Sprintf("%s/files/%d", Prefix, f.ID); w.Header().Get("Location") != want {
			c.t.Errorf("Location %q, want %q", w.Header().Get("Location"), want)
		}
		return f
	}
	f := kept(call{path: "/files?name=march.csv", kind: "text/csv", body: text})
	if f.State != "checked" || f.Check == nil || f.Check.Doubtful != 1 || f.UploadID != nil || f.Name != "march.csv" {
		c.t.Errorf("kept: got %+v", f)
	}
	self := "/files/" + strconv.FormatInt(f.ID, 10)
	c.do(call{path: self, want: []string{`"state":"checked"`, `"accepted":2`}})
	c.get("/uploads", &after)
	if len(before.Items) != len(after.Items) {
		c.t.Errorf("a check made an upload: %+v", after.Items[0])
	}
	for range 2 { // the answer was lost
		f = kept(call{method: "POST", path: self + "/take"})
		if f.State != "done" || f.UploadID == nil {
			c.t.Fatalf("taken in: got %+v", f)
		}
	}
	c.do(call{path: "/uploads/" + strconv.FormatInt(*f.UploadID, 10), want: []string{`"accepted":2,"refused":1,"repeated":0,"doubtful":1`, `"refused":false,"doubtful":true`}})
	if f = kept(call{path: "/files?take=true", kind: "text/csv", body: head + "Bus 1,2026-02-27,158600,1,pad,left,inner,4.3\n"}); f.State != "done" {
		c.t.Errorf("taken in at once: got %+v", f)
	}
	f = kept(call{path: "/files", kind: "text/csv", body: head + "Bus 1,2026-02-28,158700,1,pad,left,inner,4.2\n"})
	self = "/files/" + strconv.FormatInt(f.ID, 10)
	c.do(call{method: "DELETE", path: self, status: http.StatusNoContent})
	c.do(call{path: self, status: 404})
}

// clusterSwap declares a change of instruments and wants it in the history.
func (c *client) clusterSwap() {
	c.do(call{path: "/odometer", body: `[{"vehicle":"Bus 1","date":"2026-03-01","odometer_km":0,"previous_km":159000}]`, status: 201, want: []string{`"accepted":1,"refused":0,"repeated":0,"doubtful":0`}})
	var found Page[VehicleItem]
	c.get("/vehicles?q=bus+1", &found)
	c.do(call{path: "/vehicles/" + strconv.FormatInt(found.Items[0].ID, 10) + "/history", want: []string{`"cluster_swaps":[{"date":"2026-03-01","previous_km":159000,"odometer_km":0,"upload_id":`}})
}

// pages walks the due-soon list and the uploads by cursor, and wants to meet
// every item once.
func (c *client) pages() {
	seen := map[string]bool{}
	next := Prefix + "/due?limit=4&sort=km_left"
	for n := 0; next != ""; n++ {
		w := c.do(call{path: strings.TrimPrefix(next, Prefix)})
		var p Page[Due]
		if err := json.Unmarshal(w.Body.Bytes(), &p); err != nil || n > 3 || len(p.Items) == 0 {
			c.t.Fatalf("page %d: %v, %+v", n, err, p)
		}
		for _, d := range p.Items {
			seen[d.Vehicle+strconv.Itoa(d.Axle)] = true
		}
		link := w.Header().Get("Link")
		if (link == "") != (p.Next == nil) {
			c.t.Errorf("got Link %q and next %v", link, p.Next)
		}
		next, _, _ = strings.Cut(strings.TrimPrefix(link, "<"), ">")
	}
	if len(seen) != 6 {
		c.t.Errorf("got axles %v, want 6", seen)
	}

	var all Page[Upload]
	c.get("/uploads", &all)
	var walked []int64
	cursor := ""
	for range len(all.Items) + 1 {
		var p Page[Upload]
		c.get("/uploads?limit=3"+cursor, &p)
		for _, up := range p.Items {
			walked = append(walked, up.ID)
		}
		if p.Next == nil {
			break
		}
		cursor = "&cursor=" + *p.Next
	}
	if len(walked) != len(all.Items) || walked[0] != all.Items[0].ID || walked[len(walked)-1] != all.Items[len(walked)-1].ID {
		c.t.Errorf("got uploads %v, want all %d once", walked, len(all.Items))
	}
	var one UploadDetail
	c.get("/uploads/"+strconv.FormatInt(walked[0], 10), &one)
	if one.ID != walked[0] || !one.At.Equal(now) || one.By != "API" {
		c.t.Errorf("got %+v, want upload %d", one, walked[0])
	}
}

// form sends a file as a browser would.
func (c *client) form() {
	var b bytes.Buffer
	m := multipart.NewWriter(&b)
	part, err := m.CreateFormFile("file", "februar.csv")
	if err == nil {
		_, err = io.WriteString(part, "vehicle,date,odometer_km\nBus 2,2026-02-10,91000\n")
	}
	if err != nil || m.Close() != nil {
		c.t.Fatal(err)
	}
	c.do(call{path: "/uploads", kind: m.FormDataContentType(), body: b.String(), status: 201, want: []string{`"name":"februar.csv"`, `"accepted":1`}})
}

// TestTooLarge wants a body over the bound to be refused with the bound.
func TestTooLarge(t *testing.T) {
	c := newClient(t, storetest.Open(t, store.SQLite))
	body := "[" + strings.Repeat(" ", maxBulk) + "]"
	c.do(call{path: "/odometer", body: body, status: http.StatusRequestEntityTooLarge, want: []string{"larger than the 32 MB"}})
}

// TestInternalError wants a fault of ours to show nothing of itself.
func TestInternalError(t *testing.T) {
	db := storetest.Open(t, store.SQLite)
	c := newClient(t, db)
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	w := c.do(call{path: "/due", status: http.StatusInternalServerError, want: []string{`"title":"Internal Server Error"`}, not: []string{"closed", "sql"}})
	if got := w.Header().Get("Content-Type"); got != "application/problem+json" {
		t.Errorf("got content %q", got)
	}
}
