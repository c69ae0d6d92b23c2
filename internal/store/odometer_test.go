package store_test

import (
	"errors"
	"testing"

	"github.com/google/go-cmp/cmp"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// The swaps are invented.
func TestClusterSwaps(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		v := mustVehicles(t, db, entry("Bus 1"))[0]
		take := func(what string, want store.Counts, os ...fleet.Odometer) int64 {
			t.Helper()
			up := mustTakeIn(t, db, func(w *store.Writer) error {
				got, err := w.Odometers(os)
				if got != want {
					t.Errorf("%s: got %+v, want %+v", what, got, want)
				}
				return err
			})
			return up.ID
		}
		plain := fleet.Odometer{VehicleID: v, Date: day(3, 1), Km: 12}
		swap := plain
		swap.PreviousKm = ptr(155_000.0)
		take("a reading", store.Counts{Added: 1}, plain)
		id := take("a swap of it", store.Counts{Added: 1}, swap)
		take("again", store.Counts{Repeated: 1}, swap)
		other := fleet.Odometer{VehicleID: v, Date: day(5, 1), Km: 0, PreviousKm: ptr(4000.5)}
		id2 := take("a swap with its reading, twice", store.Counts{Added: 1, Repeated: 1}, other, other)

		want := []fleet.ClusterSwap{
			{ID: 1, VehicleID: v, Date: day(3, 1), OldKm: 155_000, NewKm: 12, UploadID: id},
			{ID: 2, VehicleID: v, Date: day(5, 1), OldKm: 4000.5, NewKm: 0, UploadID: id2},
		}
		h, err := db.History(t.Context(), all, v)
		if err != nil {
			t.Fatal(err)
		}
		for i := range h.Swaps { // PostgreSQL numbers those that conflicted too
			h.Swaps[i].ID = want[i].ID
		}
		if d := cmp.Diff(want, h.Swaps); d != "" {
			t.Error(d)
		}
		if len(h.Odometers) != 2 {
			t.Errorf("%d odometer readings, want the two that the new clusters showed", len(h.Odometers))
		}
		if _, err := db.History(t.Context(), auth.ScopeOf([]int64{99}, nil), v); !errors.Is(err, fleet.ErrNotFound) {
			t.Errorf("another scope: got %v, want ErrNotFound", err)
		}
		up := fleet.Upload{Kind: "odometer", Name: "o.csv", By: "test"}
		err = db.TakeIn(t.Context(), all, &up, func(w *store.Writer) error {
			_, err := w.Odometers([]fleet.Odometer{{VehicleID: v, Date: day(6, 1), Km: 1, PreviousKm: ptr(-1.0)}})
			return err
		})
		if !errors.Is(err, fleet.ErrInvalid) {
			t.Errorf("a swap from -1 km: got %v, want ErrInvalid", err)
		}
	})
}
