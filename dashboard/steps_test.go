package dashboard

import (
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
)

// A section's steps go through the form unchanged, and come back in the order
// asked for with one more.
func TestSteps(t *testing.T) {
	w := small(t)
	doc := parse(t, w.get("/steps").Body.String())
	check(t, doc, []has{{"h1", "Steps of job cards"}, {"p", "as they come with the program"}, {"option", "wheel nuts"}})
	want := fleet.DefaultSteps(fleet.SectionHydraulics)
	form := url.Values{"fleet": {"1"}, "section": {"hydraulics"}, "version": {"0"}, "by": {"N. N."}}
	put := func(n, at string, s fleet.Step) {
		r := stepRow(1, &s)
		for name, v := range map[string]string{"key": r.Key, "at": at, "text": r.Text, "items": r.Items, "source": r.Source, "measures": r.Measures} {
			form.Set(name+"_"+n, v)
		}
		if s.Safety {
			form.Set("safety_"+n, "on")
		}
	}
	put("1", "1", want[0])
	put("2", "2", want[1])
	put("3", "3", want[2])
	low := 4.5
	more := fleet.Step{Key: "boiling", Text: "Boiling point of the old fluid noted", Items: []fleet.Item{fleet.ItemFluid}, Measures: []fleet.Measure{{Name: "boiling point", Unit: "°C", Low: &low}}}
	put("4", "1.5", more)
	post := func(path string) *httptest.ResponseRecorder {
		req := httptest.NewRequest(http.MethodPost, path, strings.NewReader(form.Encode()))
		req.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		rec := httptest.NewRecorder()
		w.handler.ServeHTTP(rec, req)
		return rec
	}
	if rec := post("/steps"); rec.Code != http.StatusSeeOther {
		t.Fatalf("got %d: %s", rec.Code, rec.Body)
	}
	plans, err := w.svc.DB.StepPlans(t.Context(), auth.AllFleets(), 1)
	if err != nil {
		t.Fatal(err)
	}
	got := plans[fleet.SectionHydraulics]
	want = []fleet.Step{want[0], more, want[1], want[2]}
	if d := cmp.Diff(want, got.Steps); d != "" || got.Version != 1 || got.By != "N. N." {
		t.Errorf("version %d by %s; want, got:\n%s", got.Version, got.By, d)
	}
	// Somebody else was quicker.
	if rec := post("/steps"); rec.Code != http.StatusConflict {
		t.Errorf("an old version: got %d, want 409", rec.Code)
	}
	form = url.Values{"fleet": {"1"}, "by": {"N. N."}, "measure": {"wheel nuts"}, "low": {"570"}, "high": {"630"}, "unit": {"Nm"}, "source": {"its handbook"}}
	if rec := post("/steps/makers"); rec.Code != http.StatusSeeOther {
		t.Fatalf("got %d: %s", rec.Code, rec.Body)
	}
	check(t, parse(t, w.get("/steps").Body.String()), []has{{"td", "570 to 630 Nm"}, {"td", "any vehicle"}, {"p", "version 1, kept by N. N."}})
	form.Set("low", "700")
	if rec := post("/steps/makers"); rec.Code != http.StatusBadRequest || !strings.Contains(rec.Body.String(), "above the most") {
		t.Errorf("least above most: got %d", rec.Code)
	}
}
