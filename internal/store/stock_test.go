package store_test

import (
	"errors"
	"fmt"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

func TestStockParts(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ids := mustVehicles(t, db, entry("Bus 1"), entry("Bus 2", of("North", "Hill")), entry("Bay 1", of("South", "Bay")))
		quay, hill, bay := depotOf(t, db, "Quay"), depotOf(t, db, "Hill"), depotOf(t, db, "Bay")
		part := fleet.StockPart{
			FleetID: quay.FleetID, Number: " P 10 ", Name: "Front pads", Item: fleet.ItemPads, PerAxle: 1, Price: ptr(120.5), LeadDays: 9,
			Fits: []fleet.Fit{{Make: "Orlo", Model: "C12", Axle: 1}, {VehicleID: ids[0]}},
		}
		id, err := db.SaveStockPart(t.Context(), all, part)
		if err != nil {
			t.Fatal(err)
		}
		for _, s := range []struct {
			depot    int64
			quantity int
		}{{quay.ID, 3}, {hill.ID, 1}, {quay.ID, 4}} {
			if err := db.SetStock(t.Context(), all, id, s.depot, s.quantity); err != nil {
				t.Fatal(err)
			}
		}
		want := part
		want.ID, want.Number = id, "P 10"
		want.Fits = []fleet.Fit{part.Fits[0], {VehicleID: ids[0], Vehicle: "Bus 1"}}
		want.Stock = []fleet.Stock{{DepotID: hill.ID, Depot: "Hill", Quantity: 1}, {DepotID: quay.ID, Depot: "Quay", Quantity: 4}}
		got, err := db.StockParts(t.Context(), all, 0)
		if err != nil {
			t.Fatal(err)
		}
		if d := cmp.Diff([]fleet.StockPart{want}, got); d != "" {
			t.Error(d)
		}
		// Another of the same number in whatever case is refused; a change is not.
		if _, err := db.SaveStockPart(t.Context(), all, fleet.StockPart{FleetID: quay.FleetID, Number: "p 10", Item: fleet.ItemPads, PerAxle: 1}); !errors.Is(err, fleet.ErrConflict) {
			t.Errorf("twice: got %v", err)
		}
		// A part and its stock are kept together, or neither: Bay is another fleet's depot.
		half := got[0]
		shelf := func(depot int64) (n int) {
			for _, s := range half.Stock {
				if s.DepotID == depot {
					n = s.Quantity
				}
			}
			return n
		}
		half.Name = "Half"
		_, err = db.SaveStockPart(t.Context(), all, half, store.StockChange{DepotID: quay.ID, Was: shelf(quay.ID), Quantity: 9}, store.StockChange{DepotID: bay.ID, Quantity: 2})
		if !errors.Is(err, fleet.ErrNotFound) {
			t.Errorf("stock of another fleet's depot: got %v, want none found", err)
		}
		if now, err := db.StockPart(t.Context(), all, id); err != nil || cmp.Diff(want, now) != "" {
			t.Errorf("after a form that was refused: got %+v, %v, want %+v", now, err, want)
		}
		// Who was shown another number than lies there by now changes neither it nor
		// what else the form says.
		for name, err := range map[string]error{
			"the part's form": func() error {
				_, err := db.SaveStockPart(t.Context(), all, half, store.StockChange{DepotID: quay.ID, Was: shelf(quay.ID) + 1, Quantity: 9})
				return err
			}(),
			"one depot alone": db.ChangeStock(t.Context(), all, id, store.StockChange{DepotID: hill.ID, Was: shelf(hill.ID), Quantity: 8}, store.StockChange{DepotID: quay.ID, Was: shelf(quay.ID) + 1, Quantity: 9}),
		} {
			if !errors.Is(err, fleet.ErrConflict) {
				t.Errorf("%s, with a number that is gone: got %v, want a conflict", name, err)
			}
		}
		if now, err := db.StockPart(t.Context(), all, id); err != nil || cmp.Diff(want, now) != "" {
			t.Errorf("after numbers that are gone: got %+v, %v, want %+v", now, err, want)
		}
		changed := got[0]
		changed.Name, changed.Price, changed.Fits = "Pads", nil, nil
		if _, err := db.SaveStockPart(t.Context(), all, changed); err != nil {
			t.Error(err)
		}
		// Who sees one depot sees the fleet's parts with its own stock, and may
		// set that alone.
		onlyHill := auth.ScopeOf(nil, []int64{hill.ID})
		seen, err := db.StockPart(t.Context(), onlyHill, id)
		if err != nil || len(seen.Stock) != 1 || seen.Stock[0].Quantity != 1 || seen.Name != "Pads" {
			t.Errorf("one depot: got %+v, %v", seen, err)
		}
		if err := db.ChangeStock(t.Context(), onlyHill, id, store.StockChange{DepotID: hill.ID, Was: 1, Quantity: 2}); err != nil {
			t.Error(err)
		}
		south := auth.ScopeOf([]int64{bay.FleetID}, nil)
		if ps, err := db.StockParts(t.Context(), south, 0); err != nil || len(ps) != 0 {
			t.Errorf("another fleet: got %+v, %v", ps, err)
		}
		_, err1 := db.SaveStockPart(t.Context(), onlyHill, changed)
		_, err2 := db.StockPart(t.Context(), south, id)
		for _, err := range []error{err1, err2,
			db.ChangeStock(t.Context(), onlyHill, id, store.StockChange{DepotID: quay.ID, Was: shelf(quay.ID), Quantity: 2}),
			db.SetStock(t.Context(), all, id, bay.ID, 2), // another fleet's depot
		} {
			if !errors.Is(err, fleet.ErrNotFound) {
				t.Errorf("another's: got %v", err)
			}
		}
	})
}

