package pipeline

import (
	"context"
	"reflect"
	"slices"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
)

// foresight is how the forecasts of a file's few vehicles are worked out before it is
// stored: see takeAhead.
type foresight struct {
	asOf  fleet.Date
	rep   RefitReport
	fault error // of the forecasts
}

// takeAhead is takeAtOnce of an SQLite file, whose one writer is not to wait for a
// model: forecasts of readings are worked out before they are stored, of what the
// vehicles will be then, and stored with them if that is what they are, by the model and
// the thresholds of then. Otherwise, and of other files, they are to follow. Apart, with
// a reading and a transaction of their own, an upload took a fifth more of a processor.
func (s *Service) takeAhead(ctx context.Context, sc auth.Scope, by string, f File, asOf fleet.Date) (taking, RefitReport, error) {
	within := *s
	within.foresight = &foresight{asOf: asOf}
	t, err := within.take(ctx, sc, by, f)
	if fault := within.foresight.fault; fault != nil && ctx.Err() == nil {
		s.Desk.report("forecast what is taken in", fault)
		return s.takeApart(ctx, sc, by, f, asOf)
	}
	return t, within.foresight.rep, err
}

// takeForecast takes in what fill stores, which are readings of vehicles that the
// caller holds, and forecasts these.
func (s *Service) takeForecast(ctx context.Context, sc auth.Scope, t *taking, readings []fleet.Reading, fill func(w *store.Writer) error) error {
	var hs []*store.History // what they will be
	for _, id := range t.touched() {
		h := t.known.histories[id]
		if h == nil { // moved meanwhile, out of what sc sees
			return s.DB.TakeIn(ctx, sc, &t.up, fill)
		}
		hs = append(hs, h.With(slices.DeleteFunc(slices.Clone(readings), func(r fleet.Reading) bool { return r.VehicleID != id })))
	}
	a := s.foresight
	look := lookout{s: s, sc: sc, model: t.model}
	var fs []store.AxleForecast
	var found []fleet.Finding
	a.fault = look.know(ctx, hs)
	if a.fault == nil {
		a.fault = s.forecastEach(ctx, readerOf(hs), t.model, a.asOf, look.at, func(_ []store.History, forecasts []store.AxleForecast, there []fleet.Finding) error {
			fs, found = forecasts, there
			return nil
		})
	}
	if a.fault != nil {
		return a.fault
	}
	err := s.DB.Together(ctx, "store and forecast", func(db *store.DB) error {
		within := *s
		within.DB = db
		if err := db.TakeIn(ctx, sc, &t.up, fill); err != nil || t.up.Accepted == 0 {
			return err
		}
		a.fault = caught(func() error {
			now, st, err := within.foreseen(ctx, sc, t, hs, &look)
			if err != nil || now == nil {
				return err
			}
			if slices.ContainsFunc(found, unnamed) {
				found = nil
				for i := range now {
					h := &now[i]
					of := slices.DeleteFunc(slices.Clone(fs), func(f store.AxleForecast) bool { return f.VehicleID != h.Vehicle.ID })
					there, err := look.at(ctx, h, VehicleOf(h), of)
					if err != nil {
						return err
					}
					found = append(found, there...)
				}
			}
			a.rep = RefitReport{Vehicles: len(now), Axles: len(fs), Model: t.model.Name()}
			if err := within.keep(ctx, sc, st, now, fs, found, a.asOf); err != nil {
				return err
			}
			s.forecasted(len(now))
			return nil
		})
		return a.fault
	})
	if a.fault != nil && ctx.Err() == nil {
		return err // which is tried again
	}
	if s.DB.Taken != nil {
		s.DB.Taken(&t.up, err)
	}
	return err
}

// unnamed says whether a finding names a reading that was not stored yet.
func unnamed(f fleet.Finding) bool {
	return f.Record.Kind == fleet.ReadingRecord && f.Record.ID == 0
}

// foreseen returns what is stored of vehicles that a file spoke of, with what stands of
// them if that was read; nil where that is not what they were to be, or the model or what
// their fleets hold them to is not what look has.
func (s *Service) foreseen(ctx context.Context, sc auth.Scope, t *taking, hs []*store.History, look *lookout) (now []store.History, st *store.Standing, err error) {
	unwritten, err := s.DB.Unwritten(ctx)
	if err != nil {
		return nil, nil, err
	}
	var got []*store.History
	if unwritten {
		got, st, err = s.after(ctx, sc, t, s.foresight.asOf)
	} else {
		got, err = s.histories(ctx, sc, t.touched())
	}
	if err != nil || len(got) != len(hs) {
		return nil, nil, err
	}
	if !unwritten {
		if p, err := s.DB.LatestParameters(ctx, look.model.Name(), t.learned); err != nil || p.ID != t.learned {
			return nil, nil, err
		}
		anew := lookout{s: s, sc: sc}
		if err := anew.know(ctx, got); err != nil || !reflect.DeepEqual(anew.thresholds, look.thresholds) {
			return nil, nil, err
		}
	}
	for i, h := range got {
		if !hs[i].Foresaw(h, t.up.ID) {
			return nil, nil, nil
		}
		now = append(now, *h)
	}
	return now, st, nil
}
