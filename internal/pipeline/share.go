package pipeline

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"iter"
	"os"
	"sync"
	"time"

	"brakewear/forecast"
	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
)

const (
	// shareVehicles is how many vehicles a share of a refit has. It must not
	// depend on who works: sums come out in the order of shares. Judgement: a
	// few seconds of work, so that little is done again when a process ends in
	// the midst of one, and little is waited for at the end of a step.
	shareVehicles = 1024
	// lanes is how many shares a process works on at a time, so that one is
	// read while another is worked out or stored.
	lanes = 2
	// shareTries bounds how often a share is begun in one step: it may be what
	// ends the processes.
	shareTries = 4
	// waitLeast and waitMost are how long a process that has nothing to do
	// waits before it looks again; longer each time.
	waitLeast, waitMost = 5 * time.Millisecond, time.Second
	// shareLease is how long a share stays with a process that does not renew
	// its hold: long beside the pace of renewing, so that a process that is slow
	// keeps what it has, and short beside a night, in which one may die.
	shareLease = time.Minute
	// renewals is how often a hold is renewed within its length.
	renewals = 4
)

// refitAll forecasts all that sc sees.
func (s *Service) refitAll(ctx context.Context, sc auth.Scope, asOf fleet.Date) (RefitReport, error) {
	rep := RefitReport{Trained: true}
	k, err := s.kind()
	if err != nil {
		return rep, err
	}
	r, err := s.share(ctx, k, store.Refit{AsOf: asOf, Scope: sc})
	if err != nil {
		return rep, err
	}
	ps, err := s.DB.RefitProgress(ctx, r.ID)
	if err == nil && len(ps) == 1 {
		rep.Vehicles, rep.Axles = ps[0].Forecast, ps[0].Axles
	}
	rep.Model = k.name
	return rep, err
}

// share begins a refit of the kind k, or joins the one under way that is like
// it, and works on it until it is done.
func (s *Service) share(ctx context.Context, k kind, r store.Refit) (store.Refit, error) {
	r.Model, r.Risk = k.name, s.AcceptedRisk()
	fresh, err := json.Marshal(forecast.NewLearner(forecast.Day(r.AsOf)))
	if err != nil {
		return r, err
	}
	for {
		r.Knows = fresh
		if err := s.DB.JoinRefit(ctx, &r, cmp.Or(s.shareVehicles, shareVehicles)); err != nil {
			return r, err
		}
		r, err = s.workOnRefit(ctx, r.ID)
		if err != nil || r.State != store.RefitSuperseded {
			return r, err
		}
		// Another one is under way, which does for both: it knows more.
	}
}

func (s *Service) lease() time.Duration { return cmp.Or(s.shareLease, shareLease) }

// Help works on the refits under way that another process began, until they
// are done. It says whether there were any.
func (s *Service) Help(ctx context.Context) (bool, error) {
	rs, err := s.DB.OpenRefits(ctx)
	for _, r := range rs {
		helper := *s
		helper.Model, helper.Risk = r.Model, r.Risk
		if _, err := helper.workOnRefit(ctx, r.ID); err != nil {
			return true, err
		}
	}
	return len(rs) > 0, err
}

// workOnRefit works on the shares of a refit that others leave, until it is
// done.
func (s *Service) workOnRefit(ctx context.Context, id int64) (store.Refit, error) {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	w := &refitWorker{s: s, id: id, name: processName(), wake: make(chan struct{}, lanes), over: make(chan struct{}), shelf: newShelf(cmp.Or(s.shelf, shelfRows))}
	var wg sync.WaitGroup
	errs := make([]error, lanes)
	for i := range lanes {
		wg.Go(func() {
			if errs[i] = caught(func() error { return w.work(ctx) }); errs[i] != nil {
				cancel()
			}
		})
	}
	wg.Wait()
	if err := firstCause(errs); err != nil {
		return store.Refit{}, err
	}
	r, err := s.DB.Refit(ctx, id)
	if err == nil && r.State == store.RefitFailed {
		err = fmt.Errorf("refit %d: %s", id, r.Message)
	}
	return r, err
}

// firstCause is the error that made the others end, nil when there is none.
func firstCause(errs []error) error {
	var first error
	for _, err := range errs {
		if err != nil && (first == nil || errors.Is(first, context.Canceled)) {
			first = err
		}
	}
	return first
}

// processName tells this process from others on the database.
func processName() string {
	host, err := os.Hostname()
	if err != nil {
		host = "unknown"
	}
	return fmt.Sprintf("%s %d", host, os.Getpid())
}

// refitWorker is this process's part in a refit.
type refitWorker struct {
	s    *Service
	id   int64
	name string
	wake chan struct{} // a step is over
	over chan struct{} // the refit is
	*shelf

	once sync.Once
}

