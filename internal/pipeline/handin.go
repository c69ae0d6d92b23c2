package pipeline

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"brakewear/ingest"
	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
)

// keepFor is how long a file waits between its check and its taking in: until
// the next shift has looked at it.
const keepFor = 24 * time.Hour

// noteEvery is how often other processes are told how far a file is.
const noteEvery = 2 * time.Second

// HandIn keeps a file and checks it, or takes it in at once when direct. It
// waits for that, but not for long: the state of what comes back says how far
// it is, and Kept how it goes on. A file that cannot be read is
// store.FileUnreadable, with its fault.
func (s *Service) HandIn(ctx context.Context, sc auth.Scope, by string, f File, direct bool) (store.KeptFile, error) {
	body, closeBody, err := spool(f.Body)
	if err != nil {
		return store.KeptFile{}, fmt.Errorf("read %s: %w", f.Name, err)
	}
	defer closeBody()
	k := store.KeptFile{
		Name: f.Name, Kind: string(f.Kind), DateOrder: f.DateOrder, By: by, Scope: sc,
		State: store.FileChecking,
	}
	if direct {
		k.State = store.FileTaking
	}
	if k.SHA256, err = hash(body); err != nil {
		return k, fmt.Errorf("read %s: %w", f.Name, err)
	}
	if k.Bytes, err = body.Seek(0, io.SeekEnd); err == nil {
		_, err = body.Seek(0, io.SeekStart)
	}
	if err != nil {
		return k, fmt.Errorf("read %s: %w", f.Name, err)
	}
	if err := s.DB.KeepFile(ctx, &k, keepFor, body); err != nil {
		return k, err
	}
	return s.attend(ctx, sc, by, k.ID)
}

// TakeKept takes in a file that was checked, and waits as HandIn does.
func (s *Service) TakeKept(ctx context.Context, sc auth.Scope, by string, id int64) (store.KeptFile, error) {
	k, err := s.DB.TakeFile(ctx, sc, by, id)
	if err != nil || !k.State.Working() {
		return k, err
	}
	return s.attend(ctx, sc, by, id)
}

// Kept returns a kept file with how far the work on it is.
func (s *Service) Kept(ctx context.Context, sc auth.Scope, by string, id int64) (store.KeptFile, error) {
	k, err := s.DB.KeptFile(ctx, sc, by, id)
	if err != nil {
		return k, err
	}
	if !k.State.Working() || s.Desk == nil {
		return k, nil
	}
	if w := s.Desk.at(id); w != nil {
		p := w.far()
		k.ReadBytes, k.ReadRows = p.Bytes, p.Rows
	} else {
		s.Desk.file(id) // whoever worked on it may have died
	}
	return k, nil
}

// attend works on a kept file, and waits for it a while where there is a desk.
func (s *Service) attend(ctx context.Context, sc auth.Scope, by string, id int64) (store.KeptFile, error) {
	if s.Desk == nil {
		if err := s.workOn(ctx, id, nil); err != nil {
			return store.KeptFile{}, err
		}
		return s.Kept(ctx, sc, by, id)
	}
	w := s.Desk.file(id)
	wait := time.NewTimer(patience)
	defer wait.Stop()
	select {
	case <-w.done:
		if w.err != nil && !errors.Is(w.err, context.Canceled) { // the next process goes on
			return store.KeptFile{}, w.err
		}
	case <-wait.C:
	case <-ctx.Done():
	}
	return s.Kept(ctx, sc, by, id)
}

