package store_test

import (
	"errors"
	"strings"
	"sync"
	"testing"

	"github.com/google/go-cmp/cmp"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

var why = fleet.Reason{Why: "read off the wrong wheel", By: "N. N."}

// visited has a vehicle with two readings of one visit, one later reading, an
// odometer reading and a fitment, and returns the vehicle.
func visited(t *testing.T, db *store.DB) int64 {
	t.Helper()
	v := mustVehicles(t, db, entry("Bus 1"))[0]
	mustTakeIn(t, db, func(w *store.Writer) error {
		_, err1 := w.Axles([]fleet.Axle{{VehicleID: v, Number: 1, Brake: fleet.DiscBrake}})
		left, right := reading(v, day(3, 1), 8), reading(v, day(3, 1), 8.5)
		right.Position = pad(1, fleet.Right, fleet.Inner)
		left.OdometerKm, right.OdometerKm = ptr(1000.0), ptr(1000.0)
		_, err2 := w.Readings([]fleet.Reading{left, right, reading(v, day(6, 1), 7)})
		_, err3 := w.Odometers([]fleet.Odometer{{VehicleID: v, Date: day(3, 2), Km: 1010}})
		_, err4 := w.Fitments([]fleet.Fitment{{VehicleID: v, Position: pad(1, "", ""), Date: day(1, 5), MM: 12}})
		return errors.Join(err1, err2, err3, err4)
	})
	return v
}

// mustHistory returns what counts of a vehicle.
func mustHistory(t *testing.T, db *store.DB, v int64) store.History {
	t.Helper()
	h, err := db.History(t.Context(), all, v)
	if err != nil {
		t.Fatal(err)
	}
	return h
}

func mustCorrect(t *testing.T, db *store.DB, rec fleet.Record, ch fleet.Change) []fleet.Correction {
	t.Helper()
	done, err := db.Correct(t.Context(), all, rec, ch, why)
	if err != nil {
		t.Fatal(err)
	}
	return done
}

// wantKind wants an error of a kind whose message has words in it.
func wantKind(t *testing.T, err, kind error, words ...string) {
	t.Helper()
	if !errors.Is(err, kind) {
		t.Fatalf("got %v, want %v", err, kind)
	}
	for _, w := range words {
		if !strings.Contains(err.Error(), w) {
			t.Errorf("got %q, want %q in it", err, w)
		}
	}
}

func readingRecord(r *fleet.Reading) fleet.Record {
	return fleet.Record{Kind: fleet.ReadingRecord, ID: r.ID}
}

func TestCorrectReading(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		v := visited(t, db)
		old := mustHistory(t, db, v).Readings[0]
		rec := readingRecord(&old)
		done := mustCorrect(t, db, rec, fleet.Change{MM: ptr(6.5), Given: "6.5", Unit: "mm"})
		if len(done) != 1 || done[0].Act != fleet.Corrected || done[0].Record != rec || done[0].StandsID == 0 {
			t.Fatalf("got %+v", done)
		}
		got := mustHistory(t, db, v).Readings
		if len(got) != 3 {
			t.Fatalf("got %d readings that count, want 3", len(got))
		}
		want := old
		want.ID, want.MM, want.Given, want.UploadID = done[0].StandsID, 6.5, "6.5", got[0].UploadID
		if d := cmp.Diff(want, got[0]); d != "" {
			t.Errorf("what stands: %s", d)
		}
		cs, err := db.Corrections(t.Context(), all, v)
		if err != nil {
			t.Fatal(err)
		}
		want = old
		want.Aside = &fleet.Aside{Reason: why, At: done[0].At, StandsID: done[0].StandsID}
		if d := cmp.Diff([]fleet.Reading{want}, cs.Readings); d != "" {
			t.Errorf("what it was: %s", d)
		}
		if d := cmp.Diff(done, cs.Log); d != "" {
			t.Errorf("log: %s", d)
		}

		t.Run("once more", func(t *testing.T) {
			_, err := db.Correct(t.Context(), all, rec, fleet.Change{MM: ptr(6.0)}, why)
			wantKind(t, err, fleet.ErrConflict, "was corrected by N. N.", "read off the wrong wheel", "nothing was changed")
		})
		t.Run("uploaded again", func(t *testing.T) {
			mustTakeIn(t, db, func(w *store.Writer) error {
				old.ID = 0
				c, err := w.Readings([]fleet.Reading{old})
				if c != (store.Counts{Repeated: 1}) {
					t.Errorf("got %+v, want it to be there already", c)
				}
				return err
			})
		})
		t.Run("back to what it was", func(t *testing.T) {
			mustCorrect(t, db, readingRecord(&got[0]), fleet.Change{MM: ptr(8.0)})
			if h := mustHistory(t, db, v); h.Readings[0].MM != 8 || len(h.Readings) != 3 {
				t.Errorf("got %+v", h.Readings)
			}
		})
		t.Run("the odometer alone", func(t *testing.T) {
			r := mustHistory(t, db, v).Readings[0]
			mustCorrect(t, db, readingRecord(&r), fleet.Change{OdometerKm: ptr(1100.0)})
			if h := mustHistory(t, db, v); *h.Readings[0].OdometerKm != 1100 || *h.Readings[1].OdometerKm != 1000 {
				t.Errorf("got %v and %v km", *h.Readings[0].OdometerKm, *h.Readings[1].OdometerKm)
			}
		})
		t.Run("the side", func(t *testing.T) {
			r := mustHistory(t, db, v).Readings[0]
			to := pad(1, fleet.Left, fleet.Outer)
			mustCorrect(t, db, readingRecord(&r), fleet.Change{Position: &to})
			if h := mustHistory(t, db, v); h.Readings[0].Position != to {
				t.Errorf("got %v", h.Readings[0].Position)
			}
		})
	})
}

