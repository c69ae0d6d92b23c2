package store_test

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"brakewear/forecast"
	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// worn is an axle with so much left of pads of 20 mm with the limit 4, that
// wears at so many mm per 10,000 km.
func worn(vehicleID int64, axle int, mm, rate float64, more ...func(*store.AxleForecast)) store.AxleForecast {
	f := due(vehicleID, axle, ptr(asOf+30), float64(asOf)+30)
	f.Readings = 4
	p := &f.Positions[0]
	p.Spec = forecast.Spec{New: 20, Limit: 4}
	p.ThicknessMM, p.RatePer10000 = mm, rate
	for _, m := range more {
		m(&f)
	}
	return f
}

func unmeasured(f *store.AxleForecast) { f.Readings = 0 }

// sampleOverview has two fleets with two depots, and axles with known shares
// left: of 16 mm usable, 4 + 16 x.
func sampleOverview(t *testing.T, db *store.DB) []int64 {
	t.Helper()
	duty := func(s string) func(*store.VehicleEntry) {
		return func(e *store.VehicleEntry) { e.Duty = s }
	}
	ids := mustVehicles(t, db,
		entry("Bus 1", duty("city")), entry("Bus 2", duty("city")), entry("Van 3", of("North", "Hill"), duty("")), entry("Bus 4", of("South", "Bay"), duty("city")))
	mustTakeIn(t, db, func(w *store.Writer) error {
		var as []fleet.Axle
		for _, id := range ids {
			for n := 1; n <= 3; n++ {
				as = append(as, fleet.Axle{VehicleID: id, Number: n, Brake: fleet.DiscBrake})
			}
		}
		_, err := w.Axles(as)
		return err
	})
	drum := func(f *store.AxleForecast) { // 410 to 414, grown to 411: three quarters left
		f.Positions[0].Pos = forecast.Position{Part: forecast.Drum}
		f.Positions[0].Spec = forecast.Spec{New: 410, Limit: 414}
		f.Positions[0].ThicknessMM = 411
	}
	mustForecasts(t, db,
		worn(ids[0], 1, 3.9, 4),     // past
		worn(ids[0], 2, 4, 3),       // past: nothing left
		worn(ids[0], 3, 5.5, 2),     // 9.4 %
		worn(ids[1], 1, 5.6, 1),     // 10 %, by floats just below or above
		worn(ids[1], 2, 8, 2.5),     // 25 %
		worn(ids[1], 3, 20.5, 1.5),  // new, and a little more
		worn(ids[2], 1, 19.9, 0.5),  // 99 %
		worn(ids[2], 2, 8, 9, drum), // 75 % of a drum
		worn(ids[2], 3, 8, 1, unmeasured),
		worn(ids[3], 1, 12, 1), // 50 %
	)
	return ids
}

