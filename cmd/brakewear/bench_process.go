package main

import (
	"context"
	"encoding/json"
	"errors"
	"io"
	"math/rand/v2"
	"os"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"brakewear/ingest"
	"brakewear/internal/auth"
	"brakewear/internal/store"
)

// benchProcessCmd is one of the processes that bench processes starts.
type benchProcessCmd struct {
	database
	Do      string        `help:"What to do." enum:"import,read,refit" required:""`
	File    string        `help:"Readings to take in."`
	Seed    uint64        `help:"Of what is read."`
	Reading time.Duration `help:"How long to read for."`
}

// benchReaders is how many readers a process has at a time.
const benchReaders = 8

func (c benchProcessCmd) Run(e *env) error {
	enc := json.NewEncoder(e.stdout)
	db, err := c.open(e) // before the time is taken
	if err != nil {
		return err
	}
	if err := db.Close(); err != nil {
		return err
	}
	if err := enc.Encode("ready"); err != nil {
		return err
	}
	if _, err := io.Copy(io.Discard, os.Stdin); err != nil {
		return err
	}
	done, err := c.work(e)
	if err != nil {
		return err
	}
	return enc.Encode(done)
}

// work does it and returns how much was done.
func (c benchProcessCmd) work(e *env) (int, error) {
	db, err := c.open(e)
	if err != nil {
		return 0, err
	}
	defer db.Close()
	svc := e.service(db, 0)
	switch c.Do {
	case doImport:
		up, err := importFile(e, svc, ingest.Readings, "bench", c.File)
		return up.Accepted, err
	case doRefit:
		rep, err := svc.Refit(e.ctx, auth.AllFleets(), nil, benchUntil)
		return rep.Vehicles, err
	}
	return c.read(e, db)
}

// read reads what the due-soon list shows, in all its orders, and what a
// vehicle's page does, in turn, and returns how often.
func (c benchProcessCmd) read(e *env, db *store.DB) (int, error) {
	all := auth.AllFleets()
	index, err := db.VehicleIndex(e.ctx, all)
	if err != nil {
		return 0, err
	}
	var ids []int64
	for _, vs := range index {
		for _, v := range vs {
			ids = append(ids, v.ID)
		}
	}
	slices.Sort(ids)
	sorts := []store.DueSort{store.ByBookBy, store.ByLimitDate, store.ByVehicle, store.ByKmLeft, store.ByThicknessLeft}
	ctx, cancel := context.WithTimeout(e.ctx, c.Reading)
	defer cancel()
	var done atomic.Int64
	var wg sync.WaitGroup
	errs := make([]error, benchReaders)
	for i := range benchReaders {
		dice := rand.New(rand.NewPCG(c.Seed, uint64(i)))
		wg.Go(func() {
			for ctx.Err() == nil && errs[i] == nil {
				_, errs[i] = db.DueSoon(ctx, all, store.DueQuery{Sort: sorts[dice.IntN(len(sorts))]})
				if errs[i] == nil {
					done.Add(1)
					id := ids[dice.IntN(len(ids))]
					if _, errs[i] = db.History(ctx, all, id); errs[i] == nil {
						_, errs[i] = db.Forecasts(ctx, all, id)
					}
				}
				if errs[i] == nil {
					done.Add(1)
				} else if ctx.Err() != nil {
					errs[i] = nil // cut off by the end of the time
				}
			}
		})
	}
	wg.Wait()
	return int(done.Load()), errors.Join(append(errs, e.ctx.Err())...)
}
