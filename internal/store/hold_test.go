package store_test

import (
	"slices"
	"sync"
	"testing"
	"time"

	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// Who holds a vehicle keeps others who would hold it waiting, also those who hold
// more, and nobody else.
func TestHolding(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ids := mustVehicles(t, db, entry("Bus 1"), entry("Bus 2"), entry("Bus 3"))
		var mu sync.Mutex
		var got []string
		say := func(what string) {
			mu.Lock()
			defer mu.Unlock()
			got = append(got, what)
		}
		var others, asked sync.WaitGroup
		err := db.Holding(t.Context(), "test", ids[:1], func(*store.DB) error {
			for what, some := range map[string][]int64{"same": ids[:1], "more": {ids[1], ids[0]}} {
				asked.Add(1)
				others.Go(func() {
					asked.Done()
					if err := db.Holding(t.Context(), "test", some, func(*store.DB) error { say(what); return nil }); err != nil {
						t.Errorf("%s: %v", what, err)
					}
				})
			}
			if err := db.Holding(t.Context(), "test", ids[2:], func(*store.DB) error { say("another"); return nil }); err != nil {
				t.Errorf("another: %v", err)
			}
			asked.Wait()
			time.Sleep(200 * time.Millisecond) // in which those who do not wait are through
			say("first")
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
		others.Wait()
		if len(got) != 4 || !slices.Equal(got[:2], []string{"another", "first"}) {
			t.Errorf("got %q, want another vehicle's at once, and the others behind the first", got)
		}
	})
}

// Who holds a vehicle of a file knows whether others wrote to it, other than of the
// vehicles that they hold.
func TestUnwritten(t *testing.T) {
	db := storetest.Open(t, store.SQLite)
	other, err := store.Open(t.Context(), db.File())
	if err != nil {
		t.Fatal(err)
	}
	defer other.Close()
	mustVehicles(t, db, entry("Bus 1"), entry("Bus 2"))
	write := func(db *store.DB) func() {
		return func() {
			mustTakeIn(t, db, func(*store.Writer) error { return nil })
		}
	}
	holding := func() {
		_, holding, release, err := db.HoldNumbered(t.Context(), all, []string{"Bus 2"}, 1)
		if err != nil {
			t.Fatal(err)
		}
		defer release()
		write(holding)()
	}
	for _, x := range []struct {
		name string
		do   func()
		want bool
	}{
		{"what the writer never looked for", func() {}, false},
		{"nothing", func() {}, true},
		{"by who holds another", holding, true},
		{"by who holds none", write(db), false},
		{"nothing after that", func() {}, true},
		{"by another process", write(other), false},
		{"nothing after that", func() {}, true},
	} {
		_, holding, release, err := db.HoldNumbered(t.Context(), all, []string{"Bus 1"}, 1)
		if err != nil {
			t.Fatal(err)
		}
		x.do()
		var got bool
		err = holding.Together(t.Context(), "test", func(db *store.DB) (err error) {
			got, err = db.Unwritten(t.Context())
			return err
		})
		release()
		if err != nil || got != x.want {
			t.Errorf("%s: got %v, %v; want %v", x.name, got, err, x.want)
		}
	}
}
