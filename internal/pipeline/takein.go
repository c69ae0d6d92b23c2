package pipeline

import (
	"context"
	"fmt"
	"io"

	"brakewear/ingest"
	"brakewear/internal/auth"
	"brakewear/internal/fleet"
)

// smallBytes bounds what has its turn among small uploads and does not wait for
// long imports: a sheet of a day has some kB.
const smallBytes = 64 << 10

// TakeIn is Import followed by a refit of the vehicles the file was about, so
// that what people look at next follows what they handed in. Where there is a
// desk it waits for the refit for some seconds only; the report then says that
// the forecasts follow.
func (s *Service) TakeIn(ctx context.Context, sc auth.Scope, by string, f File, asOf fleet.Date) (up fleet.Upload, rep RefitReport, err error) {
	body, closeBody, err := spool(f.Body)
	if err != nil {
		return up, rep, fmt.Errorf("read %s: %w", f.Name, err)
	}
	defer closeBody()
	f.Body = body
	if size, err := body.Seek(0, io.SeekEnd); err == nil && size <= smallBytes {
		end, err := s.DB.SmallUpload(ctx)
		if err != nil {
			return up, rep, err
		}
		defer end()
	}
	t, err := s.take(ctx, sc, by, f)
	if err != nil || t.up.Accepted == 0 {
		return t.up, RefitReport{}, err
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
