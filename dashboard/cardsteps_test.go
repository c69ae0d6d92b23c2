package dashboard

import (
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"testing"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// padsCard is an open card of Bus 1.
func (w *world) padsCard(t *testing.T) (card fleet.Card, path string) {
	t.Helper()
	card, err := w.svc.OpenCardFor(t.Context(), auth.AllFleets(), "N. N.", w.vehicleID(t, "Bus 1"), []fleet.WorkItem{{Axle: 1, Item: fleet.ItemPads}})
	if err != nil {
		t.Fatal(err)
	}
	return card, fmt.Sprintf("/cards/%d", card.ID)
}

// stepsForm is the steps' form of a card's page as it is now.
func (w *world) stepsForm(t *testing.T, path string) url.Values {
	t.Helper()
	form := url.Values{}
	for _, in := range find(parse(t, w.get(path).Body.String()), ".steps-form input") {
		if attr(in, "type") != "radio" || hasAttr(in, "checked") {
			form.Set(attr(in, "name"), attr(in, "value"))
		}
	}
	return form
}

// stepsAnswer sends a steps' form as the page's script does.
func (w *world) stepsAnswer(t *testing.T, path string, form url.Values, want int) (a formAnswer) {
	t.Helper()
	rec := w.postForm(path+"/steps", form, "Accept", "application/json")
	if err := json.Unmarshal(rec.Body.Bytes(), &a); err != nil || rec.Code != want {
		t.Fatalf("got %d, want %d: %s", rec.Code, want, rec.Body)
	}
	return a
}

// Who takes back what she entered does not take back what a colleague has entered of
// the step since, and is told so; the rest of the form is kept.
func TestCardTakenBackMeanwhile(t *testing.T) {
	w := small(t)
	card, path := w.padsCard(t)
	form := w.stepsForm(t, path)
	form.Set("by", "Ann")
	form.Set("state_1", "done")
	w.stepsAnswer(t, path, form, http.StatusOK)
	anns, bens := w.stepsForm(t, path), w.stepsForm(t, path)
	bens.Set("by", "Ben")
	bens.Set("state_1", "failed")
	bens.Set("note_1", "leak")
	w.stepsAnswer(t, path, bens, http.StatusOK)

	anns.Set("by", "Ann")
	anns.Set("state_1", "")
	anns.Set("state_2", "done")
	a := w.stepsAnswer(t, path, anns, http.StatusBadRequest)
	if got := a.Faults["state_1"]; !strings.Contains(got, "entered anew meanwhile, as failed (Ben") {
		t.Errorf("got %q", got)
	}
	if a.Was["was_1"] != "" || a.Was["was_2"] != "done|" {
		t.Errorf("got %q to be known, want the second alone", a.Was)
	}
	// Without a script Ben's entry stands in the page that comes back.
	check(t, parse(t, w.submit(path+"/steps", anns).Body.String()), []has{
		{"#w-state_1", "entered anew meanwhile"}, {`input[name=state_1][value=failed][checked]`, "*"}, {`input[name=note_1][value=leak]`, "*"},
	})
	got, err := w.svc.DB.Card(t.Context(), auth.AllFleets(), card.ID)
	if err != nil {
		t.Fatal(err)
	}
	if e := got.Steps[0].Entry; e == nil || e.State != fleet.StepFailed || e.By != "Ben" {
		t.Errorf("step 1: got %+v, want it failed by Ben", e)
	}
	if e := got.Steps[1].Entry; e == nil || e.By != "Ann" {
		t.Errorf("step 2: got %+v, want it done by Ann", e)
	}
}

// A form that is sent again, for its answer was lost, can be taken back as well; and what
// it says is known as its page shows it.
func TestCardStepsAreKnown(t *testing.T) {
	w := small(t)
	card, path := w.padsCard(t)
	i := slices.IndexFunc(card.Steps, func(s fleet.CardStep) bool { return len(s.Measures) > 0 })
	seq := card.Steps[i].Seq
	form := w.stepsForm(t, path)
	form.Set("by", "Ann")
	form.Set(stateField(seq), "done")
	form.Set(valueField(seq, 0), "12,5")
	form.Set(noteField(seq), "a|b")
	wrong := seq%len(card.Steps) + 1 // another
	form.Set(noteField(wrong), "which?")
	for range 2 {
		a := w.stepsAnswer(t, path, form, http.StatusBadRequest)
		shown := w.stepsForm(t, path).Get(wasField(seq))
		if got := a.Was[wasField(seq)]; got != shown || !strings.HasPrefix(got, "done|a|b|12.5") {
			t.Errorf("known: got %q, want %q as it is shown", got, shown)
		}
		if a.Faults[stateField(wrong)] == "" {
			t.Errorf("got the faults %q, want one of step %d", a.Faults, wrong)
		}
	}
	// The page still has the text as it was typed, and only the mark is taken away.
	form.Set(wasField(seq), w.stepsForm(t, path).Get(wasField(seq)))
	form.Del(stateField(seq))
	form.Del(noteField(wrong))
	w.stepsAnswer(t, path, form, http.StatusOK)
	got, err := w.svc.DB.Card(t.Context(), auth.AllFleets(), card.ID)
	if err != nil || got.Steps[i].Entry != nil || got.Steps[i].Earlier != 1 {
		t.Errorf("got %+v, %v, want nothing and one earlier entry", got.Steps[i], err)
	}
}

// Notes as long as they may be are taken in, whatever an index bears: PostgreSQL's takes
// 2704 bytes. They are of chance, for it packs what repeats.
func TestCardStepsLongNotes(t *testing.T) {
	w, err := newWorld(t.Context(), storetest.URL(t, store.Postgres))
	if err != nil {
		t.Fatal(err)
	}
	defer w.svc.DB.Close()
	for _, f := range []struct{ name, text string }{{"vehicles.csv", smallVehicles}, {"axles.csv", smallAxles}} {
		w.takeIn(t, f.name, f.text)
	}
	card, path := w.padsCard(t)
	chance := rand.New(rand.NewPCG(1, 2))
	for range 2 {
		note := make([]byte, 2000)
		for i := range note {
			note[i] = byte('!' + chance.IntN('~'-'!'))
		}
		form := w.stepsForm(t, path)
		form.Set("by", "Ann")
		form.Set("state_1", "done")
		form.Set("note_1", string(note))
		w.stepsAnswer(t, path, form, http.StatusOK)
	}
	got, err := w.svc.DB.Card(t.Context(), auth.AllFleets(), card.ID)
	if err != nil || got.Steps[0].Entry == nil || got.Steps[0].Earlier != 1 {
		t.Errorf("got %+v, %v, want the second note and an earlier one", got.Steps[0], err)
	}
}
