package main

import "fmt"

type migrateCmd struct {
	database
	listed
}

func (c migrateCmd) Help() string {
	return `Examples:
  brakewear migrate --database fleet.db
  brakewear migrate --format json`
}

// schemaLine is what a database is at, as JSON.
type schemaLine struct {
	Database string `json:"database"` // sqlite or postgres
	Schema   int64  `json:"schema_version"`
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
	if c.json() {
		return e.printJSON(schemaLine{db.Dialect(), have})
	}
	_, err = fmt.Fprintf(e.stdout, "The %s database is at schema version %d.\n", db.Dialect(), have)
	return err
}
