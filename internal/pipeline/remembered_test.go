package pipeline_test

import (
	"encoding/json"
	"fmt"
	"reflect"
	"testing"
	"time"

	"brakewear/forecast"
	"brakewear/internal/auth"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// A vehicle's forecast that is remembered is the one that would be worked out,
// whatever was written since and by whichever process.
func TestRememberedRightAfterWrite(t *testing.T) {
	for _, dialect := range []string{store.SQLite, store.Postgres} {
		t.Run(dialect, func(t *testing.T) {
			url := storetest.URL(t, dialect)
			db := storetest.MustOpen(t, url)
			s, other, fresh := newService(db), newService(storetest.MustOpen(t, url)), newService(db)
			s.Remembered, other.Remembered = &pipeline.Remembered{}, &pipeline.Remembered{}
			mustImport(t, s, "vehicles.csv", vehiclesCSV, 2, 0, 0)
			mustImport(t, s, "axles.csv", axlesCSV, 3, 0, 0)
			mustImport(t, s, "readings.csv", readingsCSV, 5, 0, 0)
			index, err := db.VehicleIndex(t.Context(), all)
			if err != nil {
				t.Fatal(err)
			}
			bus := index["Bus 1"][0].ID
			last := ""
			// look says whether the forecast is another than the last time.
			look := func() (changed bool) {
				t.Helper()
				h, want, wantTrack, err := fresh.VehicleForecast(t.Context(), all, bus, fresh.Today())
				if err != nil {
					t.Fatal(err)
				}
				for _, x := range []*pipeline.Service{s, other, s} {
					got, around, err := x.DB.HistoryAround(t.Context(), all, bus, x.Today())
					if err != nil {
						t.Fatal(err)
					}
					fs, _, err := x.ForecastOf(t.Context(), &got, around.Parameters, x.Today())
					if err != nil || fmt.Sprint(fs) != fmt.Sprint(want) {
						t.Errorf("by what was read with its history: got %v, %v, want %v", fs, err, want)
					}
					got, fs, track, err := x.VehicleForecast(t.Context(), all, bus, x.Today())
					if err != nil {
						t.Fatal(err)
					}
					if !reflect.DeepEqual(got, h) || fmt.Sprint(fs) != fmt.Sprint(want) || !reflect.DeepEqual(track, wantTrack) {
						t.Errorf("got %v, want %v", fs, want)
					}
				}
				now := fmt.Sprint(want)
				changed, last = now != last, now
				return changed
			}
			look()
			if look() {
				t.Error("it changed although nothing was written")
			}
			mustImport(t, other, "readings.csv", "vehicle,date,odometer_km,axle,part,side,face,value_mm\nBus 1,2026-02-27,158000,1,pad,left,inner,4.6\n", 1, 0, 0)
			if !look() {
				t.Error("a reading changed nothing")
			}
			mustImport(t, other, "odometer.csv", "vehicle,date,odometer_km\nBus 1,2026-02-28,160500\n", 1, 0, 0)
			if !look() {
				t.Error("an odometer reading changed nothing")
			}
			mustImport(t, other, "axles.csv", "vehicle,axle,brake,pad_new_mm,pad_limit_mm\nBus 1,1,disc,20,4\n", 1, 0, 0)
			if !look() {
				t.Error("another limit changed nothing")
			}
			if _, err := other.Train(t.Context(), other.Today()); err != nil {
				t.Fatal(err)
			}
			look()
			unlike := forecast.DefaultParams()
			unlike.Rates.Vehicle *= 2
			values, err := json.Marshal(forecast.Full{Params: unlike})
			if err != nil {
				t.Fatal(err)
			}
			learned := store.Parameters{Model: pipeline.DefaultModel, Values: values, Diagnostics: []byte("{}")}
			if err := db.SaveParameters(t.Context(), &learned); err != nil {
				t.Fatal(err)
			}
			if !look() {
				t.Error("other parameters changed nothing")
			}
			for _, x := range []*pipeline.Service{s, other, fresh} {
				x.Risk = .3
			}
			if !look() {
				t.Error("another accepted risk changed nothing")
			}
			for _, x := range []*pipeline.Service{s, other, fresh} {
				x.Now = func() time.Time { return time.Date(2026, 3, 20, 9, 0, 0, 0, time.UTC) }
			}
			if !look() {
				t.Error("another day changed nothing")
			}
			// Who may not see the vehicle is not shown what is remembered of it.
			for _, sc := range []auth.Scope{{}, auth.ScopeOf(nil, []int64{99})} {
				if _, _, _, err := s.VehicleForecast(t.Context(), sc, bus, s.Today()); err == nil {
					t.Errorf("%+v sees the vehicle", sc)
				}
			}
		})
	}
}
