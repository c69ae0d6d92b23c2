package dashboard

import (
	"net/http"
	"net/url"
	"strings"
	"testing"
)

// A changed odometer is declared with both values, in the units of the form, and
// the vehicle's page says so; what cannot be comes back as it was typed.
func TestDeclareSwap(t *testing.T) {
	w := small(t)
	bus := w.vehiclePath(t, "Bus 1")
	check(t, parse(t, w.get(bus).Body.String()), []has{{"#odometer a[href=" + bus + "/odometer]", "The odometer was changed"}})
	form := formAt(t, parse(t, w.get(bus+"/odometer").Body.String()), bus+"/odometer")
	if form.Get("day") != "2026-03-02" {
		t.Errorf("got the form %v", form)
	}
	for _, c := range []struct{ name, old, new, day, fault string }{
		{"no old value", "", "12", "2026-03-01", "what the old one showed last"},
		{"no new value", "158000", "", "2026-03-01", "what the new one showed first"},
		{"no number", "many", "12", "2026-03-01", "many"},
		{"nothing changed", "158000", "158000", "2026-03-01", "show the same"},
		{"below nothing", "-4", "12", "2026-03-01", "-4"},
		{"a day to come", "158000", "12", "2026-03-03", "after today"},
	} {
		rec := w.submit(bus+"/odometer", with(form, "old", c.old, "new", c.new, "day", c.day))
		if got := rec.Body.String(); rec.Code != http.StatusBadRequest || !strings.Contains(got, c.fault) || !strings.Contains(got, `value="`+c.old+`"`) {
			t.Errorf("%s: got %d, want %q in it: %s", c.name, rec.Code, c.fault, text(parse(t, got)))
		}
	}
	if got := text(parse(t, w.get(bus).Body.String())); strings.Contains(got, "instrument cluster was changed") {
		t.Error("something was kept")
	}
	// Invented; 98,000 mi are 157,716 km (1 mi = 1.609344 km: NIST Special Publication 811, B.8).
	for range 2 {
		rec := w.submit(bus+"/odometer", with(form, "in_distance", "mi", "old", "98000", "new", "10", "day", "2026-03-01"))
		if to := rec.Header().Get("Location"); rec.Code != http.StatusSeeOther || to != bus+"#odometer" {
			t.Errorf("got %d to %s", rec.Code, to)
		}
		if page := w.get(bus).Body.String(); strings.Count(page, "the old one showed 157,716") != 1 {
			t.Errorf("the vehicle's page: %s", text(parse(t, page)))
		}
	}
	if rec := w.submit("/vehicles/999/odometer", url.Values{"old": {"1"}, "new": {"2"}, "day": {"2026-03-01"}}); rec.Code != http.StatusNotFound {
		t.Errorf("another's: got %d", rec.Code)
	}
}