func TestCorrectWholeVisit(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		v := visited(t, db)
		r := mustHistory(t, db, v).Readings[0]
		d := day(3, 3)
		done := mustCorrect(t, db, readingRecord(&r), fleet.Change{MM: ptr(8.1), Date: &d, NoOdometer: true, WholeVisit: true})
		if len(done) != 2 {
			t.Errorf("got %d corrections, want 2", len(done))
		}
		var got []float64
		for _, r := range mustHistory(t, db, v).Readings {
			if r.Date == d && r.OdometerKm == nil {
				got = append(got, r.MM)
			}
		}
		if d := cmp.Diff([]float64{8.1, 8.5}, got); d != "" {
			t.Error(d)
		}
	})
}

func TestCorrectOdometerAndFitment(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		v := visited(t, db)
		h := mustHistory(t, db, v)
		mustCorrect(t, db, fleet.Record{Kind: fleet.OdometerRecord, ID: h.Odometers[0].ID}, fleet.Change{OdometerKm: ptr(1020.0)})
		mustCorrect(t, db, fleet.Record{Kind: fleet.FitmentRecord, ID: h.Fitments[0].ID}, fleet.Change{MM: ptr(11.0), OdometerKm: ptr(900.0)})
		got := mustHistory(t, db, v)
		if len(got.Odometers) != 1 || got.Odometers[0].Km != 1020 {
			t.Errorf("got odometers %+v", got.Odometers)
		}
		if len(got.Fitments) != 1 || got.Fitments[0].MM != 11 || *got.Fitments[0].OdometerKm != 900 || got.Fitments[0].Position != h.Fitments[0].Position {
			t.Errorf("got fitments %+v", got.Fitments)
		}
		cs, err := db.Corrections(t.Context(), all, v)
		if err != nil || len(cs.Odometers) != 1 || len(cs.Fitments) != 1 || len(cs.Readings) != 0 || len(cs.Log) != 2 {
			t.Errorf("got %+v, %v", cs, err)
		}
		view, err := db.Record(t.Context(), all, fleet.Record{Kind: fleet.FitmentRecord, ID: h.Fitments[0].ID})
		if err != nil || view.Fitment == nil || view.Fitment.Aside == nil || view.Number != "Bus 1" || view.Depot != "Quay" || len(view.Log) != 1 {
			t.Errorf("got %+v, %v", view, err)
		}
	})
}

