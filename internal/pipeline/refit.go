package pipeline

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"iter"
	"runtime"
	"sync"

	"brakewear/forecast"
	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
)

// RefitReport says what a refit did.
type RefitReport struct {
	Vehicles int
	Axles    int
	Model    string
	Trained  bool // the model learned anew from the whole fleet
	Follows  bool // it goes on; the rest of the report is not known yet
}

// Train learns the model from every reading on or before asOf and keeps what
// it learned, with its history.
func (s *Service) Train(ctx context.Context, asOf fleet.Date) (forecast.Model, error) {
	k, err := s.kind()
	if err != nil {
		return nil, err
	}
	r, err := s.share(ctx, k, store.Refit{AsOf: asOf, Scope: auth.AllFleets(), LearnOnly: true})
	if err != nil {
		return nil, err
	}
	return k.load(r.Knows)
}

// learn learns a kind of model from every reading on or before asOf. What is
// learned is the installation's, not one caller's: strength is borrowed across
// fleets, and no fleet's readings show in it.
func (s *Service) learn(ctx context.Context, k kind, asOf fleet.Date) (forecast.Model, error) {
	var failed error
	m, err := k.train(s.vehicles(ctx, auth.AllFleets(), nil, &failed), forecast.Day(asOf))
	if err := errors.Join(failed, err); err != nil {
		return nil, fmt.Errorf("learn model %s: %w", k.name, err)
	}
	return m, nil
}

// TrainModel learns the model of a name from vehicles and keeps nothing.
func TrainModel(name string, vs iter.Seq[*forecast.Vehicle], asOf forecast.Day) (forecast.Model, error) {
	k, err := kindOf(name)
	if err != nil {
		return nil, err
	}
	return k.train(vs, asOf)
}

// diagnosticsOf returns what the model says of its own fit, as JSON.
func diagnosticsOf(m forecast.Model) json.RawMessage {
	d, ok := m.(interface{ Diagnostics() any })
	if !ok {
		return json.RawMessage("{}")
	}
	b, err := json.Marshal(d.Diagnostics())
	if err != nil {
		return json.RawMessage("{}")
	}
	return b
}

// fitted returns the model as last learned; it learns it first where that
// never happened.
func (s *Service) fitted(ctx context.Context, asOf fleet.Date) (m forecast.Model, trained bool, err error) {
	_, m, err = s.kept(ctx)
	if errors.Is(err, fleet.ErrNotFound) {
		m, err = s.Train(ctx, asOf)
		return m, true, err
	}
	return m, false, err
}

// latest returns the model as last learned, or one that has learned nothing
// yet: it never takes the time to learn.
func (s *Service) latest(ctx context.Context) (forecast.Model, error) {
	k, m, err := s.kept(ctx)
	if errors.Is(err, fleet.ErrNotFound) {
		return s.untaught(k)
	}
	return m, err
}

// untaught returns a model of the kind that has learned nothing.
func (s *Service) untaught(k kind) (forecast.Model, error) {
	return k.train(func(func(*forecast.Vehicle) bool) {}, forecast.Day(s.Today()))
}

// kept returns the kind of model in use, and that model as last learned;
// fleet.ErrNotFound where none was learned yet.
func (s *Service) kept(ctx context.Context) (k kind, m forecast.Model, err error) {
	if k, err = s.kind(); err != nil {
		return k, nil, err
	}
	if m, err = s.Remembered.load(ctx, s.DB, k); err != nil {
		return k, nil, fmt.Errorf("parameters of model %s: %w", k.name, err)
	}
	return k, m, nil
}

// vehicles streams the vehicles of ids, or all when ids is nil, in their
// order; a failure ends the sequence and is left in failed.
func (s *Service) vehicles(ctx context.Context, sc auth.Scope, ids []int64, failed *error) iter.Seq[*forecast.Vehicle] {
	return func(yield func(*forecast.Vehicle) bool) {
		stop := errors.New("stop")
		err := s.DB.EachHistory(ctx, sc, ids, func(h *store.History) error {
			if !yield(VehicleOf(h)) {
				return stop
			}
			return nil
		})
		if err != nil && !errors.Is(err, stop) {
			*failed = err
		}
	}
}

