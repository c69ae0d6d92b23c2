package dashboard

import (
	"regexp"
	"strings"
	"testing"

	"brakewear/internal/auth"
	"brakewear/internal/store"
)

// Before a month of forecasts is kept the page says that nothing can be
// compared; after that its numbers are the store's, and lead to as many axles.
func TestOverviewTrend(t *testing.T) {
	check(t, parse(t, small(t).get("/overview").Body.String()), []has{{"#trend p", "Not known yet: of none of these axles was a forecast kept about 31 Jan 2026."}, {"#trend table", ""}})
	w := island(t) // whose forecasts of past days were worked out afterwards
	doc := parse(t, w.get("/overview").Body.String())
	got, err := w.svc.DB.Trend(t.Context(), auth.AllFleets(), store.OverviewQuery{}, w.svc.Today())
	if err != nil {
		t.Fatal(err)
	}
	if got.Compared < 50 || got.Past.In+got.Near.In == 0 || !got.Afterwards || got.Left.N != got.Compared {
		t.Errorf("a month of the island: got %+v", got)
	}
	check(t, doc, []has{{"#trend p", count(got.Compared) + " measured axles are compared"}, {"#trend p", "worked out afterwards"},
		{"#trend thead th", "31 Jan"}, {"#trend tbody tr", "At or past the limit " + count(got.Past.Then) + " " + count(got.Past.Now)},
		{"#trend tbody tr", "Usable thickness left, on average"}, {"#trend h3", "Wear rates, in mm per 10,000 km"}})
	check(t, doc, []has{{"#weeks thead th", "Damage, as workshops reckon"}, {"#weeks .files a[href=/overview/waiting.csv]", "CSV"}})
	lists := 0
	for _, a := range find(doc, "#trend tbody a") {
		to := attr(a, "href")
		lists++
		h := text(find(parse(t, w.get(to).Body.String()), "h1")[0])
		if want := regexp.MustCompile(`^[\d,]+`).FindString(text(a)); !strings.HasPrefix(h, want+" axle") || !strings.Contains(h, "since 31 Jan") {
			t.Errorf("%q leads to %q, %s", text(a), h, to)
		}
	}
	if lists < 5 {
		t.Errorf("only %d links to lists", lists)
	}
	if rec := w.get("/?moved=sideways"); rec.Code != 400 {
		t.Errorf("a move that is none: got %d", rec.Code)
	}
	for _, name := range []string{"trend", "trend-wear", "waiting"} {
		if lines := strings.Count(w.get("/overview/"+name+".csv").Body.String(), "\n"); lines < 4 {
			t.Errorf("%s: the file has %d lines", name, lines)
		}
	}
}
