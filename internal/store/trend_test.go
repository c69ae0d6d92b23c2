package store_test

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"brakewear/forecast"
	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// Invented axles with pads of 20 mm and the limit 4, as of a day and a month
// before it; figures by hand.
func TestTrend(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ids := mustVehicles(t, db, entry("Bus 1"), entry("Bus 2", func(e *store.VehicleEntry) { e.Duty = "city" }), entry("Van 3", of("South", "Bay")))
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
		// Of a day so many days before asOf, to be booked and at even odds so many
		// days after that.
		state := func(id int64, axle int, ago forecast.Day, mm, rate float64, bookBy, limit int, more ...func(*store.AxleForecast)) store.AxleForecast {
			f := worn(id, axle, mm, rate, more...)
			f.AsOf -= ago
			d := fleet.Date(f.AsOf) + fleet.Date(bookBy)
			f.BookBy = &d
			at := float64(f.AsOf) + float64(limit)
			f.Crossing.Day = forecast.DistOf(func(p float64) float64 { return at + p - .5 })
			return f
		}
		past := func(f *store.AxleForecast) { f.PastLimit = true }
		before := []store.AxleForecast{
			state(ids[0], 1, 30, 5, 2, 10, 40),                // reaches its limit
			state(ids[0], 2, 33, 3.9, 2, -5, 0, past),         // is changed
			state(ids[1], 1, 30, 12, 2, 100, 200),             // comes near, and wears faster
			state(ids[1], 2, 45, 12, 2, 100, 200),             // too old to be compared with
			state(ids[1], 3, 30, 12, 2, 100, 200, unmeasured), // not measured then
			state(ids[2], 1, 30, 12, 3, 100, 200),             // wears slower
			state(ids[2], 1, 29, 4, 9, 1, 1),                  // after the day compared with
			state(ids[2], 1, 36, 13, 9, 1, 1),                 // before the last one
		}
		if err := db.LogForecasts(t.Context(), all, before); err != nil {
			t.Fatal(err)
		}
		mustForecasts(t, db,
			state(ids[0], 1, 0, 3.9, 2.1, -2, 5, past),
			state(ids[0], 2, 0, 20, 2, 300, 400),
			state(ids[1], 1, 0, 10.4, 2.4, 50, 91),
			state(ids[1], 2, 0, 10.4, 2, 50, 91),
			state(ids[1], 3, 0, 10.4, 2, 50, 91),
			state(ids[2], 1, 0, 11.2, 2.5, 100, 200),
		)
		quay, bay := int64(count(t, db, "select id from depots where name = 'Quay'")), int64(count(t, db, "select id from depots where name = 'Bay'"))
		ignore := cmpopts.IgnoreFields(store.Trend{}, "Afterwards")
		near := cmpopts.EquateApprox(0, 1e-9)
		van := store.TrendMean{N: 1, Then: 3, Now: 2.5}
		south := store.Trend{
			Then: asOf - 30, First: asOf - 30, Last: asOf - 30, Measured: 1, Compared: 1,
			Left:    store.TrendMean{N: 1, Then: .5, Now: .45},
			ByDuty:  []store.TrendWear{{Part: fleet.Pad, Rate: van, Slower: 1}},
			ByDepot: []store.TrendWear{{DepotID: bay, Fleet: "South", Name: "Bay", Part: fleet.Pad, Rate: van, Slower: 1}},
		}
		got, err := db.Trend(t.Context(), auth.ScopeOf(nil, []int64{bay}), store.OverviewQuery{}, asOf)
		if err != nil {
			t.Fatal(err)
		}
		if d := cmp.Diff(south, got, ignore, near); d != "" {
			t.Errorf("another scope: want, got:\n%s", d)
		}
		if got, err := db.Trend(t.Context(), auth.Scope{}, store.OverviewQuery{}, asOf); err != nil || got.Measured != 0 || got.Compared != 0 {
			t.Errorf("no scope: got %+v, %v", got, err)
		}
		if got, err = db.Trend(t.Context(), all, store.OverviewQuery{}, asOf); err != nil {
			t.Fatal(err)
		}
		want := store.Trend{
			Then: asOf - 30, First: asOf - 33, Last: asOf - 30, Measured: 6, Compared: 4,
			Past: store.TrendCount{Then: 1, Now: 1, In: 1, Out: 1},
			Due:  store.TrendCount{Then: 1, Now: 1, In: 1, Out: 1},
			Near: store.TrendCount{Then: 2, Now: 2, In: 1, Out: 1},
			// (1 - .1 + 8 + 8) of 16 mm then, (-.1 + 16 + 6.4 + 7.2) now.
			Left: store.TrendMean{N: 4, Then: 16.9 / 64, Now: 29.5 / 64},
			ByDuty: []store.TrendWear{
				{Name: "city", Part: fleet.Pad, Rate: store.TrendMean{N: 1, Then: 2, Now: 2.4}, Faster: 1},
				{Part: fleet.Pad, Rate: store.TrendMean{N: 3, Then: 7. / 3, Now: 6.6 / 3}, Slower: 1},
			},
			ByDepot: []store.TrendWear{
				{DepotID: quay, Fleet: "North", Name: "Quay", Part: fleet.Pad, Rate: store.TrendMean{N: 3, Then: 2, Now: 6.5 / 3}, Faster: 1},
				{DepotID: bay, Fleet: "South", Name: "Bay", Part: fleet.Pad, Rate: van, Slower: 1},
			},
		}
		if d := cmp.Diff(want, got, ignore, near); d != "" {
			t.Errorf("want, got:\n%s", d)
		}
		// The list behind each number has just as many axles.
		for shift, want := range map[store.Shift]int{store.IntoPast: 1, store.OutPast: 1, store.IntoDue: 1, store.OutDue: 1, store.IntoNear: 1, store.OutNear: 1, store.Faster: 1, store.Slower: 1} {
			page, err := db.DueSoon(t.Context(), all, store.DueQuery{Moved: shift, Today: asOf})
			if err != nil || page.Total != want || len(page.Rows) != want {
				t.Errorf("%s: got %d of %d, want %d; %v", shift, len(page.Rows), page.Total, want, err)
			}
		}
		if _, err := db.DueSoon(t.Context(), all, store.DueQuery{Moved: "sideways", Today: asOf}); !isInvalid(err) {
			t.Errorf("a move that is none: got %v", err)
		}
		if _, err := db.DueSoon(t.Context(), all, store.DueQuery{Moved: store.Faster}); !isInvalid(err) {
			t.Errorf("a move of no day: got %v", err)
		}
		// What was logged before it told what was left is not known.
		mustExec(t, db, "update forecast_log set part = null, thickness_mm = null, new_mm = null, limit_mm = null, rate = null")
		if got, err = db.Trend(t.Context(), all, store.OverviewQuery{}, asOf); err != nil || got.Compared != 4 || got.Left.N != 0 || got.ByDuty != nil || got.Past != want.Past {
			t.Errorf("of an older log: got %+v, %v", got, err)
		}
	})
}

