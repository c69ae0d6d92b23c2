package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"

	"brakewear/internal/auth"
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
	if kept == "" || !slices.Contains(c.Databases, store.SQLite) {
		return false, nil
	}
	if _, err := os.Stat(kept); errors.Is(err, os.ErrNotExist) {
		return false, nil
	}
	dir, err := os.MkdirTemp("", "brakewear-*")
	if err != nil {
		return true, err
	}
	defer os.RemoveAll(dir)
	w := &allRun{c: c, e: e, rep: rep, dialect: store.SQLite, n: n, dir: dir, urls: [2]string{filepath.Join(dir, "full.db")}}
	if err := copyFile(kept, w.urls[0]); err != nil {
		return true, err
	}
	err = w.open()
	if err == nil {
		err = errors.Join(w.asked(), w.close())
	}
	if err != nil {
		return true, fmt.Errorf("%d vehicles kept in %s: %w", n, kept, err)
	}
	return true, nil
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

// open opens the full database and finds its vehicles.
func (w *allRun) open() error {
	full, err := database{Database: w.urls[0]}.open(w.e)
	if err != nil {
		return err
	}
	w.svc = w.e.service(full, 0)
	w.svc.Now = benchNow
	w.ids = nil
	return full.VehiclesBetween(w.e.ctx, auth.AllFleets(), 1, 1<<62, func(id int64, _ string) { w.ids = append(w.ids, id) })
}

// close closes it; it may be closed already.
func (w *allRun) close() error {
	if w.svc == nil {
		return nil
	}
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
	_, err = io.Copy(out, in)
	return errors.Join(err, out.Close())
}
