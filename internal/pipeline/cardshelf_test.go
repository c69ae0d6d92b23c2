package pipeline_test

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	diff "github.com/google/go-cmp/cmp"

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
	w.part = w.save(fleet.StockPart{FleetID: w.card.FleetID, Number: "P-100", Item: fleet.ItemPads, PerAxle: 1})
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
	w.card, err = w.s.FitParts(w.t.Context(), all, "N. N.", w.card.ID, pipeline.Fitted{On: on, Shown: w.s.DB.Now()})
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

func (w *cardShelf) save(p fleet.StockPart) int64 {
	w.t.Helper()
	id, err := w.s.DB.SaveStockPart(w.t.Context(), all, p)
	w.check(err)
	return id
}

// correct gives the part of a side another thickness.
func (w *cardShelf) correct(side int, mm float64) {
	w.t.Helper()
	rec := fleet.Record{Kind: fleet.FitmentRecord, ID: w.card.Parts[side].FitmentID}
	_, err := w.s.Correct(w.t.Context(), all, rec, fleet.Change{MM: &mm}, undoing, w.s.Today())
	w.check(err)
	w.card, err = w.s.DB.Card(w.t.Context(), all, w.card.ID)
	w.check(err)
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
	return fmt.Sprintf("%s, %d there", cmp.Or(done.Shelf, "open"), w.lie())
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
		}, []string{"2", "set, 2 there", "back, 3 there", "conflict, 3 there"}},
		"and off again, and back": {3, func(w *cardShelf) []string {
			w.close()
			return []string{w.undo(0), w.undo(1), w.again(0), w.again(1), w.undo(0), w.undo(1)}
		}, []string{"set, 2 there", "back, 3 there", "off, 2 there", "set, 2 there", "set, 2 there", "back, 3 there"}},
		"none was there to be taken": {0, func(w *cardShelf) []string {
			w.close()
			return []string{w.undo(0), w.undo(1)}
		}, []string{"set, 0 there", "untouched, 0 there"}},
		"undone before the card is closed, and counts again": {3, func(w *cardShelf) []string {
			got := []string{w.undo(0), w.undo(1)}
			w.close()
			return append(got, fmt.Sprint(w.lie()), w.again(0), w.again(1), w.undo(1), w.undo(0))
		}, []string{"open, 3 there", "open, 3 there", "3", "off, 2 there", "set, 2 there", "set, 2 there", "back, 3 there"}},
		"corrected, then undone": {3, func(w *cardShelf) []string {
			w.close()
			w.correct(0, 18.5)
			w.correct(0, 18)
			w.correct(1, 18)
			return []string{w.undo(0), w.undo(1), w.again(0)}
		}, []string{"set, 2 there", "back, 3 there", "off, 2 there"}},
		"part renumbered, and now two of it a set": {3, func(w *cardShelf) []string {
			w.close()
			w.save(fleet.StockPart{ID: w.part, FleetID: w.card.FleetID, Number: "P-101", Item: fleet.ItemPads, PerAxle: 2})
			return []string{w.undo(0), w.undo(1), w.again(0)}
		}, []string{"set, 2 there", "back, 3 there", "off, 2 there"}},
		"another part has its number now": {3, func(w *cardShelf) []string {
			w.close()
			w.save(fleet.StockPart{ID: w.part, FleetID: w.card.FleetID, Number: "P-101", Item: fleet.ItemPads, PerAxle: 1})
			w.save(fleet.StockPart{FleetID: w.card.FleetID, Number: "P-100", Item: fleet.ItemPads, PerAxle: 1})
			return []string{w.undo(0), w.undo(1)}
		}, []string{"set, 2 there", "back, 3 there"}},
		"its number was nobody's when the card was closed": {3, func(w *cardShelf) []string {
			w.save(fleet.StockPart{ID: w.part, FleetID: w.card.FleetID, Number: "P-101", Item: fleet.ItemPads, PerAxle: 1})
			w.close()
			w.save(fleet.StockPart{ID: w.part, FleetID: w.card.FleetID, Number: "P-100", Item: fleet.ItemPads, PerAxle: 1})
			return []string{w.undo(0), w.undo(1)}
		}, []string{"untouched, 3 there", "untouched, 3 there"}},
		"counted by hand since": {3, func(w *cardShelf) []string {
			w.close()
			w.count(7)
			return []string{w.undo(0), w.undo(1), w.again(1)}
		}, []string{"set, 7 there", "counted, 7 there", "counted, 7 there"}},
		"counted between undoing and undoing that": {3, func(w *cardShelf) []string {
			w.close()
			got := []string{w.undo(0), w.undo(1)}
			w.count(3)
			return append(got, w.again(0))
		}, []string{"set, 2 there", "back, 3 there", "counted, 3 there"}},
		"counted by hand since, and right": {3, func(w *cardShelf) []string {
			w.close()
			w.count(2)
			return []string{w.undo(0), w.undo(1)}
		}, []string{"set, 2 there", "counted, 2 there"}},
		"counted by a file since, and right": {3, func(w *cardShelf) []string {
			w.close()
			mustImport(w.t, w.s, "parts.csv", "part_number,depot,stock\nP-100,Harbour,2\n", 0, 0, 1)
			return []string{w.undo(0), w.undo(1)}
		}, []string{"set, 2 there", "counted, 2 there"}},
		"counted before it was closed": {3, func(w *cardShelf) []string {
			w.count(5)
			w.close()
			return []string{w.undo(0), w.undo(1)}
		}, []string{"set, 4 there", "back, 5 there"}},
		"another job took one since": {3, func(w *cardShelf) []string {
			w.close()
			first := *w
			next := w.s.Now().AddDate(0, 0, 1)
			w.s.Now = func() time.Time { return next }
			w.open()
			w.fit()
			w.close()
			return []string{first.undo(0), first.undo(1), w.undo(0), w.undo(1)}
		}, []string{"set, 1 there", "back, 2 there", "set, 2 there", "back, 3 there"}},
		"another card took one for one of its parts, and the set stays": {3, func(w *cardShelf) []string {
			w.save(fleet.StockPart{ID: w.part, FleetID: w.card.FleetID, Number: "P-101", Item: fleet.ItemPads, PerAxle: 1})
			w.save(fleet.StockPart{FleetID: w.card.FleetID, Number: "P-100", Item: fleet.ItemPads, PerAxle: 1})
			w.close()
			first := *w
			w.open()
			var err error
			w.card, err = w.s.FitParts(w.t.Context(), all, "N. N.", w.card.ID, pipeline.Fitted{On: []fleet.CardPart{{Axle: 1, Part: fleet.Pad, Side: fleet.Left, Number: "P-101"}}})
			w.check(err)
			w.close()
			rec := fleet.Record{Kind: fleet.FitmentRecord, ID: first.card.Parts[0].FitmentID}
			v, err := w.s.DB.Record(w.t.Context(), all, rec)
			w.check(err)
			return []string{fmt.Sprint(w.lie()), fmt.Sprintf("%s, %v ahead", v.Shelf, v.Moves), first.undo(0)}
		}, []string{"2", "back, [{P-101 1}] ahead", "back, 3 there"}},
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
				if d := diff.Diff(c.want, c.story(newCardShelf(t, db, c.shelf))); d != "" {
					t.Errorf("(-want +got):\n%s", d)
				}
			})
		})
	}
}

