package pipeline_test

import (
	"errors"
	"fmt"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// cardShelf is a card of cardWorld that notes the pads of both sides apart, which come in
// one set, and the shelf that the set is from.
type cardShelf struct {
	t    *testing.T
	s    *pipeline.Service
	bus  int64
	card fleet.Card
	part int64
}

func newCardShelf(t *testing.T, db *store.DB, onShelf int) *cardShelf {
	t.Helper()
	s, bus := cardWorld(t, db)
	w := &cardShelf{t: t, s: s, bus: bus}
	w.open()
	var err error
	w.part, err = db.SaveStockPart(t.Context(), all, fleet.StockPart{FleetID: w.card.FleetID, Number: "P-100", Item: fleet.ItemPads, PerAxle: 1})
	w.check(err)
	w.count(onShelf)
	w.fit()
	return w
}

func (w *cardShelf) check(err error) {
	w.t.Helper()
	if err != nil {
		w.t.Fatal(err)
	}
}

func (w *cardShelf) open() {
	w.t.Helper()
	var err error
	w.card, err = w.s.OpenCardFor(w.t.Context(), all, "N. N.", w.bus, padsOfAxle1)
	w.check(err)
}

func (w *cardShelf) fit() {
	w.t.Helper()
	var on []fleet.CardPart
	for _, side := range []fleet.Side{fleet.Left, fleet.Right} {
		on = append(on, fleet.CardPart{Axle: 1, Part: fleet.Pad, Side: side, Number: "P-100"})
	}
	var err error
	w.card, err = w.s.FitParts(w.t.Context(), all, "N. N.", w.card.ID, pipeline.Fitted{On: on})
	w.check(err)
}

func (w *cardShelf) close() {
	w.t.Helper()
	_, err := w.s.CloseCard(w.t.Context(), all, "N. N.", w.card.ID, fleet.CardNotPassed, "")
	w.check(err)
}

func (w *cardShelf) count(n int) {
	w.t.Helper()
	w.check(w.s.DB.SetStock(w.t.Context(), all, w.part, w.card.DepotID, n))
}

var undoing = fleet.Reason{Why: "wrong vehicle", By: "Ben"}

// undo undoes the card's part of a side, 0 = left, and says what that did.
func (w *cardShelf) undo(side int) string {
	w.t.Helper()
	_, done, err := w.s.UndoPart(w.t.Context(), all, w.card.ID, w.card.Parts[side].ID, undoing)
	return w.did(&done, err)
}

// again lets the fitment of a side count again.
func (w *cardShelf) again(side int) string {
	w.t.Helper()
	rec := fleet.Record{Kind: fleet.FitmentRecord, ID: w.card.Parts[side].FitmentID}
	done, err := w.s.UndoSetAside(w.t.Context(), all, rec, undoing, w.s.Today())
	return w.did(&done, err)
}

func (w *cardShelf) did(done *fleet.Correction, err error) string {
	w.t.Helper()
	if errors.Is(err, fleet.ErrConflict) {
		return fmt.Sprintf("conflict, %d there", w.lie())
	}
	w.check(err)
	counted := ""
	if done.Counted {
		counted = ", counted"
	}
	return fmt.Sprintf("%+d%s, %d there", done.Shelved, counted, w.lie())
}

func (w *cardShelf) lie() int {
	w.t.Helper()
	p, err := w.s.DB.StockPart(w.t.Context(), all, w.part)
	w.check(err)
	return p.Stock[0].Quantity
}

// What an undone part of a closed card took off the shelf goes back, once: with the last
// part of its set, as much as was taken, and not where the shelf was counted since, for
// what was counted is what lies there.
func TestUndoneGoesBackOnTheShelf(t *testing.T) {
	for name, c := range map[string]struct {
		shelf int
		story func(w *cardShelf) []string
		want  []string
	}{
		"the set, with its last part, once": {3, func(w *cardShelf) []string {
			w.close()
			return []string{fmt.Sprint(w.lie()), w.undo(0), w.undo(1), w.undo(1)}
		}, []string{"2", "+0, 2 there", "+1, 3 there", "conflict, 3 there"}},
		"and off again, and back": {3, func(w *cardShelf) []string {
			w.close()
			return []string{w.undo(0), w.undo(1), w.again(0), w.again(1), w.undo(0), w.undo(1)}
		}, []string{"+0, 2 there", "+1, 3 there", "-1, 2 there", "+0, 2 there", "+0, 2 there", "+1, 3 there"}},
		"none was there to be taken": {0, func(w *cardShelf) []string {
			w.close()
			return []string{w.undo(0), w.undo(1)}
		}, []string{"+0, 0 there", "+0, 0 there"}},
		"undone before the card is closed": {3, func(w *cardShelf) []string {
			got := []string{w.undo(0), w.undo(1)}
			w.close()
			return append(got, fmt.Sprint(w.lie()))
		}, []string{"+0, 3 there", "+0, 3 there", "3"}},
		"counted by hand since": {3, func(w *cardShelf) []string {
			w.close()
			w.count(7)
			return []string{w.undo(0), w.undo(1), w.again(1)}
		}, []string{"+0, 7 there", "+0, counted, 7 there", "+0, counted, 7 there"}},
		"counted by a file since": {3, func(w *cardShelf) []string {
			w.close()
			mustImport(w.t, w.s, "parts.csv", "part_number,depot,stock\nP-100,Harbour,7\n", 1, 0, 0)
			return []string{w.undo(0), w.undo(1)}
		}, []string{"+0, 7 there", "+0, counted, 7 there"}},
		"counted before it was closed": {3, func(w *cardShelf) []string {
			w.count(5)
			w.close()
			return []string{w.undo(0), w.undo(1)}
		}, []string{"+0, 4 there", "+1, 5 there"}},
		"another job took one since": {3, func(w *cardShelf) []string {
			w.close()
			first := *w
			next := w.s.Now().AddDate(0, 0, 1)
			w.s.Now = func() time.Time { return next }
			w.open()
			w.fit()
			w.close()
			return []string{first.undo(0), first.undo(1), w.undo(0), w.undo(1)}
		}, []string{"+0, 1 there", "+1, 2 there", "+0, 2 there", "+1, 3 there"}},
		"both at once": {3, func(w *cardShelf) []string {
			w.close()
			var both sync.WaitGroup
			for side := range 2 {
				both.Go(func() {
					if _, _, err := w.s.UndoPart(w.t.Context(), all, w.card.ID, w.card.Parts[side].ID, undoing); err != nil {
						w.t.Error(err)
					}
				})
			}
			both.Wait()
			return []string{fmt.Sprint(w.lie())}
		}, []string{"3"}},
	} {
		t.Run(name, func(t *testing.T) {
			storetest.Each(t, func(t *testing.T, db *store.DB) {
				if d := cmp.Diff(c.want, c.story(newCardShelf(t, db, c.shelf))); d != "" {
					t.Errorf("(-want +got):\n%s", d)
				}
			})
		})
	}
}

// The log of changes says what went off a shelf and back on it, for what and by whom.
func TestShelfInTheLog(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		w := newCardShelf(t, db, 3)
		w.close()
		w.undo(0)
		w.undo(1)
		deeds, err := db.Deeds(t.Context(), auth.AllFleets(), store.DeedQuery{Record: "part", RecordID: w.part})
		w.check(err)
		var got []string
		for _, d := range slices.Backward(deeds) {
			got = append(got, fmt.Sprintf("%s by %s: %s", d.Act, d.By, d.Detail))
		}
		taken := fmt.Sprintf("1 for job card %d", w.card.ID)
		want := []string{"stock taken by N. N.: " + taken, "stock put back by Ben: " + taken}
		if d := cmp.Diff(want, got[len(got)-2:]); d != "" {
			t.Errorf("(-want +got):\n%s", d)
		}
	})
}
