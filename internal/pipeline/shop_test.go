package pipeline

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"brakewear/forecast"
	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// shop is a small invented fleet: five buses at the depot Harbour, which has
// room for three jobs a day, and a proposal to make.
type shop struct {
	*Service
	t     *testing.T
	buses []int64
	depot fleet.Depot
	today fleet.Date // a Monday
}

func newShop(t *testing.T, db *store.DB) *shop {
	t.Helper()
	now := time.Date(2026, 3, 2, 5, 0, 0, 0, time.UTC)
	db.Now = func() time.Time { return now }
	s := &shop{Service: &Service{DB: db, Now: db.Now}, t: t, today: fleet.DateOf(now)}
	up := fleet.Upload{Kind: "vehicles", By: "N. N."}
	s.check(db.TakeIn(t.Context(), auth.AllFleets(), &up, func(w *store.Writer) error {
		var es []store.VehicleEntry
		for i := range 5 {
			es = append(es, store.VehicleEntry{Fleet: "Ferry Lines", Depot: "Harbour", Vehicle: fleet.Vehicle{Number: fmt.Sprint("Bus ", i+1), Category: "M3", Make: "Orlo"}})
		}
		_, err := w.Vehicles(es)
		return err
	}))
	index, err := db.VehicleIndex(t.Context(), auth.AllFleets())
	s.check(err)
	for i := range 5 {
		s.buses = append(s.buses, index[fmt.Sprint("Bus ", i+1)][0].ID)
	}
	ds, err := db.Depots(t.Context(), auth.AllFleets())
	s.check(err)
	s.depot = ds[0]
	return s
}

// handIn hands a file in as CSV, first to be checked and then taken in, and wants of
// both that they come to the same: rows taken, there already and refused, and the problems.
func (s *shop) handIn(what string, sc auth.Scope, text, want string) {
	s.t.Helper()
	file := func() File { return File{Name: "rows.csv", Body: strings.NewReader(text)} }
	checked, err := s.Check(s.t.Context(), sc, "N. N.", file())
	s.check(err)
	taken, err := s.Import(s.t.Context(), sc, "N. N.", file())
	s.check(err)
	for how, up := range map[string]fleet.Upload{"checked": checked.Upload, "taken in": taken} {
		got := fmt.Sprintf("%d taken, %d there, %d refused", up.Accepted, up.Repeated, up.Refused)
		for _, p := range up.Problems {
			got += "; " + p.Column + " " + p.Message
		}
		if got != want {
			s.t.Errorf("%s, %s: got %q, want %q", what, how, got, want)
		}
	}
}

func (s *shop) check(err error) {
	s.t.Helper()
	if err != nil {
		s.t.Fatal(err)
	}
}

// due gives an axle a forecast: its limit is reached evenly over the 40 days
// from first days after today, so that it is to be booked by two days after.
func (s *shop) due(bus, axle, first int, more ...func(*store.AxleForecast)) {
	s.t.Helper()
	f := store.AxleForecast{VehicleID: s.buses[bus-1], Risk: .05}
	f.Axle, f.Model, f.AsOf, f.OdometerKm, f.KmPerDay, f.Readings = axle, "sample", forecast.Day(s.today), 42000, 100, 6
	f.Crossing = forecast.Crossing{
		Km:  forecast.DistOf(func(p float64) float64 { return 42000 + 100*(float64(first)+40*p) }),
		Day: forecast.DistOf(func(p float64) float64 { return float64(s.today) + float64(first) + 40*p }),
	}
	f.Positions = []forecast.PositionForecast{{
		Pos: forecast.Position{Part: forecast.Pad}, Spec: forecast.Spec{New: 20, Limit: 3}, ThicknessMM: 6, RatePer10000: 3, Crossing: f.Crossing,
	}}
	f.BookBy = BookBy(f.Crossing, f.AsOf, f.Risk)
	for _, m := range more {
		m(&f)
	}
	s.check(storetest.SaveForecasts(s.t.Context(), s.DB, auth.AllFleets(), []store.AxleForecast{f}))
}

func pastLimitNow(f *store.AxleForecast) {
	f.PastLimit = true
	f.Warnings = []forecast.Warning{{Code: forecast.PastLimit, Text: "at its limit"}}
}
