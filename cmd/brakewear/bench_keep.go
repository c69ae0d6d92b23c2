package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"brakewear/internal/auth"
	"brakewear/internal/pgserver"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
)

// keptName is where the embedded database of n vehicles is kept; "" where none
// is to be.
func (c benchAllCmd) keptName(n int) string {
	if c.Keep == "" {
		return ""
	}
	return filepath.Join(c.Keep, fmt.Sprintf("%d-vehicles-seed-%d.db", n, c.Seed))
}

// again measures what is asked of a fleet of n vehicles that an earlier run
// kept, on a copy. It says whether there is one.
func (c benchAllCmd) again(e *env, rep *allReport, n int) (bool, error) {
	kept := c.keptName(n)
	if kept == "" {
		return false, nil
	}
	if _, err := os.Stat(kept); errors.Is(err, os.ErrNotExist) {
		return false, nil
	}
	for _, dialect := range c.Databases {
		if err := c.askKept(e, rep, n, dialect); err != nil {
			return true, fmt.Errorf("%d vehicles kept in %s, on %s: %w", n, kept, dialect, err)
		}
	}
	return true, nil
}

func (c benchAllCmd) askKept(e *env, rep *allReport, n int, dialect string) (err error) {
	dir, err := os.MkdirTemp("", "brakewear-*")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	urls, stop, err := benchDatabases(dir, dialect)
	if errors.Is(err, pgserver.ErrNone) {
		fmt.Fprintln(e.stderr, "PostgreSQL left out:", err)
		return nil
	}
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, stop()) }()
	file := filepath.Join(dir, "kept.db")
	if dialect == store.SQLite {
		file = urls[0]
	}
	if err := copyFile(c.keptName(n), file); err != nil {
		return err
	}
	if dialect == store.Postgres {
		if err := move(e, file, urls[0]); err != nil {
			return err
		}
	}
	w := &allRun{c: c, e: e, rep: rep, dialect: dialect, n: n, dir: dir, urls: urls}
	if err := w.open(); err != nil {
		return err
	}
	return errors.Join(w.asked(), w.close())
}

// move moves an embedded database to a new one of a server.
func move(e *env, file, url string) error {
	from, err := database{Database: file}.open(e)
	if err != nil {
		return err
	}
	defer from.Close()
	to, err := database{Database: url}.open(e)
	if err != nil {
		return err
	}
	defer to.Close()
	_, err = store.Move(e.ctx, from, to, nil)
	return err
}

// keep copies the database to where the next run finds it.
func (w *allRun) keep(name string) error {
	if err := w.close(); err != nil { // all is in the one file then
		return err
	}
	if err := os.MkdirAll(w.c.Keep, 0o755); err != nil {
		return err
	}
	if err := copyFile(w.urls[0], name+".part"); err != nil {
		return err
	}
	if err := os.Rename(name+".part", name); err != nil {
		return err
	}
	return w.open()
}

// open opens the full database as it is served, and finds its vehicles.
func (w *allRun) open() error {
	full, err := database{Database: w.urls[0]}.open(w.e)
	if err != nil {
		return err
	}
	w.svc = w.e.service(full, 0)
	w.svc.Now = benchNow
	w.svc.Clock = new(pipeline.Clock)
	pipeline.OpenDesk(context.WithoutCancel(w.e.ctx), w.svc, w.e.log)
	w.ids = nil
	return full.VehiclesBetween(w.e.ctx, auth.AllFleets(), 1, 1<<62, func(id int64, _ string) { w.ids = append(w.ids, id) })
}

// close closes it; it may be closed already.
func (w *allRun) close() error {
	if w.svc == nil {
		return nil
	}
	w.svc.Desk.Close()
	err := w.svc.DB.Close()
	w.svc = nil
	return err
}

func copyFile(from, to string) error {
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer in.Close()
	out, err := os.Create(to)
	if err != nil {
		return err
	}
	if _, err = io.Copy(out, in); err == nil {
		// Now: the first who writes to the copy would wait for all of it, most of a
		// second for a large fleet, which came out as what a hundredth of uploads take.
		err = out.Sync()
	}
	return errors.Join(err, out.Close())
}
