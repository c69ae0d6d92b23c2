package storetest

import (
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"brakewear/internal/store"
)

// Disk is a small disk in memory with a database on it.
type Disk struct {
	Dir string // where it is mounted
	URL string // of the database, migrated and empty
}

// Small mounts a disk of so many megabytes, until the test ends. Where that is
// not allowed, or the server is not ours to put a database there, it skips the
// test: mounting takes root on Linux.
func Small(tb testing.TB, dialect string, megabytes int) Disk {
	tb.Helper()
	own := ""
	if dialect == store.Postgres {
		own = postgresURL(tb, false)
	}
	d := Disk{Dir: tb.TempDir()}
	if out, err := exec.Command("mount", "-t", "tmpfs", "-o", fmt.Sprintf("size=%dm,mode=777", megabytes), "none", d.Dir).CombinedOutput(); err != nil {
		tb.Skipf("a small disk cannot be mounted here (run as root on Linux): %v: %s", err, out)
	}
	tb.Cleanup(func() {
		if out, err := exec.Command("umount", d.Dir).CombinedOutput(); err != nil {
			tb.Errorf("umount: %v: %s", err, out)
		}
	})
	if dialect != store.Postgres {
		d.URL = filepath.Join(d.Dir, "brakewear.db")
		migrate(tb, d.URL)
		return d
	}
	// The server's user must own the folder, and get there.
	space := filepath.Join(d.Dir, "space")
	if err := os.Mkdir(space, 0o700); err != nil {
		tb.Fatal(err)
	}
	for dir := filepath.Dir(d.Dir); len(dir) > len(os.TempDir()); dir = filepath.Dir(dir) {
		if err := os.Chmod(dir, 0o755); err != nil {
			tb.Fatal(err)
		}
	}
	if out, err := exec.Command("chown", "postgres", space).CombinedOutput(); err != nil {
		tb.Skipf("no user postgres to give a folder to: %v: %s", err, out)
	}
	srv := raw(tb, own)
	defer srv.Close()
	name := fmt.Sprintf("brakewear_small_%d_%d", os.Getpid(), databases.Add(1))
	for _, statement := range []string{
		"create tablespace " + name + " location '" + space + "'",
		"create database " + name + " template template0 tablespace " + name,
	} {
		if _, err := srv.Exec(statement); err != nil {
			tb.Skipf("%s: the server is none of ours: %v", statement, err)
		}
	}
	tb.Cleanup(func() {
		Exec(tb, own, "drop database "+name+" with (force)")
		Exec(tb, own, "drop tablespace "+name)
	})
	srvURL, err := server()
	if err != nil {
		tb.Fatal(err)
	}
	d.URL = srvURL.database(name)
	migrate(tb, d.URL)
	return d
}

// Fill leaves no space on the disk, until free.
func (d Disk) Fill(tb testing.TB) (free func()) {
	tb.Helper()
	path := filepath.Join(d.Dir, "filler")
	f, err := os.Create(path)
	if err != nil {
		tb.Fatal(err)
	}
	defer f.Close()
	for block := 1 << 16; block > 0; block /= 16 { // to the last byte
		for err = nil; err == nil; {
			_, err = io.WriteString(f, strings.Repeat("x", block))
		}
	}
	if err == nil || !strings.Contains(err.Error(), "no space") {
		tb.Fatalf("the disk is not full: %v", err)
	}
	return func() {
		if err := os.Remove(path); err != nil && !errors.Is(err, os.ErrNotExist) {
			tb.Error(err)
		}
	}
}

// ReadOnly lets nobody write to the disk, until again.
func (d Disk) ReadOnly(tb testing.TB) (again func()) {
	tb.Helper()
	mount := func(how string) {
		tb.Helper()
		if out, err := exec.Command("mount", "-o", "remount,"+how, d.Dir).CombinedOutput(); err != nil {
			tb.Fatalf("remount: %v: %s", err, out)
		}
	}
	mount("ro")
	return func() { mount("rw") }
}