func TestSetAsideAndUndo(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ctx := t.Context()
		v := visited(t, db)
		old := mustHistory(t, db, v)
		for _, rec := range []fleet.Record{
			readingRecord(&old.Readings[0]),
			{Kind: fleet.OdometerRecord, ID: old.Odometers[0].ID},
			{Kind: fleet.FitmentRecord, ID: old.Fitments[0].ID},
		} {
			if _, err := db.UndoSetAside(ctx, all, rec, why); !errors.Is(err, fleet.ErrConflict) {
				t.Errorf("%s counts: got %v, want a conflict", rec, err)
			}
			if _, err := db.SetAside(ctx, all, rec, why); err != nil {
				t.Fatal(err)
			}
			_, err := db.SetAside(ctx, all, rec, why)
			wantKind(t, err, fleet.ErrConflict, "was set aside by N. N.", "undo that first")
			_, err = db.Correct(ctx, all, rec, fleet.Change{OdometerKm: ptr(5.0)}, why)
			wantKind(t, err, fleet.ErrConflict, "was set aside")
		}
		if h := mustHistory(t, db, v); len(h.Readings) != 2 || len(h.Odometers) != 0 || len(h.Fitments) != 0 {
			t.Errorf("got %+v", h)
		}
		for _, rec := range []fleet.Record{
			readingRecord(&old.Readings[0]),
			{Kind: fleet.OdometerRecord, ID: old.Odometers[0].ID},
			{Kind: fleet.FitmentRecord, ID: old.Fitments[0].ID},
		} {
			if _, err := db.UndoSetAside(ctx, all, rec, why); err != nil {
				t.Fatal(err)
			}
		}
		if d := cmp.Diff(old, mustHistory(t, db, v)); d != "" {
			t.Errorf("undone is not as before: %s", d)
		}
		cs, err := db.Corrections(ctx, all, v)
		if err != nil || len(cs.Log) != 6 || cs.Log[0].Act != fleet.Undone || len(cs.Readings)+len(cs.Odometers)+len(cs.Fitments) != 0 {
			t.Errorf("got %+v, %v; want all six acts and nothing set aside", cs, err)
		}
	})
}

// A record that was set aside does not count again beside one that was
// corrected to the same value meanwhile.
func TestUndoBesideTheSame(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		v := visited(t, db)
		mustReadings(t, db, reading(v, day(3, 1), 9))
		rs := mustHistory(t, db, v).Readings // left inner at 8 and 9, right inner, later
		if _, err := db.SetAside(t.Context(), all, readingRecord(&rs[0]), why); err != nil {
			t.Fatal(err)
		}
		mustCorrect(t, db, readingRecord(&rs[1]), fleet.Change{MM: ptr(8.0)})
		_, err := db.UndoSetAside(t.Context(), all, readingRecord(&rs[0]), why)
		wantKind(t, err, fleet.ErrConflict, "says the same already")
	})
}

