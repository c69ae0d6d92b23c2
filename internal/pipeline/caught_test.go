package pipeline

import (
	"context"
	"strings"
	"testing"
	"time"

	"brakewear/forecast"
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
