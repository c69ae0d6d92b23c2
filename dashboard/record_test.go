package dashboard

import (
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
