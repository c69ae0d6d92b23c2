package dashboard

import (
	"fmt"
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"brakewear/internal/auth"
	"brakewear/internal/units"
)

// TestBrowserFormInInches enters a bus on the phone of somebody who counts in
// miles and 32nds of an inch: what is typed is kept exactly, and told again as
// it was typed.
func TestBrowserFormInInches(t *testing.T) {
	ctx := browser(t)
	w := small(t).seenBy(t, "inches", units.Reader{DistanceIn: units.Miles, ThicknessIn: units.Inches, DaysAs: units.MonthDay})
	srv := httptest.NewServer(w.handler)
	defer srv.Close()
	faults := complaints(t, ctx)
	path := w.vehiclePath(t, "Bus 1")
	look(t, ctx, phone, "light", srv.URL+path+"/measure")
	if got := eval[string](t, ctx, `document.querySelector("[name=unit]").value + ", " + document.querySelector("[name=km_unit]").value`); got != "1/32 in, mi" {
		t.Errorf("the form asks for %q", got)
	}
	if got := textOf(t, ctx, "details.who summary"); got != "inches · measured Mar 2, 2026 · 1/32 in" {
		t.Errorf("who, when, unit: got %q", got)
	}
	// 155,000 km are 96,312.5 mi (1 mi = 1.609344 km exactly: NIST Special Publication 811, B.8).
	if got := textOf(t, ctx, "#k-odometer"); !strings.Contains(got, "96,313 mi") && !strings.Contains(got, "96,312 mi") {
		t.Errorf("odometer: got %q", got)
	}
	enter(t, ctx, "odometer", "9650")
	if got := said(t, ctx, "odometer"); !strings.Contains(got, "mi of Feb 1, 2026") || strings.Contains(got, "km") {
		t.Errorf("odometer: got %q", got)
	}
	enter(t, ctx, "odometer", "0")
	if got := said(t, ctx, "odometer"); got != "" {
		t.Errorf("put right, the odometer is remarked on: %q", got)
	}
	enter(t, ctx, "1-left-outer-pad", "8/32")
	enter(t, ctx, "1-left-inner-pad", "12")
	if got := said(t, ctx, "1-left-inner-pad"); !strings.Contains(got, "/32 in thicker than on Feb 1, 2026 (6.4/32 in)") {
		t.Errorf("inner pad: got %q", got)
	}
	shoot(t, ctx, "form-inches-390-light")
	fits390(t, ctx)
	eval[bool](t, ctx, `document.querySelector("[name='1-left-inner-pad']").value = "", true`)
	enter(t, ctx, "1-left-inner-pad", "6.25")
	must(t, ctx, chromedp.Click(chromedp.CSS(".sendbar [type=submit]")))
	must(t, ctx, chromedp.WaitVisible(chromedp.CSS(".taken")))
	if got := textOf(t, ctx, ".taken"); !strings.Contains(got, "left outer pad 8/32 in") || !strings.Contains(got, "left inner pad 6.25/32 in") || !strings.Contains(got, "96,500 mi") {
		t.Errorf("taken: got %q", got)
	}
	h, err := w.svc.DB.History(t.Context(), auth.AllFleets(), vehicleID(t, path))
	if err != nil {
		t.Fatal(err)
	}
	var kept []string
	for _, r := range h.Readings[len(h.Readings)-2:] {
		kept = append(kept, fmt.Sprintf("%v mm, %s %s", r.MM, r.Given, r.Unit))
	}
	// 8/32 in and 6.25/32 in of 25.4 mm (the same).
	if got, want := strings.Join(kept, "; "), "6.35 mm, 8/32 in; 4.960938 mm, 6.25 1/32 in"; got != want && got != "4.960938 mm, 6.25 1/32 in; 6.35 mm, 8/32 in" {
		t.Errorf("kept: got %s, want %s", got, want)
	}
	if got := faults(); got != "" {
		t.Errorf("the browser complains: %s", got)
	}
}

// TestBrowserInches looks at the pages with the most numbers as somebody sees
// them who reads inches and dates of full length: nothing runs over the edge.
func TestBrowserInches(t *testing.T) {
	ctx := browser(t)
	w := island(t).seenBy(t, "wide", units.Reader{DistanceIn: units.Miles, ThicknessIn: units.Inches, DaysAs: units.MonthDay})
	srv := httptest.NewServer(w.handler)
	defer srv.Close()
	bus := w.vehiclePath(t, "Bus 112")
	for name, path := range map[string]string{
		"due": "/", "vehicle": bus, "card": w.cardPath(t, "Bus 112"), "form": bus + "/measure", "limits": bus + "/limits",
		"overview": "/overview", "record": "/record", "plan": "/plan", "help": "/help", "account": "/account",
	} {
		look(t, ctx, phone, "light", srv.URL+path)
		t.Run(name, func(t *testing.T) { fits390(t, ctx) })
		shoot(t, ctx, "inches-"+name+"-390-light")
		look(t, ctx, desk, "light", srv.URL+path)
		if over := eval[float64](t, ctx, `document.documentElement.scrollWidth - innerWidth`); over > 0 {
			t.Errorf("%s runs %g px over the edge at a desk", name, over)
		}
		shoot(t, ctx, "inches-"+name+"-1280-light")
	}
}
