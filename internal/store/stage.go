package store

import (
	"database/sql"
	"fmt"
	"iter"
	"strings"
	"unicode/utf8"

	"brakewear/internal/fleet"
)

// stage is a temporary table that rows are poured into at the driver's full
// speed; set-based statements then move them on. Its columns are taken from
// the tables they will go to. Few rows need no table on PostgreSQL: see fewRows.
type stage struct {
	name    string
	from    string   // tables
	columns []string // of them
}

// fill puts rows on the stage in place of those there were. It may go through them
// twice.
func (t *tx) fill(s stage, rows iter.Seq[[]any]) error {
	delete(t.few, s.name)
	if !s.inTable(t.db.dialect) {
		if array, ok := few(s.columns, rows); ok {
			t.few[s.name] = staged{s, array}
			return nil
		}
	}
	return t.fillTable(s, rows)
}

// fillTable empties the stage's table, making it first where need be, and pours
// rows in.
func (t *tx) fillTable(s stage, rows iter.Seq[[]any]) error {
	if t.byKey { // it was begun for few rows
		t.byKey = false
		if err := t.set(byValues); err != nil {
			return err
		}
	}
	empty := "truncate " + s.name
	create := "create temp table " + s.name + " on commit drop"
	if t.db.dialect == SQLite {
		empty = "delete from " + s.name
		create = "create temp table if not exists " + s.name // it stays with the connection
	}
	if !t.staged[s.name] {
		_, err := t.exec(fmt.Sprintf("%s as select %s from %s where false", create, strings.Join(s.columns, ", "), s.from))
		if err != nil {
			return err
		}
		t.staged[s.name] = true
	}
	if _, err := t.exec(empty); err != nil {
		return err
	}
	n := 0
	err := t.pour(s.name, s.columns, func(yield func([]any) bool) {
		for row := range rows {
			if n++; !yield(row) {
				return
			}
		}
	})
	if err == nil && n >= manyRows {
		err = t.planOnce()
	}
	return err
}

// manyRows is from how many rows on a stage is worth a statement to spare the
// server plans: there is one for each row's foreign key.
const manyRows = 500

// planOnce lets PostgreSQL keep the plans of what it looks up for foreign keys
// until the transaction ends. Otherwise it plans each
// look-up anew, which took twice as long as storing an inspection; and a stage is
// moved on by statements that are run a few times only. A transaction of what is
// found by keys keeps all plans anyway, until fillTable ends that.
func (t *tx) planOnce() error {
	if t.db.dialect != Postgres || t.plansKept || t.byKey {
		return nil
	}
	t.plansKept = true
	_, err := t.exec(`set local plan_cache_mode = auto`)
	return err
}

// pour adds rows to a table: by COPY on PostgreSQL, by a prepared insert on
// SQLite. A row is used up before the next is asked for, so one slice may
// serve them all.
func (t *tx) pour(table string, columns []string, rows iter.Seq[[]any]) (err error) {
	into := fmt.Sprintf("copy %s (%s) from stdin", table, strings.Join(columns, ", "))
	if t.db.dialect == SQLite {
		into = fmt.Sprintf("insert into %s (%s) values %s", table, strings.Join(columns, ", "), places(len(columns)))
	}
	if err := t.send(); err != nil {
		return err
	}
	stmt, err := t.PrepareContext(t.ctx, into)
	if err != nil {
		return err
	}
	defer func() {
		if cerr := stmt.Close(); err == nil {
			err = cerr
		}
	}()
	var lines []byte // of a COPY
	for row := range rows {
		if err := checkTexts(row); err != nil {
			return err
		}
		if t.db.dialect == SQLite {
			_, err = stmt.ExecContext(t.ctx, row...)
		} else if lines, err = appendCopy(lines, row); err == nil && len(lines) > copyChunk {
			err = t.copyLines(stmt, lines)
			lines = lines[:0]
		}
		if err != nil {
			return err
		}
	}
	if t.db.dialect == SQLite {
		return nil
	}
	if err := t.copyLines(stmt, lines); err != nil {
		return err
	}
	_, err = stmt.ExecContext(t.ctx) // the end of the data
	return err
}

// copyLines hands lines, with the end of each, to a COPY.
func (t *tx) copyLines(stmt *sql.Stmt, lines []byte) error {
	if len(lines) == 0 {
		return nil
	}
	_, err := stmt.ExecContext(t.ctx, string(lines[:len(lines)-1])) // the driver ends the last
	return err
}

// checkTexts refuses what only one of the databases would take.
func checkTexts(row []any) error {
	for _, v := range row {
		if s, ok := v.(string); ok && !storable(s) {
			return fleet.Invalidf("text %q: it holds bytes that are no text; send it as UTF-8", s)
		}
	}
	return nil
}

// storable says whether s is text to both databases.
func storable(s string) bool { return utf8.ValidString(s) && strings.IndexByte(s, 0) < 0 }

// storableOf returns s with what is no text replaced, for text that we only
// quote.
func storableOf(s string) string {
	if storable(s) {
		return s
	}
	return strings.ReplaceAll(strings.ToValidUTF8(s, "\uFFFD"), "\x00", "\uFFFD")
}

// unlessZero returns v for a column that is null where v is zero.
func unlessZero[T comparable](v T) *T {
	var zero T
	if v == zero {
		return nil
	}
	return &v
}

// places returns n placeholders in parentheses.
func places(n int) string { return "(?" + strings.Repeat(", ?", n-1) + ")" }

// instantType is the type of a column of instants, for a CAST.
func (db *DB) instantType() string {
	if db.dialect == Postgres {
		return "timestamptz"
	}
	return "text"
}

// dateType is the type of a column of days, for a CAST.
func (db *DB) dateType() string {
	if db.dialect == Postgres {
		return "date"
	}
	return "text"
}