// Parts that were undone are fitted again on the same day, by the same card or, where that
// is closed, by the next: once, whatever is sent twice.
func TestFittedAgainOnItsDay(t *testing.T) {
	for name, closed := range map[string]bool{"by the same card": false, "by the next card": true} {
		t.Run(name, func(t *testing.T) {
			storetest.Each(t, func(t *testing.T, db *store.DB) {
				w := newCardShelf(t, db, 3)
				if closed {
					w.close()
				}
				for range 2 { // undone, fitted again, and once more
					w.undo(0)
					w.undo(1)
					if closed {
						w.open()
					}
					w.fit()
					w.fit()
					if closed {
						w.close()
					}
					parts := w.card.Parts[len(w.card.Parts)-2:]
					for _, p := range parts {
						if p.Undone != nil {
							t.Errorf("part %d is undone, want it on", p.ID)
						}
					}
					h, err := w.s.DB.History(t.Context(), all, w.bus)
					w.check(err)
					if n := len(h.Fitments); n != 2 {
						t.Fatalf("got %d fitments that count, want 2", n)
					}
					w.card.Parts = parts
				}
				if closed {
					if n := w.lie(); n != 2 {
						t.Errorf("got %d on the shelf, want 2 of 3", n)
					}
				}
			})
		})
	}
}

