package store_test

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// benchReadings are n readings as a fleet gives them: visits of eight values.
func benchReadings(ids []int64, n int) []fleet.Reading {
	rs := make([]fleet.Reading, n)
	for i := range rs {
		visit := i / 8
		rs[i] = fleet.Reading{
			VehicleID:  ids[visit/10%len(ids)],
			Date:       day(1, 1) + fleet.Date(30*(visit%10)+visit/(10*len(ids))),
			OdometerKm: ptr(100000 + 7000*float64(visit%10)),
			Position:   pad(i%8/4+1, []fleet.Side{fleet.Left, fleet.Right}[i/2%2], []fleet.Face{fleet.Inner, fleet.Outer}[i%2]),
			MM:         20 - float64(visit%10),
			Given:      "12.3",
			Unit:       "mm",
			Gauge:      "0.1 mm caliper",
			Technician: "N. N.",
			Line:       i + 2,
		}
	}
	return rs
}

// BenchmarkReadings stores 100,000 new readings in one upload of batches of
// 4,096, beside the bare way of the same rows into the same two tables of another
// database: COPY on PostgreSQL, a prepared insert on SQLite, without a check. The
// metric "of-bare" is their ratio, 1 being as fast as bare.
func BenchmarkReadings(b *testing.B) {
	const rows, batch = 100_000, 4096
	for _, dialect := range []string{store.SQLite, store.Postgres} {
		b.Run(dialect, func(b *testing.B) {
			var entries []store.VehicleEntry
			for i := range 1000 {
				entries = append(entries, entry(fmt.Sprint("Bus ", i)))
			}
			var bare, full time.Duration
			for b.Loop() {
				db := storetest.Open(b, dialect) // nothing can be deleted from one
				rs := benchReadings(mustVehicles(b, db, entries...), rows)
				full += timed(func() {
					mustTakeIn(b, db, func(w *store.Writer) error {
						for from := 0; from < rows; from += batch {
							c, err := w.Readings(rs[from:min(from+batch, rows)])
							if err != nil {
								return err
							}
							if c.Repeated != 0 {
								b.Fatalf("%d rows were there already", c.Repeated)
							}
						}
						return nil
					})
				})
				empty := storetest.Open(b, dialect)
				mustVehicles(b, empty, entries...)
				bare += timed(func() {
					if _, err := empty.PourBare(b.Context(), slices.Values([][]fleet.Reading{rs}), func(_ string, pour func() error) error { return pour() }); err != nil {
						b.Fatal(err)
					}
				})
			}
			b.ReportMetric(float64(b.N*rows)/full.Seconds(), "rows/s")
			b.ReportMetric(float64(b.N*rows)/bare.Seconds(), "bare-rows/s")
			b.ReportMetric(bare.Seconds()/full.Seconds(), "of-bare")
		})
	}
}

func timed(f func()) time.Duration {
	start := time.Now()
	f()
	return time.Since(start)
}

// benchFleet stores vehicles with two axles and ten visits each.
func benchFleet(b *testing.B, db *store.DB, vehicles int) []int64 {
	var entries []store.VehicleEntry
	for i := range vehicles {
		entries = append(entries, entry(fmt.Sprint("Bus ", i), of(fmt.Sprint("Fleet ", i%20), fmt.Sprint("Depot ", i%7))))
	}
	ids := mustVehicles(b, db, entries...)
	rs := benchReadings(ids, vehicles*80)
	mustTakeIn(b, db, func(w *store.Writer) error {
		for from := 0; from < len(rs); from += 4096 {
			if _, err := w.Readings(rs[from:min(from+4096, len(rs))]); err != nil {
				return err
			}
		}
		return nil
	})
	return ids
}

// BenchmarkEachHistory reads the histories of 2,000 vehicles, 160,000
// readings.
func BenchmarkEachHistory(b *testing.B) {
	const vehicles = 2000
	for _, dialect := range []string{store.SQLite, store.Postgres} {
		b.Run(dialect, func(b *testing.B) {
			db := storetest.Open(b, dialect)
			benchFleet(b, db, vehicles)
			readings := 0
			for b.Loop() {
				err := db.EachHistory(b.Context(), all, nil, func(h *store.History) error {
					readings += len(h.Readings)
					return nil
				})
				if err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(readings)/b.Elapsed().Seconds(), "readings/s")
		})
	}
}

// BenchmarkForecasts replaces the forecasts of 4,000 axles in transactions of
// 500, and lists the first page of what is due.
func BenchmarkForecasts(b *testing.B) {
	const vehicles, batch = 2000, 500
	for _, dialect := range []string{store.SQLite, store.Postgres} {
		db := storetest.Open(b, dialect)
		var entries []store.VehicleEntry
		for i := range vehicles {
			entries = append(entries, entry(fmt.Sprint("Bus ", i)))
		}
		var fs []store.AxleForecast
		for i, id := range mustVehicles(b, db, entries...) {
			for axle := range 2 {
				f := due(id, axle+1, ptr(asOf+fleet.Date(i%500)), float64(asOf)+float64(i%500))
				for len(f.Positions) < 4 {
					f.Positions = append(f.Positions, f.Positions[0])
				}
				fs = append(fs, f)
			}
		}
		mustForecasts(b, db, fs...)
		b.Run("save/"+dialect, func(b *testing.B) {
			for b.Loop() {
				for from := 0; from < len(fs); from += batch {
					if err := storetest.SaveForecasts(b.Context(), db, all, fs[from:from+batch]); err != nil {
						b.Fatal(err)
					}
				}
			}
			b.ReportMetric(float64(b.N*len(fs))/b.Elapsed().Seconds(), "axles/s")
		})
		b.Run("due/"+dialect, func(b *testing.B) {
			for b.Loop() {
				page, err := db.DueSoon(b.Context(), all, store.DueQuery{})
				if err != nil || page.Total != len(fs) {
					b.Fatalf("got %d axles, %v; want %d", page.Total, err, len(fs))
				}
			}
		})
	}
}
