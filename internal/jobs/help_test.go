package jobs

import (
	"context"
	"errors"
	"log/slog"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"brakewear/internal/pipeline"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// While one process does a job the other helps, and it does not help itself.
func TestHelp(t *testing.T) {
	for _, dialect := range []string{store.SQLite, store.Postgres} {
		t.Run(dialect, func(t *testing.T) {
			url := storetest.URL(t, dialect)
			h := &hands{t: evening}
			var underWay, done atomic.Bool
			var mu sync.Mutex
			does, helps := map[int]int{}, map[int]int{} // by process
			helped := make(chan struct{})
			var once sync.Once
			clock := func(process int) *Clock {
				return &Clock{
					DB: storetest.MustOpen(t, url), Log: slog.New(slog.DiscardHandler), Now: h.now, pace: 20 * time.Millisecond,
					Jobs: []pipeline.Job{{
						Name: "refit", Spec: "0 3 * * *", Limit: time.Minute,
						Run: func(ctx context.Context, _ string) (string, error) {
							mu.Lock()
							does[process]++
							mu.Unlock()
							underWay.Store(true)
							defer underWay.Store(false)
							select {
							case <-helped:
								done.Store(true)
								return "Done.", nil
							case <-ctx.Done():
								return "", errors.New("nobody helped")
							}
						},
						Help: func(context.Context) (bool, error) {
							if !underWay.Load() {
								return false, nil
							}
							mu.Lock()
							helps[process]++
							mu.Unlock()
							once.Do(func() { close(helped) })
							return true, nil
						},
					}},
				}
			}
			ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
			defer cancel()
			var wg sync.WaitGroup
			for process := range 2 {
				c := clock(process)
				wg.Go(func() {
					if err := c.Run(ctx); err != nil {
						t.Error(err)
					}
				})
			}
			time.Sleep(200 * time.Millisecond)
			h.set(night)
			for ctx.Err() == nil && !done.Load() {
				time.Sleep(10 * time.Millisecond)
			}
			cancel()
			wg.Wait()
			if !done.Load() || len(does) != 1 {
				t.Fatalf("done %v; begun by %v, helped by %v", done.Load(), does, helps)
			}
			for process := range does {
				if helps[process] > 0 {
					t.Errorf("process %d helped itself", process)
				}
			}
		})
	}
}

// Help that breaks down is an error and no more.
func TestHelpPanics(t *testing.T) {
	_, err := guardedHelp(t.Context(), pipeline.Job{Help: func(context.Context) (bool, error) { panic("broken") }})
	if err == nil || !strings.Contains(err.Error(), "broken") {
		t.Errorf("got %v, want what broke", err)
	}
}
