package store_test

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// More vehicles than a round takes come whole, once each and in order, by a
// number of queries that does not grow with the vehicles.
func TestEachHistory(t *testing.T) {
	const n = 2*store.RoundVehicles + 10
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		var entries []store.VehicleEntry
		for i := range n {
			entries = append(entries, entry(fmt.Sprint("Bus ", i)))
		}
		ids := mustVehicles(t, db, entries...)
		mustTakeIn(t, db, func(w *store.Writer) error {
			var as []fleet.Axle
			var rs []fleet.Reading
			var os []fleet.Odometer
			var fs []fleet.Fitment
			for i, id := range ids {
				for k := range i % 3 {
					as = append(as, fleet.Axle{VehicleID: id, Number: 3 - k, Brake: fleet.DiscBrake,
						Specs: map[fleet.Part]fleet.Spec{fleet.Pad: {New: 20, Limit: 3}, fleet.Rotor: {New: 45, Limit: 37}}})
					rs = append(rs, reading(id, day(3, 9-k), float64(i)/10), reading(id, day(3, 9-k), float64(i)/10+1))
					os = append(os, fleet.Odometer{VehicleID: id, Date: day(3, 9-k), Km: float64(i)})
					fs = append(fs, fleet.Fitment{VehicleID: id, Position: pad(1, "", ""), Date: day(3, 9-k), MM: float64(i)})
				}
			}
			_, err1 := w.Axles(as)
			_, err2 := w.Readings(rs)
			_, err3 := w.Odometers(os)
			_, err4 := w.Fitments(fs)
			return errors.Join(err1, err2, err3, err4)
		})
		queries := 0
		ctx := store.WithTrace(t.Context(), func(string, []any) { queries++ })
		var got []int64
		err := db.EachHistory(ctx, all, nil, func(h *store.History) error {
			got = append(got, h.Vehicle.ID)
			i := slices.Index(ids, h.Vehicle.ID)
			want := i % 3
			if len(h.Axles) != want || len(h.Readings) != 2*want || len(h.Odometers) != want || len(h.Fitments) != want {
				t.Fatalf("%s: got %d axles, %d readings, %d odometers, %d fitments; want %d, twice for readings",
					h.Vehicle.Number, len(h.Axles), len(h.Readings), len(h.Odometers), len(h.Fitments), want)
			}
			sorted := slices.IsSortedFunc(h.Axles, func(a, b fleet.Axle) int { return a.Number - b.Number }) &&
				slices.IsSortedFunc(h.Readings, func(a, b fleet.Reading) int { return int(a.Date - b.Date) }) &&
				slices.IsSortedFunc(h.Odometers, func(a, b fleet.Odometer) int { return int(a.Date - b.Date) }) &&
				slices.IsSortedFunc(h.Fitments, func(a, b fleet.Fitment) int { return int(a.Date - b.Date) })
			if !sorted {
				t.Errorf("%s: not in order: %+v", h.Vehicle.Number, h)
			}
			for _, r := range h.Readings {
				if r.VehicleID != h.Vehicle.ID || int(r.MM*10+.5)%10 != i%10 {
					t.Errorf("%s: has the reading %+v", h.Vehicle.Number, r)
				}
			}
			for _, a := range h.Axles {
				if len(a.Specs) != 2 {
					t.Errorf("%s axle %d: got %d specifications, want 2", h.Vehicle.Number, a.Number, len(a.Specs))
				}
			}
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
		if len(got) != n || !slices.IsSorted(got) {
			t.Errorf("got %d vehicles, in order: %v; want %d", len(got), slices.IsSorted(got), n)
		}
		if limit := 3 * 16; queries > limit {
			t.Errorf("%d queries for 3 rounds, want at most %d", queries, limit)
		}

		some := []int64{ids[5], ids[300], ids[5], 9999, ids[1]}
		got = nil
		err = db.EachHistory(t.Context(), all, some, func(h *store.History) error {
			got = append(got, h.Vehicle.ID)
			return nil
		})
		want := []int64{ids[5], ids[300], ids[1]}
		slices.Sort(want)
		if d := cmp.Diff(want, got); err != nil || d != "" {
			t.Errorf("by id: %v\n%s", err, d)
		}
		err = db.EachHistory(t.Context(), all, []int64{}, func(h *store.History) error {
			return errors.New("called")
		})
		if err != nil {
			t.Errorf("of no vehicle: %v", err)
		}
	})
}