// Of people who all saw an empty shelf and save different numbers at the same time
// one is kept, and the others are told so; the same number again is no conflict.
func TestStockAtOnce(t *testing.T) {
	const people = 8
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		mustVehicles(t, db, entry("Bus 1"))
		quay := depotOf(t, db, "Quay")
		for round := range 5 {
			id, err := db.SaveStockPart(t.Context(), all, fleet.StockPart{FleetID: quay.FleetID, Number: fmt.Sprint("P ", round), Item: fleet.ItemPads, PerAxle: 1})
			if err != nil {
				t.Fatal(err)
			}
			save := func(quantity int) error {
				return db.ChangeStock(t.Context(), all, id, store.StockChange{DepotID: quay.ID, Was: 0, Quantity: quantity})
			}
			errs := make([]error, people)
			var wg sync.WaitGroup
			for i := range people {
				wg.Go(func() { errs[i] = save(i + 1) })
			}
			wg.Wait()
			var kept []fleet.Stock
			for i, err := range errs {
				switch {
				case err == nil:
					kept = append(kept, fleet.Stock{DepotID: quay.ID, Depot: "Quay", Quantity: i + 1})
				case !errors.Is(err, fleet.ErrConflict):
					t.Error(err)
				}
			}
			p, err := db.StockPart(t.Context(), all, id)
			if err != nil || len(kept) != 1 || cmp.Diff(kept, p.Stock) != "" {
				t.Fatalf("round %d: told as kept %+v, on the shelf %+v, %v, want one alike", round, kept, p.Stock, err)
			}
			if err := save(kept[0].Quantity); err != nil {
				t.Errorf("round %d: saved twice: %v", round, err)
			}
		}
	})
}

// waitingForLocks counts those who wait for what another transaction holds.
const waitingForLocks = `select count(*) from pg_stat_activity where datname = current_database() and wait_event_type = 'Lock'`

// A parts file and a job that empties the same shelves do not wait for each other,
// whatever the order of the file.
func TestFileBesideAJob(t *testing.T) {
	db := storetest.Open(t, store.Postgres) // a file has one writer
	bus := mustVehicles(t, db, entry("Bus 1"))[0]
	mustTakeIn(t, db, func(w *store.Writer) error {
		_, err := w.Axles([]fleet.Axle{{VehicleID: bus, Number: 1, Brake: fleet.DiscBrake}})
		return err
	})
	quay := depotOf(t, db, "Quay")
	b := job(bus, quay.ID, monday)
	b.Work = nil
	var rows []store.StockEntry
	for _, item := range []fleet.Item{fleet.ItemPads, fleet.ItemRotors} {
		p := fleet.StockPart{FleetID: quay.FleetID, Number: "P " + string(item), Item: item, PerAxle: 1}
		id, err := db.SaveStockPart(t.Context(), all, p)
		if err == nil {
			err = db.SetStock(t.Context(), all, id, quay.ID, 5)
		}
		if err != nil {
			t.Fatal(err)
		}
		b.Work = append(b.Work, fleet.WorkItem{Axle: 1, Item: item, PartID: id, PartNumber: p.Number, Quantity: 1})
		rows = append([]store.StockEntry{{Part: p, Depot: "Quay", Stock: ptr(7)}}, rows...) // the last first
	}
	b = mustBook(t, db, b)
	one, both := make(chan struct{}), make(chan struct{})
	var begin sync.Once
	shelves := 0
	ctx := store.WithTrace(t.Context(), func(query string, _ []any) {
		if strings.Contains(query, "select quantity, counts from stock") {
			if shelves++; shelves == 2 { // it holds the first
				begin.Do(func() { close(one) })
				for count(t, db, waitingForLocks) == 0 { // the file waits for it
					select {
					case <-both:
						return
					case <-time.After(5 * time.Millisecond):
					}
				}
			}
		}
	})
	var wg sync.WaitGroup
	wg.Go(func() {
		defer begin.Do(func() { close(one) })
		up := fleet.Upload{Kind: "booking", Name: "a booking", By: "N. N."}
		err := db.TakeIn(ctx, all, &up, func(w *store.Writer) error {
			_, err := w.FinishBooking("N. N.", b.ID)
			return err
		})
		if err != nil {
			t.Error(err)
		}
	})
	wg.Go(func() {
		<-one
		set := 0
		ctx := store.WithTrace(t.Context(), func(query string, _ []any) {
			if strings.Contains(query, "insert into stock (") {
				if set++; set == 2 { // it holds the second
					close(both)
				}
			}
		})
		up := fleet.Upload{Kind: "parts", Name: "parts.csv", By: "N. N."}
		err := db.TakeIn(ctx, all, &up, func(w *store.Writer) error {
			_, err := w.StockParts(rows)
			return err
		})
		if err != nil {
			t.Error(err)
		}
	})
	wg.Wait()
	if shelves != 2 {
		t.Errorf("the job took from %d shelves, want 2", shelves)
	}
}

