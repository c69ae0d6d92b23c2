package store_test

import (
	"errors"
	"fmt"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"brakewear/internal/fleet"
	"brakewear/internal/golden"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

func TestMigrate(t *testing.T) {
	db := storetest.MustOpen(t, storetest.EmptyURL(t, store.SQLite))
	have, want, err := db.SchemaVersion(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if have != 0 || want < 1 {
		t.Errorf("of an empty database: got version %d of %d", have, want)
	}
	if err := db.Migrate(t.Context()); err != nil {
		t.Fatal(err)
	}
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		if err := db.Migrate(t.Context()); err != nil {
			t.Fatalf("again: %v", err)
		}
		have, want, err := db.SchemaVersion(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		if have != want {
			t.Errorf("after Migrate: got version %d, want %d", have, want)
		}
	})
}

// Six processes start at once on an empty database. All bring its schema up to
// date, and none fails.
func TestFaultMigrateAtOnce(t *testing.T) {
	for _, dialect := range []string{store.SQLite, store.Postgres} {
		t.Run(dialect, func(t *testing.T) {
			url := storetest.EmptyURL(t, dialect)
			var wg sync.WaitGroup
			errs := make([]error, 6)
			for i := range errs {
				db := storetest.MustOpen(t, url) // as another process would
				wg.Go(func() { errs[i] = db.Migrate(t.Context()) })
			}
			wg.Wait()
			if err := errors.Join(errs...); err != nil {
				t.Error(err)
			}
		})
	}
}

// An older program meets a database of a newer one. It refuses it, says what to
// do and changes nothing.
func TestFaultOldProgram(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		_, known, err := db.SchemaVersion(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		mustExec(t, db, "insert into goose_db_version (version_id, is_applied) values (?, ?)", known+1, true)
		err = db.Migrate(t.Context())
		if !errors.Is(err, fleet.ErrConflict) || !strings.Contains(err.Error(), "use a newer program") {
			t.Errorf("got %v, want a conflict that says what to do", err)
		}
		have, want, err := db.SchemaVersion(t.Context())
		if err != nil || have != known+1 || want != known {
			t.Errorf("got version %d of %d, %v; want %d of %d", have, want, err, known+1, known)
		}
	})
}

// The dumps show the present schema in one piece, which the migrations will
// not once there are several.
func TestSchemaDump(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		dump := dumpSQLite
		if db.Dialect() == store.Postgres {
			dump = dumpPostgres
		}
		got := "-- The present schema, written by the test of internal/store. Do not edit.\n" + dump(t, db)
		golden.Text(t, filepath.Join("..", "..", "testdata", "schema", db.Dialect()+".sql"), got)
	})
}

func dumpSQLite(t *testing.T, db *store.DB) string {
	var statements []string
	err := db.ReadPool().SelectContext(t.Context(), &statements, `
		select sql
		from sqlite_master
		where sql is not null and tbl_name not like 'goose%' and name not like 'sqlite%'
		order by tbl_name, type desc, name`)
	if err != nil {
		t.Fatal(err)
	}
	return "\n" + strings.Join(statements, ";\n\n") + ";\n"
}

func dumpPostgres(t *testing.T, db *store.DB) string {
	type line struct {
		Table string `db:"tab"`
		Index bool   `db:"index"`
		Text  string `db:"text"`
	}
	var lines []line
	err := db.ReadPool().SelectContext(t.Context(), &lines, `
		with tables as (
			select c.oid, c.relname
			from pg_class c
			where c.relnamespace = CAST('public' AS regnamespace) and c.relkind = 'r' and c.relname not like 'goose%'
		)
		select t.relname as tab, kind = 3 as index, text
		from tables t
		cross join lateral (
			select 1 as kind, a.attnum as seq,
				a.attname || ' ' || format_type(a.atttypid, a.atttypmod)
				|| coalesce(' collate "' || nullif(co.collname, 'default') || '"', '')
				|| case when a.attnotnull then ' not null' else '' end
				|| case a.attidentity when 'a' then ' generated always as identity' else '' end as text
			from pg_attribute a
			left join pg_collation co on co.oid = a.attcollation
			where a.attrelid = t.oid and a.attnum > 0 and not a.attisdropped
			union all
			select 2, row_number() over (order by co.conname),
				'constraint ' || co.conname || ' ' || pg_get_constraintdef(co.oid)
			from pg_constraint co
			where co.conrelid = t.oid and co.contype <> 'n'
			union all
			select 3, row_number() over (order by i.indexrelid::regclass::text), pg_get_indexdef(i.indexrelid)
			from pg_index i
			where i.indrelid = t.oid
				and not exists (select 1 from pg_constraint co where co.conindid = i.indexrelid and co.conrelid = t.oid)
		) parts
		order by t.relname, kind, seq`)
	if err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	for i, l := range lines {
		first := i == 0 || lines[i-1].Table != l.Table
		last := i == len(lines)-1 || lines[i+1].Table != l.Table || lines[i+1].Index
		switch {
		case l.Index:
			fmt.Fprintf(&b, "%s;\n", l.Text)
			continue
		case first:
			fmt.Fprintf(&b, "\ncreate table %s (\n", l.Table)
		}
		end := ","
		if last {
			end = "\n);"
		}
		fmt.Fprintf(&b, "    %s%s\n", l.Text, end)
	}
	return b.String()
}
