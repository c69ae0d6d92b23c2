package pipeline

import (
	"context"
	"log/slog"
	"time"

	"brakewear/internal/fleet"
)

// warmEvery is how often it is looked whether a day has begun. Judgement: a minute
// after midnight is before anybody asks.
const warmEvery = time.Minute

// KeepDueWarm has the due-soon list read before anybody asks for it, now and as each
// day begins, until ctx ends: who asks first would wait for it, seconds in a large
// fleet. Where that fails, they do.
func (s *Service) KeepDueWarm(ctx context.Context, log *slog.Logger) {
	tick := time.NewTicker(warmEvery)
	defer tick.Stop()
	for warm := fleet.Date(0); ; {
		if today := s.Today(); today != warm {
			switch err := s.DB.WarmDue(ctx, today); {
			case err == nil:
				warm = today
			case ctx.Err() == nil:
				log.Warn("the due-soon list was not read ahead", "error", err)
			}
		}
		select {
		case <-tick.C:
		case <-ctx.Done():
			return
		}
	}
}
