package pipeline

import (
	"context"
	"errors"
	"fmt"
	"io"

	"brakewear/ingest"
	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
)

// smallBytes bounds what has its turn among small uploads and does not wait for
// long imports: a sheet of a day has some kB.
const smallBytes = 64 << 10

// TakeIn is Import followed by a refit of the vehicles the file was about, so
// that what people look at next follows what they handed in. Where there is a
// desk it waits for a refit by itself for some seconds only; the report then says
// that the forecasts follow.
func (s *Service) TakeIn(ctx context.Context, sc auth.Scope, by string, f File, asOf fleet.Date) (up fleet.Upload, rep RefitReport, err error) {
	body, closeBody, err := spool(f.Body)
	if err != nil {
		return up, rep, fmt.Errorf("read %s: %w", f.Name, err)
	}
	defer closeBody()
	f.Body = body
	take := s.takeApart
	if size, err := body.Seek(0, io.SeekEnd); err == nil && size <= smallBytes {
		end, err := s.DB.SmallUpload(ctx)
		if err != nil {
			return up, rep, err
		}
		defer end()
		switch {
		case s.DB.ManyWriters():
			take = s.takeAtOnce
		case !s.DB.Tentative():
			take = s.takeAhead
		}
	}
	t, rep, err := take(ctx, sc, by, f, asOf)
	if err != nil || t.up.Accepted == 0 || rep.Vehicles > 0 {
		return t.up, rep, err
	}
	ids, all := t.touched(), false
	if t.known == nil { // its key was used: what followed the first time may have failed
		if ids, err = s.DB.TouchedBy(ctx, sc, t.up.ID); err != nil {
			return t.up, RefitReport{}, err
		}
		ids = whose(&t.up, ids)
		all = ids == nil
	}
	if len(ids) == 0 && !all {
		return t.up, RefitReport{}, nil
	}
	var through RefitReport
	done, err := s.Desk.within(ctx, "forecast what was taken in", func(ctx context.Context) (err error) {
		refit := s.refitTouched
		if t.many {
			refit = s.Refit // they are less than half of all for sure
		}
		through, err = refit(ctx, sc, ids, asOf)
		if s.Desk.later(err, ids) {
			through, err = RefitReport{Follows: true}, nil
		}
		return err
	})
	if !done {
		return t.up, RefitReport{Follows: true}, nil
	}
	return t.up, through, err
}

// takeApart is take, of which the forecasts are to follow.
func (s *Service) takeApart(ctx context.Context, sc auth.Scope, by string, f File, _ fleet.Date) (taking, RefitReport, error) {
	t, err := s.take(ctx, sc, by, f)
	return t, RefitReport{}, err
}

// takeAtOnce is take with the forecasts of a few vehicles, in one transaction that
// holds these from before they are read: most of what a forecast rests on is known
// then, and need not be read again. Where there are more, or all are to be learned
// from, the forecasts are to follow, as they are where they fail: they keep nothing
// from being stored. Who goes away before the end has stored nothing.
func (s *Service) takeAtOnce(ctx context.Context, sc auth.Scope, by string, f File, asOf fleet.Date) (t taking, rep RefitReport, err error) {
	var fault error // of the forecasts
	var last bool   // all but the last of what is kept of them is stored
	err = s.DB.Together(ctx, "store and forecast", func(db *store.DB) error {
		within := *s
		within.DB, within.holds = db, true
		if t, err = within.take(ctx, sc, by, f); err != nil || t.up.Accepted == 0 || !t.some() {
			return err
		}
		fault = caught(func() error {
			hs, st, err := within.after(ctx, sc, &t, asOf)
			if err == nil && len(hs) > 0 {
				rep, err = within.refitFew(ctx, sc, hs, st, asOf, t.model)
				last = err == nil
			}
			return err
		})
		return fault
	})
	if last && err != nil && !errors.Is(err, fleet.ErrUnsure) {
		fault = err
	}
	if fault != nil && ctx.Err() == nil {
		s.Desk.report("forecast what is taken in", fault)
		return s.takeApart(ctx, sc, by, f, asOf)
	}
	if s.DB.Taken != nil && t.up.ID != 0 && t.known != nil {
		s.DB.Taken(&t.up, err)
	}
	if t.up.Kind == string(ingest.Vehicles) {
		s.Clock.forget() // what was looked up before the end
	}
	return t, rep, err
}

// some says whether the rows are of a few vehicles, of which all is known,
// and there is a model that need not learn anew from them.
func (t *taking) some() bool {
	return t.learned != 0 && t.many && t.known != nil && t.known.histories != nil
}

// after returns what is known of the vehicles that a file spoke of, now that it is
// stored; of a file of measured values what it cannot have changed is known from before.
// Of a file of readings it returns what stands on a day, too.
func (s *Service) after(ctx context.Context, sc auth.Scope, t *taking, asOf fleet.Date) (hs []*store.History, st *store.Standing, err error) {
	var changed store.Records
	switch ingest.Kind(t.up.Kind) {
	case ingest.Readings: // which are added
	case ingest.Odometer:
		changed = store.OdometerRecords | store.SwapRecords
	case ingest.Fitments:
		changed = store.FitmentRecords
	default:
		hs, err = s.histories(ctx, sc, t.touched())
		return hs, nil, err
	}
	if len(t.known.stoodIn) > 0 {
		changed |= store.AxleRecords
	}
	for _, id := range t.touched() {
		hs = append(hs, t.known.histories[id])
	}
	if changed != 0 {
		err = s.DB.Reread(ctx, hs, changed)
	}
	if err == nil && t.up.Kind == string(ingest.Readings) {
		st, err = s.DB.AddReadings(ctx, sc, hs, t.up.ID, asOf, Ahead[0])
	}
	return hs, st, err
}

// whose returns the vehicles that an upload was about, of which ids are known
// to be; nil = all, where that is not known any more.
func whose(up *fleet.Upload, ids []int64) []int64 {
	switch {
	case len(ids) > 0:
		return ids
	case up.Kind == string(ingest.Axles):
		return nil
	}
	return []int64{}
}

// refitTouched forecasts vehicles that something was taken in of, or all that
// sc sees when ids is nil. Where they are half of the vehicles or more, as with
// a workshop's first files, the model learns anew from all of them.
func (s *Service) refitTouched(ctx context.Context, sc auth.Scope, ids []int64, asOf fleet.Date) (RefitReport, error) {
	if ids != nil && len(ids) == 0 {
		return RefitReport{}, nil
	}
	if ids != nil {
		more, err := s.DB.MoreVehicles(ctx, sc, 2*len(ids))
		if err != nil {
			return RefitReport{}, err
		}
		if !more {
			ids = nil
		}
	}
	return s.Refit(ctx, sc, ids, asOf)
}