// Where a fitment was corrected to another side a part can be fitted too that day, once.
func TestFittedWhereOneWasCorrected(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s, bus := cardWorld(t, db)
		w := &cardShelf{t: t, s: s, bus: bus}
		w.open()
		left := pipeline.Fitted{On: []fleet.CardPart{{Axle: 1, Part: fleet.Pad, Side: fleet.Left}}}
		var err error
		w.card, err = s.FitParts(t.Context(), all, "N. N.", w.card.ID, left)
		w.check(err)
		h, err := db.History(t.Context(), all, bus)
		w.check(err)
		before := len(h.Fitments)
		right := fleet.Position{Axle: 1, Part: fleet.Pad, Side: fleet.Right}
		rec := fleet.Record{Kind: fleet.FitmentRecord, ID: w.card.Parts[0].FitmentID}
		_, err = s.Correct(t.Context(), all, rec, fleet.Change{Position: &right}, undoing, s.Today())
		w.check(err)
		// Sent again by a phone that had no answer, it is what was corrected.
		_, err = s.FitParts(t.Context(), all, "N. N.", w.card.ID, left)
		if !errors.Is(err, fleet.ErrConflict) {
			t.Errorf("sent again: got %v, want a conflict", err)
		}
		left.Shown = db.Now()
		for range 2 {
			w.card, err = s.FitParts(t.Context(), all, "N. N.", w.card.ID, left)
			w.check(err)
		}
		h, err = db.History(t.Context(), all, bus)
		w.check(err)
		if got, want := len(h.Fitments), before+1; got != want || len(w.card.Parts) != 2 {
			t.Errorf("got %d fitments that count and %d parts on the card, want %d and 2", got, len(w.card.Parts), want)
		}
	})
}

// Of who fits a part again and who lets its fitment count again, at the same time, one
// comes first: one fitment counts.
func TestFittedAgainBesideUndoing(t *testing.T) {
	for name, closed := range map[string]bool{"by the same card": false, "by the next card": true} {
		t.Run(name, func(t *testing.T) {
			url := storetest.URL(t, store.Postgres) // a file has one writer
			db := storetest.MustOpen(t, url)
			w := newCardShelf(t, db, 3)
			if closed {
				w.close()
			}
			w.undo(0)
			rec := fleet.Record{Kind: fleet.FitmentRecord, ID: w.card.Parts[0].FitmentID}
			if closed {
				w.open()
			}
			fitted := make(chan error, 1)
			ctx := store.WithTrace(t.Context(), func(query string, _ []any) {
				if !strings.Contains(query, "set set_aside_reason = null") {
					return
				}
				go func() {
					_, err := w.s.FitParts(t.Context(), all, "N. N.", w.card.ID, pipeline.Fitted{Shown: w.s.DB.Now(), On: []fleet.CardPart{{Axle: 1, Part: fleet.Pad, Side: fleet.Left}}})
					fitted <- err
				}()
				for len(fitted) == 0 && len(storetest.Dump(t, url, `select pid from pg_stat_activity where datname = current_database() and wait_event_type = 'Lock'`)) == 0 {
					time.Sleep(5 * time.Millisecond)
				}
			})
			_, err := w.s.UndoSetAside(ctx, all, rec, undoing, w.s.Today())
			w.check(err)
			w.check(<-fitted)
			h, err := w.s.DB.History(t.Context(), all, w.bus)
			w.check(err)
			if n := len(h.Fitments); n != 2 {
				t.Errorf("got %d fitments that count, want 2, one of each side", n)
			}
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
		if d := diff.Diff(want, got[len(got)-2:]); d != "" {
			t.Errorf("(-want +got):\n%s", d)
		}
	})
}
