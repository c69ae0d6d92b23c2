package dashboard

import (
	"encoding/json"
	"fmt"
	"maps"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
	"brakewear/internal/units"
)

// setAll fills a form in as if each field had been left.
const setAll = `((values) => {
	const form = document.querySelector("form.measure")
	for (const [name, value] of Object.entries(values)) form.elements[name].value = value
	for (const input of form.querySelectorAll("[data-field] input:not([type=checkbox]), [data-field] textarea")) {
		input.dispatchEvent(new Event("change", {bubbles: true}))
	}
	return true
})(%s)`

// allSaid is what is said beside each field, with "?" where it wants to be
// confirmed.
const allSaid = `(() => {
	const said = {}
	for (const box of document.querySelectorAll("form.measure .remarks")) {
		const texts = [...box.querySelectorAll("p")].map(p => p.textContent)
		if (texts.length) said[box.id.slice(2)] = texts.join(" ") + (box.querySelector("[type=checkbox]") ? "?" : "")
	}
	return said
})()`

// TestBrowserRemarks compares the script's remarks with the server's: of random
// entries, in all units, for vehicles of the demo fleet with disc and with drum
// brakes and for one that is read as the thinner of both, and for a reader of
// miles and inches.
func TestBrowserRemarks(t *testing.T) {
	ctx := browser(t)
	rng := rand.New(rand.NewPCG(1, 2))
	all := 0
	inches := island(t).seenBy(t, "inches", units.Reader{DistanceIn: units.Miles, ThicknessIn: units.Inches, DaysAs: units.MonthDay})
	for _, c := range []struct {
		w      *world
		number string
	}{
		{island(t), "Bus 112"}, {island(t), withDrums(t, island(t))}, {small(t), "Bus 1"},
		{inches, "Bus 112"}, {inches, withDrums(t, island(t))},
	} {
		srv := httptest.NewServer(c.w.handler)
		defer srv.Close()
		path := c.w.vehiclePath(t, c.number)
		sh, err := c.w.svc.Sheet(t.Context(), auth.AllFleets(), vehicleID(t, path), c.w.svc.Today(), nil)
		if err != nil {
			t.Fatal(err)
		}
		look(t, ctx, desk, "light", srv.URL+path+"/measure")
		for i := range 60 {
			values := map[string]string{"technician": "N. N.", "unit": []string{"mm", "in", "1/32 in"}[i%3], "km_unit": []string{"km", "mi"}[i%2]}
			values["odometer"] = odd(rng, sh.Odometer.Km, sh.Odometer.Km*(.5+rng.Float64()), sh.Odometer.Km+20_000*rng.Float64(), sh.Odometer.Km+100)
			for _, wheel := range sh.Wheels {
				for _, p := range wheel.Places {
					x := 10 * rng.Float64()
					if p.Spec != nil {
						x = p.Spec.Limit + (p.Spec.New-p.Spec.Limit)*(1.3*rng.Float64()-.1)
					}
					if p.Likely != nil && rng.IntN(2) == 0 {
						x = p.Likely.Low + (p.Likely.High-p.Likely.Low)*(1.4*rng.Float64()-.2)
					}
					mm := fmt.Sprintf("%.1f", x)
					switch gaugeUnit(values["unit"], p.Part) {
					case "in":
						mm = fmt.Sprintf("%.3f", x/25.4)
					case "1/32 in":
						mm = fmt.Sprintf("%.0f", 32*x/25.4)
					}
					values[pipeline.FieldOf(p.Position)] = odd(rng, mm, "", strings.Replace(mm, ".", ",", 1), strings.Replace(mm, ".", "", 1), "9/32 in", mm+" mm", "7.4.1", "x")
				}
			}
			sent, err := json.Marshal(values)
			if err != nil {
				t.Fatal(err)
			}
			eval[bool](t, ctx, fmt.Sprintf(setAll, sent))
			settled(t, ctx)
			got := eval[map[string]string](t, ctx, allSaid)
			want := saidByServer(t, c.w, path, values)
			if !maps.Equal(got, want) {
				t.Fatalf("%s, %s:\nthe script says %v\nthe server says %v", c.number, sent, got, want)
			}
			all += len(want)
		}
	}
	if all < 300 {
		t.Errorf("%d remarks only", all)
	}
}

// odd picks one, the first half of the time.
func odd[T any](rng *rand.Rand, xs ...T) string {
	if rng.IntN(2) == 0 {
		return fmt.Sprint(xs[0])
	}
	if x, ok := any(xs[rng.IntN(len(xs))]).(float64); ok {
		return fmt.Sprintf("%.0f", x)
	}
	return fmt.Sprint(xs[rng.IntN(len(xs))])
}

// withDrums is a vehicle of the demo fleet that has a drum brake.
func withDrums(t *testing.T, w *world) (number string) {
	t.Helper()
	err := w.svc.DB.EachHistory(t.Context(), auth.AllFleets(), nil, func(h *store.History) error {
		for _, a := range h.Axles {
			if a.Brake == fleet.DrumBrake && len(h.Readings) > 0 {
				number = h.Vehicle.Number
			}
		}
		return nil
	})
	if err != nil || number == "" {
		t.Fatalf("no vehicle with drums: %v", err)
	}
	return number
}

// A form's texts are bounded as their fields are, in characters and a character to the
// end of a line.
func TestFormTextsInCharacters(t *testing.T) {
	for _, c := range []struct {
		note  string
		fault bool
	}{
		{strings.Repeat("å", maxFormNote), false},
		{strings.Repeat("å\r\n", maxFormNote/2), false},
		{strings.Repeat("å", maxFormNote+1), true},
	} {
		w := small(t)
		vs := url.Values{"date": {"2026-03-02"}, "technician": {strings.Repeat("Å", maxTechnician)}, "note": {c.note}}
		rec := w.postForm(w.vehiclePath(t, "Bus 1")+"/measure", vs)
		if got := rec.Code != http.StatusSeeOther; got != c.fault {
			t.Errorf("a note of %d bytes: got %d: %s", len(c.note), rec.Code, text(parse(t, rec.Body.String())))
		}
	}
}

// saidByServer reads the remarks off the page that the server sends back. A
// value that nobody doubts must not be taken in: a fault is added.
func saidByServer(t *testing.T, w *world, path string, values map[string]string) map[string]string {
	t.Helper()
	vs := url.Values{"date": {"2026-03-02"}, "note": {strings.Repeat("x", maxFormNote+1)}}
	for name, value := range values {
		vs.Set(name, value)
	}
	rec := w.postForm(path+"/measure", vs)
	if rec.Code != http.StatusUnprocessableEntity {
		t.Fatalf("got status %d", rec.Code)
	}
	said := map[string]string{}
	for _, box := range find(parse(t, rec.Body.String()), ".remarks") {
		var texts []string
		for _, p := range find(box, "p") {
			texts = append(texts, text(p))
		}
		name := strings.TrimPrefix(attr(box, "id"), "r-")
		if len(texts) == 0 || name == "note" {
			continue
		}
		said[name] = strings.Join(texts, " ")
		if len(find(box, "input")) > 0 {
			said[name] += "?"
		}
	}
	return said
}
