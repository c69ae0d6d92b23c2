package dashboard

import (
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/store/storetest"

	"golang.org/x/net/html"
)

// postForm sends a form to w, as a browser without scripts does.
func (w *world) postForm(path string, values url.Values, header ...string) *httptest.ResponseRecorder {
	req := httptest.NewRequest(http.MethodPost, path, strings.NewReader(values.Encode()))
	req.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	for i := 0; i < len(header); i += 2 {
		req.Header.Set(header[i], header[i+1])
	}
	rec := httptest.NewRecorder()
	w.handler.ServeHTTP(rec, req)
	return rec
}

// formValues are what a browser would send of a form's page.
func formValues(t *testing.T, page string) url.Values {
	t.Helper()
	doc := parse(t, page)
	vs := url.Values{}
	for _, n := range find(doc, "form.measure input") {
		kind := attr(n, "type")
		if kind == "checkbox" && !has1(n, "checked") {
			continue
		}
		vs.Add(attr(n, "name"), attr(n, "value"))
	}
	for _, n := range find(doc, "form.measure select") {
		for _, o := range find(n, "option") {
			if has1(o, "selected") || !vs.Has(attr(n, "name")) {
				vs.Set(attr(n, "name"), attr(o, "value"))
			}
		}
	}
	for _, n := range find(doc, "form.measure textarea") {
		vs.Set(attr(n, "name"), text(n))
	}
	return vs
}

func has1(n *html.Node, name string) bool {
	for _, a := range n.Attr {
		if a.Key == name {
			return true
		}
	}
	return false
}

