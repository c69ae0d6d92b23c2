package pipeline

import (
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"brakewear/forecast"
	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// Everything in these tests is invented.

// TestWorkOn decides what is done with an axle's pads.
func TestWorkOn(t *testing.T) {
	v := &fleet.Vehicle{ID: 1, FleetID: 1, Category: "M3", Make: "Orlo"}
	parts := []fleet.StockPart{
		{ID: 5, FleetID: 1, Number: "P 5", Item: fleet.ItemPads, PerAxle: 1, Fits: []fleet.Fit{{Make: "Orlo"}}},
		{ID: 6, FleetID: 1, Number: "S 6", Item: fleet.ItemSensor, PerAxle: 2, Fits: []fleet.Fit{{Make: "Orlo", Axle: 1}}},
	}
	hours := map[fleet.Task]fleet.TaskHours{
		fleet.TaskPads: {Heavy: 1.5}, fleet.TaskPadsRotors: {Heavy: 3.5}, fleet.TaskLinings: {Heavy: 2.5}, fleet.TaskLiningDrums: {Heavy: 4.5}, fleet.TaskCalipers: {Heavy: 1},
	}
	const today = fleet.Date(20000)
	on := func(days float64) forecast.Crossing {
		return forecast.Crossing{Day: forecast.DistOf(func(p float64) float64 { return float64(today) + days + 100*(p-.5) })}
	}
	// 17 mm to wear at 3.4 mm per 10,000 km and 100 km a day: 500 days to a set.
	pad := forecast.PositionForecast{Pos: forecast.Position{Part: forecast.Pad}, Spec: forecast.Spec{New: 20, Limit: 3}, ThicknessMM: 6, RatePer10000: 3.4, Crossing: on(60)}
	rotor := func(mm, days float64) forecast.PositionForecast {
		return forecast.PositionForecast{Pos: forecast.Position{Part: forecast.Rotor}, Spec: forecast.Spec{New: 45, Limit: 37}, ThicknessMM: mm, RatePer10000: .3, Crossing: on(days)}
	}
	lining := pad
	lining.Pos.Part = forecast.Lining
	drum := func(mm float64) forecast.PositionForecast {
		return forecast.PositionForecast{Pos: forecast.Position{Part: forecast.Drum}, Spec: forecast.Spec{New: 410, Limit: 414}, ThicknessMM: mm, Crossing: on(700)}
	}
	for _, c := range []struct {
		name  string
		axle  int
		f     forecast.AxleForecast
		want  string // items
		hours float64
		why   string // of the last
	}{
		{"pads alone", 2, forecast.AxleForecast{Positions: []forecast.PositionForecast{pad}}, "pads", 1.5, "as the axle's set"},
		{"sensor", 1, forecast.AxleForecast{Positions: []forecast.PositionForecast{pad}}, "pads sensor", 1.5, "goes with the set"},
		{"rotor good", 2, forecast.AxleForecast{Positions: []forecast.PositionForecast{pad, rotor(41, 700)}}, "pads", 1.5, ""},
		// 500 days of the next set against 490 ± 50: 60 % by then.
		{"rotor outlived", 2, forecast.AxleForecast{Positions: []forecast.PositionForecast{pad, rotor(40, 490)}}, "pads rotors", 3.5, "rotor will not outlive the next set: 60 %"},
		{"rotor past", 2, forecast.AxleForecast{Positions: []forecast.PositionForecast{pad, rotor(37, 700)}}, "pads rotors", 3.5, "rotor is past its limit"},
		{"rotor first", 2, forecast.AxleForecast{Limiting: 1, Positions: []forecast.PositionForecast{pad, rotor(38, 40)}}, "pads rotors", 3.5, "rotor is first to reach its limit"},
		{"linings", 2, forecast.AxleForecast{Positions: []forecast.PositionForecast{lining}}, "linings", 2.5, ""},
		{"drum past", 2, forecast.AxleForecast{Positions: []forecast.PositionForecast{lining, drum(414)}}, "linings drums", 4.5, "drum is past its limit"},
		{"drum good", 2, forecast.AxleForecast{Positions: []forecast.PositionForecast{lining, drum(413.9)}}, "linings", 2.5, ""},
		{"caliper", 2, forecast.AxleForecast{Positions: []forecast.PositionForecast{pad}, Warnings: []forecast.Warning{{Code: forecast.Dragging}}}, "pads calipers", 2.5, "one side wears much faster: free or change the caliper"},
		{"nothing known", 2, forecast.AxleForecast{Limiting: -1}, "", 0, ""},
	} {
		c.f.Axle, c.f.KmPerDay, c.f.AsOf = c.axle, 100, forecast.Day(today)
		w, ok := workOn(v, &store.AxleForecast{AxleForecast: c.f}, today, parts, hours)
		var items []string
		for _, x := range w.items {
			items = append(items, string(x.Item))
		}
		if got := strings.Join(items, " "); got != c.want || ok != (c.want != "") || w.hours != c.hours {
			t.Errorf("%s: got %q, %g h, want %q, %g h", c.name, got, w.hours, c.want, c.hours)
			continue
		}
		if c.why != "" && w.items[len(w.items)-1].Reason != c.why {
			t.Errorf("%s: got %q, want %q", c.name, w.items[len(w.items)-1].Reason, c.why)
		}
		if ok && w.items[0].Item == fleet.ItemPads && (w.items[0].PartNumber != "P 5" || w.items[0].Quantity != 1) {
			t.Errorf("%s: got the part %+v", c.name, w.items[0])
		}
	}
}

// Prices are invented: 100 an hour, 120 a part, 300 and 80 a set of a heavy and of a light vehicle.
func TestCost(t *testing.T) {
	price := 120.
	shop := &fleet.Workshop{LabourRate: 100, SetHeavy: 300, SetLight: 80}
	parts := []fleet.StockPart{{ID: 5, Price: &price}, {ID: 6}}
	for _, c := range []struct {
		name     string
		category fleet.Category
		hours    float64
		work     []fleet.WorkItem
		want     float64
	}{
		{"labour alone", "M3", 1.5, nil, 150},
		{"two of a part", "M3", 1.5, []fleet.WorkItem{{Item: fleet.ItemPads, PartID: 5, Quantity: 2}}, 390},
		{"no part", "M3", 1, []fleet.WorkItem{{Item: fleet.ItemPads}}, 400},
		{"no part, light", "N1", 1, []fleet.WorkItem{{Item: fleet.ItemPads}}, 180},
		{"linings", "M3", 1, []fleet.WorkItem{{Item: fleet.ItemLinings}}, 400},
		{"a part without a price", "M3", 1, []fleet.WorkItem{{Item: fleet.ItemPads, PartID: 6, Quantity: 2}}, 400},
		{"pads and rotors of no price", "M3", 2, []fleet.WorkItem{{Item: fleet.ItemPads, PartID: 5, Quantity: 1}, {Item: fleet.ItemRotors}}, 320},
	} {
		if got := Cost(shop, parts, &fleet.Vehicle{Category: c.category}, c.hours, c.work); got != c.want {
			t.Errorf("%s: got %g, want %g", c.name, got, c.want)
		}
	}
}

func TestInBay(t *testing.T) {
	day := fleet.WorkDay{Opens: 480, Closes: 1020, Technicians: 20} // nine hours, two technicians and a bit
	for hours, want := range map[float64]int{1: 60, 1.1: 75, 9: 540, 10: 300, 18: 540, 30: 900} {
		if got := inBay(hours, day); got != want {
			t.Errorf("%g h: got %d min, want %d", hours, got, want)
		}
	}
}

func TestPackBays(t *testing.T) {
	day := fleet.WorkDay{Opens: 480, Closes: 1020, Technicians: 20}
	taken := []fleet.Slot{{Bay: 1, Starts: 480, Minutes: 240}}
	slots, left := packBays(day, 2, taken, []bayJob{
		{key: 0, hours: 2}, {key: 1, hours: 5}, {key: 2, hours: 9}, {key: 3, hours: 3},
		{key: 4, hours: 1, want: fleet.Slot{Bay: 1, Starts: 720}}, // as before
	})
	// Bay 2 holds nine hours; bay 1 has four after the hour that stays at noon.
	if !slices.Equal(left, []int{1, 0}) || slots[2].Bay != 2 || slots[4].Starts != 720 || slots[3].Bay != 1 || slots[3].Starts != 780 {
		t.Errorf("got %+v, left %v", slots, left)
	}
}

// A job done starts the life of the parts that were fitted.
func TestFinishBooking(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		now := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
		db.Now = func() time.Time { return now }
		s := &Service{DB: db, Now: db.Now, Model: "pooled"}
		for _, f := range []struct{ name, text string }{
			{"vehicles.csv", "vehicle,fleet,depot,category\nBus 1,Ferry Lines,Harbour,M3\n"},
			{"axles.csv", "vehicle,axle,brake,pad_new_mm,pad_limit_mm\nBus 1,1,disc,20,3\nBus 1,2,disc,20,3\n"},
			{"readings.csv", "vehicle,date,odometer_km,axle,part,side,face,value_mm\nBus 1,2025-09-01,130000,1,pad,left,inner,9.9\nBus 1,2026-02-01,155000,1,pad,left,inner,3.5\n"},
		} {
			if _, _, err := s.TakeIn(t.Context(), auth.AllFleets(), "N. N.", File{Name: f.name, Body: strings.NewReader(f.text)}, s.Today()); err != nil {
				t.Fatal(err)
			}
		}
		index, err := db.VehicleIndex(t.Context(), auth.AllFleets())
		if err != nil {
			t.Fatal(err)
		}
		bus := index["Bus 1"][0].ID
		depots, err := db.Depots(t.Context(), auth.AllFleets())
		if err != nil {
			t.Fatal(err)
		}
		thickness := func() float64 {
			fs, err := db.Forecasts(t.Context(), auth.AllFleets(), bus)
			if err != nil {
				t.Fatal(err)
			}
			return fs[0].Positions[fs[0].Limiting].ThicknessMM
		}
		if got := thickness(); got > 5 {
			t.Fatalf("before: %g mm", got)
		}
		// Two sets are needed, and one is said to be there; of the drums none is used.
		shelf := map[fleet.Item]int64{}
		for item, stock := range map[fleet.Item]int{fleet.ItemPads: 1, fleet.ItemDrums: 5, fleet.ItemFluid: 9} {
			shelf[item], err = db.SaveStockPart(t.Context(), auth.AllFleets(), fleet.StockPart{
				FleetID: depots[0].FleetID, Number: string(item), Item: item, PerAxle: 2, Fits: []fleet.Fit{{VehicleID: bus}},
			})
			if err == nil {
				err = db.SetStock(t.Context(), auth.AllFleets(), shelf[item], depots[0].ID, stock)
			}
			if err != nil {
				t.Fatal(err)
			}
		}
		stocked := func(item fleet.Item, want int) {
			t.Helper()
			if p, err := db.StockPart(t.Context(), auth.AllFleets(), shelf[item]); err != nil || p.Stock[0].Quantity != want {
				t.Errorf("%s on the shelf: got %+v, %v; want %d", item, p.Stock, err, want)
			}
		}
		later := fleet.Slot{DepotID: depots[0].ID, Day: s.Today() + 1}
		b, err := s.Book(t.Context(), auth.AllFleets(), "N. N.", ByHand{VehicleID: bus, Axles: []int{1, 2}, Slot: later, Note: "bring the key"})
		if err != nil {
			t.Fatal(err)
		}
		// An hour of set-up and an hour and a half for each axle; axle 2 was
		// never measured. At 80 an hour, and 220 a set where no part tells.
		if b.Hours != 4 || b.Minutes != 240 || *b.Cost != 4*80+2*220 || !slices.Equal(fleet.Axles(b.Work), []int{1, 2}) {
			t.Errorf("booked %+v, cost %g", b, *b.Cost)
		}
		// An axle is not booked a second time for parts it gets anyway.
		if _, err := s.Book(t.Context(), auth.AllFleets(), "K. K.", ByHand{VehicleID: bus, Axles: []int{1}, Slot: fleet.Slot{DepotID: depots[0].ID, Day: s.Today() + 2}}); !errors.Is(err, fleet.ErrConflict) || !strings.Contains(err.Error(), "axle 1 is booked for "+later.Day.Written()) {
			t.Errorf("an axle booked twice: got %v", err)
		}
		if _, err := s.Book(t.Context(), auth.AllFleets(), "N. N.", ByHand{VehicleID: bus, Axles: []int{1}, More: []fleet.Item{fleet.ItemPads}, Slot: later}); !errors.Is(err, fleet.ErrInvalid) {
			t.Errorf("pads as more: got %v", err)
		}
		if _, err := s.FinishBooking(t.Context(), auth.AllFleets(), "N. N.", b.ID, nil); !errors.Is(err, fleet.ErrInvalid) {
			t.Errorf("done before its day: got %v", err)
		}
		now = now.AddDate(0, 0, 1)
		km := 157000.
		if b, err = s.FinishBooking(t.Context(), auth.AllFleets(), "N. N.", b.ID, &km); err != nil || b.State != fleet.Done {
			t.Fatalf("got %+v, %v", b, err)
		}
		h, err := db.History(t.Context(), auth.AllFleets(), bus)
		if err != nil || len(h.Fitments) != 2 || h.Fitments[0].Date != b.Day || *h.Fitments[0].OdometerKm != km {
			t.Errorf("fitted %+v, %v", h.Fitments, err)
		}
		stocked(fleet.ItemPads, 0)
		stocked(fleet.ItemDrums, 5)
		stocked(fleet.ItemFluid, 9)
		if got := thickness(); got < 19 {
			t.Errorf("after: %g mm, want new parts", got)
		}
		if _, err := s.FinishBooking(t.Context(), auth.AllFleets(), "N. N.", b.ID, nil); !errors.Is(err, fleet.ErrConflict) {
			t.Errorf("done twice: got %v", err)
		}
		// Hoses of the axle and the fluid more; what is named twice is done once.
		more, err := s.Book(t.Context(), auth.AllFleets(), "N. N.", ByHand{VehicleID: bus, Axles: []int{1, 1}, More: []fleet.Item{fleet.ItemHoses, fleet.ItemFluid, fleet.ItemHoses}, Slot: fleet.Slot{DepotID: depots[0].ID, Day: s.Today() + 1}})
		if err != nil || more.Hours != 1+1.5+.8+.8 || len(more.Work) != 3 || more.Work[2].Axle != 0 {
			t.Errorf("with more: got %+v, %v", more, err)
		}
		now = now.AddDate(0, 0, 1)
		if _, err := s.FinishBooking(t.Context(), auth.AllFleets(), "N. N.", more.ID, &km); err != nil {
			t.Error(err)
		}
		stocked(fleet.ItemFluid, 7)
	})
}
