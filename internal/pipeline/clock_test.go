package pipeline_test

import (
	"context"
	"errors"
	"sync"
	"testing"
	"time"

	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// Who reads pages asks what day it is in the midst of it; who looks up whose clock
// goes waits for a turn to read behind them. Neither waits for the other.
func TestClockHoldsUpNobody(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s := newService(db)
		s.Clock = new(pipeline.Clock)
		const pages = 40 // more than may read at once
		ctx, cancel := context.WithTimeout(t.Context(), 10*time.Second)
		defer cancel()
		var reading, all sync.WaitGroup
		asks := make(chan struct{})
		errs := make([]error, pages)
		reading.Add(1)
		var first sync.Once
		for i := range pages {
			all.Go(func() {
				errs[i] = db.OneState(ctx, "read a page", "", func(*store.DB) error {
					first.Do(reading.Done)
					<-asks
					s.Today()
					return nil
				})
			})
		}
		reading.Wait()
		all.Go(func() { s.HomeZone(ctx) })
		time.Sleep(100 * time.Millisecond) // it waits for its turn by now
		close(asks)
		all.Wait()
		if err := errors.Join(errs...); err != nil {
			t.Error(err)
		}
	})
}

// Whose clock goes is known right after a depot's is set, or a file brings depots.
func TestClockRightAfterWrite(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s := newService(db)
		s.Clock = new(pipeline.Clock)
		check := func(want string) {
			t.Helper()
			for range 2 { // looked up, and known
				if got := s.HomeZone(t.Context()); got != want {
					t.Errorf("got the clock of %s, want %s", got, want)
				}
			}
		}
		check("UTC")
		mustImport(t, s, "vehicles.csv", "vehicle,fleet,depot\nBus 1,North,Quay\n", 1, 0, 0)
		ds, err := db.Depots(t.Context(), all)
		if err != nil || len(ds) != 1 {
			t.Fatal(ds, err)
		}
		w := fleet.DefaultWorkshop()
		w.DepotID = ds[0].ID
		if err := s.SaveWorkshop(t.Context(), all, "N. N.", w, "Asia/Tokyo"); err != nil {
			t.Fatal(err)
		}
		check("Asia/Tokyo")
		w.Bays++
		if err := s.SaveWorkshop(t.Context(), all, "N. N.", w, "Mars"); err == nil {
			t.Error("a zone of no clock was set")
		}
		if got, err := db.Workshop(t.Context(), all, w.DepotID, s.Today()); err != nil || got.Workshop.Bays != w.Bays-1 {
			t.Errorf("with a zone refused: got %d bays, %v, want those from before", got.Workshop.Bays, err)
		}
		check("Asia/Tokyo")
		mustImport(t, s, "vehicles.csv", "vehicle,fleet,depot\nBus 2,North,Hill\nBus 3,North,Bay\n", 2, 0, 0)
		check("UTC") // that of two of three
	})
}

// Who goes away while the clock is looked up leaves that to the next.
func TestClockOfWhoGoesAway(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s := newService(db)
		s.Clock = new(pipeline.Clock)
		mustImport(t, s, "vehicles.csv", "vehicle,fleet,depot\nBus 1,North,Quay\n", 1, 0, 0)
		gone, leave := context.WithCancel(t.Context())
		leave()
		if got := s.HomeZone(gone); got != "" {
			t.Errorf("asked in vain: got the clock of %s", got)
		}
		if got := s.HomeZone(t.Context()); got != "UTC" {
			t.Errorf("the next: got the clock of %q, want UTC", got)
		}
	})
}
