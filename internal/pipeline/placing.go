package pipeline

import (
	"context"

	"brakewear/ingest"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
)

const (
	// batchRows bounds the rows stored at a time: enough to make a batch's own
	// statements a small part of its cost; more gained nothing.
	batchRows = 16384
	// batches is how many of them there are. While one is stored the next are
	// read and placed, and after the last one the doubts are looked for. More
	// would take memory and gain time in large files only, of which the doubts
	// are a small part.
	batches = 5
)

// takeIn moves rows from r to w until the file ends, and counts them. judge is
// called once all rows are known, while the last of them are stored: to find what
// is doubtful is the program's work, and to store is mostly the database's. Where
// the database is for one goroutine, judge is called when all are stored.
func (s *Service) takeIn(ctx context.Context, w *store.Writer, r *ingest.Reader, known *resolver, up *fleet.Upload, judge func(context.Context) error, progress func(Progress)) error {
	ctx, stop := context.WithCancel(ctx)
	placed := make(chan *batch, batches)
	free := make(chan *batch, batches)
	for range batches {
		free <- &batch{}
	}
	beforehand := !s.DB.Tentative()
	wait := beside(func() error {
		err := known.placeAll(ctx, r, free, placed)
		close(placed)
		if err == nil && beforehand {
			err = judge(ctx)
		}
		return err
	})
	stored := false
	defer func() {
		stop()
		if !stored {
			wait() // whatever came of it: r and known are the caller's again
		}
	}()
	for b := range placed {
		if err := b.write(w, up); err != nil {
			return err
		}
		if progress != nil {
			progress(b.read)
		}
		free <- b
	}
	stored = true
	if err := wait(); err != nil || beforehand {
		return err
	}
	return judge(ctx)
}

// placeAll places all rows of r in batches: it takes them from free, and hands
// them over in the order of the file.
func (k *resolver) placeAll(ctx context.Context, r *ingest.Reader, free <-chan *batch, placed chan<- *batch) error {
	read := 0
	return eachBatch(r, func(rows []ingest.Row) error {
		var b *batch
		select {
		case b = <-free:
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
		placed <- b // there is room for all
		return nil
	})
}
