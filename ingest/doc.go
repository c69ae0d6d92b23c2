// Package ingest turns files that a workshop hands over into records and
// problems: CSV, XLSX and JSON in, rows of package fleet out.
//
// What a file holds is found by its header, what its columns mean by the table
// in columns.go, from which also come the templates to download and the
// columns' documentation. A row that cannot be taken becomes a problem that
// says where it stands, what was read, why it is wrong and what to do; the
// rows around it go on.
//
// The package knows no database: whether a vehicle exists is for its caller
// to say.
package ingest
