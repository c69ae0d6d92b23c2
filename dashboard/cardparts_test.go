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

// TestCardDoubtsWhatGoesOn doubts new pads that are at their limit.
func TestCardDoubtsWhatGoesOn(t *testing.T) {
	w := small(t)
	card, err := w.svc.OpenCardFor(t.Context(), auth.AllFleets(), "N. N.", w.vehicleID(t, "Bus 1"), []fleet.WorkItem{{Axle: 1, Item: fleet.ItemPads}})
	if err != nil {
		t.Fatal(err)
	}
	path := fmt.Sprintf("/cards/%d/parts", card.ID)
	form := url.Values{"by": {"N. N."}, "on_1_pad": {"both"}, "on_1_pad_mm": {"2"}}
	rec := w.submit(path, form)
	page := parse(t, rec.Body.String())
	if rec.Code != http.StatusUnprocessableEntity {
		t.Errorf("got %d", rec.Code)
	}
	check(t, page, []has{{".fault", "Axle 1, new pads: 2.0 mm is at or below the limit of 3.0 mm."}, {"input[name=on_1_pad_mm][aria-invalid=true]", "*"}})
	form.Set("sure", attr(find(page, "input[name=sure]")[0], "value"))
	if rec := w.submit(path, form); rec.Code != http.StatusSeeOther {
		t.Errorf("confirmed: got %d", rec.Code)
	}
	check(t, parse(t, w.get(strings.TrimSuffix(path, "/parts")).Body.String()), []has{{"#close", "axle 1 pad: 2.0 mm went on, and its limit is 3.0 mm"}})
}