// Refit forecasts the axles of the vehicles given, or of all that sc sees
// when ids is nil, as of a day; all of them are learned from first, and every
// process on the database may help with it, see Help. A few vehicles are held
// meanwhile, and many are not: those that somebody else forecasts between their reading
// and their keeping are forecast once more.
func (s *Service) Refit(ctx context.Context, sc auth.Scope, ids []int64, asOf fleet.Date) (RefitReport, error) {
	if ids == nil {
		return s.refitAll(ctx, sc, asOf)
	}
	for try := 1; ; try++ {
		rep, err := s.refitOf(ctx, sc, ids, asOf)
		if try == refitTries || !errors.Is(err, fleet.ErrConflict) {
			return rep, err
		}
	}
}

// refitTries is how often the same vehicles are forecast anew when somebody else
// keeps forecasts of them at the same moment. What they follow from, such as a
// correction, is stored by then, and must not be said to have failed.
const refitTries = 5

// refitOf is Refit of some vehicles, once.
func (s *Service) refitOf(ctx context.Context, sc auth.Scope, ids []int64, asOf fleet.Date) (rep RefitReport, err error) {
	m, trained, err := s.fitted(ctx, asOf)
	if err != nil {
		return rep, err
	}
	if len(ids) <= fewVehicles {
		err = s.DB.Holding(ctx, "forecast vehicles", ids, func(db *store.DB) error {
			within := *s
			within.DB = db
			hs, err := within.histories(ctx, sc, ids)
			if err == nil {
				rep, err = within.refitFew(ctx, sc, hs, nil, asOf, m)
			}
			return err
		})
	} else {
		rep, err = s.refitMany(ctx, sc, ids, asOf, m)
	}
	rep.Trained = trained
	return rep, err
}

// refitFew is Refit of a few vehicles, which are held (see store.DB.Holding) since
// before they were read: what is kept last follows from what was stored last.
// st is as for keep.
func (s *Service) refitFew(ctx context.Context, sc auth.Scope, hs []*store.History, st *store.Standing, asOf fleet.Date, m forecast.Model) (RefitReport, error) {
	look := lookout{s: s, sc: sc, model: m, standing: st}
	if err := look.know(ctx, hs); err != nil {
		return RefitReport{}, err
	}
	return s.refitWith(ctx, &look, readerOf(hs), asOf)
}

// readerOf hands over what was read.
func readerOf(hs []*store.History) reader {
	return func(fn func(*store.History) error) error {
		for _, h := range hs {
			if err := fn(h); err != nil {
				return err
			}
		}
		return nil
	}
}

// histories returns the histories of a few vehicles.
func (s *Service) histories(ctx context.Context, sc auth.Scope, ids []int64) (hs []*store.History, err error) {
	err = s.DB.EachHistory(ctx, sc, ids, func(h *store.History) error {
		hs = append(hs, h)
		return nil
	})
	return hs, err
}

// refitWith forecasts the vehicles that read reads and keeps what came of it.
func (s *Service) refitWith(ctx context.Context, look *lookout, read reader, asOf fleet.Date) (RefitReport, error) {
	rep := RefitReport{Model: look.model.Name()}
	err := s.refit(ctx, look, read, asOf, func(hs []store.History, fs []store.AxleForecast, found []fleet.Finding) error {
		rep.Vehicles += len(hs)
		rep.Axles += len(fs)
		// In one transaction: of few vehicles, each one's end would take longer
		// than what is stored.
		return s.DB.Together(ctx, "keep forecasts", func(db *store.DB) error {
			within := *s
			within.DB = db
			return within.keep(ctx, look.sc, look.standing, hs, fs, found, asOf)
		})
	})
	return rep, err
}

// keep keeps forecasts of vehicles, and all that goes with them. st is what stands of them;
// nil = it is yet to be read.
func (s *Service) keep(ctx context.Context, sc auth.Scope, st *store.Standing, hs []store.History, fs []store.AxleForecast, found []fleet.Finding, asOf fleet.Date) (err error) {
	if st == nil {
		if st, err = s.standing(ctx, sc, hs, asOf); err != nil {
			return err
		}
	}
	if err := s.keepWith(ctx, sc, st, hs, found, asOf); err != nil {
		return err
	}
	return s.DB.SaveForecasts(ctx, sc, st, fs)
}