// Who logs forecasts of past days takes the axles in the order of those who save
// forecasts of the same vehicles, so that neither waits for the other.
func TestLogForecastsInOrder(t *testing.T) {
	db := storetest.Open(t, store.Postgres) // an SQLite file has one writer
	var entries []store.VehicleEntry
	for i := range 40 {
		entries = append(entries, entry(fmt.Sprint("Bus ", i)))
	}
	ids := mustVehicles(t, db, entries...)
	slices.Sort(ids)
	var fs []store.AxleForecast
	for _, id := range ids {
		fs = append(fs, worn(id, 1, 10, 1))
	}
	mustForecasts(t, db, fs...)
	hold, err := db.WritePool().Begin()
	if err != nil {
		t.Fatal(err)
	}
	defer hold.Rollback()
	if _, err := hold.Exec(`select 1 from axle_forecasts where vehicle_id = $1 for update`, ids[0]); err != nil {
		t.Fatal(err)
	}
	logged := make(chan error, 1)
	go func() {
		var past []store.AxleForecast
		for _, f := range fs {
			f.AsOf -= store.TrendDays
			past = append(past, f)
		}
		logged <- db.LogForecasts(t.Context(), all, past)
	}()
	for count(t, db, `select count(*) from pg_stat_activity where datname = current_database() and wait_event_type = 'Lock'`) == 0 {
		select {
		case err := <-logged:
			t.Fatalf("it did not wait for the first axle: %v", err)
		case <-time.After(5 * time.Millisecond):
		}
	}
	if got, want := count(t, db, `select count(*) from (select 1 from axle_forecasts for update skip locked) free`), len(ids)-1; got != want {
		t.Errorf("while it waits for the first axle %d others are free, want %d", got, want)
	}
	if err := hold.Rollback(); err != nil {
		t.Fatal(err)
	}
	if err := <-logged; err != nil {
		t.Error(err)
	}
}
