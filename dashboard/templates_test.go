package dashboard

import (
	"net/http/httptest"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/gin-gonic/gin"

	"brakewear/dashboard/chart"
	"brakewear/internal/auth"
	"brakewear/internal/units"
	"brakewear/internal/web"
)

// fill sets everything v holds to something that shows: one element in each
// slice, something behind each pointer.
func fill(v reflect.Value) {
	if v.Type() == reflect.TypeFor[time.Time]() {
		v.Set(reflect.ValueOf(now))
		return
	}
	switch v.Kind() {
	case reflect.String:
		v.SetString("words <&>")
	case reflect.Bool:
		v.SetBool(true)
	case reflect.Int, reflect.Int32, reflect.Int64:
		v.SetInt(3)
	case reflect.Float64:
		v.SetFloat(1.5)
	case reflect.Slice:
		v.Set(reflect.MakeSlice(v.Type(), 2, 2))
		for i := range v.Len() {
			fill(v.Index(i))
		}
	case reflect.Array:
		for i := range v.Len() {
			fill(v.Index(i))
		}
	case reflect.Pointer:
		v.Set(reflect.New(v.Type().Elem()))
		fill(v.Elem())
	case reflect.Struct:
		for i := range v.NumField() {
			if v.Field(i).CanSet() {
				fill(v.Field(i))
			}
		}
	}
}

// strip empties every pointer and slice at the top of v and sets its flags to
// false, so that the other branch of a template runs.
func strip(v reflect.Value) {
	for i := range v.NumField() {
		if f := v.Field(i); f.Kind() == reflect.Pointer || f.Kind() == reflect.Bool {
			f.SetZero()
		}
	}
}

// TestTemplatesFitTheirStructs runs every template against its struct: filled,
// with the pointers at the top empty, and empty altogether. A field that is
// not there, or of the wrong type, is an error.
func TestTemplatesFitTheirStructs(t *testing.T) {
	w := empty(t)
	d, err := New(w.svc)
	if err != nil {
		t.Fatal(err)
	}
	for name, data := range pageData {
		typ := reflect.TypeOf(data)
		filled := reflect.New(typ).Elem()
		fill(filled)
		half := reflect.New(typ).Elem()
		fill(half)
		strip(half)
		for how, v := range map[string]reflect.Value{"filled": filled, "without pointers": half, "empty": reflect.New(typ).Elem()} {
			page, err := d.pages[name].render(v.Interface(), &Signed{Name: "Ann", who: auth.Who{Account: 1, Grants: []auth.Grant{{Role: auth.Admin}}}}, units.Reader{})
			if err != nil {
				t.Errorf("%s, %s: %v", name, how, err)
				continue
			}
			if strings.Contains(string(page), "ZgotmplZ") {
				t.Errorf("%s, %s: a value was put where it is not allowed", name, how)
			}
			if !strings.Contains(string(page), "</html>") {
				t.Errorf("%s, %s: the page does not end", name, how)
			}
		}
	}
}

func TestRenderRefusesAnotherStruct(t *testing.T) {
	w := empty(t)
	d, err := New(w.svc)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := d.pages["due"].render(VehiclesPage{}, nil, units.Reader{}); err == nil {
		t.Error("a page took another page's struct")
	}
}

// TestErrorPageStands wants an error page even for the oddest problem.
func TestErrorPageStands(t *testing.T) {
	w := empty(t)
	d, err := New(w.svc)
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range []web.Problem{{}, {Status: 418, Title: "I'm a teapot"}, {Status: 500, RequestID: "abc"}} {
		c, _ := gin.CreateTestContext(httptest.NewRecorder())
		page, err := d.ErrorPage(c, p)
		if err != nil {
			t.Errorf("%+v: %v", p, err)
		}
		if p.Status == 500 && !strings.Contains(string(page), "abc") {
			t.Error("a failure of ours does not name its request")
		}
	}
	for _, x := range []struct {
		method string
		status int
		again  bool
	}{{"GET", 503, true}, {"GET", 500, true}, {"GET", 429, true}, {"POST", 503, false}, {"GET", 404, false}, {"GET", 403, false}} {
		c, _ := gin.CreateTestContext(httptest.NewRecorder())
		c.Request = httptest.NewRequestWithContext(t.Context(), x.method, "/record?months=3", nil)
		page, err := d.ErrorPage(c, web.Problem{Status: x.status})
		if again := strings.Contains(string(page), `href="/record?months=3"`); err != nil || again != x.again {
			t.Errorf("%s, %d: asks to try again: %v, %v", x.method, x.status, again, err)
		}
	}
}

// TestErrorPageLeadsBack wants the way back to a form of ours, and to nobody
// else's.
func TestErrorPageLeadsBack(t *testing.T) {
	w := empty(t)
	d, err := New(w.svc)
	if err != nil {
		t.Fatal(err)
	}
	for referer, want := range map[string]string{
		"http://depot.example/readings?x=1": "/readings?x=1", "http://depot.example": "/",
		"http://evil.example/readings": "", "http://depot.example//evil.example": "", "": "", "%": "",
	} {
		c, _ := gin.CreateTestContext(httptest.NewRecorder())
		c.Request = httptest.NewRequestWithContext(t.Context(), "POST", "http://depot.example/readings", nil)
		c.Request.Header.Set("Referer", referer)
		page, err := d.ErrorPage(c, web.Problem{Status: 413, Detail: "too large"})
		if err != nil {
			t.Fatal(err)
		}
		doc := parse(t, string(page))
		got := ""
		for _, a := range find(doc, ".next a") {
			if text(a) == "Back to the form" {
				got = attr(a, "href")
			}
		}
		if got != want {
			t.Errorf("sent from %q: leads back to %q, want %q", referer, got, want)
		}
		check(t, doc, []has{{".empty p", "Too large."}})
	}
}

// TestStylesheetKnowsTheInks wants a rule for every class that a chart draws
// with.
func TestStylesheetKnowsTheInks(t *testing.T) {
	css, err := staticFiles.ReadFile("static/app.css")
	if err != nil {
		t.Fatal(err)
	}
	for _, class := range chart.Classes() {
		if !strings.Contains(string(css), "."+class+" {") {
			t.Errorf("app.css has no rule for .%s", class)
		}
	}
}
