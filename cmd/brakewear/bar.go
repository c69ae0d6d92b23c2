package main

import (
	"io"
	"os"
	"sync"
	"time"

	"github.com/schollz/progressbar/v3"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
)

// barEvery is how often a bar is drawn anew at the most.
const barEvery = 100 * time.Millisecond

// bar shows how far something is on a terminal; nil shows nothing.
type bar struct{ *progressbar.ProgressBar }

// bar starts a bar of so many steps; of -1, when that is not known, it turns by
// itself and says how long it has. It is quiet where the error output is no
// terminal.
func (e *env) bar(what string, steps int64) *bar {
	if !terminal(e.stderr) {
		return nil
	}
	return &bar{progressbar.NewOptions64(steps,
		progressbar.OptionSetElapsedTime(true),
		progressbar.OptionSetWriter(e.stderr),
		progressbar.OptionSetDescription(what),
		progressbar.OptionSetWidth(30),
		progressbar.OptionThrottle(barEvery),
		progressbar.OptionClearOnFinish(),
		progressbar.OptionShowCount(),
		progressbar.OptionSetPredictTime(steps > 0),
	)}
}

// terminal says whether somebody looks at w as it is written.
func terminal(w io.Writer) bool {
	f, ok := w.(*os.File)
	if !ok {
		return false
	}
	info, err := f.Stat()
	return err == nil && info.Mode()&os.ModeCharDevice != 0
}

// at moves the bar to a step, with other words. The bar's own errors are the
// terminal's, which nothing depends on.
func (b *bar) at(step int64, what string) {
	if b != nil {
		b.Describe(what)
		_ = b.Set64(step)
	}
}

func (b *bar) add(steps int64) {
	if b != nil {
		_ = b.Add64(steps)
	}
}

func (b *bar) done() {
	if b != nil {
		_ = b.Finish()
	}
}

// during shows that work is under way whose length nobody knows.
func (e *env) during(what string, work func() error) error {
	b := e.bar(what, -1)
	defer b.done()
	return work()
}

// growing shows a file grow towards so many bytes while it is written.
func (e *env) growing(what, path string, size int64, work func() error) error {
	if size < 0 {
		return e.during(what, work)
	}
	b := e.bar(what, size)
	if b == nil {
		return work()
	}
	over := make(chan struct{})
	var looking sync.WaitGroup
	looking.Go(func() {
		tick := time.NewTicker(barEvery)
		defer tick.Stop()
		for {
			select {
			case <-over:
				return
			case <-tick.C:
				if info, err := os.Stat(path); err == nil {
					b.at(min(info.Size(), size), what)
				}
			}
		}
	})
	err := work()
	close(over)
	looking.Wait()
	b.done()
	return err
}

// refitAll forecasts all vehicles anew: a bar says that it learns, then how many
// are forecast.
func (e *env) refitAll(svc *pipeline.Service, asOf fleet.Date) (rep pipeline.RefitReport, err error) {
	err = e.forecasting(svc, "learning", 1, func() error {
		rep, err = svc.Refit(e.ctx, auth.AllFleets(), nil, asOf)
		return err
	})
	return rep, err
}

// forecasting shows work that forecasts all vehicles a number of times, and is
// called something else until the first of them is.
func (e *env) forecasting(svc *pipeline.Service, first string, times int, work func() error) error {
	b := e.bar(first, -1)
	if b == nil {
		return work()
	}
	vehicles, _, _, err := svc.DB.Counts(e.ctx, auth.AllFleets())
	if err != nil {
		return err
	}
	var mu sync.Mutex
	begun := false
	svc.Forecasted = func(n int) { // by several at a time
		mu.Lock()
		defer mu.Unlock()
		if !begun {
			b.done()
			b, begun = e.bar("forecasting", int64(times*vehicles)), true
		}
		b.add(int64(n))
	}
	err = work()
	svc.Forecasted = nil
	b.done()
	return err
}