func TestLiningLeft(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		sampleOverview(t, db)
		north := int64(count(t, db, "select id from fleets where name = 'North'"))
		hill := int64(count(t, db, "select id from depots where name = 'Hill'"))
		at := func(classes map[store.LeftClass]int) []int {
			out := make([]int, len(store.LeftClasses))
			for i, c := range store.LeftClasses {
				out[i] = classes[c]
			}
			return out
		}
		for _, c := range []struct {
			name  string
			scope auth.Scope
			q     store.OverviewQuery
			want  store.LiningLeft
		}{
			{"all", all, store.OverviewQuery{}, store.LiningLeft{Axles: 12, Unmeasured: 1, NoForecast: 2,
				Classes: at(map[store.LeftClass]int{"past": 2, "0-10": 2, "20-30": 1, "50-60": 1, "70-80": 1, "90-100": 2})}},
			{"a fleet", all, store.OverviewQuery{Fleet: north}, store.LiningLeft{Axles: 9, Unmeasured: 1,
				Classes: at(map[store.LeftClass]int{"past": 2, "0-10": 2, "20-30": 1, "70-80": 1, "90-100": 2})}},
			{"a depot", all, store.OverviewQuery{Depot: hill}, store.LiningLeft{Axles: 3, Unmeasured: 1,
				Classes: at(map[store.LeftClass]int{"70-80": 1, "90-100": 1})}},
			{"another scope", auth.ScopeOf(nil, []int64{hill}), store.OverviewQuery{Fleet: north}, store.LiningLeft{Axles: 3, Unmeasured: 1,
				Classes: at(map[store.LeftClass]int{"70-80": 1, "90-100": 1})}},
			{"no scope", auth.Scope{}, store.OverviewQuery{}, store.LiningLeft{Classes: at(nil)}},
		} {
			got, err := db.LiningLeft(t.Context(), c.scope, c.q)
			if err != nil {
				t.Fatalf("%s: %v", c.name, err)
			}
			if d := cmp.Diff(c.want, got); d != "" {
				t.Errorf("%s: want, got:\n%s", c.name, d)
			}
			// The list behind each class has just as many axles.
			yes := true
			for i, class := range store.LeftClasses {
				page, err := db.DueSoon(t.Context(), c.scope, store.DueQuery{Fleet: c.q.Fleet, Depot: c.q.Depot, Left: class, Measured: &yes})
				if err != nil || page.Total != c.want.Classes[i] || len(page.Rows) != page.Total {
					t.Errorf("%s: list of %s: got %d of %d, want %d; %v", c.name, class, len(page.Rows), page.Total, c.want.Classes[i], err)
				}
			}
			no := false
			page, err := db.DueSoon(t.Context(), c.scope, store.DueQuery{Fleet: c.q.Fleet, Depot: c.q.Depot, Measured: &no})
			if err != nil || page.Total != c.want.Unmeasured {
				t.Errorf("%s: list of those not measured: got %d, want %d; %v", c.name, page.Total, c.want.Unmeasured, err)
			}
		}
		if _, err := db.DueSoon(t.Context(), all, store.DueQuery{Left: "half"}); !isInvalid(err) {
			t.Errorf("a class that is none: got %v", err)
		}
	})
}

// Quantiles by hand, linear between the ranks: of city's pads 1, 1, 1.5, 2,
// 2.5, 3, 4 the quantile p lies at 6 p.
func TestWearRates(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		sampleOverview(t, db)
		id := func(name string) int64 { return int64(count(t, db, "select id from depots where name = ?", name)) }
		quay, hill, bay := id("Quay"), id("Hill"), id("Bay")
		one := func(x float64) [5]float64 { return [5]float64{x, x, x, x, x} }
		for _, c := range []struct {
			name  string
			scope auth.Scope
			q     store.OverviewQuery
			by    store.WearGroup
			want  []store.WearRate
		}{
			{"duty", all, store.OverviewQuery{}, store.WearByDuty, []store.WearRate{
				{Name: "city", Part: fleet.Pad, Axles: 7, MMPer10000: [5]float64{1, 1.25, 2, 2.75, 3.4}},
				{Part: fleet.Pad, Axles: 1, MMPer10000: one(.5)},
			}},
			{"depot", all, store.OverviewQuery{}, store.WearByDepot, []store.WearRate{
				// 1, 1.5, 2, 2.5, 3, 4: at 5 p.
				{DepotID: quay, Fleet: "North", Name: "Quay", Part: fleet.Pad, Axles: 6, MMPer10000: [5]float64{1.25, 1.625, 2.25, 2.875, 3.5}},
				{DepotID: bay, Fleet: "South", Name: "Bay", Part: fleet.Pad, Axles: 1, MMPer10000: one(1)},
				{DepotID: hill, Fleet: "North", Name: "Hill", Part: fleet.Pad, Axles: 1, MMPer10000: one(.5)},
			}},
			{"one depot's duties", all, store.OverviewQuery{Depot: bay}, store.WearByDuty, []store.WearRate{{Name: "city", Part: fleet.Pad, Axles: 1, MMPer10000: one(1)}}},
			{"another scope", auth.ScopeOf(nil, []int64{hill}), store.OverviewQuery{}, store.WearByDuty, []store.WearRate{{Part: fleet.Pad, Axles: 1, MMPer10000: one(.5)}}},
			{"no scope", auth.Scope{}, store.OverviewQuery{}, store.WearByDepot, nil},
		} {
			got, err := db.WearRates(t.Context(), c.scope, c.q, c.by)
			if err != nil {
				t.Fatalf("%s: %v", c.name, err)
			}
			if d := cmp.Diff(c.want, got, cmpopts.EquateApprox(0, 1e-9)); d != "" {
				t.Errorf("%s: want, got:\n%s", c.name, d)
			}
			yes := true
			for _, x := range c.want {
				q := store.DueQuery{Depot: c.q.Depot, Part: x.Part, Measured: &yes}
				if q.Duty = &x.Name; x.DepotID != 0 {
					q.Duty, q.Depot = nil, x.DepotID
				}
				page, err := db.DueSoon(t.Context(), c.scope, q)
				if err != nil || page.Total != x.Axles {
					t.Errorf("%s: list of %+v: got %d; %v", c.name, x, page.Total, err)
				}
			}
		}
		if _, err := db.WearRates(t.Context(), all, store.OverviewQuery{}, "moon"); err == nil {
			t.Error("a group that is none was taken")
		}
	})
}

