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

// A forecast that cannot be kept, up to the last row of it, keeps nothing from being
// stored.
func TestTakeInWithoutForecast(t *testing.T) {
	for _, table := range []string{"axle_forecasts", "forecast_log"} {
		for _, dialect := range []string{store.SQLite, store.Postgres} {
			t.Run(table+"/"+dialect, func(t *testing.T) {
				url := storetest.URL(t, dialect)
				db, err := store.Open(t.Context(), url)
				if err != nil {
					t.Fatal(err)
				}
				defer db.Close()
				s := threeForecast(t, db)
				if dialect == store.SQLite {
					storetest.Exec(t, url, `create trigger broken before insert on `+table+` begin select raise(abort, 'broken'); end`)
				} else {
					storetest.Exec(t, url, `
						create function broken() returns trigger language plpgsql as $$ begin raise 'broken'; end $$;
						create trigger broken before insert on `+table+` for each row execute function broken()`)
				}
				text := "vehicle,date,odometer_km,axle,part,side,face,value_mm\nBus 1,2026-02-20,157000,1,pad,left,inner,4.6\n"
				up, _, err := s.TakeIn(t.Context(), all, "test", pipeline.File{Name: "one.csv", Body: strings.NewReader(text)}, s.Today()+1) // of today one is in the log
				if err == nil || !strings.Contains(err.Error(), "broken") {
					t.Errorf("got %v, want what kept the forecast from being kept", err)
				}
				if got, err := db.Upload(t.Context(), all, up.ID); err != nil || got.Accepted != 1 {
					t.Errorf("stored: got %+v, %v; want one row", got, err)
				}
			})
		}
	}
}

// What somebody who holds no vehicle writes to a file of one, in this process or another,
// after what an upload is about was read and before it is stored, is in its forecast.
func TestTakeInWrittenMeanwhile(t *testing.T) {
	db := storetest.Open(t, store.SQLite)
	s := threeForecast(t, db)
	other, err := store.Open(t.Context(), db.File())
	if err != nil {
		t.Fatal(err)
	}
	defer other.Close()
	vs, err := db.VehiclesNumbered(t.Context(), all, []string{"Bus 1"})
	if err != nil {
		t.Fatal(err)
	}
	mm, readings := 4.9, 3
	row := func() string {
		mm -= .02
		readings++
		return fmt.Sprintf("%sBus 1,2026-02-%d,%d,1,pad,left,inner,%.2f\n", readingsHead, readings+6, 156000+100*readings, mm)
	}
	reading := func(s *pipeline.Service) func() {
		return func() { mustImport(t, s, "other.csv", row(), 1, 0, 0) }
	}
	learned := func() {
		if _, err := newService(other).Train(t.Context(), s.Today()); err != nil {
			t.Fatal(err)
		}
	}
	for _, x := range []struct {
		who   string
		write func() // nil = nobody does
		read  int    // times that the vehicle is read
	}{
		{"somebody before, perhaps", nil, 2}, // the first time
		{"this process", reading(s), 3},
		{"nobody", nil, 1},
		{"another process", reading(newService(other)), 3},
		{"nobody", nil, 1},
		{"who learns, of no vehicle", learned, 3},
	} {
		done, read := false, 0
		ctx := store.WithTrace(t.Context(), func(query string, _ []any) {
			if strings.Contains(query, "from own_thresholds") {
				read++
			}
			// The last that is read beforehand.
			if x.write != nil && !done && strings.Contains(query, "from model_parameters") {
				done = true
				x.write()
			}
		})
		_, rep, err := s.TakeIn(ctx, all, "test", pipeline.File{Name: "one.csv", Body: strings.NewReader(row())}, s.Today())
		if err != nil || rep.Vehicles != 1 {
			t.Fatalf("written by %s: got %+v, %v; want one vehicle's forecasts", x.who, rep, err)
		}
		fs, err := db.Forecasts(t.Context(), all, vs["Bus 1"][0].ID)
		if err != nil {
			t.Fatal(err)
		}
		if got := fs[0].Readings; got != readings || done != (x.write != nil) {
			t.Errorf("written by %s: got a forecast by %d readings, want all %d", x.who, got, readings)
		}
		if read != x.read {
			t.Errorf("written by %s: the vehicle was read %d times, want %d", x.who, read, x.read)
		}
	}
}

