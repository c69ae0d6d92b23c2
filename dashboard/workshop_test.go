package dashboard

import (
	"maps"
	"net/http"
	"net/http/httptest"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"testing"

	"golang.org/x/net/html"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// submit sends a form as a browser does.
func (w *world) submit(path string, form url.Values) *httptest.ResponseRecorder {
	rec := httptest.NewRecorder()
	req := httptest.NewRequest(http.MethodPost, path, strings.NewReader(form.Encode()))
	req.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	w.handler.ServeHTTP(rec, req)
	return rec
}

// formAt is what stands in the first form of a page that goes to action.
// Fields of a disabled fieldset are not sent.
func formAt(t *testing.T, doc *html.Node, action string) url.Values {
	t.Helper()
	form := url.Values{}
	fs := find(doc, "form[action="+action+"]")
	if len(fs) == 0 {
		t.Fatalf("no form goes to %s", action)
	}
	off := find(fs[0], "fieldset[disabled] input")
	for _, n := range find(fs[0], "input") {
		if slices.Contains(off, n) {
			continue
		}
		if attr(n, "type") == "checkbox" && !hasAttr(n, "checked") {
			continue
		}
		form.Add(attr(n, "name"), attr(n, "value"))
	}
	off = find(fs[0], "fieldset[disabled] select")
	for _, n := range find(fs[0], "select") {
		if slices.Contains(off, n) {
			continue
		}
		for i, o := range find(n, "option") {
			if i == 0 || hasAttr(o, "selected") {
				form.Set(attr(n, "name"), attr(o, "value"))
			}
		}
	}
	return form
}

func TestWorkshopSettings(t *testing.T) {
	w := small(t)
	rec := w.get("/workshops")
	check(t, parse(t, rec.Body.String()), []has{
		{"h1", "Workshops"}, {".card-name", "Harbour"}, {".counts", "1 bay · Mon–Fri 08:00–17:00"}, {".card-due", "assumptions"},
	})
	page := parse(t, w.get("/workshops/1").Body.String())
	check(t, page, []has{{"h1", "Workshop Harbour"}, {".notice", "Nobody has set this workshop"}})
	form := formAt(t, page, "/workshops/1")

	// Faults are told by field, and what was typed is kept.
	bad := url.Values{}
	for k, v := range form {
		bad[k] = v
	}
	bad.Set("bays", "many")
	bad.Set("opens_2", "25:00")
	bad.Set("light_pads", "-1")
	bad.Set("time_zone", "Moon/Rim")
	bad.Set("visit_cost", "7,5")
	rec = w.submit("/workshops/1", bad)
	if rec.Code != http.StatusBadRequest {
		t.Fatalf("got status %d", rec.Code)
	}
	page = parse(t, rec.Body.String())
	check(t, page, []has{
		{".fault", "4 fields need another look"},
		{"#w-time_zone", "Moon/Rim"}, {"#w-bays", "“many” is no whole number"}, {"input[name=bays][aria-invalid=true]", "*"},
		{".entries .wrong", "“25:00” is no time"},
		{".entries .wrong", "Want 0 to 24 hours"},
	})
	if got := formAt(t, page, "/workshops/1"); got.Get("bays") != "many" || got.Get("visit_cost") != "7,5" {
		t.Errorf("what was typed is lost: %v", got)
	}

	form.Set("bays", "3")
	form.Set("visit_cost", "7,5")
	form.Set("opens_5", "09:00")
	form.Set("closes_5", "12:00")
	form.Set("technicians_5", "6")
	form.Set("time_zone", "Atlantic/Azores")
	rec = w.submit("/workshops/1", form)
	if rec.Code != http.StatusSeeOther {
		t.Fatalf("got status %d: %s", rec.Code, rec.Body)
	}
	page = parse(t, w.get(rec.Header().Get("Location")).Body.String())
	check(t, page, []has{{".notice", "Saved"}})
	got := formAt(t, page, "/workshops/1")
	for name, want := range map[string]string{"bays": "3", "visit_cost": "7.5", "opens_5": "09:00", "time_zone": "Atlantic/Azores", "opens_6": ""} {
		if got.Get(name) != want {
			t.Errorf("%s: got %q, want %q", name, got.Get(name), want)
		}
	}

	for _, c := range []struct {
		form   url.Values
		status int
		say    string
	}{
		{url.Values{"first": {"2026-03-10"}, "last": {""}, "hours": {""}, "reason": {"fair"}}, http.StatusSeeOther, "Tue 10 Mar closed · fair"},
		{url.Values{"first": {"2026-03-16"}, "last": {"2026-03-18"}, "hours": {"4"}, "reason": {"training"}}, http.StatusSeeOther, "Mon 16 Mar – Wed 18 Mar 4 h a day · training"},
		{url.Values{"first": {"2026-03-16"}, "last": {"2026-03-15"}}, http.StatusBadRequest, "before the first"},
		{url.Values{"first": {""}}, http.StatusBadRequest, "Give a day"},
		{url.Values{"holidays": {"2026-12-25 Midwinter\n2026-06-01;Regatta\n"}}, http.StatusSeeOther, "Mon 1 Jun closed · Regatta"},
		{url.Values{"holidays": {"2026-12-26 Second day\n25 December\n"}}, http.StatusBadRequest, "Line 2"},
	} {
		rec := w.submit("/workshops/1/closures", c.form)
		if rec.Code != c.status {
			t.Errorf("%v: got status %d", c.form, rec.Code)
		}
		body := rec.Body.String()
		if rec.Code == http.StatusSeeOther {
			body = w.get("/workshops/1").Body.String()
		}
		page := parse(t, body)
		check(t, page, []has{{"#closures", c.say}})
		if got := formAt(t, page, "/workshops/1").Get("bays"); got != "3" {
			t.Errorf("%v: the settings show %q bays", c.form, got)
		}
	}
	// What is booked on a closed day is said there and on the plan.
	_, err := w.svc.Book(t.Context(), auth.AllFleets(), "test", pipeline.ByHand{VehicleID: w.vehicleID(t, "Bus 1"), Axles: []int{1}, Slot: fleet.Slot{DepotID: 1, Day: fleet.NewDate(2026, 3, 12)}})
	if err != nil {
		t.Fatal(err)
	}
	w.submit("/workshops/1/closures", url.Values{"first": {"2026-03-12"}, "last": {"2026-03-13"}, "reason": {"flood"}})
	check(t, parse(t, w.get("/workshops/1").Body.String()), []has{{"#closures", "Thu 12 Mar – Fri 13 Mar closed · flood · 1 booking stands here"}, {"#closures a", "1 booking stands here"}})
	check(t, parse(t, w.get("/plan?week=2026-03-12&depot=1").Body.String()), []has{{".shift.closed", "closed: flood – what is booked has to move"}})
	if rec := w.submit("/workshops/1/closures/1/drop", nil); rec.Code != http.StatusSeeOther {
		t.Errorf("drop: got status %d", rec.Code)
	}
	if rec := w.submit("/workshops/1/closures/1/drop", nil); rec.Code != http.StatusNotFound {
		t.Errorf("drop again: got status %d", rec.Code)
	}
	if rec := w.get("/workshops/99"); rec.Code != http.StatusNotFound {
		t.Errorf("no such depot: got status %d", rec.Code)
	}
}

func TestPartForm(t *testing.T) {
	w := small(t)
	check(t, parse(t, w.get("/parts").Body.String()), []has{{".empty", "No parts yet"}})
	form := formAt(t, parse(t, w.get("/parts/new").Body.String()), "/parts")
	form.Set("number", "P 10")
	form.Set("price", "dear")
	form.Set("fit_make_0", "Orlo")
	form.Set("fit_vehicle_1", "Tram 9")
	rec := w.submit("/parts", form)
	if rec.Code != http.StatusBadRequest {
		t.Fatalf("got status %d", rec.Code)
	}
	check(t, parse(t, rec.Body.String()), []has{{"#w-price", "“dear” is no number"}, {".wrong", "No vehicle of this fleet is called “Tram 9”"}})
	form.Set("price", "120.50")
	form.Set("fit_vehicle_1", "Bus 1")
	form.Set("fit_axle_1", "2")
	rec = w.submit("/parts", form)
	if rec.Code != http.StatusSeeOther {
		t.Fatalf("got status %d: %s", rec.Code, rec.Body)
	}
	page := parse(t, w.get("/parts/1").Body.String())
	form = formAt(t, page, "/parts/1")
	form.Set("stock_1", "4")
	form.Set("lead_days", "9")
	form.Set("fit_make_0", "")
	if rec = w.submit("/parts/1", form); rec.Code != http.StatusSeeOther {
		t.Fatalf("got status %d: %s", rec.Code, rec.Body)
	}
	check(t, parse(t, w.get("/parts").Body.String()), []has{
		{"table tr", "P 10 pads Bus 1, axle 2 120.50 9 days to come Harbour 4"},
	})
	if rec := w.submit("/parts", url.Values{"number": {"p 10"}, "item": {"pads"}, "per_axle": {"1"}}); rec.Code != http.StatusBadRequest || !strings.Contains(rec.Body.String(), "There is one already") && !strings.Contains(rec.Body.String(), "there is one already") {
		t.Errorf("twice: got %d %s", rec.Code, rec.Body)
	}
}

// TestFormsInTwoTabs saves a form that was opened before somebody else saved it: what one
// left alone stays as the other has it, and what both changed wants another look.
func TestFormsInTwoTabs(t *testing.T) {
	w := small(t)
	id, err := w.svc.DB.SaveStockPart(t.Context(), auth.AllFleets(), fleet.StockPart{
		FleetID: 1, Number: "P 10", Item: fleet.ItemPads, PerAxle: 1, LeadDays: 3, Fits: []fleet.Fit{{Make: "Orlo"}},
	})
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		path         string
		first, other url.Values // what each changes
		says         []has      // to the other
		kept         map[string]string
	}{
		{"/workshops/1", url.Values{"bays": {"4"}, "opens_1": {"07:00"}}, url.Values{"overtime": {"2"}}, nil,
			map[string]string{"bays": "4", "opens_1": "07:00", "overtime": "2"}},
		{"/workshops/1", url.Values{"bays": {"5"}, "opens_1": {"06:30"}}, url.Values{"bays": {"6"}},
			[]has{{".fault", "1 field needs"}, {"#w-bays", "“5” by now: somebody else changed it meanwhile"}},
			map[string]string{"bays": "6", "opens_1": "06:30"}},
		{"/workshops/1", url.Values{"bays": {"7"}}, url.Values{"bays": {"7"}}, nil, map[string]string{"bays": "7"}},
		{partPath(id), url.Values{"price": {"80"}, "fit_model_0": {"C12"}, "fit_make_1": {"Brix"}}, url.Values{"lead_days": {"9"}}, nil,
			map[string]string{"price": "80", "lead_days": "9", "fit_model_0": "C12", "fit_make_1": "Brix"}},
		{partPath(id), url.Values{"number": {"P 11"}, "fit_axle_0": {"1"}}, url.Values{"number": {"P 12"}, "fit_axle_1": {"2"}},
			[]has{{"#w-number", "“P 11” by now"}, {"#w-fits", "By now: Orlo C12, axle 1; Brix. Somebody else"}},
			map[string]string{"number": "P 12", "fit_axle_0": "", "fit_axle_1": "2"}},
		{partPath(id), url.Values{"price": {""}, "item": {"sensor"}}, url.Values{"price": {"90"}, "item": {"rotors"}},
			[]has{{"#w-price", "Blank by now: somebody else"}, {"#f-item[aria-describedby=w-item][aria-invalid] option[selected]", "rotors"}, {"#w-item", "“wear sensor” by now: somebody else"}},
			map[string]string{"price": "90", "item": "rotors"}},
		{partPath(id), url.Values{"fit_make_0": {"Mill"}, "fit_model_0": {""}, "fit_make_1": {""}, "fit_axle_1": {""}}, url.Values{"fit_make_2": {"Dune"}, "fit_make_3": {"Fell"}, "fit_make_4": {"Gorse"}, "fit_make_1": {"Moor"}},
			[]has{{"#w-fits", "By now: Mill"}},
			map[string]string{"fit_make_1": "Moor", "fit_make_4": "Gorse"}},
	} {
		open := func() url.Values { return formAt(t, parse(t, w.get(c.path).Body.String()), c.path) }
		first, other := open(), open()
		maps.Copy(first, c.first)
		maps.Copy(other, c.other)
		if rec := w.submit(c.path, first); rec.Code != http.StatusSeeOther {
			t.Fatalf("%s, %v: got status %d: %s", c.path, c.first, rec.Code, rec.Body)
		}
		rec := w.submit(c.path, other)
		if c.says != nil {
			page := parse(t, rec.Body.String())
			check(t, page, c.says)
			rec = w.submit(c.path, formAt(t, page, c.path)) // having been told, they mean it
		}
		if rec.Code != http.StatusSeeOther {
			t.Fatalf("%s, %v: got status %d: %s", c.path, c.other, rec.Code, rec.Body)
		}
		for name, want := range c.kept {
			if got := open().Get(name); got != want {
				t.Errorf("%s, %v and %v: got %s %q, want %q", c.path, c.first, c.other, name, got, want)
			}
		}
	}
}

