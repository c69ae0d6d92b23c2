package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"slices"
	"sync"
	"time"
)

// loaded is what clients got.
type loaded struct {
	n       int
	seconds float64
	ms      []float64 // each, ascending
}

func (l *loaded) rate() float64 { return float64(l.n) / l.seconds }

// at returns the quantile q of the times.
func (l *loaded) at(q float64) float64 {
	if len(l.ms) == 0 {
		return 0
	}
	return l.ms[min(len(l.ms)-1, int(q*float64(len(l.ms))))]
}

// add adds what clients got in another round.
func (l *loaded) add(more *loaded) {
	l.n, l.seconds = l.n+more.n, l.seconds+more.seconds
	l.ms = append(l.ms, more.ms...)
	slices.Sort(l.ms)
}

// load lets the clients ask for as long as each kind of page is asked for.
func (w *allRun) load(next func(client, i int, dice *rand.Rand) func() error) (*loaded, error) {
	return w.loadFor(w.c.Asking, next)
}

// loadFor lets the clients ask, each as soon as it was answered, until the time is
// over or next has nothing more for them.
func (w *allRun) loadFor(long time.Duration, next func(client, i int, dice *rand.Rand) func() error) (*loaded, error) {
	ctx, cancel := context.WithCancel(w.e.ctx)
	defer cancel()
	times := make([][]float64, benchClients)
	errs := make([]error, benchClients)
	var wg sync.WaitGroup
	start := w.e.now()
	for client := range benchClients {
		dice := rand.New(rand.NewPCG(w.c.Seed, uint64(client)))
		wg.Go(func() {
			for i := 0; ctx.Err() == nil && w.e.now().Sub(start) < long; i++ {
				do := next(client, i, dice)
				if do == nil {
					return
				}
				asked := w.e.now()
				if errs[client] = do(); errs[client] != nil {
					cancel()
					return
				}
				times[client] = append(times[client], float64(w.e.now().Sub(asked).Microseconds())/1e3)
			}
		})
	}
	wg.Wait()
	got := &loaded{seconds: w.e.now().Sub(start).Seconds(), ms: slices.Concat(times...)}
	got.n = len(got.ms)
	slices.Sort(got.ms)
	return got, errors.Join(append(errs, w.e.ctx.Err())...)
}

// askOf asks for one of the addresses after the other, as the dice fall.
func askOf(ctx context.Context, h http.Handler, addresses []string) func(int, int, *rand.Rand) func() error {
	return func(_, _ int, dice *rand.Rand) func() error {
		address := addresses[dice.IntN(len(addresses))]
		return func() error {
			return look(ctx, h, address)
		}
	}
}

// look asks for a page and keeps none of it: what a client holds is not the page's.
func look(ctx context.Context, h http.Handler, address string) error {
	_, err := askInto(ctx, h, http.MethodGet, address, nil, io.Discard)
	return err
}

// ask has a handler answer a request, and wants it to be done.
func ask(ctx context.Context, h http.Handler, method, address string, body []byte) ([]byte, error) {
	var all bytes.Buffer
	_, err := askInto(ctx, h, method, address, body, &all)
	return all.Bytes(), err
}

// askInto is ask for what may be too long to hold: it goes into a writer, and its
// bytes are counted.
func askInto(ctx context.Context, h http.Handler, method, address string, body []byte, into io.Writer) (int, error) {
	req, err := http.NewRequestWithContext(ctx, method, address, bytes.NewReader(body))
	if err != nil {
		return 0, err
	}
	if body != nil {
		req.Header.Set("Content-Type", "application/json")
	}
	a := answer{header: http.Header{}, status: http.StatusOK, into: into}
	h.ServeHTTP(&a, req)
	if a.status/100 != 2 {
		return 0, fmt.Errorf("%s %s: got status %d: %.300s", method, address, a.status, a.fault.Bytes())
	}
	return a.n, nil
}

// answer hands on what a handler sends, unless it is a fault.
type answer struct {
	header http.Header
	status int
	into   io.Writer
	n      int
	fault  bytes.Buffer
}

func (a *answer) Header() http.Header    { return a.header }
func (a *answer) WriteHeader(status int) { a.status = status }

func (a *answer) Write(p []byte) (int, error) {
	a.n += len(p)
	if a.status/100 != 2 {
		return a.fault.Write(p)
	}
	return a.into.Write(p)
}
