package pipeline_test

import (
	"errors"
	"testing"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// bus is Bus 1 of the files of this package, forecast.
func bus(t *testing.T, s *pipeline.Service) store.History {
	t.Helper()
	mustImport(t, s, "vehicles.csv", vehiclesCSV, 2, 0, 0)
	mustImport(t, s, "axles.csv", axlesCSV, 3, 0, 0)
	mustImport(t, s, "readings.csv", readingsCSV, 5, 0, 0)
	if _, err := s.Refit(t.Context(), all, nil, s.Today()); err != nil {
		t.Fatal(err)
	}
	index, err := s.DB.VehicleIndex(t.Context(), all)
	if err != nil {
		t.Fatal(err)
	}
	h, err := s.DB.History(t.Context(), all, index["Bus 1"][0].ID)
	if err != nil {
		t.Fatal(err)
	}
	return h
}

// medianOf returns the kept median limit distance of axle 1.
func medianOf(t *testing.T, s *pipeline.Service, vehicle int64) float64 {
	t.Helper()
	fs, err := s.DB.Forecasts(t.Context(), all, vehicle)
	if err != nil {
		t.Fatal(err)
	}
	return fs[0].Crossing.Km.Quantile(.5)
}

// The kept forecast follows a correction, a setting aside and its undoing.
func TestCorrectionsAreFollowed(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ctx, s := t.Context(), newService(db)
		h := bus(t, s)
		was := medianOf(t, s, h.Vehicle.ID)
		last := h.Readings[len(h.Readings)-2] // left inner, 5.1 mm
		if last.MM != 5.1 {
			t.Fatalf("got %+v", last)
		}
		rec := fleet.Record{Kind: fleet.ReadingRecord, ID: last.ID}
		why := fleet.Reason{Why: "gauge held askew", By: "N. N."}

		if _, err := s.SetAside(ctx, all, rec, why, s.Today()); err != nil {
			t.Fatal(err)
		}
		without := medianOf(t, s, h.Vehicle.ID)
		if without == was {
			t.Error("set aside: the forecast did not follow")
		}
		if _, err := s.UndoSetAside(ctx, all, rec, why, s.Today()); err != nil {
			t.Fatal(err)
		}
		if got := medianOf(t, s, h.Vehicle.ID); got != was {
			t.Errorf("undone: got %g km, want %g as before", got, was)
		}
		mm := 6.4
		if _, err := s.Correct(ctx, all, rec, fleet.Change{MM: &mm, Given: "6.4", Unit: "mm"}, why, s.Today()); err != nil {
			t.Fatal(err)
		}
		if got := medianOf(t, s, h.Vehicle.ID); !(got > was) {
			t.Errorf("corrected to more lining: got %g km, want more than %g", got, was)
		}
		future := s.Today() + 1
		if _, err := s.Correct(ctx, all, rec, fleet.Change{Date: &future}, why, s.Today()); !errors.Is(err, fleet.ErrInvalid) {
			t.Errorf("a day to come: got %v, want it refused", err)
		}
	})
}

// Readings that belong to another vehicle: the forecasts of both follow at once.
func TestMoveReadings(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s := newService(db)
		h := bus(t, s)
		index, err := db.VehicleIndex(t.Context(), all)
		if err != nil {
			t.Fatal(err)
		}
		van := index["Van 2"][0].ID
		before := [2]float64{medianOf(t, s, h.Vehicle.ID), medianOf(t, s, van)}
		last := h.Readings[0]
		for _, r := range h.Readings {
			if r.Position.Axle == 1 && r.Date > last.Date {
				last = r
			}
		}
		mv := fleet.AxleMove{Reading: last.ID, VehicleID: van, Axle: 1}
		done, err := s.MoveReadings(t.Context(), all, mv, fleet.Reason{Why: "the van's sheet", By: "N. N."}, s.Today())
		if err != nil || len(done) == 0 {
			t.Fatal(done, err)
		}
		for i, id := range []int64{h.Vehicle.ID, van} {
			if got := medianOf(t, s, id); got == before[i] {
				t.Errorf("vehicle %d: its forecast did not follow: %g", id, got)
			}
		}
	})
}

// What is unlikely about a change is said, and the change not made.
func TestCorrectIfLikely(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ctx, s := t.Context(), newService(db)
		h := bus(t, s)
		last := h.Readings[len(h.Readings)-2] // left inner, 5.1 mm
		rec := fleet.Record{Kind: fleet.ReadingRecord, ID: last.ID}
		why := fleet.Reason{Why: "misread", By: "N. N."}
		thick, likely := 51., 5.3
		_, err := s.CorrectIfLikely(ctx, all, rec, fleet.Change{MM: &thick, Given: "51", Unit: "mm"}, why, s.Today())
		if d, ok := errors.AsType[*pipeline.DoubtError](err); !ok || len(d.Remarks) == 0 || d.Remarks[0].Field != pipeline.FieldOf(last.Position) {
			t.Errorf("got %v, want a doubt about the value", err)
		}
		if v, err := db.Record(ctx, all, rec); err != nil || v.Reading.Aside != nil {
			t.Errorf("got %+v, %v, want the reading as it was", v.Reading, err)
		}
		if _, err := s.CorrectIfLikely(ctx, auth.ScopeOf([]int64{99}, nil), rec, fleet.Change{MM: &likely, Given: "5.3", Unit: "mm"}, why, s.Today()); !errors.Is(err, fleet.ErrNotFound) {
			t.Errorf("another scope: got %v, want not found", err)
		}
		if done, err := s.CorrectIfLikely(ctx, all, rec, fleet.Change{MM: &likely, Given: "5.3", Unit: "mm"}, why, s.Today()); err != nil || len(done) != 1 {
			t.Errorf("a likely one: got %v, %v", done, err)
		}
	})
}
