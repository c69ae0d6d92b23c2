package dashboard

import (
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"testing"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
)

// TestCardComesBack: what cannot be read costs nothing else that was typed, also
// without a script, and an odometer is read as pages write it.
func TestCardComesBack(t *testing.T) {
	w := small(t)
	all := auth.AllFleets()
	card, err := w.svc.OpenCardFor(t.Context(), all, "N. N.", w.vehicleID(t, "Bus 1"), []fleet.WorkItem{{Axle: 1, Item: fleet.ItemPads}})
	if err != nil {
		t.Fatal(err)
	}
	path := fmt.Sprintf("/cards/%d", card.ID)
	torque := fleet.CardStep{}
	for _, s := range card.Steps {
		if len(s.Measures) > 1 {
			torque = s
		}
	}
	if torque.Seq == 0 {
		t.Fatal("the card has no step with two values")
	}
	one, two := fmt.Sprintf("value_%d_0", torque.Seq), fmt.Sprintf("value_%d_1", torque.Seq)
	rec := w.submit(path+"/steps", url.Values{"nonce": {"n"}, "by": {"N. N."}, fmt.Sprintf("state_%d", torque.Seq): {"done"}, one: {"about40"}, two: {"28"}})
	if rec.Code != http.StatusBadRequest {
		t.Fatalf("got %d: %s", rec.Code, rec.Body)
	}
	check(t, parse(t, rec.Body.String()), []has{
		{".fault", "is no number"}, {`input[name=` + one + `][value=about40]`, "*"}, {`input[name=` + two + `][value=28]`, "*"},
		{fmt.Sprintf(`input[name=state_%d][value=done][checked]`, torque.Seq), "*"},
	})

	parts := url.Values{"by": {"N. N."}, "odometer_km": {"157,500"}, "off_1_pad_left_inner": {"thin"}, "off_1_pad_left_outer": {"4.6"}, "on_1_pad": {"both"}, "on_1_pad_batch": {"B7"},
		"on_1_rotor": {"left"}, "on_1_rotor_mm": {"45O"}}
	rec = w.submit(path+"/parts", parts)
	if rec.Code != http.StatusBadRequest {
		t.Fatalf("got %d: %s", rec.Code, rec.Body)
	}
	check(t, parse(t, rec.Body.String()), []has{
		{".fault", "Axle 1, left inner pad, off: “thin” cannot be read"}, {".fault", "new rotors: “45O” cannot be read"}, {`input[name=odometer_km][value=157,500]`, "*"}, {`input[name=off_1_pad_left_outer][value=4.6]`, "*"},
		{`select[name=on_1_pad] option[value=both][selected]`, "*"}, {`input[name=on_1_pad_batch][value=B7]`, "*"},
	})
	parts.Set("off_1_pad_left_inner", "4.2")
	parts.Set("on_1_rotor", "")
	check(t, parse(t, w.submit(path+"/parts", parts).Body.String()), []has{{".fault", "Axle 1, new rotors: say on which side"}, {`input[name=on_1_rotor_mm][value=45O]`, "*"}})
	parts.Del("on_1_rotor_mm")
	if rec = w.submit(path+"/parts", parts); rec.Code != http.StatusSeeOther {
		t.Fatalf("got %d: %s", rec.Code, rec.Body)
	}
	h, err := w.svc.DB.History(t.Context(), all, card.VehicleID)
	if err != nil {
		t.Fatal(err)
	}
	if last := h.Fitments[len(h.Fitments)-1]; last.OdometerKm == nil || *last.OdometerKm != 157500 {
		t.Errorf("157,500 km was kept as %+v", last)
	}
	// Something stands against it: the card says what, and keeps the note.
	rec = w.submit(path+"/close", url.Values{"by": {"N. N."}, "state": {"passed"}, "note": {"keys are in the box"}})
	if rec.Code != http.StatusConflict {
		t.Fatalf("closed as passed with nothing done: got %d", rec.Code)
	}
	check(t, parse(t, rec.Body.String()), []has{{".fault", "cannot be closed as passed"}, {`.closing input[name=note]`, "*"}})
	if in := find(parse(t, rec.Body.String()), ".closing input[name=note]"); attr(in[0], "value") != "keys are in the box" {
		t.Error("the note of closing was lost")
	}
	for _, form := range []url.Values{
		{"by": {"N. N."}, "state": {"not passed"}, "note": {strings.Repeat("long ", 1000) + "note"}},
		{"by": {""}, "state": {"not passed"}, "note": {"keys are in the box"}},
	} {
		rec = w.submit(path+"/close", form)
		in := find(parse(t, rec.Body.String()), ".closing input[name=note]")
		if rec.Code != http.StatusBadRequest || len(in) != 1 || attr(in[0], "value") != form.Get("note") {
			t.Errorf("by %q: got %d and %d fields for the note, want 400 and the note kept", form.Get("by"), rec.Code, len(in))
		}
	}
	// Parts of a card that somebody has closed meanwhile are in conflict with it.
	if _, err := w.svc.CloseCard(t.Context(), all, "M. M.", card.ID, fleet.CardDropped, ""); err != nil {
		t.Fatal(err)
	}
	parts = url.Values{"by": {"N. N."}, "on_1_pad": {"both"}}
	for _, accept := range []string{"text/html", "application/json"} {
		rec = w.postForm(path+"/parts", parts, "Accept", accept)
		if rec.Code != http.StatusConflict || !strings.Contains(rec.Body.String(), "is closed") {
			t.Errorf("%s, a closed card: got %d: %s", accept, rec.Code, rec.Body)
		}
	}
	// Whoever is signed in stands in the form of a test.
	form := w.get(fmt.Sprintf("/vehicles/%d/test", card.VehicleID)).Body.String()
	if in := find(parse(t, form), "input[name=technician]"); len(in) != 1 || attr(in[0], "value") == "" {
		t.Error("the form of a test does not say who is signed in")
	}
	// The list of cards can be found.
	check(t, parse(t, w.get("/plan").Body.String()), []has{{`a[href=/cards]`, "Job cards"}})
	check(t, parse(t, w.get("/readings").Body.String()), []has{{`a[href=/cards]`, "Job cards"}})
}
