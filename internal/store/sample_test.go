package store_test

import (
	"context"
	"fmt"
	"testing"
	"time"

	"brakewear/forecast"
	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// All names and values in the tests of this package are invented.

var all = auth.AllFleets()

// day is a civil day of a sample.
func day(month time.Month, d int) fleet.Date { return fleet.NewDate(2025, month, d) }

func ptr[T any](v T) *T { return &v }

// entry is a vehicle of the fleet North unless others are given.
func entry(number string, more ...func(*store.VehicleEntry)) store.VehicleEntry {
	e := store.VehicleEntry{Fleet: "North", Depot: "Quay", Vehicle: fleet.Vehicle{Number: number}}
	for _, f := range more {
		f(&e)
	}
	return e
}

func of(fleetName, depot string) func(*store.VehicleEntry) {
	return func(e *store.VehicleEntry) { e.Fleet, e.Depot = fleetName, depot }
}

func pad(axle int, side fleet.Side, face fleet.Face) fleet.Position {
	return fleet.Position{Axle: axle, Part: fleet.Pad, Side: side, Face: face}
}

// reading is a pad's thickness at the front left inner position.
func reading(vehicleID int64, d fleet.Date, mm float64) fleet.Reading {
	return fleet.Reading{
		VehicleID: vehicleID,
		Position:  pad(1, fleet.Left, fleet.Inner),
		Date:      d,
		MM:        mm,
		Given:     fmt.Sprint(mm),
		Unit:      "mm",
	}
}

// mustTakeIn stores what fill writes.
func mustTakeIn(t testing.TB, db *store.DB, fill func(w *store.Writer) error) fleet.Upload {
	t.Helper()
	up := fleet.Upload{Kind: "test", Name: "test.csv", By: "N. N."}
	if err := db.TakeIn(t.Context(), all, &up, fill); err != nil {
		t.Fatal(err)
	}
	return up
}

// mustVehicles stores vehicles and returns their ids in the order given.
func mustVehicles(t testing.TB, db *store.DB, entries ...store.VehicleEntry) []int64 {
	t.Helper()
	mustTakeIn(t, db, func(w *store.Writer) error {
		_, err := w.Vehicles(entries)
		return err
	})
	index, err := db.VehicleIndex(t.Context(), all)
	if err != nil {
		t.Fatal(err)
	}
	ids := make([]int64, len(entries))
	for i, e := range entries {
		for _, k := range index[e.Number] {
			if k.Fleet == e.Fleet {
				ids[i] = k.ID
			}
		}
	}
	return ids
}

func mustReadings(t testing.TB, db *store.DB, rs ...fleet.Reading) {
	t.Helper()
	mustTakeIn(t, db, func(w *store.Writer) error {
		_, err := w.Readings(rs)
		return err
	})
}

// count returns the number that a query of one number gives.
func count(t testing.TB, db *store.DB, query string, args ...any) (n int) {
	t.Helper()
	p := db.WritePool()
	if err := p.GetContext(context.Background(), &n, p.Rebind(query), args...); err != nil {
		t.Fatal(err)
	}
	return n
}

// mustExec runs a statement behind the store's back.
func mustExec(t testing.TB, db *store.DB, query string, args ...any) {
	t.Helper()
	p := db.WritePool()
	if _, err := p.ExecContext(context.Background(), p.Rebind(query), args...); err != nil {
		t.Fatal(err)
	}
}

// asOf is the day that sample forecasts are made for.
var asOf = day(time.March, 1)

// due is a forecast whose limit day is spread evenly over the 100 days from
// first, and its limit distance over 10,000 km from 50,000.
func due(vehicleID int64, axle int, bookBy *fleet.Date, first float64) store.AxleForecast {
	f := store.AxleForecast{VehicleID: vehicleID, BookBy: bookBy, Risk: .05}
	f.Axle = axle
	f.Model = "sample"
	f.AsOf = forecast.Day(asOf)
	f.OdometerKm = 42000
	f.Crossing = forecast.Crossing{
		Km:  forecast.DistOf(func(p float64) float64 { return 50000 + 10000*p }),
		Day: forecast.DistOf(func(p float64) float64 { return first + 100*p }),
	}
	f.Positions = []forecast.PositionForecast{{
		Pos:         forecast.Position{Part: forecast.Pad, Side: "left", Face: "inner"},
		Spec:        forecast.Spec{New: 20, Limit: 3},
		ThicknessMM: 8,
		Crossing:    f.Crossing,
	}}
	return f
}

func mustForecasts(t testing.TB, db *store.DB, fs ...store.AxleForecast) {
	t.Helper()
	if err := storetest.SaveForecasts(t.Context(), db, all, fs); err != nil {
		t.Fatal(err)
	}
}
