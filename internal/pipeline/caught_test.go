package pipeline

import (
	"context"
	"strings"
	"testing"
	"time"

	"brakewear/forecast"
	"brakewear/ingest"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
)

// falls is a model that no vehicle is good enough for.
type falls struct{}

func (falls) Name() string { return "falls" }

func (falls) Forecast(*forecast.Vehicle, forecast.Day, forecast.Options) []forecast.AxleForecast {
	panic("as should never be")
}

// A model that panics on one of a refit's goroutines ends the refit with an error,
// and neither the program nor those who wait for it.
func TestForecastEachPanics(t *testing.T) {
	ctx, cancel := context.WithTimeout(t.Context(), 10*time.Second)
	defer cancel()
	none := func([]store.History, []store.AxleForecast, []fleet.Finding) error { return nil }
	for what, read := range map[string]reader{
		"the model": func(fn func(*store.History) error) error {
			for range 5 * chunkVehicles {
				if err := fn(&store.History{}); err != nil {
					return err
				}
			}
			return nil
		},
		"the reader": func(fn func(*store.History) error) error { panic("as should never be") },
	} {
		err := new(Service).forecastEach(ctx, read, falls{}, fleet.NewDate(2026, 3, 1), nil, none)
		if err == nil || !strings.HasPrefix(err.Error(), "panic: as should never be") {
			t.Errorf("%s panics: got %v, want that told", what, err)
		}
	}
}

// Rows whose placing panics leave nobody waiting who has begun to store them, and
// who keeps all others from writing.
func TestPlacingPanics(t *testing.T) {
	r, err := ingest.NewReader(strings.NewReader("vehicle,date,odometer_km\nBus 1,2026-02-01,1000\n"), "odometer.csv", ingest.Options{Today: fleet.NewDate(2026, 3, 1)})
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	nobody := (*resolver)(nil)
	s := &Service{DB: new(store.DB)}
	p := s.place(t.Context(), r, nobody, func(context.Context, int64) error { return nil })
	defer p.end()
	ended := make(chan any)
	go func() {
		defer func() { ended <- recover() }()
		p.takeIn(t.Context(), nil, new(fleet.Upload), nil)
	}()
	select {
	case gone := <-ended:
		if gone == nil {
			t.Error("the panic was told nobody")
		}
	case <-time.After(10 * time.Second):
		t.Fatal("who stores waits for ever")
	}
}
