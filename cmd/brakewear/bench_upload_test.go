package main

import (
	"errors"
	"io"
	"log/slog"
	"path/filepath"
	"slices"
	"sync"
	"testing"
	"time"

	"brakewear/ingest"
	"brakewear/internal/auth"
	"brakewear/internal/store"
)

// BenchmarkUpload sends a reading of one vehicle and reads the forecast that
// counts it, by 20 clients at once. Beside it stands what no upload can do
// without: learning from the same vehicles and forecasting them in memory, on all
// processors. "of-fitting" is that over an upload, 1 being all of it.
func BenchmarkUpload(b *testing.B) { onBenchFleets(b, (*allRun).benchUploads) }

// onBenchFleets runs bench on each kind of database with 100 vehicles that are
// forecast.
func onBenchFleets(b *testing.B, bench func(w *allRun, b *testing.B) error) {
	for _, dialect := range []string{store.SQLite, store.Postgres} {
		b.Run(dialect, func(b *testing.B) {
			e := &env{ctx: b.Context(), getenv: func(string) string { return "" }, stdout: io.Discard, stderr: io.Discard, now: time.Now, log: slog.New(slog.DiscardHandler)}
			err := benchFleet(e, 100, 1, []string{dialect}, func(dialect, dir string, urls [2]string) error {
				w := &allRun{c: benchAllCmd{Seed: 1}, e: e, dialect: dialect, n: 100, dir: dir, urls: urls}
				if _, err := benchImport(e, dir, urls); err != nil {
					return err
				}
				if err := w.open(); err != nil {
					return err
				}
				err := w.forecastAll()
				if err == nil {
					err = bench(w, b)
				}
				return errors.Join(err, w.close())
			})
			if err != nil {
				b.Fatal(err)
			}
		})
	}
}

// forecastAll takes in what the import left out, and forecasts all vehicles.
func (w *allRun) forecastAll() error {
	for _, k := range []ingest.Kind{ingest.Odometer, ingest.Fitments} {
		if _, err := importFile(w.e, w.svc, k, "bench", filepath.Join(w.dir, string(k)+".csv")); err != nil {
			return err
		}
	}
	_, err := w.svc.Refit(w.e.ctx, auth.AllFleets(), nil, benchUntil)
	return err
}

func (w *allRun) benchUploads(b *testing.B) error {
	fitting, err := w.fitAlone()
	if err != nil {
		return err
	}
	_, service, _, err := w.served()
	if err != nil {
		return err
	}
	ready := make(chan func() error, b.N)
	for i := range b.N {
		do, err := w.upload(service, w.ids[i%len(w.ids)], i/len(w.ids))
		if err != nil {
			return err
		}
		if do != nil {
			ready <- do
		}
	}
	close(ready)
	errs := make([]error, benchClients)
	times := make([][]float64, benchClients)
	var wg sync.WaitGroup
	b.ResetTimer()
	for client := range benchClients {
		wg.Go(func() {
			for do := range ready {
				start := time.Now()
				if errs[client] = do(); errs[client] != nil {
					return
				}
				times[client] = append(times[client], time.Since(start).Seconds()*1e3)
			}
		})
	}
	wg.Wait()
	b.StopTimer()
	all := &loaded{ms: slices.Concat(times...)}
	slices.Sort(all.ms)
	each := b.Elapsed().Seconds() / float64(max(1, len(all.ms)))
	b.ReportMetric(all.at(.99), "p99-ms")
	b.ReportMetric(fitting/float64(len(w.ids))/each, "of-fitting")
	return errors.Join(errs...)
}
