package store_test

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"sync"
	"testing"
	"time"

	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// Two writers that bring the same rows in opposite order: none is lost, none
// is doubled, with few visits at a time and with many. One may be told to try again.
func TestTwoWriters(t *testing.T) {
	for _, batch := range []int{100, 150} {
		t.Run(fmt.Sprint(batch), func(t *testing.T) { twoWriters(t, batch) })
	}
}

func twoWriters(t *testing.T, batch int) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ids := mustVehicles(t, db, entry("Bus 1"), entry("Bus 2"))
		const n = 300
		var forth, back []fleet.Reading
		for i := range n {
			forth = append(forth, reading(ids[i%2], day(1, 1)+fleet.Date(i), 15))
			back = append([]fleet.Reading{forth[i]}, back...)
		}
		var wg sync.WaitGroup
		var added [2]int
		for i, rows := range [][]fleet.Reading{forth, back} {
			wg.Go(func() {
				for try := 0; ; try++ {
					added[i] = 0
					err := db.TakeIn(t.Context(), all, &fleet.Upload{}, func(w *store.Writer) error {
						for at := 0; at < n; at += batch {
							c, err := w.Readings(rows[at : at+batch])
							added[i] += c.Added
							if err != nil {
								return err
							}
						}
						return nil
					})
					if err == nil {
						return
					}
					if !errors.Is(err, fleet.ErrConflict) || try == 20 {
						t.Error(err)
						return
					}
					// Who tries again at once can meet the other as before, for ever.
					time.Sleep(rand.N(time.Duration(try+1) * 100 * time.Millisecond))
				}
			})
		}
		wg.Wait()
		if got := count(t, db, "select count(*) from thickness_readings"); got != n || added[0]+added[1] != n {
			t.Errorf("got %d readings, %d + %d said to be added; want %d", got, added[0], added[1], n)
		}
	})
}

// Many writers of different vehicles get on side by side.
func TestManyWriters(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		var wg sync.WaitGroup
		for i := range 8 {
			wg.Go(func() {
				for j := range 5 {
					e := entry(fmt.Sprintf("Bus %d-%d", i, j), of("North", fmt.Sprint("Depot ", j)))
					err := db.TakeIn(t.Context(), all, &fleet.Upload{}, func(w *store.Writer) error {
						_, err := w.Vehicles([]store.VehicleEntry{e})
						return err
					})
					if err != nil {
						t.Error(err)
					}
				}
			})
		}
		wg.Wait()
		if n := count(t, db, "select count(*) from vehicles"); n != 40 {
			t.Errorf("got %d vehicles, want 40", n)
		}
		if n := count(t, db, "select count(*) from depots"); n != 5 {
			t.Errorf("got %d depots, want 5", n)
		}
	})
}