func TestEachOutlook(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ids := mustVehicles(t, db, entry("Bus 1", func(e *store.VehicleEntry) { e.Category, e.Make, e.Model = "M3", "Orlo", "Nine" }), entry("Bus 2"), entry("Bus 3", of("South", "Bay")))
		rotor := forecast.PositionForecast{Pos: forecast.Position{Part: forecast.Rotor, Side: "left"}, Spec: forecast.Spec{New: 34, Limit: 28}, ThicknessMM: 30}
		rotor.Crossing.Day = forecast.DistOf(func(p float64) float64 { return 30000 + p })
		soon := worn(ids[0], 1, 6, 2, func(f *store.AxleForecast) {
			f.KmPerDay = 120
			f.Positions = append(f.Positions, rotor)
			f.Warnings = []forecast.Warning{{Code: forecast.Dragging, Text: "drags"}}
			f.Basis.Width80Days, f.Basis.Width80IfMeasured = 80, 30
		})
		late := worn(ids[0], 2, 15, 2, func(f *store.AxleForecast) {
			f.BookBy = ptr(asOf + 500)
			f.Positions = append([]forecast.PositionForecast{rotor}, f.Positions...)
			f.Limiting = 1
		})
		past := worn(ids[1], 1, 3, 2, unmeasured, func(f *store.AxleForecast) { f.PastLimit = true })
		mustForecasts(t, db, soon, late, past, worn(ids[1], 2, 8, 2, unmeasured), worn(ids[2], 1, 8, 2))
		got := map[store.AxleKey]store.OutlookAxle{}
		see := func(sc auth.Scope, q store.OverviewQuery) []store.AxleKey {
			t.Helper()
			var seen []store.AxleKey
			err := db.EachOutlook(t.Context(), sc, q, asOf+90, func(x *store.OutlookAxle) error {
				k := store.AxleKey{VehicleID: x.VehicleID, Axle: x.Axle}
				seen, got[k] = append(seen, k), *x
				return nil
			})
			if err != nil {
				t.Fatal(err)
			}
			return seen
		}
		if d := cmp.Diff([]store.AxleKey{{VehicleID: ids[0], Axle: 1}, {VehicleID: ids[0], Axle: 2}, {VehicleID: ids[1], Axle: 1}, {VehicleID: ids[2], Axle: 1}}, see(all, store.OverviewQuery{})); d != "" {
			t.Errorf("want, got:\n%s", d)
		}
		x := got[store.AxleKey{VehicleID: ids[0], Axle: 1}]
		if x.Vehicle.Make != "Orlo" || x.Vehicle.Model != "Nine" || x.Vehicle.Category != "M3" || x.Vehicle.ID != ids[0] || x.Vehicle.DepotID == 0 || x.Vehicle.FleetID == 0 {
			t.Errorf("vehicle: got %+v", x.Vehicle)
		}
		if len(x.Positions) != 2 || x.Limiting != 0 || x.Positions[1].Pos != rotor.Pos || x.Positions[1].Spec != rotor.Spec || !cmp.Equal(x.Positions[1].Crossing.Day, rotor.Crossing.Day) || !x.Has(forecast.Dragging) {
			t.Errorf("an axle that is due: got %+v", x)
		}
		if x.KmPerDay != 120 || x.Readings != 4 || *x.BookBy != asOf+30 || *x.P50 != asOf+80 || x.Basis.Width80Days != 80 || x.Basis.Width80IfMeasured != 30 || !cmp.Equal(x.Crossing.Day, soon.Crossing.Day) || x.Booked != nil {
			t.Errorf("an axle that is due: got %+v", x)
		}
		x = got[store.AxleKey{VehicleID: ids[0], Axle: 2}]
		if len(x.Positions) != 1 || x.Limiting != 0 || x.Positions[0].Pos != late.Positions[1].Pos || x.Positions[0].ThicknessMM != 15 {
			t.Errorf("an axle that is not due: got %+v", x)
		}
		bay := int64(count(t, db, "select id from depots where name = 'Bay'"))
		if seen := see(auth.ScopeOf(nil, []int64{bay}), store.OverviewQuery{}); len(seen) != 1 || seen[0].VehicleID != ids[2] {
			t.Errorf("another scope: got %v", seen)
		}
		if seen := see(all, store.OverviewQuery{Depot: bay}); len(seen) != 1 || seen[0].VehicleID != ids[2] {
			t.Errorf("a depot: got %v", seen)
		}
		if seen := see(auth.Scope{}, store.OverviewQuery{}); len(seen) != 0 {
			t.Errorf("no scope: got %v", seen)
		}
	})
}