// TestCardSaysWhatWasNotFitted: whoever closes a card is told of the parts that it was
// to renew and of which none is entered, until one is, and again when that is undone.
func TestCardSaysWhatWasNotFitted(t *testing.T) {
	w := small(t)
	card, err := w.svc.OpenCardFor(t.Context(), auth.AllFleets(), "N. N.", w.vehicleID(t, "Bus 1"),
		[]fleet.WorkItem{{Axle: 1, Item: fleet.ItemPads}, {Axle: 2, Item: fleet.ItemPads}, {Item: fleet.ItemFluid}})
	if err != nil {
		t.Fatal(err)
	}
	path := fmt.Sprintf("/cards/%d", card.ID)
	says := func(want string) {
		t.Helper()
		check(t, parse(t, w.get(path).Body.String()), []has{{"#close .unfitted", want}})
	}
	says("Nothing is entered as gone on: axle 1 pads, axle 2 pads. If new ones are on")
	for _, on := range []string{"on_1_pad", "on_2_pad"} {
		if rec := w.submit(path+"/parts", url.Values{"by": {"N. N."}, on: {"both"}}); rec.Code != http.StatusSeeOther {
			t.Fatalf("got %d: %s", rec.Code, rec.Body)
		}
	}
	says("")
	card, _, err = w.svc.JobCard(t.Context(), auth.AllFleets(), card.ID)
	if err != nil {
		t.Fatal(err)
	}
	if _, _, err := w.svc.UndoPart(t.Context(), auth.AllFleets(), card.ID, card.Parts[0].ID, fleet.Reason{Why: "mistyped", By: "N. N."}); err != nil {
		t.Fatal(err)
	}
	says("gone on: axle 1 pads. If")
	// What a file says of an earlier day is not of this job.
	const head = "vehicle,date,axle,part,side,mm\n"
	w.takeIn(t, "before.csv", head+"Bus 1,"+(card.Day-1).String()+",1,pad,left,19\n")
	says("gone on: axle 1 pads. If")
	w.takeIn(t, "fitted.csv", head+"Bus 1,"+card.Day.String()+",1,pad,left,19\n")
	says("")

	// The shelf gives when the card is closed: what is undone after that goes back on it.
	check(t, parse(t, w.get(path).Body.String()), []has{{".fitted-list details .soft", ""}})
	if _, err := w.svc.DB.CloseCard(t.Context(), auth.AllFleets(), "N. N.", card.ID, fleet.CardNotPassed, ""); err != nil {
		t.Fatal(err)
	}
	check(t, parse(t, w.get(path).Body.String()), []has{{".fitted-list details .soft", "What this card took off the shelf for it, if anything, goes back"}})
	part, err := w.svc.DB.SaveStockPart(t.Context(), auth.AllFleets(), fleet.StockPart{FleetID: 1, Number: "P-200", Item: fleet.ItemPads, PerAxle: 1})
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		bus                string
		axle               int
		counted            bool
		ahead, want, again string
	}{
		{
			"Bus 1", 2, false,
			"What its job card took goes back on the shelf: 1 × P-200.",
			"What its job card took off the shelf is back on it.",
			"What its job card used comes off the shelf again: 1 × P-200.",
		},
		{
			"Bus 2", 1, true,
			"The shelf was given another number, or counted by a file, since. It stays as it is.",
			"The shelf was given another number, or counted by a file, since. It stays as it is.",
			"The shelf was given another number, or counted by a file, since. It stays as it is.",
		},
	} {
		card, err := w.svc.OpenCardFor(t.Context(), auth.AllFleets(), "N. N.", w.vehicleID(t, c.bus), []fleet.WorkItem{{Axle: c.axle, Item: fleet.ItemPads}})
		if err == nil {
			err = w.svc.DB.SetStock(t.Context(), auth.AllFleets(), part, card.DepotID, 3)
		}
		if err != nil {
			t.Fatal(err)
		}
		path := fmt.Sprintf("/cards/%d", card.ID)
		w.submit(path+"/parts", url.Values{"by": {"Ann"}, fmt.Sprintf("on_%d_pad", c.axle): {"both"}, fmt.Sprintf("on_%d_pad_number", c.axle): {"P-200"}})
		w.submit(path+"/close", url.Values{"by": {"Ann"}, "state": {"not passed"}})
		if c.counted {
			if err := w.svc.DB.SetStock(t.Context(), auth.AllFleets(), part, card.DepotID, 9); err != nil {
				t.Fatal(err)
			}
		}
		card, _, err = w.svc.JobCard(t.Context(), auth.AllFleets(), card.ID)
		if err != nil {
			t.Fatal(err)
		}
		correction := fmt.Sprintf("/corrections/fitment/%d", card.Parts[0].FitmentID)
		check(t, parse(t, w.get(correction).Body.String()), []has{{"form.correct .soft", c.ahead}})
		rec := w.submit(path+"/undo", with(formAt(t, parse(t, w.get(path).Body.String()), path+"/undo"), "why", "wrong vehicle", "by", "Ben"))
		to, _, _ := strings.Cut(rec.Header().Get("Location"), "#parts")
		check(t, parse(t, w.get(to).Body.String()), []has{{".parts .notice", c.want}})
		check(t, parse(t, w.get(correction).Body.String()), []has{{"form.correct .soft", c.again}})
	}
	check(t, parse(t, w.get(path+"?shelf="+string(fleet.ShelfUntouched)).Body.String()), []has{{".parts .notice", "nothing is known to have been taken off it"}})
	check(t, parse(t, w.get(path+"?shelf=other").Body.String()), []has{{".parts .notice", ""}})
}

// TestCardPartsOfAColleague enters what a colleague has entered already: that is asked
// about, and the same form sent again is not.
func TestCardPartsOfAColleague(t *testing.T) {
	w := small(t)
	card, err := w.svc.OpenCardFor(t.Context(), auth.AllFleets(), "N. N.", w.vehicleID(t, "Bus 1"), []fleet.WorkItem{{Axle: 1, Item: fleet.ItemPads}})
	if err != nil {
		t.Fatal(err)
	}
	path := fmt.Sprintf("/cards/%d/parts", card.ID)
	form := url.Values{"by": {"Ann"}, "on_1_pad": {"both"}, "on_1_pad_number": {"P-100"}}
	for range 2 {
		if rec := w.submit(path, form); rec.Code != http.StatusSeeOther {
			t.Fatalf("got %d: %s", rec.Code, rec.Body)
		}
	}
	form = url.Values{"by": {"Ben"}, "on_1_pad": {"left"}}
	rec := w.submit(path, form)
	if rec.Code != http.StatusUnprocessableEntity {
		t.Fatalf("got %d: %s", rec.Code, rec.Body)
	}
	page := parse(t, rec.Body.String())
	check(t, page, []has{{".fault", "Axle 1, new pads: Ann has entered them already (2 Mar, 09:00 UTC). Undo those if they are wrong;"}})
	form.Set("sure", attr(find(page, "input[name=sure]")[0], "value"))
	if rec := w.submit(path, form); rec.Code != http.StatusSeeOther {
		t.Errorf("confirmed: got %d", rec.Code)
	}
}
