package main

import (
	"net/http"
	"testing"
	"time"
)

// BenchmarkVehiclePage asks for pages of vehicles that nobody has looked at that day,
// and beside it for their plots alone. With -cpu 1 the garbage is counted as well.
func BenchmarkVehiclePage(b *testing.B) { onBenchFleets(b, (*allRun).benchVehicles) }

func (w *allRun) benchVehicles(b *testing.B) error {
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
