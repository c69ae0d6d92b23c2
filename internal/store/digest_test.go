package store_test

import (
	"errors"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

func mustRecipient(t *testing.T, db *store.DB) int64 {
	t.Helper()
	r := &store.Recipient{Name: "Ann", Address: "ann@island.example", Role: store.RolePlanner, Everything: true}
	if err := db.SaveRecipient(t.Context(), all, "N. N.", r); err != nil {
		t.Fatal(err)
	}
	return r.ID
}

// Twenty claims at once, by several connections: one gets it.
func TestClaimDigestAtOnce(t *testing.T) {
	for _, dialect := range []string{store.SQLite, store.Postgres} {
		t.Run(dialect, func(t *testing.T) {
			url := storetest.URL(t, dialect)
			id := mustRecipient(t, storetest.MustOpen(t, url))
			var got atomic.Int32
			var wg sync.WaitGroup
			for range 4 {
				db := storetest.MustOpen(t, url)
				for range 5 {
					wg.Go(func() {
						_, claimed, err := db.ClaimDigest(t.Context(), id, day(3, 1), 4)
						if err != nil {
							t.Error(err)
						}
						if claimed {
							got.Add(1)
						}
					})
				}
			}
			wg.Wait()
			if got.Load() != 1 {
				t.Errorf("%d got it, want 1", got.Load())
			}
		})
	}
}

func TestDigest(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		v := mustVehicles(t, db, entry("Bus 1"))[0]
		id := mustRecipient(t, db)
		at := time.Date(2025, 3, 1, 6, 0, 0, 0, time.UTC)
		db.Now = func() time.Time { return at }
		told := []store.ToldAxle{{VehicleID: v, Axle: 1, BookBy: ptr(day(3, 10))}, {VehicleID: v, Axle: 2}}
		// What is claimed when, how it ends, and since when it tells.
		first := at
		fourth := at.AddDate(0, 0, 3)
		for i, c := range []struct {
			day     int
			end     string
			claimed bool
			tries   int
			since   *time.Time
			knows   int
		}{
			{1, store.DigestFailed, true, 1, nil, 0},
			{1, store.DigestSent, true, 2, nil, 2},
			{1, "", false, 0, nil, 2},
			{2, store.DigestUncertain, true, 1, &first, 2},
			{2, "", false, 0, nil, 2},
			{3, store.DigestRefused, true, 1, &first, 2},
			{3, "", false, 0, nil, 2},
			{4, store.DigestNothing, true, 1, &first, 0},
			{5, store.DigestFailed, true, 1, &fourth, 0},
			{5, store.DigestFailed, true, 2, &fourth, 0},
			{5, "", false, 0, nil, 0}, // tried twice
		} {
			at = time.Date(2025, 3, c.day, 6, 0, 0, 0, time.UTC)
			d, claimed, err := db.ClaimDigest(t.Context(), id, day(3, c.day), 2)
			if err != nil {
				t.Fatal(err)
			}
			if claimed != c.claimed {
				t.Fatalf("%d: claimed: %v, want %v", i, claimed, c.claimed)
			}
			if !claimed {
				continue
			}
			if diff := cmp.Diff(c.since, d.Since); diff != "" || d.Tries != c.tries || !d.Until.Equal(at) {
				t.Errorf("%d: got %+v; %s", i, d, diff)
			}
			know := told
			if c.end == store.DigestNothing {
				know = nil
			}
			if err := db.EndDigest(t.Context(), d, c.end, "because", know); err != nil {
				t.Fatal(err)
			}
			if err := db.EndDigest(t.Context(), d, store.DigestSent, "", nil); !errors.Is(err, fleet.ErrConflict) {
				t.Errorf("%d: ended twice: got %v, want a conflict", i, err)
			}
			knows, err := db.Told(t.Context(), id)
			if err != nil || len(knows) != c.knows {
				t.Errorf("%d: knows %v, %v; want %d", i, knows, err, c.knows)
			}
			for _, a := range told {
				if got := knows[store.AxleKey{VehicleID: v, Axle: a.Axle}]; c.knows > 0 && !cmp.Equal(got, a) {
					t.Errorf("%d: knows %+v, want %+v", i, got, a)
				}
			}
			r, err := db.Recipient(t.Context(), all, id)
			if err != nil || r.Last == nil || r.Last.State != c.end || r.Last.Message != "because" {
				t.Errorf("%d: last digest: got %+v, %v", i, r.Last, err)
			}
		}
	})
}
