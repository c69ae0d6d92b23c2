package pipeline

import (
	"context"
	"sync"

	"brakewear/ingest"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
)

const (
	// batchRows bounds the rows stored at a time: enough to make a batch's own
	// statements a small part of its cost; more gained nothing.
	batchRows = 16384
	// firstBatchRows are stored first: a workshop's sheet of a day has fewer.
	firstBatchRows = 512
	firstRoom      = 16 // rows
	// batches is how many of them there are. While one is stored the next are
	// read and placed, and after the last one the doubts are looked for. More
	// would take memory and gain time in large files only, of which the doubts
	// are a small part.
	batches = 5
)

// noUpload is the id of none.
const noUpload = -1

// placing is a file whose rows are read and placed beside what stores them.
type placing struct {
	placed, free chan *batch
	// few is closed when all rows are placed and judged, or when there are more
	// than one small batch of them: those wait for begun.
	few, begun chan struct{}
	only       *batch        // all rows, once few is closed; nil = there are more
	ended      chan struct{} // once nobody reads or places any more
	judge      func(ctx context.Context, upload int64) error
	wait       func() error
	stop       func()
	beforehand bool
}

// place begins to read and place the rows of r. judge is called once all rows are
// known, while the last of them are stored or before: to find what is doubtful is
// the program's work, and to store is mostly the database's. Where the database is
// for one goroutine, judge is called when all are stored, and told of the upload
// that they came with.
//
// It waits for a file of few rows to be placed and judged: while it is stored
// nobody else can write to an SQLite file. Whoever calls it calls end.
func (s *Service) place(ctx context.Context, r *ingest.Reader, known *resolver, judge func(ctx context.Context, upload int64) error) *placing {
	ctx, stop := context.WithCancel(ctx)
	p := &placing{
		placed: make(chan *batch, batches), free: make(chan *batch, batches),
		few: make(chan struct{}), begun: make(chan struct{}), ended: make(chan struct{}),
		judge: judge, stop: stop, beforehand: !s.DB.Tentative(),
	}
	for range batches {
		p.free <- &batch{}
	}
	var once sync.Once
	ready := func() { once.Do(func() { close(p.few) }) }
	more := func() {
		once.Do(func() {
			p.only = nil
			close(p.few)
		})
	}
	p.wait = beside(func() error {
		defer close(p.ended)
		defer ready()
		err := func() error {
			defer close(p.placed) // also on a panic: who stores would wait for ever
			return known.placeAll(ctx, r, p, more)
		}()
		if err == nil && p.beforehand {
			err = judge(ctx, noUpload)
		}
		return err
	})
	if p.beforehand {
		select {
		case <-p.few:
		case <-ctx.Done():
		}
	}
	return p
}

// end gives up what is not stored: the file and what is known are the caller's
// again.
func (p *placing) end() {
	p.stop()
	<-p.ended
}

// takeIn moves the rows placed to w, and counts them.
func (p *placing) takeIn(ctx context.Context, w *store.Writer, up *fleet.Upload, progress func(Progress)) error {
	close(p.begun)
	stored := false
	defer func() {
		p.stop()
		if !stored {
			p.wait() // whatever came of it
		}
	}()
	for b := range p.placed {
		if err := b.write(w, up); err != nil {
			return err
		}
		if progress != nil {
			progress(b.read)
		}
		p.free <- b
	}
	stored = true
	if err := p.wait(); err != nil || p.beforehand {
		return err
	}
	return p.judge(ctx, up.ID)
}

// placeAll places all rows of r in batches: it takes them from p.free, and hands
// them over in the order of the file. It says when there are more than one, and
// goes on once the first can be stored.
func (k *resolver) placeAll(ctx context.Context, r *ingest.Reader, p *placing, more func()) error {
	read := 0
	return eachBatch(r, func(rows []ingest.Row) error {
		if read > 0 && len(rows) > 0 {
			more()
			select {
			case <-p.begun:
			case <-ctx.Done():
				return ctx.Err()
			}
		}
		var b *batch
		select {
		case b = <-p.free:
		case <-ctx.Done():
			return ctx.Err()
		}
		for i := range rows {
			if len(k.first) < firstRows {
				k.first = append(k.first, readRow(&rows[i]))
			}
			if fault := k.place(b, &rows[i]); fault != nil {
				k.refuse(rows[i].Line, *fault)
				if t := rows[i].BrakeTest; t != nil {
					k.refused += t.Lines - 1 // its other lines
				}
			}
		}
		read += len(rows)
		b.read = Progress{Rows: read, Bytes: r.BytesRead()}
		if len(rows) == read {
			p.only = b
		}
		p.placed <- b // there is room for all
		return nil
	})
}
