package main

import (
	"errors"
	"io"
	"log/slog"
	"net/http"
	"path/filepath"
	"testing"
	"time"

	"brakewear/ingest"
	"brakewear/internal/auth"
	"brakewear/internal/store"
)

// BenchmarkVehiclePage asks for pages of vehicles that nobody has looked at that day,
// and beside it for their plots alone. With -cpu 1 the garbage is counted as well.
func BenchmarkVehiclePage(b *testing.B) {
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
				return errors.Join(w.benchVehicles(b), w.close())
			})
			if err != nil {
				b.Fatal(err)
			}
		})
	}
}

func (w *allRun) benchVehicles(b *testing.B) error {
	for _, k := range []ingest.Kind{ingest.Odometer, ingest.Fitments} {
		if _, err := importFile(w.e, w.svc, k, "bench", filepath.Join(w.dir, string(k)+".csv")); err != nil {
			return err
		}
	}
	if _, err := w.svc.Refit(b.Context(), auth.AllFleets(), nil, benchUntil); err != nil {
		return err
	}
	d, service, session, err := w.served()
	if err != nil {
		return err
	}
	ceilings, err := w.ceilings(d, session)
	if err != nil {
		return err
	}
	addresses := w.someVehicles(2, len(w.ids))
	day := benchUntil
	w.svc.Now = func() time.Time { return day.Time() }
	for _, x := range []struct {
		name string
		h    http.Handler
		next func()
	}{
		{"first", service, func() { day = 2*benchUntil + 1 - day }}, // that day or the next
		{"plots", ceilings(), func() {}},
	} {
		b.Run(x.name, func(b *testing.B) {
			if err := w.once(x.h, addresses); err != nil {
				b.Fatal(err)
			}
			b.ReportAllocs()
			for i := 0; b.Loop(); i++ {
				if i%len(addresses) == 0 {
					x.next()
				}
				if err := look(b.Context(), x.h, addresses[i%len(addresses)]); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
	return nil
}
