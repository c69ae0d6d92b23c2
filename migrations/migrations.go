// Package migrations holds the steps of the schema, a folder per kind of
// database, embedded into the program. A step that was released is never
// edited; a change is a new step in both folders.
package migrations

import "embed"

// FS has the folders postgres and sqlite.
//
//go:embed postgres/*.sql sqlite/*.sql
var FS embed.FS