// More vehicles than one round reads: they come in order, once each, and what
// ends the caller ends the readers.
func TestEachOutlookRounds(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		var es []store.VehicleEntry
		for i := range 3100 {
			es = append(es, entry(fmt.Sprintf("Bus %d", i+1)))
		}
		ids := mustVehicles(t, db, es...)
		slices.Sort(ids)
		var want []int64
		var fs []store.AxleForecast
		for i := 0; i < len(ids); i += 99 {
			want = append(want, ids[i])
			fs = append(fs, worn(ids[i], 1, 8, 2))
		}
		want = append(want, ids[len(ids)-1])
		mustForecasts(t, db, append(fs, worn(ids[len(ids)-1], 1, 8, 2))...)
		var got []int64
		err := db.EachOutlook(t.Context(), all, store.OverviewQuery{}, asOf+90, func(x *store.OutlookAxle) error {
			got = append(got, x.VehicleID)
			return nil
		})
		if d := cmp.Diff(want, got); d != "" || err != nil {
			t.Errorf("%v; want, got:\n%s", err, d)
		}
		stop := errors.New("stop")
		n := 0
		err = db.EachOutlook(t.Context(), all, store.OverviewQuery{}, asOf+90, func(*store.OutlookAxle) error {
			if n++; n == 3 {
				return stop
			}
			return nil
		})
		if err != stop || n != 3 {
			t.Errorf("stopped: got %v after %d", err, n)
		}
		ctx, cancel := context.WithCancel(t.Context())
		err = db.EachOutlook(ctx, all, store.OverviewQuery{}, asOf+90, func(*store.OutlookAxle) error {
			cancel()
			return nil
		})
		if !errors.Is(err, context.Canceled) {
			t.Errorf("cancelled: got %v", err)
		}
	})
}

func TestDueByLimitDate(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		id := mustVehicles(t, db, entry("Bus 1"))[0]
		// Medians 50, 60 and 70 days on, and one that is not known.
		mustForecasts(t, db, due(id, 1, nil, float64(asOf)), due(id, 2, nil, float64(asOf)+10), due(id, 3, nil, float64(asOf)+20),
			due(id, 4, nil, math.Inf(1)))
		for _, c := range []struct {
			from, to *fleet.Date
			want     int
		}{
			{nil, nil, 4}, {ptr(asOf + 60), nil, 2}, {nil, ptr(asOf + 59), 1}, {ptr(asOf + 50), ptr(asOf + 60), 2}, {ptr(asOf + 71), nil, 0},
		} {
			page, err := db.DueSoon(t.Context(), all, store.DueQuery{LimitFrom: c.from, LimitTo: c.to})
			if err != nil || page.Total != c.want {
				t.Errorf("%v to %v: got %d, want %d; %v", c.from, c.to, page.Total, c.want, err)
			}
		}
		id = mustVehicles(t, db, entry("Bus 2"))[0]
		mustForecasts(t, db, due(id, 1, ptr(asOf+3), float64(asOf)), due(id, 2, ptr(asOf+9), float64(asOf)))
		for from, want := range map[fleet.Date]int{asOf + 3: 2, asOf + 4: 1, asOf + 10: 0} {
			page, err := db.DueSoon(t.Context(), all, store.DueQuery{From: &from, Before: ptr(asOf + 20)})
			if err != nil || page.Total != want {
				t.Errorf("to book from %v on: got %d, want %d; %v", from, page.Total, want, err)
			}
		}
	})
}