// fn may read and write, and its error ends the stream.
func TestEachHistoryCallsBack(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		mustVehicles(t, db, entry("Bus 1"), entry("Bus 2"), entry("Bus 3"))
		enough := errors.New("enough")
		calls := 0
		err := db.EachHistory(t.Context(), all, nil, func(h *store.History) error {
			calls++
			mustForecasts(t, db, due(h.Vehicle.ID, 1, nil, 0))
			if _, err := db.Forecasts(t.Context(), all, h.Vehicle.ID); err != nil {
				t.Error(err)
			}
			if calls == 2 {
				return enough
			}
			return nil
		})
		if err != enough || calls != 2 {
			t.Errorf("got %v after %d calls, want %v after 2", err, calls, enough)
		}
	})
}

// What was set aside no longer counts, and is still there.
func TestSetAsideLeftOut(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		v := mustVehicles(t, db, entry("Bus 1"))[0]
		mustTakeIn(t, db, func(w *store.Writer) error {
			_, err1 := w.Readings([]fleet.Reading{reading(v, day(3, 1), 8), reading(v, day(3, 9), 80)})
			_, err2 := w.Odometers([]fleet.Odometer{{VehicleID: v, Date: day(3, 1), Km: 1}, {VehicleID: v, Date: day(3, 9), Km: 2}})
			_, err3 := w.Fitments([]fleet.Fitment{{VehicleID: v, Position: pad(1, "", ""), Date: day(3, 1)}, {VehicleID: v, Position: pad(1, "", ""), Date: day(3, 9)}})
			return errors.Join(err1, err2, err3)
		})
		for _, table := range []string{"thickness_readings", "odometer_readings", "fitments"} {
			mustExec(t, db, "update "+table+" set superseded_by = 1, set_aside_reason = 'mistyped', set_aside_by = 'N. N.', set_aside_at = ? where day = ?",
				store.Instant(db.Now()), day(3, 9))
			if n := count(t, db, "select count(*) from "+table); n != 2 {
				t.Errorf("%s: got %d rows, want 2", table, n)
			}
		}
		h, err := db.History(t.Context(), all, v)
		if err != nil {
			t.Fatal(err)
		}
		if len(h.Readings) != 1 || len(h.Odometers) != 1 || len(h.Fitments) != 1 {
			t.Errorf("got %d readings, %d odometers, %d fitments; want one of each", len(h.Readings), len(h.Odometers), len(h.Fitments))
		}
		_, _, readings, err := db.Counts(t.Context(), all)
		if err != nil || readings != 1 {
			t.Errorf("Counts: got %d readings, %v; want 1", readings, err)
		}
		page, err := db.Vehicles(t.Context(), all, store.VehicleQuery{})
		if err != nil || len(page.Rows) != 1 || page.Rows[0].LastReading == nil || *page.Rows[0].LastReading != day(3, 1) {
			t.Errorf("Vehicles: got %+v, %v; want the last reading on %v", page.Rows, err, day(3, 1))
		}
	})
}

// A read that is given up in the midst of a row is an error, at whatever moment.
func TestHistoryGivenUp(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		id := mustVehicles(t, db, entry("Bus 1"))[0]
		var rs []fleet.Reading
		for i := range fleet.Date(1000) {
			rs = append(rs, reading(id, day(1, 1)+i, 8))
		}
		mustReadings(t, db, rs...)
		cut := 0
		for i := range 150 {
			ctx, cancel := context.WithTimeout(t.Context(), time.Duration(i)*50*time.Microsecond)
			h, err := db.History(ctx, all, id)
			cancel()
			switch {
			case err == nil && len(h.Readings) != len(rs):
				t.Fatalf("got %d readings of %d and no error", len(h.Readings), len(rs))
			case err != nil:
				cut++
			}
		}
		if cut == 0 {
			t.Error("no read was given up; the test shows nothing")
		}
	})
}