// standing returns what stands of vehicles that forecasts of a day are to be kept of.
func (s *Service) standing(ctx context.Context, sc auth.Scope, hs []store.History, asOf fleet.Date) (*store.Standing, error) {
	return s.DB.Standing(ctx, sc, vehiclesOf(hs), asOf, Ahead[0])
}

// refit forecasts the vehicles that read reads and hands the forecasts, and what
// there is to look at, to save, a few hundred vehicles at a time.
func (s *Service) refit(ctx context.Context, look *lookout, read reader, asOf fleet.Date,
	save func(hs []store.History, fs []store.AxleForecast, found []fleet.Finding) error) error {
	return s.forecastEach(ctx, read, look.model, asOf, look.at, func(hs []store.History, fs []store.AxleForecast, found []fleet.Finding) error {
		if err := save(hs, fs, found); err != nil {
			return err
		}
		s.forecasted(len(hs))
		return nil
	})
}

func (s *Service) forecasted(vehicles int) {
	if s.Forecasted != nil {
		s.Forecasted(vehicles)
	}
}

// keepWith keeps what there is to look at on vehicles, what is said of their brake tests
// and their track record, before their forecasts: where those are stored, nothing is left
// to do.
func (s *Service) keepWith(ctx context.Context, sc auth.Scope, st *store.Standing, hs []store.History, found []fleet.Finding, asOf fleet.Date) error {
	if err := s.DB.SaveFindings(ctx, st, vehiclesOf(hs), found); err != nil {
		return err
	}
	if err := s.keepVerdicts(ctx, sc, hs); err != nil {
		return err
	}
	return s.keepRecord(ctx, sc, st, hs, asOf)
}

// reader reads vehicles and hands them to fn in the order of their ids; it
// stops at fn's first error.
type reader func(fn func(*store.History) error) error

// reader reads the vehicles of ids, or all that sc sees when ids is nil.
func (s *Service) reader(ctx context.Context, sc auth.Scope, ids []int64) reader {
	return func(fn func(*store.History) error) error { return s.DB.EachHistory(ctx, sc, ids, fn) }
}

// chunkVehicles is how many vehicles one worker forecasts, and one
// transaction stores, at a time.
const chunkVehicles = 256

// looker works out what there is to look at on a vehicle just forecast; several
// workers call it.
type looker func(ctx context.Context, h *store.History, v *forecast.Vehicle, fs []store.AxleForecast) ([]fleet.Finding, error)

// forecastEach forecasts vehicles with several workers, looks at each unless
// look is nil, and hands the results to save in the order of the vehicles,
// whatever the number of workers.
func (s *Service) forecastEach(ctx context.Context, read reader, m forecast.Model, asOf fleet.Date, look looker,
	save func(hs []store.History, fs []store.AxleForecast, found []fleet.Finding) error) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	workers := s.Workers
	if workers <= 0 {
		workers = runtime.GOMAXPROCS(0)
	}
	type result struct {
		fs    []store.AxleForecast
		found []fleet.Finding
		err   error
	}
	type chunk struct {
		hs   []store.History
		done chan result
	}
	work := make(chan chunk)
	order := make(chan chunk, workers+1) // bounds how far reading runs ahead
	var wg sync.WaitGroup
	for range workers {
		wg.Go(func() {
			for c := range work {
				var r result
				for i := range c.hs {
					h := &c.hs[i]
					if r.err != nil {
						break
					}
					r.err = caught(func() error {
						v := VehicleOf(h)
						fs := s.forecast(h.Vehicle.ID, v, m, asOf, forecast.Options{})
						r.fs = append(r.fs, fs...)
						if look == nil {
							return nil
						}
						found, err := look(ctx, h, v, fs)
						r.found = append(r.found, found...)
						return err
					})
				}
				c.done <- r
			}
		})
	}
	var readErr error
	wg.Go(func() {
		defer close(order)
		defer close(work)
		var hs []store.History
		send := func() error {
			if len(hs) == 0 {
				return nil
			}
			c := chunk{hs, make(chan result, 1)}
			hs = nil
			for _, to := range []chan chunk{order, work} {
				select {
				case to <- c:
				case <-ctx.Done():
					return ctx.Err()
				}
			}
			return nil
		}
		readErr = caught(func() error {
			return read(func(h *store.History) error {
				hs = append(hs, *h)
				if len(hs) == chunkVehicles {
					return send()
				}
				return nil
			})
		})
		if readErr == nil {
			readErr = send()
		}
	})
	var saveErr error
	for c := range order {
		if saveErr != nil {
			continue // drain
		}
		select {
		case r := <-c.done:
			if saveErr = r.err; saveErr == nil {
				saveErr = save(c.hs, r.fs, r.found)
			}
			if saveErr != nil {
				cancel()
			}
		case <-ctx.Done():
			saveErr = ctx.Err()
		}
	}
	wg.Wait()
	if saveErr != nil {
		return saveErr
	}
	return readErr
}

