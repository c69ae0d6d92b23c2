package dashboard

import (
	"fmt"
	"strings"
	"testing"

	"brakewear/internal/pipeline"
	"brakewear/internal/units"
)

// TestRememberedPage: a vehicle's page of what is remembered is the page that is
// made anew, before and after a write, in everybody's own units.
func TestRememberedPage(t *testing.T) {
	w := small(t)
	path := w.vehiclePath(t, "Bus 1")
	miles := w.seenBy(t, "miles", units.Reader{DistanceIn: units.Miles, ThicknessIn: units.Inches})
	look := func() (body string) {
		t.Helper()
		for _, x := range []*world{w, miles} {
			w.svc.Remembered = nil
			want := x.get(path).Body.String()
			if !strings.Contains(want, "<svg") {
				t.Fatalf("no picture in %.300s", want)
			}
			w.svc.Remembered = kept
			for range 2 {
				if got := x.get(path).Body.String(); got != want {
					t.Errorf("a page of what is remembered is not the one made anew")
				}
			}
			body += want
		}
		return body
	}
	before := look()
	w.takeIn(t, "readings.csv", "vehicle,date,odometer_km,axle,part,side,face,value_mm\nBus 1,2026-02-20,156500,1,pad,left,inner,4.6\n")
	if look() == before {
		t.Error("a reading changed nothing")
	}
}

var kept = &pipeline.Remembered{}

// TestManyDepots: who has very many depots chooses the fleet first.
func TestManyDepots(t *testing.T) {
	w := small(t)
	var csv strings.Builder
	csv.WriteString("vehicle,fleet,depot\n")
	for i := range maxDepotChoices {
		fmt.Fprintf(&csv, "Tram %d,Tram Lines,Stop %d\n", i, i)
	}
	w.takeIn(t, "vehicles.csv", csv.String())
	for path, want := range map[string]struct {
		has, not string
	}{
		"/?within=0":         {"choose its fleet first", ">Harbour</option>"},
		"/?within=0&fleet=1": {">Harbour</option>", ">Stop 1</option>"},
		"/?within=0&fleet=2": {">Stop 1</option>", ">Harbour</option>"},
		"/?within=0&depot=1": {">Harbour</option>", ">Stop 1</option>"},
		"/vehicles?fleet=1":  {">Harbour</option>", ">Stop 1</option>"},
		"/findings?fleet=1":  {">Harbour</option>", ">Stop 1</option>"},
	} {
		body := w.get(path).Body.String()
		if !strings.Contains(body, want.has) || strings.Contains(body, want.not) {
			t.Errorf("%s: want %q and not %q", path, want.has, want.not)
		}
	}
	// A depot of the fleet that was chosen before narrows nothing.
	if body := w.get("/vehicles?fleet=1&depot=30").Body.String(); !strings.Contains(body, "Bus 1") {
		t.Error("a depot of another fleet hides the vehicles of this one")
	}
}
