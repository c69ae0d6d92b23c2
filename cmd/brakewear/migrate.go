package main

import "fmt"

type migrateCmd struct {
	database
}

func (c migrateCmd) Help() string {
	return `Example:
  brakewear migrate --database fleet.db`
}

func (c migrateCmd) Run(e *env) error {
	db, err := c.open(e)
	if err != nil {
		return err
	}
	defer db.Close()
	have, _, err := db.SchemaVersion(e.ctx)
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(e.stdout, "The %s database is at schema version %d.\n", db.Dialect(), have)
	return err
}