// A count that is the number on record, or what a job left by now, is one, where somebody
// says that they counted.
func TestSameCountOnTheForm(t *testing.T) {
	w := small(t)
	id, err := w.svc.DB.SaveStockPart(t.Context(), auth.AllFleets(), fleet.StockPart{FleetID: 1, Number: "P 10", Item: fleet.ItemPads, PerAxle: 1},
		store.StockChange{DepotID: 1, Quantity: 4})
	if err != nil {
		t.Fatal(err)
	}
	lay := 4
	for i, c := range []struct {
		counted, taken bool
		want           int // times that the log has it
	}{{false, false, 1}, {true, false, 2}, {false, true, 3}, {true, true, 5}} {
		form := formAt(t, parse(t, w.get(partPath(id)).Body.String()), partPath(id))
		if c.taken { // after the form was shown; the log has that too
			lay--
			if err := w.svc.DB.SetStock(t.Context(), auth.AllFleets(), id, 1, lay); err != nil {
				t.Fatal(err)
			}
			form.Set("stock_1", strconv.Itoa(lay))
		}
		if c.counted {
			form.Set("counted_stock_1", "1")
		}
		if rec := w.submit(partPath(id), form); rec.Code != http.StatusSeeOther {
			t.Fatalf("got status %d: %s", rec.Code, rec.Body)
		}
		deeds, err := w.svc.DB.Deeds(t.Context(), auth.AllFleets(), store.DeedQuery{Record: "part", RecordID: id})
		if err != nil {
			t.Fatal(err)
		}
		deeds = slices.DeleteFunc(deeds, func(d store.Deed) bool { return d.Act != "stock set" })
		if len(deeds) != c.want {
			t.Errorf("form %d: got %+v, want %d counts in the log", i, deeds, c.want)
		}
	}
}