// workOn does what is to be done on a kept file, unless another process does.
// What a person can mend is noted with the file and is no error.
func (s *Service) workOn(ctx context.Context, id int64, progress func(Progress)) error {
	ctx, release, err := s.DB.LockJob(ctx, fmt.Sprintf("file %d", id))
	if err != nil || release == nil {
		return err
	}
	defer release()
	f, err := s.DB.KeptFile(ctx, auth.AllFleets(), "", id)
	if errors.Is(err, fleet.ErrNotFound) || err == nil && !f.State.Working() {
		return nil // dropped, or done by another process
	}
	if err != nil {
		return err
	}
	err = caught(func() error { // else the next process would take it up, and end as well
		switch f.State {
		case store.FileChecking:
			return s.checkKept(ctx, &f, progress)
		case store.FileTaking:
			return s.takeKept(ctx, &f, progress)
		case store.FileTaken: // and what should follow was cut off
			up, err := s.DB.Upload(ctx, f.Scope, f.UploadID)
			if err != nil {
				return err
			}
			ids, err := s.DB.TouchedBy(ctx, f.Scope, f.UploadID)
			if err != nil {
				return err
			}
			return s.followKept(ctx, &f, &up, ids)
		}
		return nil
	})
	switch {
	case err == nil:
		return nil
	case ctx.Err() != nil, errors.Is(err, fleet.ErrUnavailable):
		return err // to be taken up again
	}
	if f.State == store.FileTaking {
		// What failed may have come after its rows were stored, with which it is noted.
		now, rerr := s.DB.KeptFile(ctx, auth.AllFleets(), "", id)
		if rerr != nil && !errors.Is(rerr, fleet.ErrNotFound) { // it may have waited too long
			return errors.Join(err, rerr) // to be taken up again
		}
		if now.State == store.FileTaken {
			now.ReadBytes, now.ReadRows = f.ReadBytes, f.ReadRows
			f = now
		}
	}
	if f.State == store.FileTaken {
		// Its rows are stored, whatever became of what follows: the night's refit
		// makes up for that.
		f.State = store.FileDone
		if s.Desk == nil {
			return errors.Join(err, s.DB.SaveKept(ctx, &f))
		}
		s.Desk.report("forecast what a file brought", err)
		return s.DB.SaveKept(ctx, &f)
	}
	f.State, f.Fault = store.FileFailed, "Something went wrong on our side. It has been logged, and nothing was changed."
	mendable := errors.Is(err, fleet.ErrConflict) || errors.Is(err, fleet.ErrNotFound)
	if mendable {
		f.Fault = err.Error()
	}
	if serr := s.DB.SaveKept(ctx, &f); serr != nil || mendable {
		return serr
	}
	return err
}

// checkKept checks a kept file and keeps what that found.
func (s *Service) checkKept(ctx context.Context, f *store.KeptFile, progress func(Progress)) error {
	return s.withKept(ctx, f, progress, func(file File) error {
		c, err := s.Check(ctx, f.Scope, f.By, file)
		if err != nil {
			return err
		}
		f.Report, err = json.Marshal(c)
		f.State = store.FileChecked
		return err
	})
}

// takeKept takes a kept file in, and what should follow with it.
func (s *Service) takeKept(ctx context.Context, f *store.KeptFile, progress func(Progress)) error {
	var t taking
	err := s.withKept(ctx, f, progress, func(file File) (err error) {
		file.kept = f.ID
		if t, err = s.take(ctx, f.Scope, f.By, file); err != nil {
			return err
		}
		c := Checked{Upload: t.up, Before: t.first}
		c.Upload.Problems = nil // the upload has them
		if f.Report, err = json.Marshal(c); err != nil {
			return err
		}
		f.State, f.UploadID = store.FileTaken, t.up.ID
		if t.up.Accepted == 0 {
			f.State = store.FileDone // nothing follows
		}
		return nil
	})
	if err != nil || f.State != store.FileTaken {
		return err
	}
	return s.followKept(ctx, f, &t.up, t.touched())
}

// followKept forecasts the vehicles of a kept file that was taken in.
func (s *Service) followKept(ctx context.Context, f *store.KeptFile, up *fleet.Upload, ids []int64) error {
	if _, err := s.refitTouched(ctx, f.Scope, whose(up, ids), s.Today()); err != nil {
		return err
	}
	f.State = store.FileDone
	return s.DB.SaveKept(ctx, f)
}

// withKept calls fn with a kept file's bytes and saves the state it leaves in
// f. A file that cannot be read is a state, not an error.
func (s *Service) withKept(ctx context.Context, f *store.KeptFile, progress func(Progress), fn func(file File) error) error {
	tmp, err := os.CreateTemp("", "brakewear-kept-*")
	if err != nil {
		return fleet.DiskError(err)
	}
	defer func() {
		tmp.Close()
		os.Remove(tmp.Name())
	}()
	if err := s.DB.CopyKept(ctx, f.ID, tmp); err != nil {
		return fleet.DiskError(err)
	}
	var noted time.Time
	err = fn(File{
		Name: f.Name, Kind: ingest.Kind(f.Kind), DateOrder: f.DateOrder, Body: tmp,
		Progress: func(p Progress) {
			f.ReadBytes, f.ReadRows = p.Bytes, p.Rows
			if progress != nil {
				progress(p)
			}
			if time.Since(noted) > noteEvery {
				noted = time.Now()
				_ = s.DB.NoteProgress(ctx, f) // nothing hangs on it
			}
		},
	})
	if errors.Is(err, fleet.ErrInvalid) {
		f.State, f.Fault, err = store.FileUnreadable, err.Error(), nil
	}
	if err != nil {
		return err
	}
	return s.DB.SaveKept(ctx, f)
}

// CheckedOf returns what the check of a kept file found, or its taking in did;
// false when there was neither.
func CheckedOf(f *store.KeptFile) (c Checked, ok bool, err error) {
	if f.Report == nil {
		return c, false, nil
	}
	if err := json.Unmarshal(f.Report, &c); err != nil {
		return c, false, fmt.Errorf("the report of file %d: %w", f.ID, err)
	}
	return c, true, nil
}
