package pipeline_test

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// A set is measured as it wears by 0.2 mm per 1,000 km, forecast month by month,
// and comes off with 1 mm left: the record holds the forecasts against the day on
// which it would have met its limit. Expected values by hand.
func TestTrackRecord(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s := newService(db)
		s.Model = "line"
		start := fleet.NewDate(2025, 1, 1)
		now := start.Time()
		s.Now = func() time.Time { return now }
		db.Now = s.Now
		mustImport(t, s, "vehicles.csv", vehiclesCSV, 2, 0, 0)
		mustImport(t, s, "axles.csv", axlesCSV, 3, 0, 0)
		ids := map[string]int64{}
		index, err := db.VehicleIndex(t.Context(), all)
		if err != nil {
			t.Fatal(err)
		}
		for number, ks := range index {
			ids[number] = ks[0].ID
		}
		mustImport(t, s, "fitments.csv", "vehicle,date,axle,part,odometer_km,value_mm\nBus 1,2025-01-01,1,pad,50000,20\n", 1, 0, 0)
		// 250 km a day; 17 mm from new 20 to the limit 3 last 85,000 km, 340 days.
		on := func(day int) (string, float64, float64) {
			km := 50000 + 250*float64(day)
			return (start + fleet.Date(day)).String(), km, 20 - .2*(km-50000)/1000
		}
		for day := 30; day <= 300; day += 30 {
			now = (start + fleet.Date(day)).Time().Add(12 * time.Hour)
			date, km, mm := on(day)
			mustImport(t, s, "readings.csv", fmt.Sprintf("vehicle,date,odometer_km,axle,part,side,face,value_mm\nBus 1,%s,%.0f,1,pad,left,inner,%.2f\n", date, km, mm), 1, 0, 0)
			if _, err := s.Refit(t.Context(), all, []int64{ids["Bus 1"]}, s.Today()); err != nil {
				t.Fatal(err)
			}
		}
		record := func() []store.Kept {
			t.Helper()
			rows, err := db.TrackRecord(t.Context(), all, store.RecordQuery{})
			if err != nil {
				t.Fatal(err)
			}
			return rows
		}
		if got := record(); len(got) != 0 {
			t.Fatalf("nothing came off, got %+v", got)
		}
		now = (start + 320).Time().Add(12 * time.Hour)
		date, km, mm := on(320)
		mustImport(t, s, "readings.csv", fmt.Sprintf("vehicle,date,odometer_km,axle,part,side,face,value_mm\nBus 1,%s,%.0f,1,pad,left,inner,%.2f\n", date, km, mm), 1, 0, 0)
		mustImport(t, s, "fitments.csv", fmt.Sprintf("vehicle,date,axle,part,odometer_km,value_mm\nBus 1,%s,1,pad,%.0f,20\n", date, km), 1, 0, 0)
		refit := func() {
			t.Helper()
			if _, err := s.Refit(t.Context(), all, []int64{ids["Bus 1"]}, s.Today()); err != nil {
				t.Fatal(err)
			}
		}
		refit()
		rows := record()
		if len(rows) != 3 {
			t.Fatalf("got %+v, want three distances ahead", rows)
		}
		for i, want := range []struct {
			ahead int
			asOf  int // day of the forecast that stands: the last one before
		}{{30, 270}, {60, 240}, {90, 210}} {
			k := rows[i]
			if k.Ahead != want.ahead || k.Promised == nil || *k.Promised != start+fleet.Date(want.asOf) || k.Replayed {
				t.Errorf("%d days ahead: got %+v, want the forecast of day %d", want.ahead, k, want.asOf)
				continue
			}
			// The limit: day 340, 135,000 km.
			if math.Abs(k.LeftMM-1) > 1e-9 || math.Abs(k.CrossDay-float64(start+340)) > .5 || math.Abs(k.CrossKm-135000) > 50 {
				t.Errorf("got %g mm left, limit on day %g at %g km", k.LeftMM, k.CrossDay-float64(start), k.CrossKm)
			}
			// Readings without error: the forecast is about right.
			if math.Abs(k.Day[1]-k.CrossDay) > 10 || !(k.Day[0] <= k.CrossDay && k.CrossDay <= k.Day[2]) || math.Abs(k.Km[1]-k.CrossKm) > 2500 {
				t.Errorf("%d days ahead: got %+v", want.ahead, k)
			}
		}
		// The same again changes nothing; forecasts made afterwards say so.
		refit()
		if got := record(); len(got) != 3 {
			t.Errorf("again: got %d rows", len(got))
		}
		if strings.TrimSpace(string(rows[0].Category)) != "M3" || rows[0].Depot != "Harbour" {
			t.Errorf("got class %q, depot %q", rows[0].Category, rows[0].Depot)
		}
	})
}

// Forecasts made afterwards say so, and leave what is due as it is.
func TestReplay(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s := newService(db)
		s.Model = "line"
		db.Now = s.Now
		mustImport(t, s, "vehicles.csv", vehiclesCSV, 2, 0, 0)
		mustImport(t, s, "axles.csv", axlesCSV, 3, 0, 0)
		mustImport(t, s, "readings.csv", readingsCSV, 5, 0, 0)
		mustImport(t, s, "fitments.csv", "vehicle,date,axle,part,odometer_km,value_mm\nBus 1,2026-02-01,1,pad,155000,20\n", 1, 0, 0)
		refit := func() []store.Kept {
			t.Helper()
			if _, err := s.Refit(t.Context(), all, nil, s.Today()); err != nil {
				t.Fatal(err)
			}
			rows, err := db.TrackRecord(t.Context(), all, store.RecordQuery{})
			if err != nil {
				t.Fatal(err)
			}
			return rows
		}
		days := []fleet.Date{fleet.NewDate(2025, 12, 20), fleet.NewDate(2025, 10, 20)}
		n, err := s.Replay(t.Context(), all, days)
		if err != nil || n != 6 {
			t.Fatalf("got %d forecasts, %v; want 3 axles on 2 days", n, err)
		}
		if fs, err := db.Forecasts(t.Context(), all, 1); len(fs) != 0 || err != nil && !errors.Is(err, fleet.ErrNotFound) {
			t.Error("a replay made forecasts the latest")
		}
		rows := refit()
		if len(rows) != 3 || !rows[0].Replayed || *rows[0].Promised != days[0] || rows[2].Promised == nil || *rows[2].Promised != days[1] {
			t.Errorf("got %+v", rows)
		}
		if _, err := s.Replay(t.Context(), all, []fleet.Date{s.Today()}); err == nil {
			t.Error("today was replayed")
		}
		if n, err := s.Replay(t.Context(), auth.Scope{}, days); n != 0 || err != nil {
			t.Errorf("no scope: got %d, %v", n, err)
		}
	})
}
