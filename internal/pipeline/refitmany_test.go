package pipeline_test

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// meanwhile is a fleet of which more is taken in while it is forecast.
type meanwhile struct {
	s         *pipeline.Service
	ids       []int64
	bus, bare int64 // those that more is of: Bus 3, and one without axles
}

const (
	meanwhileBuses = 10 // with an axle each
	moreReadings   = "vehicle,date,odometer_km,axle,part,side,face,value_mm\n" +
		"Bus 3,2026-02-20,139000,1,pad,left,inner,7\nBus 3,2026-02-20,139000,1,pad,left,outer,11\n"
	moreOdometers = "vehicle,date,odometer_km\nTrailer,2025-12-01,90000\nTrailer,2026-01-01,112000\n"
)

func newMeanwhile(t *testing.T, db *store.DB) *meanwhile {
	t.Helper()
	vehicles, axles := "vehicle,fleet,depot\nTrailer,Ferry Lines,Harbour\n", "vehicle,axle,brake,pad_new_mm,pad_limit_mm\n"
	readings := "vehicle,date,odometer_km,axle,part,side,face,value_mm\n"
	for i := range meanwhileBuses { // invented
		bus := fmt.Sprintf("Bus %d", i)
		vehicles += bus + ",Ferry Lines,Harbour\n"
		axles += bus + ",1,disc,20,3\n"
		for _, side := range []fleet.Side{fleet.Left, fleet.Right} {
			readings += fmt.Sprintf("%s,2025-06-01,100000,1,pad,%s,inner,15\n%[1]s,2025-12-01,130000,1,pad,%[2]s,inner,12\n", bus, side)
		}
	}
	m := &meanwhile{s: newService(db)}
	mustImport(t, m.s, "vehicles.csv", vehicles, meanwhileBuses+1, 0, 0)
	mustImport(t, m.s, "axles.csv", axles, meanwhileBuses, 0, 0)
	mustImport(t, m.s, "readings.csv", readings, 4*meanwhileBuses, 0, 0)
	mustImport(t, m.s, "odometer.csv", "vehicle,date,odometer_km\nTrailer,2025-10-01,100000\nTrailer,2025-11-01,105000\n", 2, 0, 0)
	m.refit(t, t.Context(), nil)
	index, err := db.VehicleIndex(t.Context(), all)
	if err != nil {
		t.Fatal(err)
	}
	m.bus, m.bare = index["Bus 3"][0].ID, index["Trailer"][0].ID
	for _, vs := range index {
		m.ids = append(m.ids, vs[0].ID)
	}
	return m
}

func (m *meanwhile) refit(t *testing.T, ctx context.Context, ids []int64) pipeline.RefitReport {
	t.Helper()
	rep, err := m.s.Refit(ctx, all, ids, m.s.Today())
	if err != nil {
		t.Error(err)
	}
	return rep
}

// readingsKnown checks that the bus's forecast rests on what was taken in meanwhile.
func (m *meanwhile) readingsKnown(t *testing.T) {
	t.Helper()
	fs, err := m.s.DB.Forecasts(t.Context(), all, m.bus)
	if err != nil {
		t.Fatal(err)
	}
	// The four from before and the outer one; the other is thinner than any wear
	// since allows, and is not gone by.
	if n := fs[0].Readings; n != 5 {
		t.Errorf("got a forecast from %d readings, want 5", n)
	}
}

// on calls the first of fns at the first statement that holds some text, and so on.
func on(ctx context.Context, text string, fns ...func()) context.Context {
	next := make(chan func(), len(fns))
	for _, fn := range fns {
		next <- fn
	}
	return store.WithTrace(ctx, func(query string, _ []any) { // by several at a time
		if strings.Contains(query, text) {
			select {
			case fn := <-next:
				fn()
			default:
			}
		}
	})
}

// standing is read after the vehicles.
const standing = "left join findings"

// What is taken in of a vehicle while many are forecast stays: its forecast rests on all
// readings, and what was found with it is seen, however late the many are kept.
func TestRefitBesideAnUpload(t *testing.T) {
	for name, c := range map[string]struct{ some, others bool }{
		"of all":                 {},
		"of many":                {some: true},
		"of many, beside many":   {some: true, others: true},
		"of all, beside as many": {others: true},
	} {
		t.Run(name, func(t *testing.T) {
			storetest.Each(t, func(t *testing.T, db *store.DB) {
				m := newMeanwhile(t, db)
				seen := func(when string) {
					for id, kind := range map[int64]string{m.bus: "uneven_pads open", m.bare: "odometer_back open"} {
						if kinds := kindsOf(findingsOf(t, m.s, id)); !slices.Contains(kinds, kind) {
							t.Errorf("%s: got %q, want %q among them", when, kinds, kind)
						}
					}
				}
				ctx := on(t.Context(), standing, func() {
					mustImport(t, m.s, "more.csv", moreReadings, 2, 0, 0)
					mustImport(t, m.s, "odometer.csv", moreOdometers, 2, 0, 0)
					others := []int64{m.bus, m.bare}
					if c.others {
						others = m.ids
					}
					m.refit(t, t.Context(), others)
					seen("after the upload")
				})
				var ids []int64
				if c.some {
					ids = m.ids
				}
				rep := m.refit(t, ctx, ids)
				if rep.Vehicles != meanwhileBuses+1 || rep.Axles != meanwhileBuses {
					t.Errorf("got %+v, want %d axles of one vehicle more", rep, meanwhileBuses)
				}
				seen("after the refit")
				m.readingsKnown(t)
			})
		})
	}
}

// Many are not kept while somebody holds one of them: what he read before is kept first.
func TestRefitBesideAFew(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		m := newMeanwhile(t, db)
		h, err := db.History(t.Context(), all, m.bus)
		if err != nil {
			t.Fatal(err)
		}
		mm := 5.
		o := store.OwnThreshold{FleetID: h.Vehicle.FleetID, ValueID: "WP-15", X: &mm, Reason: fleet.Reason{Why: "tried", By: "N. N."}}
		if err := m.s.SetThreshold(t.Context(), all, o); err != nil {
			t.Fatal(err)
		}
		var many sync.WaitGroup
		defer many.Wait()
		// The thresholds are read after the vehicle.
		ctx := on(t.Context(), "from own_thresholds o", func() {
			mustImport(t, m.s, "more.csv", moreReadings, 2, 0, 0)
			kept := make(chan struct{})
			many.Go(func() {
				defer close(kept)
				m.refit(t, t.Context(), m.ids)
			})
			select {
			case <-kept:
				t.Error("many were kept while one was held")
			case <-time.After(500 * time.Millisecond): // in which those who do not wait are through
			}
		})
		m.refit(t, ctx, []int64{m.bus})
		many.Wait()
		m.readingsKnown(t)
	})
}

// A share that ends before its late vehicles are forecast once more leaves them to whoever
// does the rest of it.
func TestRefitLateIsLeft(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		m := newMeanwhile(t, db)
		ending, end := context.WithCancel(t.Context())
		defer end()
		ctx := on(ending, standing, func() {
			m.refit(t, t.Context(), []int64{m.bus})
			mustImport(t, m.s, "more.csv", moreReadings, 2, 0, 0) // with its forecast to follow
		}, end)
		if _, err := m.s.Refit(ctx, all, nil, m.s.Today()); err == nil {
			t.Fatal("the refit was not ended")
		}
		if helped, err := m.s.Help(t.Context()); !helped || err != nil {
			t.Errorf("got %v, %v; want the rest done", helped, err)
		}
		m.readingsKnown(t)
	})
}
