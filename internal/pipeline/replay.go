package pipeline

import (
	"context"
	"slices"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
)

// ReplayEvery is the number of days from one replayed day to the next that leaves
// no removal without a forecast for each distance ahead.
const ReplayEvery = 30

// Replay logs the forecasts that would have been made on past days, learned and
// made from what was known on each, so that a fleet that comes with its history
// has a track record. The log tells them from promises by the day they were
// written. Those of the day are kept where there are any; the latest forecasts
// and what was learned last stay.
func (s *Service) Replay(ctx context.Context, sc auth.Scope, days []fleet.Date) (axles int, err error) {
	k, err := s.kind()
	if err != nil {
		return 0, err
	}
	days = slices.Compact(slices.Sorted(slices.Values(days)))
	if n := len(days); n > 0 && days[n-1] >= s.Today() {
		return 0, fleet.Invalidf("replay %s: want days before today, %s", days[n-1], s.Today())
	}
	for _, d := range days {
		m, err := s.learn(ctx, k, d)
		if err != nil {
			return axles, err
		}
		err = s.forecastEach(ctx, s.reader(ctx, sc, nil), m, d, nil, func(hs []store.History, fs []store.AxleForecast, _ []fleet.Finding) error {
			axles += len(fs)
			if err := s.DB.LogForecasts(ctx, sc, fs); err != nil {
				return err
			}
			s.forecasted(len(hs))
			return nil
		})
		if err != nil {
			return axles, err
		}
	}
	return axles, nil
}
