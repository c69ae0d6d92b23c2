package pipeline

import (
	"bytes"
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"slices"
	"sync"

	"brakewear/forecast"
	"brakewear/ingest"
	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
)

// File is one file to take in.
type File struct {
	Name string
	Kind ingest.Kind // "" = found by its header
	Body io.Reader
	// DateOrder is how it writes its dates; see ingest.Options.
	DateOrder string
	// Key is the sender's own name for the request; "" = none. One that was
	// used is answered by what the first request got, or refused when the
	// bytes are others.
	Key string
	// Progress is told of every batch that was stored; nil = nobody.
	Progress func(Progress)

	kept int64 // the kept file that this is; 0 = none
}

// Progress is how far a file has been read.
type Progress struct {
	Rows  int
	Bytes int64 // of the file; all of a workbook at once
}

// Import takes one file in, in one transaction: the good rows are stored, the
// others come back as the upload's problems, and so do the doubtful ones, which
// are stored all the same. The same bytes sent again change nothing and return
// the first upload with every row counted as repeated. An error means that
// nothing was stored.
func (s *Service) Import(ctx context.Context, sc auth.Scope, by string, f File) (fleet.Upload, error) {
	t, err := s.take(ctx, sc, by, f)
	return t.up, err
}

// taking is one file on its way in.
type taking struct {
	up      fleet.Upload
	known   *resolver     // nil where the file was known by its key or its bytes
	first   *fleet.Upload // the upload that had these bytes or this key before
	many    bool          // there are more than twice as many vehicles as it is about
	model   forecast.Model
	learned int64 // id of the model's parameters; 0 = it has learned nothing
}

// touched returns the vehicles whose axles, readings, odometers or fitments
// were spoken of.
func (t *taking) touched() []int64 {
	if t.known == nil {
		return nil
	}
	return slices.Sorted(maps.Keys(t.known.touched))
}

// take is Import that tells more.
func (s *Service) take(ctx context.Context, sc auth.Scope, by string, f File) (t taking, err error) {
	t.up = fleet.Upload{Name: f.Name, By: by, Key: f.Key}
	body, closeBody, err := spool(f.Body)
	if err != nil {
		return t, fmt.Errorf("read %s: %w", f.Name, err)
	}
	defer closeBody()
	if t.up.SHA256, err = hash(body); err != nil {
		return t, fmt.Errorf("read %s: %w", f.Name, err)
	}
	if f.Key != "" {
		first, err := s.DB.UploadByKey(ctx, sc, by, f.Key)
		switch {
		case err == nil && first.SHA256 != t.up.SHA256:
			return t, fleet.Conflictf("key %q was used for another content: give each request a key of its own", f.Key)
		case err == nil:
			t.up, t.first = first, &first
			return t, nil
		case !errors.Is(err, fleet.ErrNotFound):
			return t, err
		}
	}
	numbers, err := numbersIn(body, f)
	if err != nil {
		return t, fmt.Errorf("read %s: %w", f.Name, err)
	}
	var known *resolver
	r, err := ingest.NewReader(body, f.Name, ingest.Options{
		Kind:      f.Kind,
		Today:     s.Today(),
		AxleCount: func(fleetName, number string) int { return known.axleCount(fleetName, number) },
		DateOrder: f.DateOrder,
	})
	if err != nil {
		return t, err
	}
	defer r.Close()
	t.up.Kind = string(r.Kind())

	var vs map[string][]store.VehicleKey // by number
	if s.foresight != nil && numbers != nil && r.Kind() == ingest.Readings {
		within := *s
		var release func()
		if vs, within.DB, release, err = s.DB.HoldNumbered(ctx, sc, numbers, fewVehicles); err != nil {
			return t, err
		}
		defer release()
		s = &within
	}
	// Not within the transaction: the model may be at the database too.
	look := func(s *Service) (err error) {
		known, err = s.about(ctx, sc, &t, r.Kind(), numbers, vs)
		return err
	}
	if numbers != nil {
		err = s.lookup(ctx, "read what a file is about", look)
	} else {
		err = look(s)
	}
	if err != nil {
		return t, err
	}
	if t.first != nil {
		t.up = *t.first
		t.up.Repeated += t.first.Accepted
		t.up.Accepted, t.up.Doubtful = 0, 0
		return t, nil
	}
	t.known = known
	var doubts []fleet.Problem
	var rows int
	p := s.place(ctx, r, known, func(ctx context.Context, upload int64) (err error) {
		doubts, rows, err = s.doubts(ctx, sc, t.model, known, upload)
		return err
	})
	defer p.end()
	fill := func(w *store.Writer) error {
		if s.holds {
			for _, h := range known.histories {
				w.Seen(&h.Vehicle)
			}
		}
		if err := p.takeIn(ctx, w, &t.up, f.Progress); err != nil {
			return err
		}
		t.up.Refused = r.Refused() + known.refused
		t.up.Problems = slices.Concat(r.Problems(), known.problems, known.notes(), known.doubts, doubts)
		t.up.Doubtful = known.doubtful + rows
		if f.kept != 0 {
			if err := w.FileTaken(f.kept); err != nil {
				return err
			}
		}
		slices.SortStableFunc(t.up.Problems, func(a, b fleet.Problem) int { return cmp.Compare(a.Line, b.Line) })
		t.up.Problems = slices.Compact(t.up.Problems) // the values of a line may all have the same
		return nil
	}
	if vs != nil && t.some() && p.only != nil && ctx.Err() == nil && len(known.stoodIn) == 0 {
		err = s.takeForecast(ctx, sc, &t, p.only.readings, fill)
	} else {
		err = s.DB.TakeIn(ctx, sc, &t.up, fill)
	}
	if r.Kind() == ingest.Vehicles { // which may bring depots
		s.Clock.forget()
	}
	return t, err
}

