package dashboard

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/units"
)

// Common practice, no source.
func TestReaderOf(t *testing.T) {
	for _, c := range []struct {
		accept string
		want   units.Reader
	}{
		{"", units.Reader{}},
		{"en", units.Reader{}},
		{"en-US,en;q=0.9", units.Reader{DistanceIn: units.Miles, ThicknessIn: units.Inches, DaysAs: units.MonthDay}},
		{"en-GB;q=1", units.Reader{DistanceIn: units.Miles}},
		{"de-AT,de;q=0.8", units.Reader{DaysAs: units.Dots}},
		{"fr", units.Reader{DaysAs: units.DaySlash}},
		{"sv-SE", units.Reader{DaysAs: units.ISO}},
		{"*;q=0.5, ,-,;;", units.Reader{}},
	} {
		if got := readerOf(c.accept); got != c.want {
			t.Errorf("%q: got %+v, want %+v", c.accept, got, c.want)
		}
	}
}

func TestReaderForm(t *testing.T) {
	w := empty(t)
	account := func(accept string) string {
		r := httptest.NewRequest("GET", "/account", nil)
		r.Header.Set("Accept-Language", accept)
		rec := httptest.NewRecorder()
		w.handler.ServeHTTP(rec, r)
		if rec.Code != http.StatusOK {
			t.Fatalf("got %d: %s", rec.Code, rec.Body)
		}
		return rec.Body.String()
	}
	const miles, km = `<option value="mi" selected>`, `<option value="km" selected>`
	if got := account("en"); !strings.Contains(got, km) || strings.Contains(got, "Nothing is chosen yet") {
		t.Error("the usual units are not simply chosen")
	}
	if got := account("en-US"); !strings.Contains(got, miles) || !strings.Contains(got, "Nothing is chosen yet") {
		t.Error("miles are not suggested to a browser of the United States")
	}
	send := func(distance, thickness, days string) *httptest.ResponseRecorder {
		form := url.Values{"distance": {distance}, "thickness": {thickness}, "days": {days}}
		r := httptest.NewRequest("POST", "/account/units", strings.NewReader(form.Encode()))
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		rec := httptest.NewRecorder()
		w.handler.ServeHTTP(rec, r)
		return rec
	}
	for _, bad := range [][3]string{{"", "mm", "y-m-d"}, {"furlong", "mm", "y-m-d"}, {"km", "mm", "whenever"}} {
		if got := send(bad[0], bad[1], bad[2]); got.Code != http.StatusBadRequest || !strings.Contains(got.Body.String(), `role="alert"`) {
			t.Errorf("%v: got %d, want to be told", bad, got.Code)
		}
	}
	if got := send("km", "in", "y-m-d"); got.Code != http.StatusSeeOther {
		t.Fatalf("got %d: %s", got.Code, got.Body)
	}
	got := account("en-US")
	for _, want := range []string{km, `<option value="in" selected>`, `<option value="y-m-d" selected>`} {
		if !strings.Contains(got, want) {
			t.Errorf("kept: got no %s", want)
		}
	}
	if strings.Contains(got, "Nothing is chosen yet") {
		t.Error("what was chosen is called a suggestion")
	}
}

// What is left as it stood in a form of inches and miles is not altered by a
// rounding; what is typed there is kept by the exact inch and mile; and a form
// means what it said though its reader has chosen otherwise since.
func TestCorrectInInches(t *testing.T) {
	w := told(t)
	seen := w.seenBy(t, "inches", units.Reader{DistanceIn: units.Miles, ThicknessIn: units.Inches})
	bus := w.vehiclePath(t, "Bus 2")
	page := w.readingPath(t, bus) // left outer, 15.4 mm on 20 Feb 2026 at 139,000 km
	doc := parse(t, seen.get(page).Body.String())
	form := url.Values{"act": {"correct"}, "date": {"2026-02-20"}, "side": {"left"}, "face": {"outer"}, "by": {"N. N."}, "why": {"misread"}}
	for _, name := range []string{"value_mm", "odometer_km", "in_distance", "in_thickness"} {
		form.Set(name, attr(find(doc, "form.correct input[name="+name+"]")[0], "value"))
	}
	// 15.4 mm are 19.402 of 0.79375 mm; 139,000 km are 86,370.6 mi of 1.609344 km
	// (NIST Special Publication 811, B.8).
	if got := form.Get("value_mm") + ", " + form.Get("odometer_km"); got != "19.4, 86370.6" {
		t.Errorf("the form has %s", got)
	}
	if rec := seen.submit(page, form); rec.Code != http.StatusBadRequest || !strings.Contains(rec.Body.String(), "nothing is changed") {
		t.Errorf("nothing changed: got %d", rec.Code)
	}
	form.Set("value_mm", "17/64")
	// What is asked about it is said in inches.
	doc = parse(t, seen.submit(page, form).Body.String())
	check(t, doc, []has{{".fault", "/32 in below what is likely here"}})
	form.Set("sure", attr(find(doc, "input[name=sure]")[0], "value"))
	// Sent by a reader of mm and km, the form is still of inches and miles.
	if rec := w.submit(page, form); rec.Code != http.StatusSeeOther {
		t.Fatalf("got %d: %s", rec.Code, rec.Body)
	}
	h, err := w.svc.DB.History(t.Context(), auth.AllFleets(), vehicleID(t, bus))
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range h.Readings {
		if r.Given == "17/64" {
			// 17/64 in of 25.4 mm (the same), to the millionth that is kept.
			if r.MM != 6.746875 || r.OdometerKm == nil || *r.OdometerKm != 139_000 {
				t.Errorf("kept %v mm at %v km, want 6.746875 at 139000", r.MM, *r.OdometerKm)
			}
			return
		}
	}
	t.Error("the correction is not kept as it was written")
}

// A card's moments are told by its depot's clock, the summer's where there is one.
func TestCardByDepotClock(t *testing.T) {
	w := small(t)
	all := auth.AllFleets()
	if err := w.svc.DB.SetTimeZone(t.Context(), all, 1, "Asia/Tokyo"); err != nil {
		t.Fatal(err)
	}
	card, err := w.svc.OpenCardFor(t.Context(), all, "N. N.", w.vehicleID(t, "Bus 1"), []fleet.WorkItem{{Axle: 1, Item: fleet.ItemPads}})
	if err != nil {
		t.Fatal(err)
	}
	path := fmt.Sprintf("/cards/%d", card.ID)
	if rec := w.submit(path+"/close", url.Values{"state": {string(fleet.CardDropped)}, "by": {"N. N."}, "note": {"wrong bus"}}); rec.Code != http.StatusSeeOther {
		t.Fatalf("got %d: %s", rec.Code, rec.Body)
	}
	// The tests' clock stands at 09:00 UTC; Tokyo's is nine hours ahead.
	check(t, parse(t, w.get(path).Body.String()), []has{{"main", "closed by N. N. on 2 Mar 2026, 18:00 JST"}})
}
