// Package jobs runs scheduled work by the clock. It has no logic of its own: a
// job is a name, a time and a function of another package.
package jobs

import (
	"context"
	"fmt"
	"log/slog"
	"time"

	"github.com/robfig/cron/v3"
)

// Job is one piece of scheduled work.
type Job struct {
	Name string
	Spec string // five fields: minute, hour, day of month, month, day of week
	Run  func(ctx context.Context) error
}

// Run runs the jobs by the clock of loc until ctx ends, then waits for those
// that are under way. A job still running when its time comes again is left
// alone; one that fails or panics is logged and does not stop the others.
func Run(ctx context.Context, log *slog.Logger, loc *time.Location, table []Job) error {
	c := cron.New(cron.WithLocation(loc))
	for _, j := range table {
		job := cron.NewChain(cron.SkipIfStillRunning(cron.DiscardLogger)).
			Then(cron.FuncJob(func() { runOne(ctx, log, j) }))
		if _, err := c.AddJob(j.Spec, job); err != nil {
			return fmt.Errorf("job %s at %q: %w", j.Name, j.Spec, err)
		}
	}
	c.Start()
	<-ctx.Done()
	<-c.Stop().Done()
	return nil
}

func runOne(ctx context.Context, log *slog.Logger, j Job) {
	start := time.Now()
	defer func() {
		if p := recover(); p != nil {
			log.Error("job panicked", "job", j.Name, "panic", p)
		}
	}()
	if err := j.Run(ctx); err != nil {
		log.Error("job failed", "job", j.Name, "err", err, "took", time.Since(start))
		return
	}
	log.Info("job done", "job", j.Name, "took", time.Since(start))
}