// about finds the upload that had the bytes of t before, or the model and what is known
// of the vehicles that it may be about: those of numbers, which are vs unless that is
// nil, or all when numbers is nil.
func (s *Service) about(ctx context.Context, sc auth.Scope, t *taking, of ingest.Kind, numbers []string, vs map[string][]store.VehicleKey) (known *resolver, err error) {
	k, err := s.kind()
	if err != nil {
		return nil, err
	}
	memory := s.Remembered.on(s.DB)
	id, model := memory.learned(k)
	q := store.FileQuery{Kind: t.up.Kind, SHA256: t.up.SHA256, Numbers: numbers, Most: 4*len(numbers) + 1, Model: k.name, Known: id, ID: s.holds}
	if vs != nil {
		q.Numbers = nil
	}
	a, err := s.DB.AboutFile(ctx, sc, q)
	t.up.ID = a.ID
	if t.first = a.First; err != nil || t.first != nil {
		return nil, err
	}
	if vs == nil {
		vs = a.Vehicles
	}
	if known, err = s.know(ctx, sc, of, numbers, vs); err != nil {
		return nil, err
	}
	if numbers != nil {
		if of != ingest.Vehicles {
			if err := s.guess(ctx, known, numbers); err != nil {
				return nil, err
			}
		}
		n := len(store.IDsOf(vs))
		if t.many = a.Counted > 2*n; n > 2*len(numbers) { // several have the same number
			if t.many, err = s.DB.MoreVehicles(ctx, sc, 2*n); err != nil {
				return nil, err
			}
		}
	}
	switch {
	case a.Learned != nil:
		t.learned = a.Learned.ID
		if t.model, err = memory.learn(k, a.Learned); err != nil {
			return nil, fmt.Errorf("parameters of model %s: %w", k.name, err)
		}
	case id != 0:
		t.model, t.learned = model, id
	default:
		t.model, err = s.untaught(k)
	}
	return known, err
}

// eachBatch hands fn the rows of r, at most batchRows at a time; they are fn's
// until it returns. The next ones are read meanwhile: reading is the program's
// work, and fn mostly waits for the database. The first are few, and room for them
// is made as they come: most files have no more, and all of it would be cleared for each.
func eachBatch(r *ingest.Reader, fn func(rows []ingest.Row) error) error {
	type read struct {
		rows []ingest.Row
		err  error
	}
	reads := make(chan read)
	stop := make(chan struct{})
	var reader sync.WaitGroup
	reader.Go(func() {
		defer close(reads)
		var buffers [2][]ingest.Row // one is read into while fn has the other
		for i, size := 0, firstBatchRows; ; i, size = 1-i, batchRows {
			rows := buffers[i][:0]
			err := caught(func() (err error) { // of what strangers send
				for len(rows) < size && err == nil {
					if len(rows) == cap(rows) {
						rows = slices.Grow(rows, min(size-len(rows), max(firstRoom, len(rows))))
					}
					n := 0
					n, err = r.Read(rows[len(rows):min(size, cap(rows))])
					rows = rows[:len(rows)+n]
				}
				return err
			})
			buffers[i] = rows
			select {
			case reads <- read{rows, err}:
			case <-stop:
				return
			}
			if err != nil {
				return
			}
		}
	})
	defer reader.Wait() // r is the caller's again
	defer close(stop)
	for b := range reads {
		if err := fn(b.rows); err != nil {
			return err
		}
		if b.err != nil && !errors.Is(b.err, io.EOF) {
			return b.err
		}
	}
	return nil
}

