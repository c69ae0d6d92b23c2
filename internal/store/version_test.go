package store_test

import (
	"context"
	"testing"

	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// A version stays while nothing is written, and changes with what this
// process, another one, or a transaction of many rows commits.
func TestVersion(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		version := func() string {
			t.Helper()
			v, err := db.Version(t.Context())
			if err != nil || v == "" {
				t.Fatalf("got %q, %v", v, err)
			}
			return v
		}
		first := version()
		if _, err := db.DueSoon(t.Context(), all, store.DueQuery{}); err != nil {
			t.Fatal(err)
		}
		// A server's own upkeep may write in between: looked at again, some
		// pair is the same.
		same := false
		for range 20 {
			again := version()
			same = same || again == first
			first = again
		}
		if !same {
			t.Errorf("it changes though nothing is written: %s", first)
		}
		id := mustVehicles(t, db, entry("Bus 1"))[0]
		second := version()
		if second == first {
			t.Errorf("a vehicle was written, and it is still %s", first)
		}
		mustForecasts(t, db, worn(id, 1, 8, 2))
		if third := version(); third == second {
			t.Errorf("a forecast was written, and it is still %s", second)
		}
		before := version()
		mustExec(t, db, "update vehicles set make = 'Orlo' where id = ?", id) // on a connection of its own
		if version() == before {
			t.Errorf("another connection wrote, and it is still %s", before)
		}
		// One that was given up while it was asked does not break the next.
		ctx, cancel := context.WithCancel(t.Context())
		cancel()
		if v, err := db.Version(ctx); err == nil {
			t.Errorf("cancelled: got %q", v)
		}
		version()
	})
}