// What there is to look at on a reading just taken in names it.
func TestTakeInDoubtful(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s := newService(db)
		mustSteady(t, s, "Bus 1")
		mustImport(t, s, "vehicles.csv", "vehicle,category\nBus 2,M3\nBus 3,M3\n", 2, 0, 0)
		if _, err := s.Refit(t.Context(), all, nil, s.Today()); err != nil {
			t.Fatal(err)
		}
		// With 7.0 mm left three days before, a slip of the pen.
		text := readingsHead + "Bus 1,2026-02-27,136300,1,pad,left,inner,2.0\n"
		if _, rep, err := s.TakeIn(t.Context(), all, "test", pipeline.File{Name: "one.csv", Body: strings.NewReader(text)}, s.Today()); err != nil || rep.Vehicles != 1 {
			t.Fatalf("got %+v, %v; want one vehicle's forecasts", rep, err)
		}
		page, err := db.Findings(t.Context(), all, store.FindingQuery{Kind: fleet.MeasureAgain})
		if err != nil || len(page.Rows) != 1 {
			t.Fatalf("got %+v, %v; want one to measure again", page.Rows, err)
		}
		vs, err := db.VehiclesNumbered(t.Context(), all, []string{"Bus 1"})
		if err != nil {
			t.Fatal(err)
		}
		h, err := db.History(t.Context(), all, vs["Bus 1"][0].ID)
		if err != nil {
			t.Fatal(err)
		}
		want := fleet.Record{Kind: fleet.ReadingRecord, ID: h.Readings[len(h.Readings)-1].ID}
		if got := page.Rows[0].Record; got != want {
			t.Errorf("got %+v, want %+v", got, want)
		}
	})
}

// A threshold that another process sets after those of a file's vehicles were read and
// before the file is stored is what their findings are by.
func TestTakeInThresholdMeanwhile(t *testing.T) {
	db := storetest.Open(t, store.SQLite)
	s := newService(db)
	mustImport(t, s, "vehicles.csv", "vehicle,fleet,category\nBus 1,Ferry Lines,M3\nBus 2,Hill Lines,M3\nBus 3,Hill Lines,M3\nBus 4,Hill Lines,M3\nBus 5,Hill Lines,M3\n", 5, 0, 0)
	mustImport(t, s, "axles.csv", "vehicle,axle,brake,pad_new_mm,pad_limit_mm\nBus 1,1,disc,20,3\nBus 2,1,disc,20,3\n", 2, 0, 0)
	other, err := store.Open(t.Context(), db.File())
	if err != nil {
		t.Fatal(err)
	}
	defer other.Close()
	vs, err := db.VehiclesNumbered(t.Context(), all, []string{"Bus 1", "Bus 2"})
	if err != nil {
		t.Fatal(err)
	}
	set := func(number string, mm float64) {
		t.Helper()
		o := store.OwnThreshold{FleetID: vs[number][0].FleetID, ValueID: "WP-15", X: &mm, Reason: fleet.Reason{Why: "tried", By: "N. N."}}
		if err := newService(other).SetThreshold(t.Context(), all, o); err != nil {
			t.Fatal(err)
		}
	}
	set("Bus 1", 5)
	set("Bus 2", 5)
	if _, err := s.Refit(t.Context(), all, nil, s.Today()); err != nil {
		t.Fatal(err)
	}
	asked := 0
	ctx := store.WithTrace(t.Context(), func(query string, _ []any) {
		if strings.Contains(query, "from own_thresholds o") {
			if asked++; asked == 2 { // those of the first fleet were read
				set("Bus 1", 2)
				set("Bus 2", 2)
			}
		}
	})
	text := readingsHead
	for _, number := range []string{"Bus 1", "Bus 2"} { // 3 mm apart, invented
		text += number + ",2026-02-20,157000,1,pad,left,inner,12\n" + number + ",2026-02-20,157000,1,pad,left,outer,15\n"
	}
	if up, rep, err := s.TakeIn(ctx, all, "test", pipeline.File{Name: "two.csv", Body: strings.NewReader(text)}, s.Today()); err != nil || up.Accepted != 4 || rep.Vehicles != 2 || asked < 2 {
		t.Fatalf("got %+v, %+v, %v, thresholds read %d times", up, rep, err, asked)
	}
	page, err := db.Findings(t.Context(), all, store.FindingQuery{Kind: fleet.UnevenPads})
	if err != nil || len(page.Rows) != 2 {
		t.Errorf("got %+v, %v; want both vehicles' pads, more than 2 mm apart", page.Rows, err)
	}
}