// batch is rows whose vehicle is known, by kind.
type batch struct {
	vehicles  []store.VehicleEntry
	axles     []fleet.Axle
	standIns  []fleet.Axle // no rows of the file: with rule set values
	readings  []fleet.Reading
	odometers []fleet.Odometer
	fitments  []fleet.Fitment
	tests     []fleet.BrakeTest
	parts     []store.StockEntry
	absences  []fleet.Absence
	closures  []fleet.Closure
	visits    []fleet.PlannedVisit

	read Progress // with it
}

// write stores the batch, vehicles and axles first since the others hang on
// them, and empties it.
func (b *batch) write(w *store.Writer, up *fleet.Upload) error {
	if _, err := w.Axles(b.standIns); err != nil {
		return err
	}
	b.standIns = b.standIns[:0]
	for _, part := range []func() (store.Counts, error){
		func() (store.Counts, error) { return w.Vehicles(b.vehicles) },
		func() (store.Counts, error) { return w.Axles(b.axles) },
		func() (store.Counts, error) { return w.Readings(b.readings) },
		func() (store.Counts, error) { return w.Odometers(b.odometers) },
		func() (store.Counts, error) { return w.Fitments(b.fitments) },
		func() (store.Counts, error) { return w.BrakeTests(b.tests) },
		func() (store.Counts, error) { return w.StockParts(b.parts) },
		func() (store.Counts, error) { return w.Absences(b.absences) },
		func() (store.Counts, error) { return w.Closures(b.closures) },
		func() (store.Counts, error) { return w.PlannedVisits(b.visits) },
	} {
		c, err := part()
		if err != nil {
			return err
		}
		up.Accepted += c.Added + c.Changed
		up.Repeated += c.Repeated
	}
	b.vehicles, b.axles, b.readings = b.vehicles[:0], b.axles[:0], b.readings[:0]
	b.odometers, b.fitments, b.tests = b.odometers[:0], b.fitments[:0], b.tests[:0]
	b.parts, b.absences, b.closures, b.visits = b.parts[:0], b.absences[:0], b.closures[:0], b.visits[:0]
	return nil
}

// spool returns body as something that can be read twice: itself, what a small
// one holds, or a temporary file that closeBody removes.
func spool(body io.Reader) (rs io.ReadSeeker, closeBody func(), err error) {
	if rs, ok := body.(io.ReadSeeker); ok {
		if _, err := rs.Seek(0, io.SeekStart); err == nil { // a pipe says no
			return rs, func() {}, nil
		}
	}
	few, err := io.ReadAll(io.LimitReader(body, fewBytes))
	if err != nil {
		return nil, nil, fleet.DiskError(err)
	}
	if len(few) < fewBytes {
		return bytes.NewReader(few), func() {}, nil
	}
	body = io.MultiReader(bytes.NewReader(few), body)
	f, err := os.CreateTemp("", "brakewear-upload-*")
	if err != nil {
		return nil, nil, fleet.DiskError(err)
	}
	closeBody = func() {
		f.Close()
		os.Remove(f.Name())
	}
	if _, err := io.Copy(f, body); err != nil {
		closeBody()
		return nil, nil, fleet.DiskError(err)
	}
	return f, closeBody, nil
}

// hash returns the SHA-256 of body in hex and rewinds it.
func hash(body io.ReadSeeker) (string, error) {
	if _, err := body.Seek(0, io.SeekStart); err != nil {
		return "", err
	}
	h := sha256.New()
	if _, err := io.Copy(h, body); err != nil {
		return "", err
	}
	_, err := body.Seek(0, io.SeekStart)
	return hex.EncodeToString(h.Sum(nil)), err
}