func TestBookedDays(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ids := mustVehicles(t, db, entry("Bus 1", func(e *store.VehicleEntry) { e.Make = "Orlo" }), entry("Bus 2"), entry("Bus 3", of("South", "Bay")), entry("Bus 4"))
		quay, bay := depotOf(t, db, "Quay"), depotOf(t, db, "Bay")
		part, err := db.SaveStockPart(t.Context(), all, fleet.StockPart{FleetID: quay.FleetID, Number: "P 1", Item: fleet.ItemPads, PerAxle: 1})
		if err != nil {
			t.Fatal(err)
		}
		known := job(ids[0], quay.ID, monday)
		known.Cost, known.Work[0].PartID = ptr(120.), part
		mustBook(t, db, known)
		mustBook(t, db, job(ids[1], quay.ID, monday))
		mustBook(t, db, job(ids[2], bay.ID, monday+1))
		mustBook(t, db, job(ids[3], quay.ID, monday+30))
		withdrawn := mustBook(t, db, job(ids[3], quay.ID, monday))
		mustExec(t, db, "update bookings set state = 'withdrawn' where id = ?", withdrawn.ID)
		for _, c := range []struct {
			name  string
			scope auth.Scope
			q     store.OverviewQuery
			days  []store.BookedDay
			items []store.BookedItem
		}{
			{"all", all, store.OverviewQuery{}, []store.BookedDay{
				{DepotID: quay.ID, Day: monday, Hours: 3, Cost: 120, NoCost: 1},
				{DepotID: bay.ID, Day: monday + 1, Hours: 1.5, NoCost: 1},
			}, []store.BookedItem{
				{FleetID: quay.FleetID, Day: monday, Item: fleet.ItemPads, Axle: 1, Times: 1},
				{FleetID: quay.FleetID, Day: monday, PartID: part, Item: fleet.ItemPads, Axle: 1, Make: "Orlo", Times: 1},
				{FleetID: bay.FleetID, Day: monday + 1, Item: fleet.ItemPads, Axle: 1, Times: 1},
			}},
			{"a fleet", all, store.OverviewQuery{Fleet: bay.FleetID}, []store.BookedDay{{DepotID: bay.ID, Day: monday + 1, Hours: 1.5, NoCost: 1}},
				[]store.BookedItem{{FleetID: bay.FleetID, Day: monday + 1, Item: fleet.ItemPads, Axle: 1, Times: 1}}},
			{"another scope", auth.ScopeOf(nil, []int64{bay.ID}), store.OverviewQuery{}, []store.BookedDay{{DepotID: bay.ID, Day: monday + 1, Hours: 1.5, NoCost: 1}},
				[]store.BookedItem{{FleetID: bay.FleetID, Day: monday + 1, Item: fleet.ItemPads, Axle: 1, Times: 1}}},
			{"no scope", auth.Scope{}, store.OverviewQuery{}, nil, nil},
		} {
			days, err := db.BookedDays(t.Context(), c.scope, c.q, monday, monday+29)
			if err != nil {
				t.Fatalf("%s: %v", c.name, err)
			}
			if d := cmp.Diff(c.days, days); d != "" {
				t.Errorf("%s, days: want, got:\n%s", c.name, d)
			}
			items, err := db.BookedItems(t.Context(), c.scope, c.q, monday, monday+29)
			if err != nil {
				t.Fatalf("%s: %v", c.name, err)
			}
			if d := cmp.Diff(c.items, items); d != "" {
				t.Errorf("%s, items: want, got:\n%s", c.name, d)
			}
		}
	})
}