// TestShelfInTwoTabs saves a part's form that was opened before a job took from the
// shelf: what the job took is not put back.
func TestShelfInTwoTabs(t *testing.T) {
	w := small(t)
	id, err := w.svc.DB.SaveStockPart(t.Context(), auth.AllFleets(), fleet.StockPart{FleetID: 1, Number: "P 10", Item: fleet.ItemPads, PerAxle: 1},
		store.StockChange{DepotID: 1, Quantity: 4})
	if err != nil {
		t.Fatal(err)
	}
	form := func() url.Values { return formAt(t, parse(t, w.get(partPath(id)).Body.String()), partPath(id)) }
	lie := func(want int) {
		t.Helper()
		p, err := w.svc.DB.StockPart(t.Context(), auth.AllFleets(), id)
		if err != nil || len(p.Stock) == 0 || p.Stock[0].Quantity != want {
			t.Errorf("got %+v, %v, want %d on the shelf", p.Stock, err, want)
		}
	}
	price, count := form(), form()
	if err := w.svc.DB.ChangeStock(t.Context(), auth.AllFleets(), id, store.StockChange{DepotID: 1, Was: 4, Quantity: 3}); err != nil {
		t.Fatal(err)
	}
	price.Set("price", "80")
	if rec := w.submit(partPath(id), price); rec.Code != http.StatusSeeOther {
		t.Errorf("a price: got status %d: %s", rec.Code, rec.Body)
	}
	lie(3)
	// Nor where the form came back for something else first.
	price = form()
	if err := w.svc.DB.ChangeStock(t.Context(), auth.AllFleets(), id, store.StockChange{DepotID: 1, Was: 3, Quantity: 2}); err != nil {
		t.Fatal(err)
	}
	price.Set("price", "dear")
	price = formAt(t, parse(t, w.submit(partPath(id), price).Body.String()), partPath(id))
	price.Set("price", "90")
	if rec := w.submit(partPath(id), price); rec.Code != http.StatusSeeOther {
		t.Errorf("a price put right: got status %d: %s", rec.Code, rec.Body)
	}
	lie(2)
	count.Set("stock_1", "6")
	count.Set("name", "Pads")
	rec := w.submit(partPath(id), count)
	page := parse(t, rec.Body.String())
	check(t, page, []has{{"#w-stock_1", "2 on the shelf by now, not 4: a job or somebody else changed it. Count again, and save"}, {"input[name=stock_1][value=6]", "*"}, {"input[name=name][value=Pads]", "*"}})
	lie(2)
	// Having been told, whoever sends it again means it.
	if rec := w.submit(partPath(id), formAt(t, page, partPath(id))); rec.Code != http.StatusSeeOther {
		t.Errorf("again: got status %d: %s", rec.Code, rec.Body)
	}
	lie(6)
}