func TestCorrectRefuses(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		v := visited(t, db)
		h := mustHistory(t, db, v)
		rec := readingRecord(&h.Readings[0])
		odo := fleet.Record{Kind: fleet.OdometerRecord, ID: h.Odometers[0].ID}
		right, lining, axle9 := h.Readings[1].Position, h.Readings[0].Position, pad(9, "", "")
		lining.Part, lining.Face = fleet.Lining, ""
		other := auth.ScopeOf([]int64{99}, nil)
		for _, c := range []struct {
			name string
			sc   auth.Scope
			rec  fleet.Record
			ch   fleet.Change
			why  fleet.Reason
			kind error
			says string
		}{
			{"no reason", all, rec, fleet.Change{MM: ptr(1.0)}, fleet.Reason{By: "N. N."}, fleet.ErrInvalid, "say why"},
			{"nobody", all, rec, fleet.Change{MM: ptr(1.0)}, fleet.Reason{Why: "so"}, fleet.ErrInvalid, "say who"},
			{"nothing", all, rec, fleet.Change{}, why, fleet.ErrInvalid, "nothing is changed"},
			{"the same", all, rec, fleet.Change{MM: ptr(8.0)}, why, fleet.ErrInvalid, "nothing is changed"},
			{"not a thickness", all, rec, fleet.Change{MM: ptr(-1.0)}, why, fleet.ErrInvalid, "want 0 to"},
			{"as another is", all, rec, fleet.Change{Position: &right, MM: ptr(8.5)}, why, fleet.ErrConflict, "says the same already"},
			{"no such part", all, rec, fleet.Change{Position: &lining}, why, fleet.ErrInvalid, "disc brake, which has no lining"},
			{"no such axle", all, rec, fleet.Change{Position: &axle9}, why, fleet.ErrInvalid, "axle 9"},
			{"no such reading", all, fleet.Record{Kind: fleet.ReadingRecord, ID: 999}, fleet.Change{MM: ptr(1.0)}, why, fleet.ErrNotFound, "reading 999"},
			{"no such kind", all, fleet.Record{Kind: "plan", ID: 1}, fleet.Change{MM: ptr(1.0)}, why, fleet.ErrInvalid, "want one of"},
			{"of another fleet", other, rec, fleet.Change{MM: ptr(1.0)}, why, fleet.ErrNotFound, "none that you may change"},
			{"an odometer's thickness", all, odo, fleet.Change{MM: ptr(1.0)}, why, fleet.ErrInvalid, "only its day and its km"},
			{"an odometer's visit", all, odo, fleet.Change{OdometerKm: ptr(1.0), WholeVisit: true}, why, fleet.ErrInvalid, "belongs to a visit"},
			{"no odometer", all, odo, fleet.Change{OdometerKm: ptr(-1.0)}, why, fleet.ErrInvalid, "odometer"},
		} {
			t.Run(c.name, func(t *testing.T) {
				_, err := db.Correct(t.Context(), c.sc, c.rec, c.ch, c.why)
				wantKind(t, err, c.kind, c.says)
			})
		}
		for what, err := range map[string]error{
			"SetAside":     func() error { _, err := db.SetAside(t.Context(), other, rec, why); return err }(),
			"UndoSetAside": func() error { _, err := db.UndoSetAside(t.Context(), other, rec, why); return err }(),
			"Corrections":  func() error { _, err := db.Corrections(t.Context(), other, v); return err }(),
			"Record":       func() error { _, err := db.Record(t.Context(), other, rec); return err }(),
		} {
			if !errors.Is(err, fleet.ErrNotFound) {
				t.Errorf("%s in another scope: got %v, want not found", what, err)
			}
		}
		if d := cmp.Diff(h, mustHistory(t, db, v)); d != "" {
			t.Errorf("something was changed: %s", d)
		}
	})
}

// Of two who correct one row at the same time one is told what the other did.
func TestCorrectAtOnce(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		v := visited(t, db)
		r := mustHistory(t, db, v).Readings[0]
		const people = 8
		var wg sync.WaitGroup
		errs := make([]error, people)
		for i := range people {
			wg.Go(func() {
				_, errs[i] = db.Correct(t.Context(), all, readingRecord(&r), fleet.Change{MM: ptr(1 + float64(i)/2)}, why)
			})
		}
		wg.Wait()
		won := 0
		for _, err := range errs {
			if err == nil {
				won++
				continue
			}
			wantKind(t, err, fleet.ErrConflict, "was corrected by N. N.")
		}
		if won != 1 {
			t.Errorf("%d corrections were taken, want 1", won)
		}
		if n := len(mustHistory(t, db, v).Readings); n != 3 {
			t.Errorf("got %d readings that count, want 3", n)
		}
	})
}
