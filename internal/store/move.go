package store

import (
	"context"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"iter"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/jmoiron/sqlx"

	"brakewear/internal/fleet"
)

// Moved is one table that was moved.
type Moved struct {
	Table    string `json:"table"`
	Rows     int    `json:"rows"`
	Checksum string `json:"checksum"` // of all values, whatever the order of rows
}

// Move copies everything from an embedded database to an empty one on a
// server, both of the same schema. Nobody writes to either meanwhile. It is
// one transaction: what arrived is read again, and where counts or checksums
// differ from what was read, nothing stays. told hears of rows on their way;
// nil = nobody.
func Move(ctx context.Context, from, to *DB, told func(table string, rows int)) (ms []Moved, err error) {
	if from.dialect != SQLite || to.dialect != Postgres {
		return nil, fleet.Invalidf("move: want the file of an embedded database to move from, and postgres://… to move to")
	}
	have, want, err := versions(ctx, from, to)
	if err != nil {
		return nil, err
	}
	if have != want {
		return nil, fleet.Conflictf("move: the schema here has version %d, there %d: bring both to the present one by brakewear migrate", have, want)
	}
	err = from.tend(ctx, "move from "+from.path, func(src *tx) error {
		return to.tend(ctx, "move", func(dst *tx) error {
			ms, err = move(src, dst, told)
			return err
		})
	})
	if err != nil {
		return nil, err
	}
	return ms, nil
}

func versions(ctx context.Context, a, b *DB) (va, vb int64, err error) {
	if va, _, err = a.SchemaVersion(ctx); err != nil {
		return 0, 0, err
	}
	vb, _, err = b.SchemaVersion(ctx)
	return va, vb, err
}

func move(src, dst *tx, told func(table string, rows int)) (ms []Moved, err error) {
	tables, err := dst.moveTables()
	if err != nil {
		return nil, err
	}
	if err := dst.wantEmpty(tables); err != nil {
		return nil, err
	}
	if err := src.sameTables(tables); err != nil {
		return nil, err
	}
	for _, mt := range tables {
		var sum rowSum
		var fault error
		err := dst.pour(mt.name, mt.names(), src.values(mt, &fault, func(rows int, canon []string) {
			sum.add(canon)
			if told != nil {
				told(mt.name, rows)
			}
		}))
		if fault != nil {
			err = fault // rather than what came of it
		}
		if err != nil {
			return nil, fmt.Errorf("table %s: %w", mt.name, err)
		}
		var last int64 // id ever given, where the file knows
		if err := src.one([]any{&last}, `select coalesce(max(seq), 0) from sqlite_sequence where name = ?`, mt.name); err != nil {
			return nil, err
		}
		if err := dst.setIdentity(mt, last); err != nil {
			return nil, fmt.Errorf("table %s: %w", mt.name, err)
		}
		ms = append(ms, Moved{mt.name, sum.rows, sum.String()})
	}
	for i, mt := range tables {
		var sum rowSum
		var fault error
		for range dst.values(mt, &fault, func(_ int, canon []string) { sum.add(canon) }) {
		}
		switch {
		case fault != nil:
			return nil, fmt.Errorf("table %s, read again: %w", mt.name, fault)
		case sum.rows != ms[i].Rows || sum.String() != ms[i].Checksum:
			return nil, fmt.Errorf("table %s: %d rows with checksum %s were sent, and %d with %s arrived; nothing was kept",
				mt.name, ms[i].Rows, ms[i].Checksum, sum.rows, sum.String())
		}
	}
	// Until the server does so by itself it would plan as for empty tables.
	for _, mt := range tables {
		if _, err := dst.exec("analyze " + mt.name); err != nil {
			return nil, fmt.Errorf("table %s: %w", mt.name, err)
		}
	}
	return ms, nil
}

// moveTable is a table as the server has it.
type moveTable struct {
	name    string
	columns []moveColumn
}

