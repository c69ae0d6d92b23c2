package store_test

import (
	"context"
	"errors"
	"testing"
	"time"

	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// While all of the list is being read, who asks for it waits without keeping others
// from reading, until that is done or the request ends.
func TestDueListAwaited(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		id := mustVehicles(t, db, entry("Bus 1"))[0]
		mustForecasts(t, db, worn(id, 1, 9, 1))
		if err := db.WarmDue(t.Context(), asOf); err != nil {
			t.Fatal(err)
		}
		done := db.DueReadWhole()
		ending, end := context.WithTimeout(t.Context(), 10*time.Millisecond)
		defer end()
		if _, err := db.DueSoon(ending, all, store.DueQuery{}); !errors.Is(err, context.DeadlineExceeded) {
			t.Errorf("a request that ends: got %v", err)
		}
		got := make(chan error, 40) // more than read at a time
		for i := range cap(got) {
			go func() {
				n := 0
				var err error
				if i%2 == 0 {
					var page store.DuePage
					page, err = db.DueSoon(t.Context(), all, store.DueQuery{})
					n = page.Total
				} else {
					err = db.EachDue(t.Context(), all, store.DueQuery{}, func(store.DueRow) error { n++; return nil })
				}
				if err == nil && n != 1 {
					err = errors.New("not listed")
				}
				got <- err
			}()
		}
		if _, err := db.VehicleNumber(t.Context(), all, id); err != nil {
			t.Errorf("another read beside them: %v", err)
		}
		select {
		case err := <-got:
			t.Errorf("one was answered before all was read: %v", err)
		default:
		}
		done()
		for range cap(got) {
			if err := <-got; err != nil {
				t.Error(err)
			}
		}
	})
}
