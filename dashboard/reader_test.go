package dashboard

import (
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"

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
