package pipeline

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"brakewear/forecast"
	"brakewear/internal/auth"
	"brakewear/internal/fleet"
)

// BacktestOptions say what to replay.
type BacktestOptions struct {
	AsOf []fleet.Date // days to forecast from, knowing what was known then
	// Truth by vehicle number, of a simulated fleet; nil judges by what was
	// measured later.
	Truth map[string]*forecast.Truth
	Along bool // also follow whole lives, planned anew at every inspection
}

// Backtest replays history with every model side by side on the same cases
// and scores them by what followed. It stores nothing.
func (s *Service) Backtest(ctx context.Context, sc auth.Scope, opt BacktestOptions) (*forecast.Scores, error) {
	var failed error
	b := forecast.Backtest{
		Risk:    s.AcceptedRisk(),
		Along:   opt.Along,
		Workers: s.Workers,
		Train: func(asOf forecast.Day) ([]forecast.Model, error) {
			var ms []forecast.Model
			for _, k := range slices.Concat(kinds, yardsticks) {
				m, err := k.train(s.vehicles(ctx, sc, nil, &failed), asOf)
				if err := errors.Join(failed, err); err != nil {
					return nil, fmt.Errorf("learn model %s: %w", k.name, err)
				}
				ms = append(ms, m)
			}
			return ms, nil
		},
	}
	for _, d := range opt.AsOf {
		b.AsOf = append(b.AsOf, forecast.Day(d))
	}
	if opt.Truth != nil {
		b.Truth = func(v *forecast.Vehicle) (forecast.Truth, bool) {
			t, ok := opt.Truth[v.ID]
			if !ok {
				return forecast.Truth{}, false
			}
			return *t, true
		}
	}
	scores, err := b.Run(s.vehicles(ctx, sc, nil, &failed))
	return scores, errors.Join(failed, err)
}
