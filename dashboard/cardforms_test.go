package dashboard

import (
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
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

// What comes off is doubted as any reading is, while the part is at hand: mended or
// confirmed, it is taken. Of the world's file the pad was 5.1 mm in February, and 20 mm
// new.
func TestCardDoubtsWhatComesOff(t *testing.T) {
	for _, c := range []struct {
		name, mm string
		fitted   bool // the next pads are on the card already
		want     string
	}{
		{"as likely", "4.6", false, ""},
		{"a point left out", "46", false, "Axle 1 left inner pad, off: 46.0 mm is more than a new one has (20.0 mm), and 4.6 mm would fit: a point left out, or a digit too many?"},
		{"grown", "9.6", false, "Axle 1 left inner pad, off: 4.5 mm thicker than on 1 Feb 2026 (5.1 mm), and no new part is on record."},
		{"after the new ones", "4.6", true, ""},
		{"after the new ones, with the plate", "26", true, "Axle 1 left inner pad, off: 26.0 mm is more than a new one has (20.0 mm): was the backing plate measured with it?"},
	} {
		t.Run(c.name, func(t *testing.T) {
			w := small(t)
			card, err := w.svc.OpenCardFor(t.Context(), auth.AllFleets(), "N. N.", w.vehicleID(t, "Bus 1"), []fleet.WorkItem{{Axle: 1, Item: fleet.ItemPads}})
			if err != nil {
				t.Fatal(err)
			}
			path := fmt.Sprintf("/cards/%d/parts", card.ID)
			if c.fitted {
				if rec := w.submit(path, url.Values{"by": {"N. N."}, "on_1_pad": {"both"}}); rec.Code != http.StatusSeeOther {
					t.Fatalf("got %d: %s", rec.Code, rec.Body)
				}
			}
			form := url.Values{"by": {"N. N."}, "off_1_pad_left_inner": {c.mm}, "on_1_pad_batch": {""}}
			off := func() (n int) {
				t.Helper()
				h, err := w.svc.DB.History(t.Context(), auth.AllFleets(), card.VehicleID)
				if err != nil {
					t.Fatal(err)
				}
				for _, r := range h.Readings {
					if r.Date == card.Day {
						n++
					}
				}
				return n
			}
			rec := w.submit(path, form)
			if c.want == "" {
				if rec.Code != http.StatusSeeOther || off() != 1 {
					t.Fatalf("got %d, %d readings: %s", rec.Code, off(), rec.Body)
				}
				return
			}
			if rec.Code != http.StatusUnprocessableEntity || off() != 0 {
				t.Fatalf("got %d, %d readings", rec.Code, off())
			}
			page := parse(t, rec.Body.String())
			check(t, page, []has{{".fault", c.want}, {`input[name=off_1_pad_left_inner][aria-invalid=true][autofocus]`, "*"}, {`input[name=sure]`, "*"}})
			if rec = w.postForm(path, form, "Accept", "application/json"); rec.Code != http.StatusUnprocessableEntity || !strings.Contains(rec.Body.String(), `"sure":"off_1_pad_left_inner `+c.mm) {
				t.Errorf("to the script: got %d, %s", rec.Code, rec.Body)
			}
			// Another value than the one that was confirmed is doubted anew.
			sure := attr(find(page, "input[name=sure]")[0], "value")
			form.Set("sure", sure)
			form.Set("off_1_pad_left_inner", "27")
			if rec = w.submit(path, form); rec.Code != http.StatusUnprocessableEntity {
				t.Errorf("another value: got %d", rec.Code)
			}
			form.Set("off_1_pad_left_inner", c.mm)
			if rec = w.submit(path, form); rec.Code != http.StatusSeeOther || off() != 1 {
				t.Errorf("confirmed: got %d, %d readings", rec.Code, off())
			}
		})
	}
}

// TestCardConfirmedTwice sends a confirmed form again, as a phone does that had no
// answer. By then one of the two values is known, and the other still doubted.
func TestCardConfirmedTwice(t *testing.T) {
	w := small(t)
	card, err := w.svc.OpenCardFor(t.Context(), auth.AllFleets(), "N. N.", w.vehicleID(t, "Bus 1"), []fleet.WorkItem{{Axle: 1, Item: fleet.ItemPads}})
	if err != nil {
		t.Fatal(err)
	}
	path := fmt.Sprintf("/cards/%d/parts", card.ID)
	form := url.Values{"by": {"N. N."}, "off_1_pad_left_inner": {"9.6"}, "off_1_pad_right_inner": {"26"}}
	form.Set("sure", attr(find(parse(t, w.submit(path, form).Body.String()), "input[name=sure]")[0], "value"))
	if got, want := form.Get("sure"), "off_1_pad_left_inner 9.6, off_1_pad_right_inner 26"; got != want {
		t.Fatalf("to confirm: got %q, want %q", got, want)
	}
	for range 2 {
		if rec := w.submit(path, form); rec.Code != http.StatusSeeOther {
			t.Fatalf("got %d: %s", rec.Code, rec.Body)
		}
	}
	h, err := w.svc.DB.History(t.Context(), auth.AllFleets(), card.VehicleID)
	if err != nil {
		t.Fatal(err)
	}
	if n := len(slices.DeleteFunc(h.Readings, func(r fleet.Reading) bool { return r.Date != card.Day })); n != 2 {
		t.Errorf("got %d readings, want 2", n)
	}
}

// A form that is sent from a page of before a colleague's entry leaves that entry
// alone, and enters what is its own.
func TestCardStepsOfAColleague(t *testing.T) {
	w := small(t)
	all := auth.AllFleets()
	card, err := w.svc.OpenCardFor(t.Context(), all, "N. N.", w.vehicleID(t, "Bus 1"), []fleet.WorkItem{{Axle: 1, Item: fleet.ItemPads}})
	if err != nil {
		t.Fatal(err)
	}
	path := fmt.Sprintf("/cards/%d", card.ID)
	shown := func() url.Values { return w.stepsForm(t, path) }
	send := func(form url.Values, want int) {
		t.Helper()
		if rec := w.submit(path+"/steps", form); rec.Code != want {
			t.Fatalf("got %d, want %d: %s", rec.Code, want, rec.Body)
		}
	}
	form := shown()
	form.Set("by", "Ann")
	form.Set("state_1", "done")
	form.Set("note_1", "54 %")
	send(form, http.StatusSeeOther)
	stale := shown()
	form = shown()
	form.Set("by", "Ben")
	form.Set("state_1", "failed")
	send(form, http.StatusSeeOther)
	// Ann goes on, on her older page; what cannot be read of it brings Ben's entry
	// to her, and is sent again.
	stale.Set("by", "Ann")
	stale.Set("state_2", "done")
	stale.Set("note_3", "which?")
	rec := w.submit(path+"/steps", stale)
	if rec.Code != http.StatusBadRequest {
		t.Fatalf("got %d: %s", rec.Code, rec.Body)
	}
	check(t, parse(t, rec.Body.String()), []has{
		{"#w-state_3", "Step 3: say whether it is done"}, {`input[name=state_3][autofocus]`, "*"},
		{`input[name=state_1][value=failed][checked]`, "*"}, {`input[name=state_2][value=done][checked]`, "*"},
	})
	stale.Set("state_3", "skipped")
	send(stale, http.StatusSeeOther)
	got, err := w.svc.DB.Card(t.Context(), all, card.ID)
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []struct {
		state fleet.EntryState
		by    string
	}{{fleet.StepFailed, "Ben"}, {fleet.StepDone, "Ann"}, {fleet.StepSkipped, "Ann"}} {
		if e := got.Steps[i].Entry; e == nil || e.State != want.state || e.By != want.by {
			t.Errorf("step %d: got %+v, want %s by %s", i+1, e, want.state, want.by)
		}
	}
	// Whoever changes the entry that is shown means to.
	form = shown()
	form.Set("by", "Ann")
	form.Set("state_1", "done")
	send(form, http.StatusSeeOther)
	if got, err = w.svc.DB.Card(t.Context(), all, card.ID); err != nil || got.Steps[0].Entry.State != fleet.StepDone || got.Steps[0].Earlier != 2 {
		t.Errorf("step 1: got %+v, %v, want it done and two earlier entries", got.Steps[0], err)
	}
	// A mark is taken back, with its note, and what was entered before stays on record.
	form = shown()
	form.Del("state_1")
	send(form, http.StatusSeeOther)
	send(form, http.StatusSeeOther) // again, from a phone that heard no answer
	if got, err = w.svc.DB.Card(t.Context(), all, card.ID); err != nil || got.Steps[0].Entry != nil || got.Steps[0].Earlier != 3 {
		t.Errorf("step 1: got %+v, %v, want nothing and three earlier entries", got.Steps[0], err)
	}
	check(t, parse(t, w.get(path).Body.String()), []has{{"#step-1 .who-when", "taken back · 3 earlier entries"}})
	if note := shown().Get("note_1"); note != "" {
		t.Errorf("step 1: its note is still %q", note)
	}
	// So is a step of which all that stood there is cleared.
	i := slices.IndexFunc(card.Steps, func(s fleet.CardStep) bool { return len(s.Measures) > 0 })
	seq := card.Steps[i].Seq
	form = shown()
	form.Set("by", "Ann")
	form.Set(stateField(seq), "done")
	form.Set(noteField(seq), "x")
	form.Set(valueField(seq, 0), "12.5")
	send(form, http.StatusSeeOther)
	form = shown()
	form.Del(stateField(seq))
	form.Set(noteField(seq), "")
	form.Set(valueField(seq, 0), "")
	send(form, http.StatusSeeOther)
	if got, err = w.svc.DB.Card(t.Context(), all, card.ID); err != nil || got.Steps[i].Entry != nil || got.Steps[i].Earlier != 1 {
		t.Errorf("step %d: got %+v, %v, want nothing and an earlier entry", seq, got.Steps[i], err)
	}
}

// An odometer that disagrees is kept as it was read, and the card says so: beside
// the field stands what was read last, at 155,000 km in the world's file.
func TestCardOdometer(t *testing.T) {
	for typed, want := range map[string]string{
		"157,500": "",
		"15,750":  "Odometer 15,750 km. Below the 155,000 km of 1 Feb 2026",
		"257,500": "Odometer 257,500 km. 102,500 km since 1 Feb 2026: further than",
	} {
		t.Run(typed, func(t *testing.T) {
			w := small(t)
			card, err := w.svc.OpenCardFor(t.Context(), auth.AllFleets(), "N. N.", w.vehicleID(t, "Bus 1"), []fleet.WorkItem{{Axle: 1, Item: fleet.ItemPads}})
			if err != nil {
				t.Fatal(err)
			}
			path := fmt.Sprintf("/cards/%d", card.ID)
			rec := w.submit(path+"/parts", url.Values{"by": {"N. N."}, "odometer_km": {typed}, "off_1_pad_left_inner": {"4.2"}, "on_1_pad": {"both"}})
			if rec.Code != http.StatusSeeOther {
				t.Fatalf("got %d: %s", rec.Code, rec.Body)
			}
			page := parse(t, w.get(path).Body.String())
			check(t, page, []has{{".odo small", "last, 1 Feb: 155,000 km"}})
			said := find(page, ".parts .outside")
			if want == "" && len(said) > 0 || want != "" && (len(said) != 1 || !strings.HasPrefix(text(said[0]), want)) {
				t.Errorf("got %d remarks, want %q", len(said), want)
			}
		})
	}
}

// What is booked at another depot is worked on there: its technicians, and those
// of the vehicle's own, are offered its card, and can take the work through.
func TestCardOfABookingElsewhere(t *testing.T) {
	for _, own := range []bool{false, true} {
		t.Run(fmt.Sprintf("the vehicle's own depot: %v", own), func(t *testing.T) {
			w := small(t)
			all := auth.AllFleets()
			history := func(number string) store.History {
				h, err := w.svc.DB.History(t.Context(), all, w.vehicleID(t, number))
				if err != nil {
					t.Fatal(err)
				}
				return h
			}
			bus, there := history("Bus 1").Vehicle, history("Bus 2").Vehicle.DepotID
			b, err := w.svc.Book(t.Context(), all, "N. N.", pipeline.ByHand{VehicleID: bus.ID, Axles: []int{1}, Slot: fleet.Slot{DepotID: there, Day: w.svc.Today() - 3}})
			if err != nil {
				t.Fatal(err)
			}
			depot := there
			if own {
				depot = bus.DepotID
			}
			session, err := storetest.SignIn(t.Context(), w.svc.DB, "technician", auth.Grant{Role: auth.Technician, FleetID: bus.FleetID, DepotID: depot})
			if err != nil {
				t.Fatal(err)
			}
			send := func(method, path string, form url.Values, want int) (to, body string) {
				t.Helper()
				rec := w.as(session, method, path, form)
				if rec.Code != want {
					t.Fatalf("%s %s: got %d, want %d: %s", method, path, rec.Code, want, rec.Body)
				}
				return rec.Header().Get("Location"), rec.Body.String()
			}
			_, page := send("GET", bookingLink(b.ID), nil, http.StatusOK)
			form := formAt(t, parse(t, page), "/cards")
			form.Set("by", "N. N.")
			card, _ := send("POST", "/cards", form, http.StatusSeeOther)
			_, page = send("GET", card, nil, http.StatusOK)
			check(t, parse(t, page), []has{{"h1", "Bus 1"}})
			send("POST", card+"/steps", url.Values{"by": {"N. N."}, "state_1": {"done"}}, http.StatusSeeOther)
			send("POST", card+"/parts", url.Values{"by": {"N. N."}, "odometer_km": {"157500"}, "on_1_pad": {"both"}}, http.StatusSeeOther)
			if got := history("Bus 1").Fitments; len(got) == 0 {
				t.Error("no pads are fitted")
			}
			test := fmt.Sprintf("/vehicles/%d/test", bus.ID)
			number := strings.TrimPrefix(card, "/cards/")
			send("GET", test+"?stage=after&method=decelerometer&card="+number, nil, http.StatusOK)
			stop := url.Values{ // invented
				"method": {"decelerometer"}, "card": {number}, "stage": {string(fleet.AfterJob)}, "brake": {string(fleet.ServiceBrake)}, "day": {w.svc.Today().String()},
				"mean": {"5.8"}, "pedal": {"300"}, "technician": {"N. N."},
			}
			if to, _ := send("POST", test, stop, http.StatusSeeOther); to != card+"#test" {
				t.Errorf("after the test: went to %q", to)
			}
			send("POST", card+"/close", url.Values{"by": {"N. N."}, "state": {"not passed"}}, http.StatusSeeOther)
			if b, err = w.svc.DB.Booking(t.Context(), all, b.ID); err != nil || b.State != fleet.Done {
				t.Errorf("the booking is %s, %v, want done", b.State, err)
			}
			if !own { // the card is closed: what it opened is shut again
				send("POST", test, stop, http.StatusNotFound)
				send("GET", vehicleLink(bus.ID), nil, http.StatusNotFound)
			}
		})
	}
}

// A part fitted by the card of a booking elsewhere is undone by the depot that
// it is booked at and by the one the vehicle is at home, and by no other: not by
// another depot, another fleet, or who is not signed in.
func TestUndoOfABookingElsewhere(t *testing.T) {
	w := small(t)
	w.takeIn(t, "others.csv", "vehicle,fleet,depot\nBus 5,Ferry Lines,Yard\nCart 1,Quarry Carts,Pit\n")
	ctx, all := t.Context(), auth.AllFleets()
	home := func(number string) (place auth.Grant, id int64) {
		h, err := w.svc.DB.History(ctx, all, w.vehicleID(t, number))
		if err != nil {
			t.Fatal(err)
		}
		return auth.Grant{Role: auth.Technician, FleetID: h.Vehicle.FleetID, DepotID: h.Vehicle.DepotID}, h.Vehicle.ID
	}
	own, bus := home("Bus 1")
	there, _ := home("Bus 2")
	third, _ := home("Bus 5")
	other, _ := home("Cart 1")
	b, err := w.svc.Book(ctx, all, "N. N.", pipeline.ByHand{VehicleID: bus, Axles: []int{1, 2}, Slot: fleet.Slot{DepotID: there.DepotID, Day: w.svc.Today()}})
	if err != nil {
		t.Fatal(err)
	}
	card, err := w.svc.OpenCard(ctx, all, "N. N.", b.ID)
	if err != nil {
		t.Fatal(err)
	}
	path := fmt.Sprintf("/cards/%d", card.ID)
	w.postForm(path+"/parts", url.Values{"by": {"N. N."}, "odometer_km": {"157500"}, "on_1_pad": {"both"}, "on_2_pad": {"both"}})
	undone := func() (n int) {
		card, err := w.svc.DB.Card(ctx, all, card.ID)
		if err != nil || len(card.Parts) != 2 {
			t.Fatalf("the card has %d parts, %v; want 2", len(card.Parts), err)
		}
		for _, p := range card.Parts {
			if p.Undone != nil {
				n++
			}
		}
		return n
	}
	undone()
	if card, err = w.svc.DB.Card(ctx, all, card.ID); err != nil {
		t.Fatal(err)
	}
	for i, c := range []struct {
		name string
		who  []auth.Grant
		part int
		want int
		n    int // undone then
	}{
		{"a third depot of the fleet", []auth.Grant{third}, 0, http.StatusNotFound, 0},
		{"another fleet", []auth.Grant{other, {Role: auth.Admin, FleetID: other.FleetID}}, 0, http.StatusNotFound, 0},
		{"nobody signed in", nil, 0, http.StatusUnauthorized, 0},
		{"where it is booked", []auth.Grant{there}, 0, http.StatusSeeOther, 1},
		{"where it is at home", []auth.Grant{own}, 1, http.StatusSeeOther, 2},
	} {
		session := "nobody's"
		if c.who != nil {
			if session, err = storetest.SignIn(ctx, w.svc.DB, fmt.Sprintf("undoes-%d", i), c.who...); err != nil {
				t.Fatal(err)
			}
		}
		form := url.Values{"by": {"N. N."}, "why": {"the wrong pads"}, "part": {fmt.Sprint(card.Parts[c.part].ID)}}
		if rec := w.as(session, http.MethodPost, path+"/undo", form); rec.Code != c.want {
			t.Errorf("%s: got %d, want %d: %s", c.name, rec.Code, c.want, rec.Body)
		}
		if n := undone(); n != c.n {
			t.Errorf("%s: %d parts are undone, want %d", c.name, n, c.n)
		}
	}
}
