package pipeline

import (
	"cmp"
	"context"
	"log/slog"
	"strings"
	"time"
)

// warmEvery is how often it is looked whether a day has begun or the due-soon list is
// behind, which is one comparison where nothing was written. Judgement: a minute after
// midnight, or after the refit of the night, is before anybody asks.
const warmEvery = time.Minute

// KeepDueWarm has the due-soon list read before anybody asks for it, now, as each day
// begins and as forecasts are written, until ctx ends: who asks first would wait for
// it, seconds in a large fleet. Where that fails, they do.
func (s *Service) KeepDueWarm(ctx context.Context, log *slog.Logger) {
	tick := time.NewTicker(cmp.Or(s.warmEvery, warmEvery))
	defer tick.Stop()
	for told := ""; ; {
		err := caught(func() error { return s.DB.WarmDue(ctx, s.Today()) })
		what := ""
		if err != nil && ctx.Err() == nil {
			what, _, _ = strings.Cut(err.Error(), "\n") // a panic has its stack below
		}
		if what != told && what != "" { // the same is not told every minute
			log.Warn("the list of what is to be booked was not read ahead", "error", err)
		}
		told = what
		select {
		case <-tick.C:
		case <-ctx.Done():
			return
		}
	}
}