// A parts file waits for nobody who has a part of the same number of another fleet.
func TestFileHoldsItsFleetsParts(t *testing.T) {
	db := storetest.Open(t, store.Postgres)
	mustVehicles(t, db, entry("Bus 1"), entry("Bay 1", of("South", "Bay")))
	p := fleet.StockPart{FleetID: depotOf(t, db, "Bay").FleetID, Number: "P 10", Item: fleet.ItemPads, PerAxle: 1}
	id, err := db.SaveStockPart(t.Context(), all, p)
	if err != nil {
		t.Fatal(err)
	}
	hold := db.WritePool().MustBegin()
	defer hold.Rollback()
	if _, err := hold.Exec(`select 1 from stock_parts where id = $1 for update`, id); err != nil {
		t.Fatal(err)
	}
	kept := make(chan error, 1)
	go func() {
		up := fleet.Upload{Kind: "parts", Name: "parts.csv", By: "N. N."}
		kept <- db.TakeIn(t.Context(), all, &up, func(w *store.Writer) error {
			_, err := w.StockParts([]store.StockEntry{{Fleet: "North", Part: p, Depot: "Quay", Stock: ptr(7)}})
			return err
		})
	}()
	for len(kept) == 0 {
		if count(t, db, waitingForLocks) > 0 {
			hold.Rollback()
			t.Error("it waited")
			break
		}
		time.Sleep(5 * time.Millisecond)
	}
	if err := <-kept; err != nil {
		t.Error(err)
	}
}

func TestStockEntries(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		mustVehicles(t, db, entry("Bus 1"), entry("Bus 2", of("North", "Hill")))
		e := func(number string, more func(*store.StockEntry)) store.StockEntry {
			x := store.StockEntry{Part: fleet.StockPart{Number: number, Item: fleet.ItemPads, PerAxle: 1}}
			if more != nil {
				more(&x)
			}
			return x
		}
		var c store.Counts
		mustTakeIn(t, db, func(w *store.Writer) (err error) {
			c, err = w.StockParts([]store.StockEntry{
				e("P 1", func(x *store.StockEntry) {
					x.Part.Price, x.Given.Price = ptr(80.), true
					x.Fit = &fleet.Fit{Make: "Orlo"}
					x.Depot, x.Stock = "Quay", ptr(4)
				}),
				e("p 1", func(x *store.StockEntry) { x.Depot, x.Stock = "Hill", ptr(2) }), // price stays
				e("P 1", func(x *store.StockEntry) { x.Fit = &fleet.Fit{Make: "ORLO"} }),  // known
				e("P 2", nil),
			})
			return err
		})
		if c != (store.Counts{Added: 2, Changed: 1, Repeated: 1}) {
			t.Errorf("got %+v", c)
		}
		ps, err := db.StockParts(t.Context(), all, 0)
		if err != nil || len(ps) != 2 {
			t.Fatalf("got %+v, %v", ps, err)
		}
		p := ps[0]
		if p.Number != "P 1" || *p.Price != 80 || len(p.Fits) != 1 || len(p.Stock) != 2 || p.Stock[0].Quantity != 2 {
			t.Errorf("got %+v", p)
		}
	})
}