type moveColumn struct {
	name, kind string // kind as information_schema.columns.data_type
	identity   bool
}

func (m moveTable) names() (ns []string) {
	for _, c := range m.columns {
		ns = append(ns, c.name)
	}
	return ns
}

// moveTables returns all tables, each behind those that it refers to.
func (t *tx) moveTables() ([]moveTable, error) {
	byName := map[string]*moveTable{}
	var names []string
	err := t.each(func(r *sqlx.Rows) error {
		var table string
		var c moveColumn
		if err := r.Scan(&table, &c.name, &c.kind, &c.identity); err != nil {
			return err
		}
		if byName[table] == nil {
			byName[table] = &moveTable{name: table}
			names = append(names, table)
		}
		byName[table].columns = append(byName[table].columns, c)
		return nil
	}, `
		select c.table_name, c.column_name, c.data_type, c.is_identity = 'YES'
		from information_schema.columns c
		join information_schema.tables t using (table_schema, table_name)
		where c.table_schema = current_schema() and t.table_type = 'BASE TABLE' and c.table_name not in ('goose_db_version', 'plan_written')
		order by c.table_name, c.ordinal_position`)
	if err != nil {
		return nil, err
	}
	refers := map[string][]string{}
	err = t.each(func(r *sqlx.Rows) error {
		var table, other string
		err := r.Scan(&table, &other)
		refers[table] = append(refers[table], other)
		return err
	}, `
		select c.conrelid::regclass::text, c.confrelid::regclass::text
		from pg_constraint c
		join pg_namespace n on n.oid = c.connamespace
		where c.contype = 'f' and n.nspname = current_schema() and c.conrelid <> c.confrelid
		order by 1, 2`)
	if err != nil {
		return nil, err
	}
	var sorted []moveTable
	placed := map[string]bool{}
	for len(sorted) < len(names) {
		before := len(sorted)
		for _, name := range names {
			if placed[name] || slices.ContainsFunc(refers[name], func(o string) bool { return !placed[o] }) {
				continue
			}
			placed[name] = true
			sorted = append(sorted, *byName[name])
		}
		if len(sorted) == before {
			return nil, fmt.Errorf("tables refer to each other in a circle")
		}
	}
	return sorted, nil
}

// wantEmpty locks the tables and refuses rows in them.
func (t *tx) wantEmpty(tables []moveTable) error {
	var names []string
	for _, mt := range tables {
		names = append(names, mt.name)
	}
	if _, err := t.exec(`lock table ` + strings.Join(names, ", ") + ` in access exclusive mode`); err != nil {
		return err
	}
	for _, name := range names {
		var filled bool
		if err := t.one([]any{&filled}, `select exists (select 1 from `+name+`)`); err != nil {
			return err
		}
		if filled {
			return fleet.Conflictf("the database to move to is not empty: there are rows in its table %s. Make a new one, and move before anything else is done with it", name)
		}
	}
	return nil
}

// sameTables refuses a file with a table or a column that would be left behind,
// but for job_locks: who is about a job on the file, which a server has no table
// for.
func (t *tx) sameTables(tables []moveTable) error {
	known := map[string]bool{}
	for _, mt := range tables {
		for _, c := range mt.columns {
			known[mt.name+"."+c.name] = true
		}
	}
	return t.each(func(r *sqlx.Rows) error {
		var name string
		if err := r.Scan(&name); err != nil {
			return err
		}
		if !known[name] {
			return fmt.Errorf("%s has no place on the server", name)
		}
		return nil
	}, `
		select m.name || '.' || c.name
		from sqlite_schema m, pragma_table_info(m.name) c
		where m.type = 'table' and m.name not like 'sqlite_%' and m.name not in ('goose_db_version', 'job_locks', 'plan_written')`)
}