// work takes one share after the other until the refit is over.
func (w *refitWorker) work(ctx context.Context) error {
	wait := waitLeast
	for {
		r, err := w.s.DB.Refit(ctx, w.id)
		if err != nil {
			return err
		}
		if r.State != store.RefitWorking {
			w.once.Do(func() { close(w.over) })
			return nil
		}
		did, err := w.one(ctx, &r)
		switch {
		case errors.Is(err, store.ErrLeaseLost):
			did = true // it is another's now; there may be more
		case err != nil:
			return err
		}
		if did {
			wait = waitLeast
			continue
		}
		select {
		case <-w.wake:
		case <-w.over:
		case <-time.After(wait):
			wait = min(2*wait, waitMost)
		case <-ctx.Done():
			return ctx.Err()
		}
	}
}

// one does what there is to do next; false when others are at all of it.
func (w *refitWorker) one(ctx context.Context, r *store.Refit) (bool, error) {
	sh, err := w.s.DB.TakeShare(ctx, r.ID, r.Step, w.name, w.s.lease())
	if err != nil {
		return false, err
	}
	if sh != nil {
		if sh.Tries > shareTries {
			return true, w.fail(ctx, fmt.Sprintf("Share %d of step %d was begun %d times and never ended.", sh.Number, r.Step, sh.Tries-1))
		}
		return true, w.hold(ctx, func() error { return w.s.DB.RenewShare(ctx, sh) }, func(ctx context.Context) error {
			err := caught(func() error { return w.do(ctx, r, sh) })
			if err != nil && !errors.Is(err, store.ErrLeaseLost) {
				w.dropped(ctx, sh)
			}
			return err
		})
	}
	j, err := w.s.DB.TakeJoin(ctx, r.ID, r.Step, w.s.lease())
	if err != nil || j == nil {
		return false, err
	}
	if j.Tries > shareTries {
		return true, w.fail(ctx, fmt.Sprintf("Step %d was joined %d times and never ended.", r.Step, j.Tries-1))
	}
	err = w.hold(ctx, func() error { return w.s.DB.RenewJoin(ctx, j) }, func(ctx context.Context) error {
		return caught(func() error { return w.join(ctx, r, j) })
	})
	for range lanes - 1 {
		select {
		case w.wake <- struct{}{}:
		default: // it wakes anyway
		}
	}
	return true, err
}

func (w *refitWorker) fail(ctx context.Context, why string) error {
	return w.s.DB.FailRefit(ctx, w.id, why)
}

// dropped gives a share back that could not be done here: another process may
// fare better, and need not wait for the lease to end.
func (w *refitWorker) dropped(ctx context.Context, sh *store.Share) {
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), dropTimeout)
	defer cancel()
	w.s.DB.DropShare(ctx, sh) // left behind the lease ends by itself
}

// dropTimeout bounds what is done after the work, when its context may have
// ended.
const dropTimeout = 5 * time.Second

// hold does work and renews the hold on it meanwhile. The work's context ends
// when the hold is lost.
func (w *refitWorker) hold(ctx context.Context, renew func() error, work func(ctx context.Context) error) error {
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	done := make(chan struct{})
	var wg sync.WaitGroup
	wg.Go(func() {
		tick := time.NewTicker(w.s.lease() / renewals)
		defer tick.Stop()
		for {
			select {
			case <-done:
				return
			case <-tick.C:
				// Another error may be over by the next time.
				if err := renew(); errors.Is(err, store.ErrLeaseLost) {
					cancel(err)
					return
				}
			}
		}
	})
	err := work(ctx)
	close(done)
	wg.Wait()
	if lost := context.Cause(ctx); err != nil && errors.Is(lost, store.ErrLeaseLost) {
		return lost
	}
	return err
}

