package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"brakewear/internal/fleet"
	"brakewear/internal/store"
)

type backupCmd struct {
	database
	File string `arg:"" help:"New file to write the backup to."`
}

func (c backupCmd) Help() string {
	return `Example:
  brakewear backup --database fleet.db fleet-monday.db`
}

func (c backupCmd) Run(e *env) error {
	if !c.server() {
		if _, err := os.Stat(c.Database); errors.Is(err, os.ErrNotExist) {
			return fleet.NotFoundf("database %s: there is no such file", c.Database)
		}
	}
	db, err := store.Open(e.ctx, c.Database) // as it is: not brought to a newer schema first
	if err != nil {
		return err
	}
	defer db.Close()
	b, err := db.Backup(e.ctx, c.File)
	if err != nil {
		return err
	}
	return printBackup(e.stdout, "Backed up to", b)
}

type restoreCmd struct {
	database
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
	b, old, err := store.Restore(e.ctx, c.File, c.Database, c.Replace)
	if err != nil {
		return err
	}
	if old != "" {
		fmt.Fprintf(e.stdout, "The database that was there is now %s\n", old)
	}
	return printBackup(e.stdout, "Restored to", b)
}

// server says whether the database is not a file.
func (d database) server() bool { return strings.Contains(d.Database, "://") }

// printBackup says what is in a backup, so that a person sees whether it is
// what was meant.
func printBackup(w io.Writer, what string, b store.Backup) error {
	_, err := fmt.Fprintf(w, "%s %s: %d bytes, schema version %d, %d rows (%d vehicles, %d readings); checked and whole\n",
		what, b.Path, b.Bytes, b.Schema, b.Total(), b.Rows["vehicles"], b.Rows["thickness_readings"])
	return err
}
