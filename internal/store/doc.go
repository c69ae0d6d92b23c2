// Package store keeps everything in one of two databases: an SQLite file or a
// PostgreSQL server. Queries are written once for both; every exported method
// is one transaction.
//
// Every method that reads or writes a fleet's data takes a auth.Scope and
// filters by it in SQL. What a scope does not see counts as not there
// (fleet.ErrNotFound). A database that cannot be reached is
// fleet.ErrUnavailable; two writers that wanted the same rows in a different
// order is fleet.ErrConflict, and the loser may try again.
package store
