package store_test

import (
	"errors"
	"fmt"
	"sync"
	"testing"

	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// Of those who change the same at the same moment one is heard: the others are told to
// look again, whatever they changed.
func TestChangedMeanwhile(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		mustVehicles(t, db, entry("Bus 1"))
		quay := depotOf(t, db, "Quay")
		id, err := db.SaveStockPart(t.Context(), all, fleet.StockPart{FleetID: quay.FleetID, Number: "P 10", Item: fleet.ItemPads, PerAxle: 1, Fits: []fleet.Fit{{Make: "Orlo"}}},
			store.StockChange{DepotID: quay.ID, Quantity: 4})
		if err != nil {
			t.Fatal(err)
		}
		part, err1 := db.StockPart(t.Context(), all, id)
		shop, err2 := db.Workshop(t.Context(), all, quay.ID, monday)
		// Shelves and closures are changed by themselves.
		err3 := db.SetStock(t.Context(), all, id, quay.ID, 5)
		err4 := db.AddClosures(t.Context(), all, []fleet.Closure{{DepotID: quay.ID, First: monday, Last: monday}})
		if err := errors.Join(err1, err2, err3, err4); err != nil {
			t.Fatal(err)
		}
		for name, change := range map[string]func(i int) error{
			"part": func(i int) error {
				p := part
				p.Fits = []fleet.Fit{{Make: fmt.Sprint("Make ", i)}}
				_, err := db.ChangeStockPart(t.Context(), all, &part, p)
				return err
			},
			"workshop": func(i int) error {
				s := shop.Workshop
				s.Bays = 10 + i
				return db.ChangeWorkshop(t.Context(), all, "N. N.", &shop, s, "")
			},
		} {
			errs := make([]error, 8)
			var at sync.WaitGroup
			for i := range errs {
				at.Go(func() { errs[i] = change(i) })
			}
			at.Wait()
			heard := 0
			for _, err := range errs {
				switch {
				case err == nil:
					heard++
				case !errors.Is(err, store.ErrMeanwhile):
					t.Errorf("%s: got %v", name, err)
				}
			}
			if heard != 1 {
				t.Errorf("%s: %d were heard, want 1", name, heard)
			}
		}
	})
}
