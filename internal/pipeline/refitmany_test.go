package pipeline_test

import (
	"fmt"
	"slices"
	"strings"
	"sync"
	"testing"

	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// What is taken in of a vehicle while many are forecast stays: its forecast rests on all
// readings, and what was found with it is seen, however late the many are kept.
func TestRefitBesideAnUpload(t *testing.T) {
	vehicles, axles := "vehicle,fleet,depot\n", "vehicle,axle,brake,pad_new_mm,pad_limit_mm\n"
	readings := "vehicle,date,odometer_km,axle,part,side,face,value_mm\n"
	more := readings
	const buses = 10
	for i := range buses { // invented
		bus := fmt.Sprintf("Bus %d", i)
		vehicles += bus + ",Ferry Lines,Harbour\n"
		axles += bus + ",1,disc,20,3\n"
		for _, side := range []fleet.Side{fleet.Left, fleet.Right} {
			readings += fmt.Sprintf("%s,2025-06-01,100000,1,pad,%s,inner,15\n%[1]s,2025-12-01,130000,1,pad,%[2]s,inner,12\n", bus, side)
		}
	}
	more += "Bus 3,2026-02-20,139000,1,pad,left,inner,7\nBus 3,2026-02-20,139000,1,pad,left,outer,11\n"
	for name, some := range map[string]bool{"of all": false, "of many": true} {
		t.Run(name, func(t *testing.T) {
			storetest.Each(t, func(t *testing.T, db *store.DB) {
				s := newService(db)
				mustImport(t, s, "vehicles.csv", vehicles, buses, 0, 0)
				mustImport(t, s, "axles.csv", axles, buses, 0, 0)
				mustImport(t, s, "readings.csv", readings, 4*buses, 0, 0)
				if _, err := s.Refit(t.Context(), all, nil, s.Today()); err != nil {
					t.Fatal(err)
				}
				index, err := db.VehicleIndex(t.Context(), all)
				if err != nil {
					t.Fatal(err)
				}
				var ids []int64
				if some {
					for _, vs := range index {
						ids = append(ids, vs[0].ID)
					}
				}
				bus := index["Bus 3"][0].ID
				var once sync.Once
				ctx := store.WithTrace(t.Context(), func(query string, _ []any) {
					if strings.Contains(query, "left join findings") { // what stands is read after the vehicles
						once.Do(func() {
							mustImport(t, s, "more.csv", more, 2, 0, 0)
							if _, err := s.Refit(t.Context(), all, []int64{bus}, s.Today()); err != nil {
								t.Error(err)
							}
							if kinds := kindsOf(findingsOf(t, s, bus)); !slices.Contains(kinds, "uneven_pads open") {
								t.Errorf("after the upload: got %q, want uneven pads among them", kinds)
							}
						})
					}
				})
				rep, err := s.Refit(ctx, all, ids, s.Today())
				if err != nil || rep.Vehicles != buses {
					t.Fatalf("got %+v, %v; want %d vehicles", rep, err, buses)
				}
				if kinds := kindsOf(findingsOf(t, s, bus)); !slices.Contains(kinds, "uneven_pads open") {
					t.Errorf("after the refit: got %q, want uneven pads among them", kinds)
				}
				fs, err := db.Forecasts(t.Context(), all, bus)
				if err != nil {
					t.Fatal(err)
				}
				// The four from before and the outer one; the other is thinner than any wear
				// since allows, and is not gone by.
				if n := fs[0].Readings; n != 5 {
					t.Errorf("got a forecast from %d readings, want 5", n)
				}
			})
		})
	}
}
