package main

import (
	"fmt"
	"io"
	"os"
	"path/filepath"

	"brakewear/internal/fleet"
	"brakewear/internal/store"
)

type backupCmd struct {
	database
	listed
	File string `arg:"" help:"New file to write the backup to."`
}

func (c backupCmd) Help() string {
	return `Example:
  brakewear backup --database fleet.db fleet-monday.db`
}

func (c backupCmd) Run(e *env) error {
	if err := c.there(); err != nil {
		return err
	}
	db, err := store.Open(e.ctx, c.Database) // as it is: not brought to a newer schema first
	if err != nil {
		return err
	}
	defer db.Close()
	var b store.Backup
	err = e.growing("backing up", c.File+store.Partial, sizeOf(c.Database), func() error {
		b, err = db.Backup(e.ctx, c.File)
		return err
	})
	if err != nil {
		return err
	}
	e.tellTaken(db, "backed up", "to "+filepath.Base(c.File))
	if c.json() {
		return e.printJSON(backupLineOf(b, ""))
	}
	return printBackup(e.stdout, "Backed up to", b)
}

type restoreCmd struct {
	database
	listed
	File    string `arg:"" help:"Backup to restore."`
	Replace bool   `help:"Put it in the place of a database that is there, which is kept under another name."`
}

func (c restoreCmd) Help() string {
	return `Example:
  brakewear restore --database fleet.db --replace fleet-monday.db`
}

func (c restoreCmd) Run(e *env) error {
	if c.server() {
		return fleet.Invalidf("a backup of the embedded database is restored to a file; name it with --database")
	}
	var b store.Backup
	var old string
	err := e.growing("restoring", c.Database+store.Partial, sizeOf(c.File), func() (err error) {
		b, old, err = store.Restore(e.ctx, c.File, c.Database, c.Replace)
		return err
	})
	if err != nil {
		return err
	}
	db, err := store.Open(e.ctx, c.Database) // as it is
	if err != nil {
		return err
	}
	defer db.Close()
	e.tellTaken(db, "restored", "from "+filepath.Base(c.File))
	if c.json() {
		return e.printJSON(backupLineOf(b, old))
	}
	if old != "" {
		fmt.Fprintf(e.stdout, "The database that was there is now %s\n", old)
	}
	return printBackup(e.stdout, "Restored to", b)
}

// tellTaken has the log of changes of db say what was done, which stands whether
// the log can be told or not: it may be on a disk that is full, or of a schema
// from before there was one.
func (e *env) tellTaken(db *store.DB, act, detail string) {
	if err := db.TellTaken(e.ctx, act, detail); err != nil {
		e.log.Warn("the log of changes could not be told", "act", act, "error", err)
	}
}

// sizeOf is how many bytes a file has, -1 where that cannot be said.
func sizeOf(path string) int64 {
	info, err := os.Stat(path)
	if err != nil || !info.Mode().IsRegular() {
		return -1
	}
	return info.Size()
}

// backupLine is what is in a backup, as JSON.
type backupLine struct {
	Path   string         `json:"path"`
	Bytes  int64          `json:"bytes"`
	Schema int64          `json:"schema_version"`
	Rows   map[string]int `json:"rows"`          // by table
	Old    string         `json:"old,omitempty"` // where the database that was there is now
}

func backupLineOf(b store.Backup, old string) backupLine {
	return backupLine{b.Path, b.Bytes, b.Schema, b.Rows, old}
}

// server says whether the database is not a file.
func (d database) server() bool { return store.IsServer(d.Database) }

// printBackup says what is in a backup, so that a person sees whether it is
// what was meant.
func printBackup(w io.Writer, what string, b store.Backup) error {
	_, err := fmt.Fprintf(w, "%s %s: %d bytes, schema version %d, %d rows (%d vehicles, %d readings); checked and whole\n",
		what, b.Path, b.Bytes, b.Schema, b.Total(), b.Rows["vehicles"], b.Rows["thickness_readings"])
	return err
}