// TestShelfOfADepot has a planner of one depot count its shelf, and change nothing
// else of the part.
func TestShelfOfADepot(t *testing.T) {
	w := small(t)
	id, err := w.svc.DB.SaveStockPart(t.Context(), auth.AllFleets(), fleet.StockPart{FleetID: 1, Number: "P 10", Item: fleet.ItemPads, PerAxle: 1},
		store.StockChange{DepotID: 1, Quantity: 4}, store.StockChange{DepotID: 2, Quantity: 1})
	if err != nil {
		t.Fatal(err)
	}
	w.handler = w.asWho(t, auth.Who{Account: 1, Name: tester, Session: 1, Grants: []auth.Grant{
		{Role: auth.Planner, FleetID: 1, DepotID: 1}, {Role: auth.Technician, FleetID: 1},
	}})
	page := parse(t, w.get(partPath(id)).Body.String())
	check(t, page, []has{
		{"fieldset[disabled] input[name=number]", "*"}, {"fieldset[disabled] input[name=stock_2]", "*"},
		{"form .soft", "The part itself is for planners of the whole fleet to change."},
	})
	form := formAt(t, page, partPath(id))
	// A browser sends what is not disabled, and whoever sends more changes no more.
	form.Set("stock_1", "many")
	check(t, parse(t, w.submit(partPath(id), form).Body.String()), []has{
		{"#w-stock_1", "“many” is no whole number"}, {"fieldset[disabled] input[name=stock_2][value=1]", "*"},
		{"fieldset[disabled] input[name=per_axle][value=1]", "*"}, {"fieldset[disabled] option[value=pads][selected]", "*"},
	})
	form.Set("stock_1", "7")
	form.Set("stock_2", "7")
	form.Set("number", "P 11")
	if rec := w.submit(partPath(id), form); rec.Code != http.StatusSeeOther {
		t.Fatalf("got status %d: %s", rec.Code, rec.Body)
	}
	p, err := w.svc.DB.StockPart(t.Context(), auth.AllFleets(), id)
	if err != nil || p.Number != "P 10" || len(p.Stock) != 2 || p.Stock[0].Quantity != 7 || p.Stock[1].Quantity != 1 {
		t.Errorf("got %+v, %v, want P 10 with 7 at the first depot and 1 at the other", p, err)
	}
	if page := w.get("/parts").Body.String(); strings.Contains(page, "/parts/new") {
		t.Error("the list offers a new part to who may make none")
	}
	if rec := w.get("/parts/new"); rec.Code != http.StatusForbidden {
		t.Errorf("a new part: got status %d, want 403", rec.Code)
	}
}

