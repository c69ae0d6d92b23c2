package store_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"brakewear/forecast"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// Forecasts of a program that kept a row a position are whole after the migration.
func TestPositionsMigrated(t *testing.T) {
	for _, dialect := range []string{store.SQLite, store.Postgres} {
		t.Run(dialect, func(t *testing.T) {
			url := storetest.EmptyURL(t, dialect)
			db := storetest.MustOpen(t, url)
			if err := db.MigrateTo(t.Context(), 48); err != nil {
				t.Fatal(err)
			}
			want := []store.AxleForecast{filled(1, 1), filled(1, 2), filled(1, 3)}
			want[1].Positions = want[1].Positions[:1]
			want[1].Positions[0].Crossing.Km = forecast.Dist{}
			want[1].Positions[0].ThicknessMM = math.NaN()
			want[1].Positions[0].RatePer10000 = math.Inf(1)
			for i := range 12 {
				p := want[2].Positions[i%2]
				p.RatePer10000 = 1 / (float64(i) + .7)
				p.SinceKnown = i%3 == 0
				p.Since += forecast.Day(i)
				want[2].Positions = append(want[2].Positions, p)
			}
			for _, f := range want {
				for i := len(f.Positions) - 1; i >= 0; i-- {
					p := &f.Positions[i]
					mustExec(t, db, `
						insert into position_forecasts (fleet_id, vehicle_id, axle, seq, part, side, face, new_mm, limit_mm, thickness_mm, rate, readings, since, since_known, km_quantiles, day_quantiles)
						values (1, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`,
						f.VehicleID, f.Axle, i, string(p.Pos.Part), p.Pos.Side, p.Pos.Face, p.Spec.New, p.Spec.Limit, store.Number(p.ThicknessMM), store.Number(p.RatePer10000),
						p.Readings, fleet.Date(p.Since), p.SinceKnown, store.Quantiles{Dist: &p.Crossing.Km}, store.Quantiles{Dist: &p.Crossing.Day})
				}
			}
			if err := db.Migrate(t.Context()); err != nil {
				t.Fatal(err)
			}
			ids := mustVehicles(t, db, entry("Bus 1"))
			storetest.Exec(t, url, `create table migrated as select * from forecast_positions`)
			mustForecasts(t, db, want...)
			storetest.Exec(t, url, `delete from forecast_positions`)
			storetest.Exec(t, url, `insert into forecast_positions select * from migrated`)
			got, err := db.Forecasts(t.Context(), all, ids[0])
			if err != nil {
				t.Fatal(err)
			}
			if d := cmp.Diff(want, got, cmpopts.EquateNaNs()); d != "" {
				t.Error(d)
			}
		})
	}
}

// The rows of a refit's batch are written by several statements.
func TestPositionsOfManyAxles(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		v := mustVehicles(t, db, entry("Bus 1"))[0]
		var want []store.AxleForecast
		for axle := range 40 {
			want = append(want, filled(v, axle+1))
		}
		for range 2 { // made and replaced
			mustForecasts(t, db, want...)
			got, err := db.Forecasts(t.Context(), all, v)
			if err != nil {
				t.Fatal(err)
			}
			if d := cmp.Diff(want, got); d != "" {
				t.Fatal(d)
			}
		}
	})
}

// Six positions of an axle stay in their row on a server, which neither compresses
// them nor puts them elsewhere.
func TestPositionsStayInTheirRow(t *testing.T) {
	db := storetest.Open(t, store.Postgres)
	v := mustVehicles(t, db, entry("Bus 1"))[0]
	f := filled(v, 1)
	for range 2 {
		f.Positions = append(f.Positions, f.Positions[:2]...)
	}
	mustForecasts(t, db, f)
	var sizes []string
	err := db.ReadPool().SelectContext(t.Context(), &sizes, `
		select pg_column_size(km_quantiles) || ' ' || (select pg_relation_size(reltoastrelid) from pg_class where relname = 'forecast_positions')
		from forecast_positions`)
	if want := fmt.Sprint(4+6*8*len(forecast.Levels), " ", 0); err != nil || strings.Join(sizes, ",") != want { // 4 bytes of length
		t.Errorf("got %v, %v; want %s", sizes, err, want)
	}
}