// TestFormWithoutScripts fills in a form, gets it back with remarks and all
// that was entered, confirms, sends, and sends again.
func TestFormWithoutScripts(t *testing.T) {
	w := small(t)
	bus := w.vehiclePath(t, "Bus 1")
	rec := w.get(bus + "/measure")
	if rec.Code != http.StatusOK {
		t.Fatalf("got status %d", rec.Code)
	}
	check(t, parse(t, rec.Body.String()), []has{
		{"h1", "Bus 1"},
		{".odometer .known", "155,000 km"},
		{"#w-1-left .place", "Inner pad"},
		{"#w-1-left .known", "5.1"},
		{"#w-1-left .known", "limit 3.0"},
		{".sendbar .count", "0 of 6 filled in"}, // its rear pads are read as the thinner of both
		{"footer.cautions", "licensed technician"},
	})
	vs := formValues(t, rec.Body.String())
	if vs.Get("key") == "" || vs.Get("date") != "2026-03-02" {
		t.Fatalf("got %v", vs)
	}
	if got := vs.Get("technician"); got != tester {
		t.Errorf("technician: got %q, want who is signed in", got)
	}
	vs.Set("technician", "")
	vs.Set("odometer", "15900")
	vs.Set("1-left-inner-pad", "9,9")
	vs.Set("1-left-outer-pad", "4.8 mn")
	vs.Add("tick", "1-left cracked")
	vs.Set("why-1-right", "no time")
	vs.Set("note", "pin is stiff")

	// Nothing is lost of a form with faults.
	rec = w.postForm(bus+"/measure", vs)
	if rec.Code != http.StatusUnprocessableEntity {
		t.Fatalf("got status %d", rec.Code)
	}
	doc := parse(t, rec.Body.String())
	check(t, doc, []has{
		{".fault", "cannot be read"},
		{"#r-technician", "Say who measured"},
		{"#r-1-left-outer-pad", "“4.8 mn” cannot be read: write mm in digits, such as 7.4"},
		{"#r-1-left-inner-pad", "thicker than on 1 Feb 2026 (5.1 mm), and no new part is on record."},
		{"#r-odometer", "Below the 155,000 km of 1 Feb 2026"},
		{"#w-1-left details[open] input[checked]", "*"},
	})
	again := formValues(t, rec.Body.String())
	for _, name := range []string{"key", "date", "odometer", "1-left-inner-pad", "1-left-outer-pad", "tick", "why-1-right", "note"} {
		if got, want := again.Get(name), vs.Get(name); got != want {
			t.Errorf("%s: got %q back, want %q", name, got, want)
		}
	}

	// What is doubted wants to be confirmed.
	again.Set("technician", "N. N.")
	again.Set("1-left-outer-pad", "4.8")
	rec = w.postForm(bus+"/measure", again)
	if rec.Code != http.StatusUnprocessableEntity {
		t.Fatalf("got status %d", rec.Code)
	}
	check(t, parse(t, rec.Body.String()), []has{
		{".fault", "second look"},
		{"#r-1-left-inner-pad input[type=checkbox]", "*"},
		{"#r-1-left-outer-pad input", "*"}, // 5.1 mm less than the inner pad
	})
	sure := formValues(t, rec.Body.String())
	for _, name := range []string{"odometer", "1-left-inner-pad", "1-left-outer-pad"} {
		sure.Set("confirm-"+name, sure.Get(name))
	}
	// A value that is changed after it was confirmed is doubted again.
	changed, err := url.ParseQuery(sure.Encode())
	if err != nil {
		t.Fatal(err)
	}
	changed.Set("1-left-inner-pad", "10.9")
	rec = w.postForm(bus+"/measure", changed)
	if rec.Code != http.StatusUnprocessableEntity {
		t.Errorf("changed after it was confirmed: got status %d", rec.Code)
	}
	doc = parse(t, rec.Body.String())
	check(t, doc, []has{{"#r-odometer input[checked]", "*"}, {"#r-1-left-inner-pad input", "*"}, {"#r-1-left-inner-pad input[checked]", ""}})

	rec = w.postForm(bus+"/measure", sure)
	if rec.Code != http.StatusSeeOther {
		t.Fatalf("confirmed: got status %d: %s", rec.Code, rec.Body)
	}
	to := rec.Header().Get("Location")
	rec = w.get(to)
	check(t, parse(t, rec.Body.String()), []has{
		{"h1", "Bus 1: taken in"},
		{".summary .verdict", "*"},
		{".taken li", "odometer 15,900 km"},
		{".taken li", "axle 1 left inner pad 9.9 mm"},
		{".taken li", "axle 1 left: cracked"},
		{".taken li", "axle 1 right: not measured: no time"},
		{".taken li", "pin is stiff"},
		{".notice", ""},
	})
	check(t, parse(t, w.get(bus).Body.String()), []has{
		{"#axle-1 .history", "left: cracked"},
		{"#axle-1 .history", "measured twice"},
		{"main", "N. N.: pin is stiff"},
	})

	// Sent again: nothing is changed, and the page says so.
	rec = w.postForm(bus+"/measure", sure)
	if rec.Code != http.StatusSeeOther || rec.Header().Get("Location") != to+"?again=1" {
		t.Fatalf("again: got status %d to %s", rec.Code, rec.Header().Get("Location"))
	}
	check(t, parse(t, w.get(to+"?again=1").Body.String()), []has{{"h1", "nothing new"}, {".notice", "nothing was changed"}})

	// Its key with other entries: they are kept, and a new key is given.
	other, err := url.ParseQuery(sure.Encode())
	if err != nil {
		t.Fatal(err)
	}
	other.Set("note", "and the hose is chafed")
	rec = w.postForm(bus+"/measure", other)
	if rec.Code != http.StatusConflict {
		t.Fatalf("another content: got status %d", rec.Code)
	}
	check(t, parse(t, rec.Body.String()), []has{{".fault", "was sent before"}, {"textarea", "chafed"}})
	fresh := formValues(t, rec.Body.String())
	if fresh.Get("key") == sure.Get("key") {
		t.Error("the key is the one that was used")
	}
	if rec = w.postForm(bus+"/measure", fresh); rec.Code != http.StatusSeeOther {
		t.Errorf("with a new key: got status %d", rec.Code)
	}
	h, err := w.svc.DB.History(t.Context(), auth.AllFleets(), vehicleID(t, bus))
	if err != nil {
		t.Fatal(err)
	}
	if got := len(h.Readings); got != 4+2 {
		t.Errorf("got %d readings, want the 4 of the file and 2", got)
	}
}

// vehicleID is the id in a vehicle's path.
func vehicleID(t *testing.T, path string) (id int64) {
	t.Helper()
	if err := json.Unmarshal([]byte(strings.TrimPrefix(path, "/vehicles/")), &id); err != nil {
		t.Fatal(err)
	}
	return id
}