// do works on a share: listens to it, or forecasts it.
func (w *refitWorker) do(ctx context.Context, r *store.Refit, sh *store.Share) error {
	k, err := kindOf(r.Model)
	if err != nil {
		return err
	}
	if r.Learning {
		var heard []byte
		if k.shares {
			if heard, err = w.listen(ctx, r, sh); err != nil {
				return err
			}
		}
		return w.s.DB.FinishShare(ctx, sh, heard)
	}
	m, err := k.load(r.Knows)
	if err != nil {
		return fmt.Errorf("refit %d: %w", r.ID, err)
	}
	first := max(sh.FirstID, sh.Through+1)
	read := func(fn func(*store.History) error) error {
		return w.s.DB.EachHistoryBetween(ctx, r.Scope, first, sh.LastID, fn)
	}
	marks, err := w.s.DB.ForecastMarksBetween(ctx, first, sh.LastID)
	if err != nil {
		return err
	}
	// Where vehicles are late, the share is told of no more until those are forecast once
	// more: whoever does the rest of it does them.
	var late []int64
	vehicles, axles, through := 0, 0, sh.Through // that it was not told of
	err = w.s.refit(ctx, &lookout{s: w.s, sc: r.Scope, model: m}, read, r.AsOf, func(hs []store.History, fs []store.AxleForecast, found []fleet.Finding) error {
		vehicles, axles, through = vehicles+len(hs), axles+len(fs), hs[len(hs)-1].Vehicle.ID
		err := w.s.keepMany(ctx, r.Scope, marks, hs, fs, found, r.AsOf, func(db *store.DB, st *store.Standing, fs []store.AxleForecast, some []int64) error {
			if late = append(late, some...); len(late) == 0 {
				return db.SaveShareForecasts(ctx, r.Scope, sh, st, fs, vehicles, axles, through)
			}
			if err := db.RenewShare(ctx, sh); err != nil {
				return err
			}
			return db.SaveForecasts(ctx, r.Scope, st, fs)
		})
		if err == nil && len(late) == 0 {
			vehicles, axles = 0, 0
		}
		return err
	})
	if err != nil {
		return err
	}
	if len(late) > 0 {
		if err := w.s.refitLate(ctx, r.Scope, late, r.AsOf); err != nil {
			return err
		}
		if err := w.s.DB.SaveShareForecasts(ctx, r.Scope, sh, nil, nil, vehicles, axles, through); err != nil {
			return err
		}
	}
	return w.s.DB.FinishShare(ctx, sh, nil)
}

// listen returns what a share tells the learner.
func (w *refitWorker) listen(ctx context.Context, r *store.Refit, sh *store.Share) ([]byte, error) {
	var l forecast.Learner
	if err := json.Unmarshal(r.Knows, &l); err != nil {
		return nil, fmt.Errorf("refit %d: %w", r.ID, err)
	}
	// Only those that it hears are read: in most steps a few.
	var ids []int64
	err := w.s.DB.VehiclesBetween(ctx, auth.AllFleets(), sh.FirstID, sh.LastID, func(id int64, number string) {
		if l.Hears(number) {
			ids = append(ids, id)
		}
	})
	if err != nil || len(ids) == 0 {
		return nil, err
	}
	var failed error
	heard := l.Listen(w.vehicles(ctx, ids, l.Round == forecast.LearnerRounds-1, &failed))
	if failed != nil {
		return nil, failed
	}
	return heard.MarshalBinary()
}

// join ends a step: the model learns from what all shares told, or all is
// forecast.
func (w *refitWorker) join(ctx context.Context, r *store.Refit, j *store.Join) error {
	if !r.Learning {
		return w.s.DB.EndRefit(ctx, j)
	}
	k, err := kindOf(r.Model)
	if err != nil {
		return err
	}
	if !k.shares {
		m, err := w.s.learn(ctx, k, r.AsOf)
		if err != nil {
			return err
		}
		return w.learned(ctx, r, j, m)
	}
	var l forecast.Learner
	if err := json.Unmarshal(r.Knows, &l); err != nil {
		return fmt.Errorf("refit %d: %w", r.ID, err)
	}
	if err := l.Learn(w.heard(ctx, j)); err != nil {
		return fmt.Errorf("learn model %s: %w", k.name, err)
	}
	if l.Over {
		return w.learned(ctx, r, j, l.Model())
	}
	knows, err := json.Marshal(&l)
	if err != nil {
		return fmt.Errorf("refit %d: %w", r.ID, err)
	}
	return w.s.DB.NextStep(ctx, j, knows, nil)
}

// heard gives what each share told, in their order.
func (w *refitWorker) heard(ctx context.Context, j *store.Join) iter.Seq2[*forecast.Heard, error] {
	return func(yield func(*forecast.Heard, error) bool) {
		stop := errors.New("stop")
		err := w.s.DB.EachHeard(ctx, j, func(b []byte) error {
			if b == nil {
				return nil // none of its vehicles was heard
			}
			h := new(forecast.Heard)
			if err := h.UnmarshalBinary(b); err != nil {
				return err
			}
			if !yield(h, nil) {
				return stop
			}
			return nil
		})
		if err != nil && !errors.Is(err, stop) {
			yield(nil, err)
		}
	}
}

// learned keeps what the model learned and goes on to the forecasts.
func (w *refitWorker) learned(ctx context.Context, r *store.Refit, j *store.Join, m forecast.Model) error {
	values, err := json.Marshal(m)
	if err != nil {
		return fmt.Errorf("keep model %s: %w", r.Model, err)
	}
	p := store.Parameters{Model: r.Model, AsOf: r.AsOf, Values: values, Diagnostics: diagnosticsOf(m)}
	return w.s.DB.NextStep(ctx, j, values, &p)
}
