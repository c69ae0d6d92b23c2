package pipeline_test

import (
	"fmt"
	"reflect"
	"strings"
	"sync"
	"testing"

	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// threeForecast is a service with three vehicles that are forecast: one is less than
// half of them.
func threeForecast(t *testing.T, db *store.DB) *pipeline.Service {
	t.Helper()
	s := newService(db)
	mustImport(t, s, "vehicles.csv", vehiclesCSV+"Bus 3,Ferry Lines,Harbour,KEA 3,M3,,,2019,city\n", 3, 0, 0)
	mustImport(t, s, "axles.csv", axlesCSV, 3, 0, 0)
	mustImport(t, s, "readings.csv", readingsCSV, 5, 0, 0)
	if _, err := s.Refit(t.Context(), all, nil, s.Today()); err != nil {
		t.Fatal(err)
	}
	return s
}

// The forecasts of one vehicle's file among many are those that all that is stored
// of it gives, whatever the file told.
func TestTakeInOne(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s := threeForecast(t, db)
		told := 0
		db.Taken = func(up *fleet.Upload, err error) {
			if told++; err != nil || up.Accepted != 1 {
				t.Errorf("told of %+v, %v; want one row and no error", up, err)
			}
		}
		var ids []int64
		err := db.EachHistory(t.Context(), all, nil, func(h *store.History) error {
			ids = append(ids, h.Vehicle.ID)
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
		forecasts := func() []store.AxleForecast {
			t.Helper()
			fs, err := db.Forecasts(t.Context(), all, ids[0])
			if err != nil {
				t.Fatal(err)
			}
			return fs
		}
		for _, file := range []struct{ name, text string }{
			{"readings", "vehicle,date,odometer_km,axle,part,side,face,value_mm\nBus 1,2026-02-20,157000,1,pad,left,inner,4.6\n"},
			{"readings of a part without a specification", "vehicle,date,odometer_km,axle,part,side,face,value_mm\nBus 1,2026-02-21,157100,2,rotor,left,,33\n"},
			{"odometer", "vehicle,date,odometer_km\nBus 1,2026-02-25,158500\n"},
			{"odometer with another instrument", "vehicle,date,odometer_km,previous_km\nBus 1,2026-02-26,10,158600\n"},
			{"fitments", "vehicle,date,odometer_km,axle,part,side,value_mm\nBus 1,2026-02-27,60,1,pad,left,20\n"},
			{"axles", "vehicle,axle,brake,pad_new_mm,pad_limit_mm\nBus 1,2,disc,20,5\n"},
			{"vehicles", "vehicle,fleet,category\nBus 1,Ferry Lines,M2\n"},
		} {
			before := forecasts()
			up, rep, err := s.TakeIn(t.Context(), all, "test", pipeline.File{Name: file.name + ".csv", Body: strings.NewReader(file.text)}, s.Today())
			if err != nil || up.Accepted != 1 || rep.Vehicles != 1 || rep.Trained {
				t.Fatalf("%s: got %+v, %+v, %v; want one row and one vehicle's forecasts", file.name, up, rep, err)
			}
			got := forecasts()
			if reflect.DeepEqual(got, before) && file.name != "vehicles" {
				t.Errorf("%s: the forecasts are as before", file.name)
			}
			if _, err := s.Refit(t.Context(), all, ids[:1], s.Today()); err != nil {
				t.Fatal(err)
			}
			if want := forecasts(); !reflect.DeepEqual(got, want) {
				t.Errorf("%s: got\n%+v\nwant what the vehicle by itself is forecast:\n%+v", file.name, got, want)
			}
		}
		if told != 7 {
			t.Errorf("told of %d uploads, want 7", told)
		}
	})
}

// Files of one vehicle that come at once leave the forecast of all of them.
func TestTakeInOneAtOnce(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s := threeForecast(t, db)
		const n = 12
		var wg sync.WaitGroup
		for i := range n {
			wg.Go(func() {
				text := fmt.Sprintf("vehicle,date,odometer_km,axle,part,side,face,value_mm\nBus 1,2026-02-%02d,%d,1,pad,left,inner,%.1f\n", 10+i, 156000+150*i, 5-.02*float64(i))
				if _, _, err := s.TakeIn(t.Context(), all, "test", pipeline.File{Name: "one.csv", Body: strings.NewReader(text)}, s.Today()); err != nil {
					t.Error(err)
				}
			})
		}
		wg.Wait()
		vs, err := db.VehiclesNumbered(t.Context(), all, []string{"Bus 1"})
		if err != nil {
			t.Fatal(err)
		}
		fs, err := db.Forecasts(t.Context(), all, vs["Bus 1"][0].ID)
		if err != nil || len(fs) != 2 {
			t.Fatalf("got %d axles, %v; want 2", len(fs), err)
		}
		if got := fs[0].Readings; got != 3+n {
			t.Errorf("got a forecast by %d readings, want all %d", got, 3+n)
		}
	})
}
