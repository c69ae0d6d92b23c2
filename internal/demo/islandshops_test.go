package demo

import (
	"testing"
	"time"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// The island's workshops have hours and bays, every axle has parts that fit,
// and a plan that is accepted in part, whatever the day.
func TestIslandPlan(t *testing.T) {
	if testing.Short() {
		t.Skip("makes the island")
	}
	for _, today := range []fleet.Date{until, fleet.NewDate(2026, time.November, 28)} { // a Saturday
		db := storetest.Open(t, store.SQLite)
		db.Now = func() time.Time { return today.Time().Add(9 * time.Hour) }
		svc := &pipeline.Service{DB: db, Now: db.Now, Model: "pooled"}
		ctx, all := t.Context(), auth.AllFleets()
		check := func(err error) {
			t.Helper()
			if err != nil {
				t.Fatal(err)
			}
		}
		check(TakeIn(ctx, svc, Island(today)))
		_, err := svc.Refit(ctx, all, nil, today)
		check(err)
		check(Plan(ctx, svc))
		ws, err := db.Workshops(ctx, all, today)
		check(err)
		for _, w := range ws {
			if !w.Workshop.Set || len(w.Closures) == 0 || w.Closures[0].First.Weekday() != 3 {
				t.Errorf("%s: %s: %+v", today, w.Name, w.Closures)
			}
		}
		ns, err := svc.PartsNeeded(ctx, all, pipeline.PartsQuery{From: today, To: today + 56})
		check(err)
		short := 0
		for _, n := range ns {
			if n.Part.ID == 0 {
				t.Errorf("%s: no part is known for %s", today, n.For)
			}
			if n.Short > 0 {
				short++
			}
		}
		if len(ns) < 8 || short == 0 || short == len(ns) {
			t.Errorf("%s: %d parts are needed, %d are short: want some of each", today, len(ns), short)
		}
		bs, err := db.Bookings(ctx, all, store.BookingQuery{})
		check(err)
		vs, err := db.Visits(ctx, all, store.VisitQuery{State: store.VisitOpen})
		check(err)
		kept := 0
		for _, b := range bs {
			if b.Kept {
				kept++
			}
		}
		if len(bs) < 5 || len(vs) < 3 || kept != 1 {
			t.Errorf("%s: %d bookings, %d of them moved by hand, %d visits left to decide on", today, len(bs), kept, len(vs))
		}
	}
}
