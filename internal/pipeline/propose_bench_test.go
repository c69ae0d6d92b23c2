package pipeline

import (
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"brakewear/forecast"
	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// BenchmarkPropose plans 1,000 due axles of 700 vehicles at five depots over 60
// days, from the stored forecasts to the stored proposal. Everything in it is
// invented.
func BenchmarkPropose(b *testing.B) {
	const depots, vehicles, axles = 5, 700, 1000
	db := storetest.Open(b, store.SQLite)
	now := time.Date(2026, 3, 2, 5, 0, 0, 0, time.UTC)
	db.Now = func() time.Time { return now }
	s := &Service{DB: db, Now: db.Now}
	ctx, all, today := b.Context(), auth.AllFleets(), fleet.DateOf(now)
	check := func(err error) {
		if err != nil {
			b.Fatal(err)
		}
	}
	up := fleet.Upload{Kind: "vehicles", By: "N. N."}
	check(db.TakeIn(ctx, all, &up, func(w *store.Writer) error {
		var es []store.VehicleEntry
		for i := range vehicles {
			es = append(es, store.VehicleEntry{Fleet: "Ferry Lines", Depot: fmt.Sprint("Depot ", i%depots), Vehicle: fleet.Vehicle{Number: fmt.Sprint("Bus ", i), Category: "M3"}})
		}
		_, err := w.Vehicles(es)
		return err
	}))
	ds, err := db.Depots(ctx, all)
	check(err)
	for _, d := range ds {
		w := fleet.DefaultWorkshop()
		w.DepotID, w.Bays, w.Overtime = d.ID, 2, 2
		for i := range w.Week {
			w.Week[i].Technicians *= 2
		}
		check(db.SaveWorkshop(ctx, all, "N. N.", w))
	}
	index, err := db.VehicleIndex(ctx, all)
	check(err)
	r := rand.New(rand.NewPCG(1, 2))
	var fs []store.AxleForecast
	for i := range axles {
		id := index[fmt.Sprint("Bus ", i%vehicles)][0].ID
		first, span := 60*r.Float64(), 20+60*r.Float64()
		f := store.AxleForecast{VehicleID: id, Risk: .05}
		f.Axle, f.AsOf, f.KmPerDay = 1+i/vehicles, forecast.Day(today), 100
		f.Crossing = forecast.Crossing{
			Km:  forecast.DistOf(func(p float64) float64 { return first + span*p }),
			Day: forecast.DistOf(func(p float64) float64 { return float64(today) + first + span*p }),
		}
		f.Positions = []forecast.PositionForecast{{Pos: forecast.Position{Part: forecast.Pad}, Spec: forecast.Spec{New: 20, Limit: 3}, ThicknessMM: 6, RatePer10000: 3, Crossing: f.Crossing}}
		f.BookBy = BookBy(f.Crossing, f.AsOf, f.Risk)
		fs = append(fs, f)
	}
	check(storetest.SaveForecasts(ctx, db, all, fs))
	for b.Loop() {
		ps, err := s.Propose(ctx, all, "N. N.", today, ProposeOptions{})
		check(err)
		f := ps[0].Figures
		b.ReportMetric(float64(f.Unplaced+f.Late), "late/op")
		b.ReportMetric(100*(ps[0].Cost-ps[0].Bound)/ps[0].Cost, "gap%/op")
	}
}
