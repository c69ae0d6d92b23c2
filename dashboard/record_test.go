package dashboard

import (
	"fmt"
	"net/http"
	"testing"
)

// The record of the invented island: enough came off to be judged. An empty
// database says what to do.
func TestRecord(t *testing.T) {
	rec := island(t).get("/record")
	if rec.Code != http.StatusOK {
		t.Fatalf("got %d: %s", rec.Code, rec.Body)
	}
	check(t, parse(t, rec.Body.String()), []has{
		{"h1", "Track record"},
		{"p", "worked out afterwards"},
		{"th", "30 days ahead"},
		{"th", "Gannetsby"},
		{"svg", "*"},
		{"td", "axle 1, pads"},
		{".cautions", "*"},
		{".notice", ""},
	})
	// More came off than are listed: the page that lists all keeps what is chosen.
	depot := parse(t, island(t).get("/record?depot=1&months=24").Body.String())
	check(t, depot, []has{{"#latest a[href=/record?depot=1&list=all&months=24#latest]", "List them all"}})
	whole := parse(t, island(t).get("/record?depot=1&list=all&months=24").Body.String())
	check(t, whole, []has{{"#latest .soft", ""}})
	var n int
	if _, err := fmt.Sscan(text(find(whole, ".tally dd")[0]), &n); err != nil || len(find(whole, "#latest tbody tr")) != n || n <= listed {
		t.Errorf("got %d sets listed, %v; want the %d that came off, more than %d", len(find(whole, "#latest tbody tr")), err, n, listed)
	}
	for _, c := range []struct {
		path, selector, want string
	}{
		{"/record?class=N1&months=3", ".notice", "too few to say"},
		{"/record?class=O4", "h2", "No set has come off"},
	} {
		check(t, parse(t, island(t).get(c.path).Body.String()), []has{{c.selector, c.want}, {"th", map[bool]string{true: "Vehicle", false: ""}[c.selector == ".notice"]}})
	}
	check(t, parse(t, empty(t).get("/record").Body.String()), []has{{"h2", "No set has come off"}})
	for _, bad := range []string{"/record?class=X9", "/record?months=many", "/record?months=-1"} {
		if got := island(t).get(bad).Code; got != http.StatusBadRequest {
			t.Errorf("%s: got %d, want 400", bad, got)
		}
	}
}
