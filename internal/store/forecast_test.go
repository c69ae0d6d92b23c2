package store_test

import (
	"fmt"
	"math"
	"reflect"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"brakewear/forecast"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// fill sets every field below v to a value of its own, so that one which the
// store forgets shows.
func fill(v reflect.Value, n *int) {
	*n++
	switch v.Kind() {
	case reflect.Struct:
		if v.Type() == reflect.TypeFor[forecast.Dist]() {
			k := float64(*n)
			v.Set(reflect.ValueOf(forecast.DistOf(func(p float64) float64 { return k + p })))
			return
		}
		for i := range v.NumField() {
			fill(v.Field(i), n)
		}
	case reflect.Slice:
		v.Set(reflect.MakeSlice(v.Type(), 2, 2))
		for i := range 2 {
			fill(v.Index(i), n)
		}
	case reflect.Pointer:
		v.Set(reflect.New(v.Type().Elem()))
		fill(v.Elem(), n)
	case reflect.String:
		v.SetString(fmt.Sprint("text ", *n))
	case reflect.Bool:
		v.SetBool(true)
	case reflect.Float64:
		v.SetFloat(float64(*n) + 1.0/3)
	case reflect.Int, reflect.Int32, reflect.Int64:
		v.SetInt(int64(*n))
	default:
		panic("no sample of a " + v.Kind().String())
	}
}

func filled(vehicleID int64, axle int) store.AxleForecast {
	var f store.AxleForecast
	n := 100 * axle
	fill(reflect.ValueOf(&f).Elem(), &n)
	f.VehicleID, f.Axle, f.Limiting = vehicleID, axle, 1
	for i := range f.Positions {
		f.Positions[i].Path = nil // not kept
	}
	return f
}

// A forecast comes back whole: every field there is, and any added later.
func TestForecastsRoundTrip(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		v := mustVehicles(t, db, entry("Bus 1"))[0]
		nothing := store.AxleForecast{VehicleID: v} // nothing is known
		nothing.Axle, nothing.Limiting = 2, -1
		nan, inf := math.NaN(), math.Inf(1)
		unknown := filled(v, 3)
		unknown.OdometerKm, unknown.KmPerDay = nan, nan
		unknown.Crossing.Km = forecast.DistOf(func(p float64) float64 { return 1 / (1 - min(1, 2*p)) }) // +Inf from the median on
		unknown.Crossing.Day = forecast.Dist{}
		unknown.Basis.SetAside[0].Reading.Km = nan
		unknown.Basis.SetAside[0].Reading.MM = math.Inf(-1)
		unknown.Basis.Width80Days = inf
		unknown.Positions[0].ThicknessMM, unknown.Positions[0].RatePer10000 = nan, inf
		unknown.Positions[1].Crossing.Km, unknown.Positions[1].Pos.Face = forecast.Dist{}, ""
		want := []store.AxleForecast{filled(v, 1), nothing, unknown}

		mustForecasts(t, db, unknown, filled(v, 1), nothing)
		got, err := db.Forecasts(t.Context(), all, v)
		if err != nil {
			t.Fatal(err)
		}
		if d := cmp.Diff(want, got, cmpopts.EquateNaNs()); d != "" {
			t.Error(d)
		}
	})
}

func TestForecastsReplaced(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		v := mustVehicles(t, db, entry("Bus 1"))[0]
		mustForecasts(t, db, filled(v, 1), filled(v, 2))
		next := due(v, 1, ptr(day(5, 1)), float64(day(6, 1))) // one position instead of two
		mustForecasts(t, db, next)
		got, err := db.Forecasts(t.Context(), all, v)
		if err != nil {
			t.Fatal(err)
		}
		if d := cmp.Diff([]store.AxleForecast{next, filled(v, 2)}, got); d != "" {
			t.Error(d)
		}
		if n := count(t, db, "select count(*) from forecast_positions"); n != 2 {
			t.Errorf("got the positions of %d axles, want 2", n)
		}
		if err := storetest.SaveForecasts(t.Context(), db, all, nil); err != nil {
			t.Errorf("of none: %v", err)
		}
	})
}