// TestFormAnswersScripts sends forms as the page's script does.
func TestFormAnswersScripts(t *testing.T) {
	w := small(t)
	bus := w.vehiclePath(t, "Bus 1")
	send := func(status int, edit ...string) formAnswer {
		t.Helper()
		vs := url.Values{"key": {"k1"}, "technician": {"N. N."}, "date": {"2026-03-02"}, "unit": {"mm"}, "km_unit": {"km"}, "1-left-inner-pad": {"4.5"}}
		for i := 0; i < len(edit); i += 2 {
			vs.Set(edit[i], edit[i+1])
		}
		rec := w.postForm(bus+"/measure", vs, "Accept", "application/json")
		var a struct {
			formAnswer
			To string
		}
		if rec.Code != status {
			t.Fatalf("%v: got status %d, want %d: %s", edit, rec.Code, status, rec.Body)
		}
		if err := json.Unmarshal(rec.Body.Bytes(), &a); err != nil {
			t.Fatal(err)
		}
		if (status == http.StatusOK) != (a.To != "") {
			t.Errorf("%v: got address %q", edit, a.To)
		}
		return a.formAnswer
	}
	if a := send(422, "date", "2026-03-03"); a.Faults["date"] == "" {
		t.Errorf("tomorrow: got %+v", a)
	}
	if a := send(422, "date", "yesterday"); a.Faults["date"] == "" {
		t.Errorf("no day: got %+v", a)
	}
	if a := send(422, "unit", "furlong"); !strings.Contains(a.Faults["1-left-inner-pad"], "furlong") {
		t.Errorf("no unit: got %+v", a)
	}
	if a := send(422, "1-left-inner-pad", ""); !strings.Contains(a.Message, "Nothing is filled in") {
		t.Errorf("nothing: got %+v", a)
	}
	a := send(422, "1-left-inner-pad", "9/32 in")
	if len(a.Remarks) != 1 || !a.Remarks[0].Doubt || a.Remarks[0].Field != "1-left-inner-pad" || !strings.Contains(a.Remarks[0].Text, "2.0 mm thicker") {
		t.Errorf("doubted: got %+v", a) // 9/32 in = 7.14 mm, 2.04 mm over the 5.1 before
	}
	send(200)
	send(200)
	if a := send(409, "note", "more"); a.Key == "" || a.Key == "k1" {
		t.Errorf("key used: got %+v", a)
	}
}

// TestFormLaidOut asks for the axles of a vehicle that has none on record.
func TestFormLaidOut(t *testing.T) {
	w := small(t)
	w.takeIn(t, "more.csv", "vehicle,fleet,depot,category\nTruck 9,Ferry Lines,Hill,N3\n")
	path := w.vehiclePath(t, "Truck 9") + "/measure"
	check(t, parse(t, w.get(path).Body.String()), []has{{".empty h2", "No axle"}, {".empty select[name=axles]", "*"}, {"form.measure", ""}})
	for _, bad := range []string{"?axles=13&brakes=disc", "?axles=2&brakes=band", "?axles=two&brakes=disc"} {
		if rec := w.get(path + bad); rec.Code != http.StatusBadRequest {
			t.Errorf("%s: got status %d, want 400", bad, rec.Code)
		}
	}
	page := w.get(path + "?axles=3&brakes=mixed").Body.String()
	check(t, parse(t, page), []has{{".notice", "not on record"}, {"#w-1-left", "Outer pad"}, {"#w-3-right legend", "Axle 3 right"}, {"#w-3-right", "Lining"}})
	vs := formValues(t, page)
	vs.Set("technician", "N. N.")
	vs.Set("odometer", "90 000")
	vs.Set("3-right-lining", "14")
	rec := w.postForm(path, vs)
	if rec.Code != http.StatusSeeOther {
		t.Fatalf("got status %d: %s", rec.Code, rec.Body)
	}
	check(t, parse(t, w.get(rec.Header().Get("Location")).Body.String()), []has{{".taken", "axle 3 right lining 14.0 mm"}, {"main", "stand in"}})
	// Now the axle is known.
	check(t, parse(t, w.get(path).Body.String()), []has{{".notice", ""}, {"#w-3-left", "Lining"}, {"#w-1-left", ""}})
}

