package pipeline

import (
	"context"
	"errors"
	"log/slog"
	"sync"
	"time"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
)

// Desk does work that may outlast the request it came with: files handed in,
// the forecasts that follow what was taken in, and mails. A Service without one does
// all of it while the request waits.
type Desk struct {
	svc  *Service
	log  *slog.Logger
	ctx  context.Context // ends the work
	stop func()
	wait sync.WaitGroup
	room chan struct{} // holds one for each piece of work at a time

	letters chan struct{} // holds one for each mail that somebody waits for
	pauses  []time.Duration
	grace   time.Duration

	mu     sync.Mutex
	closed bool
	files  map[int64]*fileWork // being worked on here
}

// fileWork is the work on one kept file.
type fileWork struct {
	done chan struct{} // closed at the end
	err  error         // set by then

	mu   sync.Mutex
	read Progress
}

func (w *fileWork) progress(p Progress) {
	w.mu.Lock()
	w.read = p
	w.mu.Unlock()
}

func (w *fileWork) far() Progress {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.read
}

const (
	// deskRoom is how many files are worked on at a time: the database does
	// most of it, and an SQLite file takes one writer.
	deskRoom = 2
	// deskRound is how often a desk looks for files that another process left
	// unfinished.
	deskRound = 30 * time.Second
	// patience is how long a request waits for its work before it is answered
	// that it goes on: well below the limits of browsers and proxies.
	patience = 5 * time.Second
	// laterFirst is how soon a forecast is tried again that a fault kept from
	// following what was stored; each try after waits twice as long, up to deskRound.
	laterFirst = 500 * time.Millisecond
)

// OpenDesk gives s a desk, which takes up at once what was left unfinished.
// Close it before the database.
func OpenDesk(ctx context.Context, s *Service, log *slog.Logger) *Desk {
	d := &Desk{
		svc: s, log: log, room: make(chan struct{}, deskRoom), files: map[int64]*fileWork{},
		letters: make(chan struct{}, maxLetters), pauses: letterPauses, grace: letterGrace,
	}
	d.ctx, d.stop = context.WithCancel(ctx)
	s.Desk = d
	d.wait.Go(func() {
		tick := time.NewTicker(deskRound)
		defer tick.Stop()
		for {
			d.round()
			select {
			case <-d.ctx.Done():
				return
			case <-tick.C:
			}
		}
	})
	return d
}

// Close ends the work and waits for it. What is not finished is taken up by the
// next process: nothing that counts is half done.
func (d *Desk) Close() {
	d.mu.Lock()
	d.closed = true
	d.mu.Unlock()
	d.stop()
	d.wait.Wait()
}

// start runs fn on the desk, unless it is closed. Where fn panics the log says so,
// and all else goes on: fn is to have told whoever waits for it.
func (d *Desk) start(fn func()) bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	if !d.closed {
		d.wait.Go(func() {
			d.report("work that no request waits for", caught(func() error {
				fn()
				return nil
			}))
		})
	}
	return !d.closed
}

// round takes up files that nobody works on, and forgets old ones.
func (d *Desk) round() {
	ids, err := d.svc.DB.WorkingFiles(d.ctx)
	for _, id := range ids {
		d.file(id)
	}
	if err == nil {
		_, err = d.svc.DB.ExpireFiles(d.ctx)
	}
	d.report("look for files handed in", err)
}

// report logs what nobody waits to hear; without a desk nobody hears it.
func (d *Desk) report(what string, err error) {
	if d != nil && err != nil && !errors.Is(err, context.Canceled) {
		d.log.Error(what, "error", err)
	}
}

// file starts work on a kept file, unless it is being worked on.
func (d *Desk) file(id int64) *fileWork {
	d.mu.Lock()
	defer d.mu.Unlock()
	if w := d.files[id]; w != nil {
		return w
	}
	w := &fileWork{done: make(chan struct{})}
	if d.closed {
		w.err = context.Canceled
		close(w.done)
		return w
	}
	d.files[id] = w
	d.wait.Go(func() {
		defer func() {
			d.mu.Lock()
			delete(d.files, id)
			d.mu.Unlock()
			close(w.done)
		}()
		select {
		case d.room <- struct{}{}:
			defer func() { <-d.room }()
		case <-d.ctx.Done():
			w.err = d.ctx.Err()
			return
		}
		w.err = d.svc.workOn(d.ctx, id, w.progress)
		d.report("work on a file handed in", w.err)
	})
	return w
}

// at returns the work on a file that goes on here, or nil.
func (d *Desk) at(id int64) *fileWork {
	if d == nil {
		return nil
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.files[id]
}

// within runs fn on the desk and waits for it, but not for long: done says
// whether it is through. Without a desk it waits.
func (d *Desk) within(ctx context.Context, what string, fn func(ctx context.Context) error) (done bool, err error) {
	if d == nil {
		return true, fn(ctx)
	}
	through := make(chan error, 1)
	begun := d.start(func() {
		err := caught(func() error { return fn(auth.WithOrigin(d.ctx, auth.OriginOf(ctx))) })
		through <- err
		d.report(what, err)
	})
	if !begun {
		return true, fn(ctx)
	}
	wait := time.NewTimer(patience)
	defer wait.Stop()
	select {
	case err := <-through:
		return true, err
	case <-wait.C:
		return false, nil
	case <-ctx.Done():
		return false, nil
	}
}

// later forecasts vehicles, or all when ids is nil, as soon as it can be done,
// where err is one that passes by itself and kept it from being done at once:
// what it was to follow is stored. false: err stands. A process that ends before
// leaves it to the night's refit.
func (d *Desk) later(err error, ids []int64) bool {
	if d == nil || !passes(err) {
		return false
	}
	return d.start(func() {
		for pause := laterFirst; ; pause = min(2*pause, deskRound) {
			select {
			case <-d.ctx.Done():
				return
			case <-time.After(pause):
			}
			err := caught(func() error {
				_, err := d.svc.refitTouched(d.ctx, auth.AllFleets(), ids, d.svc.Today())
				return err
			})
			d.report("forecast what was stored before", err)
			if !passes(err) {
				return
			}
		}
	})
}

// passes says whether what failed can be done when a database is back, or by
// somebody who does not go away.
func passes(err error) bool {
	return errors.Is(err, fleet.ErrUnavailable) || errors.Is(err, context.DeadlineExceeded) || errors.Is(err, context.Canceled)
}