// The log keeps the first promise made from the same readings, and one a week
// while there are no new ones; the first of a day stays, whatever comes after.
func TestForecastLog(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		v := mustVehicles(t, db, entry("Bus 1"))[0]
		first := due(v, 1, ptr(day(5, 1)), 20000)
		again := due(v, 1, ptr(day(6, 1)), 20100)
		later := func(days forecast.Day, readings int) store.AxleForecast {
			f := again
			f.AsOf += days
			f.Readings = readings
			return f
		}
		unknown := due(v, 2, nil, 0)
		unknown.Crossing = forecast.Crossing{}
		mustForecasts(t, db, first, unknown)
		mustForecasts(t, db, again)
		for night := forecast.Day(1); night < 20; night++ {
			readings := first.Readings
			if night >= 10 { // measured on the ninth day
				readings++
			}
			mustForecasts(t, db, later(night, readings))
		}
		mustForecasts(t, db, later(2, first.Readings)) // one of a day that is past

		type row struct {
			Axle   int         `db:"axle"`
			AsOf   fleet.Date  `db:"as_of"`
			BookBy *fleet.Date `db:"book_by"`
			Day    *float64    `db:"day_p10"`
			Km     *float64    `db:"km_p975"`
		}
		var got []row
		err := db.ReadPool().SelectContext(t.Context(), &got, `
			select axle, as_of, book_by, day_p10, km_p975 from forecast_log order by axle, as_of`)
		if err != nil {
			t.Fatal(err)
		}
		want := []row{ // of the sample's even spreads
			{1, asOf, ptr(day(5, 1)), ptr(20010.), ptr(59750.)},
			{1, asOf + 7, ptr(day(6, 1)), ptr(20110.), ptr(59750.)},
			{1, asOf + 10, ptr(day(6, 1)), ptr(20110.), ptr(59750.)},
			{1, asOf + 17, ptr(day(6, 1)), ptr(20110.), ptr(59750.)},
			{2, asOf, nil, nil, nil},
		}
		if d := cmp.Diff(want, got, cmpopts.EquateApprox(0, 1e-6)); d != "" {
			t.Error(d)
		}
		ls, err := db.LoggedForecasts(t.Context(), all, v, asOf+7)
		if err != nil || len(ls) != 3 || ls[0].AsOf != asOf+17 || ls[0].Readings != first.Readings+1 || ls[2].AsOf != asOf+7 || ls[2].Readings != first.Readings {
			t.Fatalf("since a day: got %+v, %v", ls, err)
		}
		of := again.Positions[0]
		if l := ls[0]; l.Axle != 1 || l.Part != fleet.Part(of.Pos.Part) || l.ThicknessMM != of.ThicknessMM || l.LimitMM != of.Spec.Limit || l.Rate != of.RatePer10000 || l.LoggedAt.IsZero() {
			t.Errorf("the newest: got %+v, want what was forecast: %+v", l, of)
		}
		if ls, err := db.LoggedForecasts(t.Context(), all, v, asOf); err != nil || len(ls) != 5 || !math.IsNaN(ls[4].DayAtLimit) {
			t.Errorf("of an axle with nothing known: got %+v, %v", ls, err)
		}
	})
}