func TestFindVehicle(t *testing.T) {
	w := small(t)
	w.takeIn(t, "more.csv", "vehicle,fleet,depot,plate\nBus 11,Ferry Lines,Hill,KEA 11\nBus 21,Ferry Lines,Hill,1 KE\n")
	for _, c := range []struct {
		q      string
		status int
		has    []has
	}{
		{"", 200, []has{{"input[type=search][autofocus]", "*"}, {".found a", ""}}},
		{"bus", 200, []has{{".found a", "Bus 1"}, {".found a", "Bus 21"}}},
		{"tram", 200, []has{{".find-say", "No vehicle has “tram”"}}},
		{"kea2", 303, nil}, // alone: to its form
	} {
		rec := w.get("/measure?q=" + url.QueryEscape(c.q))
		if rec.Code != c.status {
			t.Errorf("%q: got status %d, want %d", c.q, rec.Code, c.status)
		}
		check(t, parse(t, rec.Body.String()), c.has)
	}
	req := httptest.NewRequest(http.MethodGet, "/measure?q=1", nil)
	req.Header.Set("Accept", "application/json")
	rec := httptest.NewRecorder()
	w.handler.ServeHTTP(rec, req)
	var got struct{ Found []FoundVehicle }
	if err := json.Unmarshal(rec.Body.Bytes(), &got); err != nil {
		t.Fatal(err)
	}
	var numbers []string
	for _, v := range got.Found {
		numbers = append(numbers, v.Number)
	}
	// 1 as a word of number or plate first, then by number.
	if got, want := strings.Join(numbers, ", "), "Bus 1, Bus 21, Bus 11"; got != want {
		t.Errorf("got %s, want %s", got, want)
	}
}

// TestFindToday: what is booked for today, or next, is found without typing, by whoever
// may enter readings of it.
func TestFindToday(t *testing.T) {
	w := small(t)
	all := auth.AllFleets()
	bus, err := w.svc.DB.History(t.Context(), all, w.vehicleID(t, "Bus 1"))
	if err != nil {
		t.Fatal(err)
	}
	hill, err := w.svc.DB.History(t.Context(), all, w.vehicleID(t, "Bus 2"))
	if err != nil {
		t.Fatal(err)
	}
	there := hill.Vehicle.DepotID // which is not where Bus 1 is at home
	for _, b := range []pipeline.ByHand{
		{VehicleID: bus.Vehicle.ID, Axles: []int{1}, Slot: fleet.Slot{DepotID: there, Day: w.svc.Today()}},
		{VehicleID: hill.Vehicle.ID, Axles: []int{1}, Slot: fleet.Slot{DepotID: there, Day: w.svc.Today() + 1}},
	} {
		if _, err := w.svc.Book(t.Context(), all, "N. N.", b); err != nil {
			t.Fatal(err)
		}
	}
	for _, c := range []struct {
		name  string
		depot int64
		path  string
		want  string
	}{
		{"everywhere", 0, "/measure", "Booked for today: Bus 1 KEA 1 Hill · axle 1: pads"},
		{"of its own depot", bus.Vehicle.DepotID, "/measure", "Booked for today: Bus 1 KEA 1 Hill · axle 1: pads"},
		{"of the workshop, which it is only lent to", there, "/measure", "Booked for Tuesday 3 Mar 2026: Bus 2 KEA 2 Hill · axle 1: pads"},
		{"who typed something", 0, "/measure?q=bus", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			session, err := storetest.SignIn(t.Context(), w.svc.DB, c.name, auth.Grant{Role: auth.Technician, FleetID: bus.Vehicle.FleetID, DepotID: c.depot})
			if err != nil {
				t.Fatal(err)
			}
			var got []string
			page := parse(t, w.as(session, "GET", c.path, nil).Body.String())
			for _, a := range find(page, ".today a") {
				got = append(got, strings.Join(strings.Fields(text(a)), " "))
				if rec := w.as(session, "GET", attr(a, "href"), nil); rec.Code != http.StatusOK {
					t.Errorf("%s: got %d", attr(a, "href"), rec.Code)
				}
			}
			said := strings.Join(got, ", ")
			for _, h := range find(page, ".today h2") {
				said = text(h) + ": " + said
			}
			if said != c.want {
				t.Errorf("got %q, want %q", said, c.want)
			}
		})
	}
}

// TestFormUnknown wants no page of what is not there.
func TestFormUnknown(t *testing.T) {
	w := small(t)
	bus := w.vehiclePath(t, "Bus 1")
	for _, path := range []string{"/vehicles/99/measure", "/vehicles/x/measure", bus + "/measured/1", bus + "/measured/99", bus + "/measured/x"} {
		if rec := w.get(path); rec.Code != http.StatusNotFound {
			t.Errorf("%s: got status %d, want 404", path, rec.Code)
		}
	}
	if rec := w.postForm("/vehicles/99/measure", url.Values{"date": {"2026-03-02"}}); rec.Code != http.StatusNotFound {
		t.Errorf("POST: got status %d, want 404", rec.Code)
	}
}
