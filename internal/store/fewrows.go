package store

import (
	"database/sql/driver"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"iter"
	"maps"
	"slices"
	"strings"
	"time"
)

// fewRows is up to how many rows PostgreSQL is handed with each statement that
// works on them instead of in a temporary table. Making, emptying and dropping the
// six of an upload of one reading took two thirds of its time, for each changes the
// catalogue and makes every connection read it anew. Judgement: beyond a vehicle's
// rows sending them several times soon costs as much.
const fewRows = 100

// inTable says whether the rows of a stage always need a table: few are told the
// types of their columns by the one table that they are from.
func (s stage) inTable(dialect string) bool {
	return dialect == SQLite || strings.Contains(s.from, " ")
}

// few returns rows as a JSON array of objects, which json_populate_recordset makes
// rows of again; ok is false when they are more than fewRows, or are to be refused,
// which who pours them tells in its words.
func few(columns []string, rows iter.Seq[[]any]) (array string, ok bool) {
	b := []byte{'['}
	n := 0
	for row := range rows {
		if n++; n > fewRows || checkTexts(row) != nil {
			return "", false
		}
		if n > 1 {
			b = append(b, ',')
		}
		var err error
		if b, err = appendObject(b, columns, row); err != nil {
			return "", false
		}
	}
	return string(append(b, ']')), true
}

func appendObject(b []byte, columns []string, row []any) (_ []byte, err error) {
	for i, v := range row {
		b = append(b, "{,"[min(i, 1)], '"')
		b = append(append(b, columns[i]...), `":`...)
		if b, err = appendJSON(b, v); err != nil {
			return b, err
		}
	}
	return append(b, '}'), nil
}

// appendJSON appends a value as the text that COPY would take for it, quoted: JSON
// has no infinity.
func appendJSON(b []byte, v any) ([]byte, error) {
	switch v := v.(type) {
	case nil:
		return append(b, "null"...), nil
	case string:
		if !storable(v) {
			return b, fmt.Errorf("text %q is none", v)
		}
		text, err := json.Marshal(v)
		return append(b, text...), err
	case []byte:
		return append(hex.AppendEncode(append(b, `"\\x`...), v), '"'), nil
	case int, int64, float64, bool, time.Time:
		b, err := appendCopied(append(b, '"'), v)
		return append(b, '"'), err
	}
	plain, err := driver.DefaultParameterConverter.ConvertValue(v)
	if err != nil {
		return b, err
	}
	return appendJSON(b, plain)
}

// withFew puts the rows of the stages that query names, where they are few, before
// it, under the names that their tables would have.
func (t *tx) withFew(query string, args []any) (string, []any) {
	if len(t.few) == 0 || !strings.Contains(query, "staged_") {
		return query, args
	}
	var parts []string
	var arrays []any
	for _, name := range slices.Sorted(maps.Keys(t.few)) {
		if f := t.few[name]; strings.Contains(query, name) { // no name begins another
			parts = append(parts, name+` as (
				select `+strings.Join(f.columns, ", ")+`
				from json_populate_recordset(CAST(null AS `+f.from+`), CAST(? AS json)))`)
			arrays = append(arrays, f.rows)
		}
	}
	if parts == nil {
		return query, args
	}
	return "with " + strings.Join(parts, ", ") + query, append(arrays, args...)
}

// staged is a stage of few rows.
type staged struct {
	stage
	rows string // a JSON array
}

// add adds rows to a table, as pour does; few to PostgreSQL in one statement.
// rows may be gone through twice.
func (t *tx) add(table string, columns []string, rows iter.Seq[[]any]) error {
	if t.db.dialect == Postgres {
		if array, ok := few(columns, rows); ok {
			names := strings.Join(columns, ", ")
			return t.later(`
				insert into `+table+` (`+names+`)
				select `+names+`
				from json_populate_recordset(CAST(null AS `+table+`), CAST(? AS json))`, array)
		}
	}
	return t.pour(table, columns, rows)
}