// forecast forecasts one vehicle's axles.
func (s *Service) forecast(id int64, v *forecast.Vehicle, m forecast.Model, asOf fleet.Date, opt forecast.Options) []store.AxleForecast {
	fs := m.Forecast(v, forecast.Day(asOf), opt)
	out := make([]store.AxleForecast, len(fs))
	for i, f := range fs {
		out[i] = store.AxleForecast{
			VehicleID:    id,
			BookBy:       BookBy(f.Crossing, f.AsOf, s.AcceptedRisk()),
			Risk:         s.AcceptedRisk(),
			PastLimit:    f.Has(forecast.PastLimit),
			AxleForecast: f,
		}
	}
	return out
}

// VehicleForecast forecasts one vehicle as of a day, with what a plot needs:
// its history, its forecasts with their paths, and its odometer's track. They are
// not to be changed: the next who looks may get the same.
func (s *Service) VehicleForecast(ctx context.Context, sc auth.Scope, vehicleID int64, asOf fleet.Date) (store.History, []store.AxleForecast, forecast.Track, error) {
	h, err := s.DB.History(ctx, sc, vehicleID)
	if err != nil {
		return store.History{}, nil, forecast.Track{}, err
	}
	fs, track, err := s.ForecastOf(ctx, &h, 0, asOf)
	if err != nil {
		return store.History{}, nil, forecast.Track{}, err
	}
	return h, fs, track, nil
}

// ForecastOf is VehicleForecast of a history that was read already, and with it which
// parameters are the newest, see store.Around; 0 = that was not read.
func (s *Service) ForecastOf(ctx context.Context, h *store.History, newest int64, asOf fleet.Date) ([]store.AxleForecast, forecast.Track, error) {
	k, err := s.kind()
	if err != nil {
		return nil, forecast.Track{}, err
	}
	m := s.Remembered.known(s.DB, k, newest)
	if m == nil {
		if m, _, err = s.fitted(ctx, asOf); err != nil {
			return nil, forecast.Track{}, err
		}
	}
	x := lookedAt{h: *h, model: m, risk: s.AcceptedRisk(), asOf: asOf}
	if !s.Remembered.forecasts(&x) {
		v := VehicleOf(h)
		x.fs = s.forecast(h.Vehicle.ID, v, m, asOf, forecast.Options{Paths: true})
		x.track = forecast.CleanOdometer(v.Odometer, v.Swaps...)
		s.Remembered.keep(x)
	}
	return x.fs, x.track, nil
}

// Reports forecasts every axle that sc sees, in the order of vehicles, and
// hands each to emit. Nothing is stored but what was learned.
func (s *Service) Reports(ctx context.Context, sc auth.Scope, asOf fleet.Date, emit func(Report) error) error {
	m, err := s.Train(ctx, asOf)
	if err != nil {
		return err
	}
	return s.forecastEach(ctx, s.reader(ctx, sc, nil), m, asOf, nil, func(hs []store.History, fs []store.AxleForecast, _ []fleet.Finding) error {
		for i := range hs {
			h := &hs[i]
			for ; len(fs) > 0 && fs[0].VehicleID == h.Vehicle.ID; fs = fs[1:] {
				if err := emit(ReportOf(h.Vehicle.Number, &fs[0].AxleForecast, s.AcceptedRisk())); err != nil {
					return err
				}
			}
		}
		return nil
	})
}
