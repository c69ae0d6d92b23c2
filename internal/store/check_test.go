package store_test

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"

	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// TestCheck breaks one rule after another behind the store's back, in invented
// data that keep them all.
func TestCheck(t *testing.T) {
	for _, dialect := range []string{store.SQLite, store.Postgres} {
		t.Run(dialect, func(t *testing.T) {
			url := storetest.URL(t, dialect)
			db := storetest.MustOpen(t, url)
			ids := mustVehicles(t, db, entry("Bus 1"), entry("Bus 2"))
			mustTakeIn(t, db, func(w *store.Writer) error {
				_, err := w.Axles([]fleet.Axle{{VehicleID: ids[0], Number: 1, Brake: fleet.DiscBrake}})
				return err
			})
			mustReadings(t, db, reading(ids[0], day(1, 1), 8), reading(ids[0], day(2, 1), 7))
			mustForecasts(t, db, worn(ids[0], 1, 8, 2))
			if broken, rules, err := db.Check(t.Context()); err != nil || len(broken) != 0 || rules < 15 {
				t.Fatalf("of whole data: got %+v, %d rules, %v", broken, rules, err)
			}
			now := "'2026-03-01T00:00:00Z'"
			for _, c := range []struct{ breaks, mends, want string }{
				{`update axles set fleet_id = fleet_id + 1`, `update axles set fleet_id = fleet_id - 1`, "axle of vehicle 1"},
				{`update thickness_readings set day = '2026-03-03' where id = 1`, `update thickness_readings set day = '2025-01-01' where id = 1`, "reading 1"},
				{`update uploads set accepted = accepted + 1, kind = 'readings' where id = (select max(id) from uploads)`,
					`update uploads set accepted = accepted - 1, kind = 'test' where id = (select max(id) from uploads)`, ": 1 accepted, 2 there"},
				{`update thickness_readings set set_aside_at = ` + now + `, set_aside_by = 'N. N.', set_aside_reason = 'wet' where id = 2`,
					`update thickness_readings set set_aside_at = null, set_aside_by = null, set_aside_reason = null where id = 2`, "reading 2"},
				{`update thickness_readings set superseded_by = 1 where id = 2`, `update thickness_readings set superseded_by = null where id = 2`, "reading 2"},
				{`delete from forecast_log`, ``, "forecast of vehicle 1, axle 1"},
				{`update forecast_positions set km_quantiles = substr(km_quantiles, 1, 8)`, `update forecast_positions set km_quantiles = day_quantiles`, "positions of vehicle 1, axle 1"},
				{`update forecast_positions set day_quantiles = substr(day_quantiles, 1, 8)`, `update forecast_positions set day_quantiles = km_quantiles`, "positions of vehicle 1, axle 1"},
				{`delete from forecast_positions`, ``, "forecast of vehicle 1, axle 1"},
			} {
				before, _, err := db.Check(t.Context())
				if err != nil {
					t.Fatal(err)
				}
				storetest.Exec(t, url, c.breaks)
				broken, _, err := db.Check(t.Context())
				if err != nil {
					t.Fatal(err)
				}
				if len(broken) == len(before) || !strings.Contains(fmt.Sprint(broken), c.want) {
					t.Errorf("%s: got %+v, want %q", c.breaks, broken, c.want)
				}
				if c.mends != "" {
					storetest.Exec(t, url, c.mends)
				}
			}
		})
	}
}

// TestCheckJobCardStock breaks one rule after another of what a closed job card took.
func TestCheckJobCardStock(t *testing.T) {
	for _, dialect := range []string{store.SQLite, store.Postgres} {
		t.Run(dialect, func(t *testing.T) {
			url := storetest.URL(t, dialect)
			db := storetest.MustOpen(t, url)
			v := visited(t, db)
			h := mustHistory(t, db, v)
			first, home := h.Fitments[0], h.Vehicle
			part, err := db.SaveStockPart(t.Context(), all, fleet.StockPart{FleetID: home.FleetID, Number: "P-300", Item: fleet.ItemPads, PerAxle: 1})
			if err == nil {
				err = db.SetStock(t.Context(), all, part, home.DepotID, 3)
			}
			if err != nil {
				t.Fatal(err)
			}
			work := []fleet.WorkItem{{Axle: first.Position.Axle, Item: fleet.ItemPads, PartID: part, PartNumber: "P-300", Quantity: 1}}
			card, err := db.OpenCard(t.Context(), all, "N. N.", fleet.Card{VehicleID: v, Day: first.Date, Work: work})
			if err != nil {
				t.Fatal(err)
			}
			mustExec(t, db, `
				insert into job_card_parts (card_id, axle, part, side, number, batch, mm, measured, fitment_id, fitted_by, fitted_at)
				values (?, ?, 'pad', '', 'P-300', '', 12, ?, ?, 'N. N.', ?)`, card.ID, first.Position.Axle, false, first.ID, store.Instant(db.Now()))
			if _, err := db.CloseCard(t.Context(), all, "N. N.", card.ID, fleet.CardNotPassed, ""); err != nil {
				t.Fatal(err)
			}
			before, _, err := db.Check(t.Context())
			if err != nil {
				t.Fatal(err)
			}
			was := fmt.Sprint(before)
			if strings.Contains(was, "stock 1") {
				t.Fatalf("of whole data: got %s", was)
			}
			for _, set := range []struct{ breaks, mends string }{
				{"quantity = 2", "quantity = 1"},
				{"quantity = -1", "quantity = 1"},
				{"used = 0, quantity = 0", "used = 1, quantity = 1"},
				{"counts = 2", "counts = 1"},
				{"put_back_at = '2026-03-01T00:00:00Z'", "put_back_at = null"},
				{"axle = axle + 1", "axle = axle - 1"},
			} {
				storetest.Exec(t, url, "update job_card_stock set "+set.breaks)
				broken, _, err := db.Check(t.Context())
				if err != nil || len(broken) == len(before) {
					t.Errorf("%s: got %+v, %v; want a rule that is broken", set.breaks, broken, err)
				}
				storetest.Exec(t, url, "update job_card_stock set "+set.mends)
			}
			if mended, _, err := db.Check(t.Context()); err != nil || fmt.Sprint(mended) != was {
				t.Errorf("mended: got %+v, %v", mended, err)
			}
		})
	}
}

// What is left of rows that another program deleted is found in a file.
func TestCheckReferences(t *testing.T) {
	url := storetest.URL(t, store.SQLite)
	db := storetest.MustOpen(t, url)
	ids := mustVehicles(t, db, entry("Bus 1"))
	mustReadings(t, db, reading(ids[0], day(1, 1), 8))
	storetest.Exec(t, url, "delete from vehicles") // no foreign keys on that connection
	broken, _, err := db.Check(t.Context())
	if err != nil || !slices.ContainsFunc(broken, func(b store.Broken) bool { return strings.Contains(fmt.Sprint(b.Some), "no such vehicles") }) {
		t.Errorf("got %+v, %v", broken, err)
	}
}

// A schema that the rules are not for is not checked by them.
func TestCheckOtherSchema(t *testing.T) {
	db := storetest.MustOpen(t, storetest.EmptyURL(t, store.SQLite))
	if _, _, err := db.Check(t.Context()); !errors.Is(err, fleet.ErrConflict) || !strings.Contains(err.Error(), "migrate") {
		t.Errorf("got %v, want a conflict that says what to do", err)
	}
}