func TestPrice(t *testing.T) {
	for _, c := range []struct {
		currency string
		x        float64
		want     string
	}{
		{"SC", 236, "SC 236"}, {"SC", 120.5, "SC 120.50"}, {"", 4.05, "4.05"}, {"SC", 1999.999, "SC 2,000"}, {"SC", 12500.01, "SC 12,500.01"}, {"", 0, "0"},
	} {
		if got := price(c.currency, c.x); got != c.want {
			t.Errorf("%g: got %q, want %q", c.x, got, c.want)
		}
	}
}

func TestDaysForm(t *testing.T) {
	w := small(t)
	path := w.vehiclePath(t, "Bus 1") + "/days"
	// Who may not change the days reads them.
	technician, err := storetest.SignIn(t.Context(), w.svc.DB, "of Bus 1", auth.Grant{Role: auth.Technician})
	if err != nil {
		t.Fatal(err)
	}
	fluid := func(want string) {
		t.Helper()
		if got := text(parse(t, w.as(technician, "GET", path, nil).Body.String())); !strings.Contains(got, want) {
			t.Errorf("a technician: got %q, want %q in it", got, want)
		}
	}
	fluid("When it was last changed is not known")
	for _, c := range []struct {
		form   url.Values
		status int
		say    string
	}{
		{url.Values{"form": {"away"}, "first": {"2026-03-10"}, "reason": {"rented out"}}, http.StatusSeeOther, "Tue 10 Mar · rented out"},
		{url.Values{"form": {"away"}, "weekday": {"0", "4"}}, http.StatusSeeOther, "every Mon, Fri"},
		{url.Values{"form": {"away"}}, http.StatusBadRequest, "give a first and a last day"},
		{url.Values{"form": {"away"}, "first": {"soon"}}, http.StatusBadRequest, "“soon” is no day"},
		{url.Values{"form": {"coming"}, "day": {"2026-03-12"}, "what": {"service"}, "depot": {"1"}}, http.StatusSeeOther, "Thu 12 Mar · service at Harbour"},
		{url.Values{"form": {"coming"}, "day": {"2026-03-13"}, "what": {"test"}}, http.StatusSeeOther, "test, elsewhere"},
		{url.Values{"form": {"coming"}, "day": {"2026-03-12"}}, http.StatusBadRequest, "say what the visit is for"},
		{url.Values{"form": {"fluid"}, "fluid": {"2027-01-01"}}, http.StatusBadRequest, "lies after today"},
		{url.Values{"form": {"fluid"}, "fluid": {"0001-01-01"}}, http.StatusBadRequest, "want a day since 1 Jan 1950"},
		{url.Values{"form": {"fluid"}, "fluid": {"2024-01-01"}}, http.StatusSeeOther, ""},
		{url.Values{"form": {"colour"}}, http.StatusBadRequest, ""},
	} {
		rec := w.submit(path, c.form)
		if rec.Code != c.status {
			t.Errorf("%v: got status %d", c.form, rec.Code)
			continue
		}
		body := rec.Body.String()
		if rec.Code == http.StatusSeeOther {
			body = w.get(path).Body.String()
		}
		if got := text(parse(t, body)); !strings.Contains(strings.ToLower(got), strings.ToLower(c.say)) {
			t.Errorf("%v: got %q, want %q in it", c.form, got, c.say)
		}
	}
	// A booking on a day it cannot be spared is said there, on another day it is not.
	for _, day := range []fleet.Date{fleet.NewDate(2026, 3, 10), fleet.NewDate(2026, 3, 11)} {
		_, err := w.svc.Book(t.Context(), auth.AllFleets(), "test", pipeline.ByHand{VehicleID: w.vehicleID(t, "Bus 1"), Axles: []int{int(day - fleet.NewDate(2026, 3, 9))}, Slot: fleet.Slot{DepotID: 1, Day: day}})
		if err != nil {
			t.Fatal(err)
		}
	}
	away := parse(t, w.get(path).Body.String())
	check(t, away, []has{{".entries-list li", "Tue 10 Mar · rented out · booked for Tue 10 Mar"}})
	if got := len(find(away, ".entries-list li a")); got != 1 {
		t.Errorf("got %d bookings on days away, want 1", got)
	}
	fluid("Last changed 1 Jan 2024.")
	ups, err := w.svc.DB.Upkeeps(t.Context(), auth.AllFleets(), nil, fleet.DateOf(now))
	if err != nil || len(ups) != 1 {
		t.Fatalf("got %v, %v", ups, err)
	}
	for _, u := range ups {
		if len(u.Absences) != 2 || len(u.Visits) != 2 || u.FluidChanged == nil {
			t.Errorf("got %+v", u)
		}
		if rec := w.submit(path+"/visits/1/drop", nil); rec.Code != http.StatusNotFound {
			t.Errorf("drop of no kind: got status %d", rec.Code)
		}
		if rec := w.submit(path+"/visit/1/drop", nil); rec.Code != http.StatusSeeOther {
			t.Errorf("drop: got status %d", rec.Code)
		}
	}
}
