package storetest

import (
	"database/sql"
	"fmt"
	"strings"
	"testing"
	"time"

	_ "modernc.org/sqlite" // the driver "sqlite"

	"brakewear/internal/store"
)

// Dump returns what a query gives on the database at url, whatever its columns
// are, a line a row: for tests that compare every byte that is stored.
func Dump(tb testing.TB, url, query string) []string {
	tb.Helper()
	db := raw(tb, url)
	defer db.Close()
	rows, err := db.Query(query)
	if err != nil {
		tb.Fatalf("%s: %v", query, err)
	}
	defer rows.Close()
	names, err := rows.Columns()
	if err != nil {
		tb.Fatal(err)
	}
	var out []string
	for rows.Next() {
		values, dest := make([]any, len(names)), make([]any, len(names))
		for i := range values {
			dest[i] = &values[i]
		}
		if err := rows.Scan(dest...); err != nil {
			tb.Fatal(err)
		}
		var line strings.Builder
		for i, v := range values {
			switch x := v.(type) {
			case []byte:
				fmt.Fprintf(&line, "%s=%x ", names[i], x)
			case time.Time:
				fmt.Fprintf(&line, "%s=%s ", names[i], x.UTC().Format(time.RFC3339Nano))
			default: // numbers in their shortest form that is exact
				fmt.Fprintf(&line, "%s=%v ", names[i], x)
			}
		}
		out = append(out, line.String())
	}
	if err := rows.Err(); err != nil {
		tb.Fatal(err)
	}
	return out
}

// Exec runs a statement on the database at url, behind the store's back.
func Exec(tb testing.TB, url, statement string) {
	tb.Helper()
	db := raw(tb, url)
	defer db.Close()
	if _, err := db.Exec(statement); err != nil {
		tb.Fatalf("%s: %v", statement, err)
	}
}

func raw(tb testing.TB, url string) *sql.DB {
	tb.Helper()
	driver := store.SQLite
	if strings.Contains(url, "://") {
		driver = store.Postgres
	}
	db, err := sql.Open(driver, url)
	if err != nil {
		tb.Fatal(err)
	}
	return db
}

// Busy says whether somebody is writing to the SQLite file at path.
func Busy(tb testing.TB, path string) bool {
	tb.Helper()
	db := raw(tb, "file:"+path+"?_txlock=immediate")
	defer db.Close()
	x, err := db.Begin()
	if err == nil {
		err = x.Rollback()
		if err != nil {
			tb.Fatal(err)
		}
		return false
	}
	return strings.Contains(err.Error(), "locked")
}

// Slow makes every row that a statement such as "insert on bookings" or "update
// on bookings" touches take half a second or more, until undo: for tests that
// end a process in the midst of it.
func Slow(tb testing.TB, url, when string) (undo func()) {
	tb.Helper()
	_, table, _ := strings.Cut(when, " on ")
	if !strings.Contains(url, "://") {
		// However few tables and indexes there are, so many rows come together.
		var from []string
		for i := range 16 {
			from = append(from, fmt.Sprint("sqlite_master m", i))
		}
		Exec(tb, url, `create trigger slow before `+when+` begin
			select count(*) from (select 1 from `+strings.Join(from, ", ")+` limit 20000000); end`)
		return func() { Exec(tb, url, `drop trigger slow`) }
	}
	Exec(tb, url, `
		create function slow() returns trigger language plpgsql as $$ begin perform pg_sleep(.5); return new; end $$;
		create trigger slow before `+when+` for each row execute function slow()`)
	return func() {
		// A server sees that its client has died when it next has something to say.
		Exec(tb, url, `select pg_terminate_backend(pid) from pg_stat_activity where datname = current_database() and backend_xid is not null and pid <> pg_backend_pid()`)
		Exec(tb, url, `drop trigger slow on `+table+`; drop function slow()`)
	}
}