func TestParameters(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		if _, err := db.LatestParameters(t.Context(), "pooled", 0); !isNotFound(err) {
			t.Errorf("of a model that never learned: got %v, want not found", err)
		}
		var want []store.Parameters // newest first
		for i := range 3 {
			p := store.Parameters{
				Model:       "pooled",
				AsOf:        asOf + fleet.Date(i),
				Values:      fmt.Appendf(nil, `{"z": %d, "a": 1e-300}`, i), // the text stays as it is
				Diagnostics: []byte(`{}`),
			}
			if err := db.SaveParameters(t.Context(), &p); err != nil {
				t.Fatal(err)
			}
			if p.ID == 0 || p.FittedAt.IsZero() {
				t.Errorf("got %+v, want an id and a time", p)
			}
			want = append([]store.Parameters{p}, want...)
		}
		other := store.Parameters{Model: "other", Values: []byte("{}"), Diagnostics: []byte("{}")}
		if err := db.SaveParameters(t.Context(), &other); err != nil {
			t.Fatal(err)
		}
		latest, err := db.LatestParameters(t.Context(), "pooled", 0)
		if err != nil {
			t.Fatal(err)
		}
		if d := cmp.Diff(want[0], latest); d != "" {
			t.Error(d)
		}
		got, err := db.ParametersHistory(t.Context(), "pooled", 2)
		if err != nil {
			t.Fatal(err)
		}
		if d := cmp.Diff(want[:2], got); d != "" {
			t.Error(d)
		}
		for _, bad := range []store.Parameters{
			{Values: []byte("{}"), Diagnostics: []byte("{}")},
			{Model: "pooled", Values: []byte("{"), Diagnostics: []byte("{}")},
			{Model: "pooled", Values: []byte("{}")},
		} {
			if err := db.SaveParameters(t.Context(), &bad); !isInvalid(err) {
				t.Errorf("%+v: got %v, want invalid", bad, err)
			}
		}
	})
}

// Of the rows of forecasts only those are written that say something else.
func TestForecastsAreNotWrittenAnew(t *testing.T) {
	for _, dialect := range []string{store.SQLite, store.Postgres} {
		t.Run(dialect, func(t *testing.T) {
			url := storetest.URL(t, dialect)
			db := storetest.MustOpen(t, url)
			ids := mustVehicles(t, db, entry("Bus 1"), entry("Bus 2"))
			mustForecasts(t, db, worn(ids[0], 1, 10, 1), worn(ids[1], 1, 10, 1))
			storetest.Exec(t, url, `create table written (vehicle integer)`)
			note := `begin insert into written values (new.vehicle_id); end`
			if dialect == store.Postgres {
				storetest.Exec(t, url, `create function note_written() returns trigger language plpgsql as $$ begin insert into written values (new.vehicle_id); return new; end $$`)
				note = `for each row execute function note_written()`
			}
			storetest.Exec(t, url, `create trigger written after update on axle_forecasts `+note)
			bay := func(e *store.VehicleEntry) { e.Depot = "Bay" }
			city := func(e *store.VehicleEntry) { e.Duty = "city" }
			ago := func(days fleet.Date) func() error {
				return func() error {
					f := worn(ids[0], 1, 11, 1)
					f.AsOf -= forecast.Day(days)
					return db.LogForecasts(t.Context(), all, []store.AxleForecast{f})
				}
			}
			entries := func(es ...store.VehicleEntry) func() error {
				return func() error { mustVehicles(t, db, es...); return nil }
			}
			for _, c := range []struct {
				what string
				do   func() error
				want string // vehicles whose rows are written
			}{
				{"with another duty", entries(entry("Bus 1", city), entry("Bus 2", city)), "[]"},
				{"one moved", entries(entry("Bus 1", bay), entry("Bus 2")), "[vehicle=1 ]"},
				{"as a month before", ago(30), "[vehicle=1 ]"},
				// The oldest that stands for a month before, 30 + 14 days, for who
				// has yesterday still.
				{"as 44 days before", ago(44), "[vehicle=1 ]"},
				{"as 45 days before", ago(45), "[]"},
				{"as a year before", ago(365), "[]"},
			} {
				if err := c.do(); err != nil {
					t.Fatal(err)
				}
				if got := fmt.Sprint(storetest.Dump(t, url, `select vehicle from written order by vehicle`)); got != c.want {
					t.Errorf("%s: got %s, want %s", c.what, got, c.want)
				}
				storetest.Exec(t, url, `delete from written`)
			}
			if got := fmt.Sprint(storetest.Dump(t, url, `select d.name from axle_forecasts c join depots d on d.id = c.depot_id order by c.vehicle_id`)); got != "[name=Bay  name=Quay ]" {
				t.Errorf("the depots of forecasts: got %s", got)
			}
		})
	}
}
