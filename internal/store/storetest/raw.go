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