// values reads a table. seen is told how many rows were read, and of the last
// what its values are in a form that both databases share; what is handed on
// is what COPY takes. A fault ends it.
func (t *tx) values(mt moveTable, fault *error, seen func(rows int, canon []string)) iter.Seq[[]any] {
	return func(yield func([]any) bool) {
		rows, err := t.QueryxContext(t.ctx, `select `+strings.Join(mt.names(), ", ")+` from `+mt.name)
		if err != nil {
			*fault = err
			return
		}
		defer rows.Close()
		canon := make([]string, len(mt.columns))
		for n := 1; rows.Next(); n++ {
			row, err := rows.SliceScan()
			for i := 0; i < len(row) && err == nil; i++ {
				if row[i], canon[i], err = mt.columns[i].convert(row[i]); err != nil {
					err = fmt.Errorf("row %d, column %s: %w", n, mt.columns[i].name, err)
				}
			}
			if err != nil {
				*fault = err
				return
			}
			seen(n, canon)
			if !yield(row) {
				return
			}
		}
		*fault = rows.Err()
	}
}

// convert makes of what either driver returns what COPY takes, and text that
// is the same for the same value. Texts and bytes are told from a missing value
// by a mark before them.
func (c moveColumn) convert(v any) (to any, canon string, err error) {
	if v == nil {
		return nil, "", nil
	}
	switch c.kind {
	case "boolean":
		b, ok := v.(bool)
		if n, isNumber := v.(int64); isNumber && (n == 0 || n == 1) {
			b, ok = n == 1, true
		}
		if ok {
			return b, "=" + strconv.FormatBool(b), nil
		}
	case "bigint", "integer", "smallint":
		if n, ok := v.(int64); ok {
			return n, "=" + strconv.FormatInt(n, 10), nil
		}
	case "double precision":
		if f, ok := v.(float64); ok {
			return f, "=" + strconv.FormatFloat(f, 'g', -1, 64), nil
		}
	case "date":
		var d fleet.Date
		if err := d.Scan(v); err != nil {
			return nil, "", err
		}
		return d.String(), "=" + d.String(), nil
	case "timestamp with time zone":
		var i instant
		if err := i.Scan(v); err != nil {
			return nil, "", err
		}
		s := time.Time(i).UTC().Truncate(time.Microsecond).Format(instantForm)
		return s, "=" + s, nil
	case "bytea":
		switch b := v.(type) {
		case []byte:
			return b, "=" + hex.EncodeToString(b), nil
		case string:
			return []byte(b), "=" + hex.EncodeToString([]byte(b)), nil
		}
	case "text", "json":
		switch s := v.(type) {
		case string:
			return s, "=" + s, nil
		case []byte:
			return string(s), "=" + string(s), nil
		}
	}
	return nil, "", fmt.Errorf("%T has no place in a column of %s", v, c.kind)
}

// setIdentity lets new rows begin behind the ids that were moved, and behind
// last.
func (t *tx) setIdentity(mt moveTable, last int64) error {
	for _, c := range mt.columns {
		if !c.identity {
			continue
		}
		_, err := t.exec(fmt.Sprintf(`
			select setval(pg_get_serial_sequence('%[1]s', '%[2]s'), m.last)
			from (select greatest(coalesce(max(%[2]s), 0), ?) as last from %[1]s) m
			where m.last > 0`, mt.name, c.name), last)
		if err != nil {
			return err
		}
	}
	return nil
}

// rowSum sums digests of rows, so that their order does not matter.
type rowSum struct {
	rows   int
	hi, lo uint64
}

func (s *rowSum) add(canon []string) {
	h := sha256.New()
	var n [8]byte
	for _, v := range canon {
		binary.BigEndian.PutUint64(n[:], uint64(len(v)))
		h.Write(n[:])
		h.Write([]byte(v))
	}
	d := h.Sum(nil)
	s.rows++
	s.hi += binary.BigEndian.Uint64(d)
	s.lo += binary.BigEndian.Uint64(d[8:])
}

func (s *rowSum) String() string { return fmt.Sprintf("%016x%016x", s.hi, s.lo) }
