package storetest

import (
	"context"
	"database/sql"
	"fmt"
	"regexp"
	"strings"
	"sync"
	"sync/atomic"
	"testing"

	"brakewear/internal/store"
)

// Statements are those that were run for a context, in their order.
type Statements struct {
	mu  sync.Mutex
	all []statement
}

type statement struct {
	query string
	args  []any
}

// Watch returns a context for which everything that is run is noted.
func Watch(ctx context.Context) (context.Context, *Statements) {
	s := &Statements{}
	return store.WithTrace(ctx, func(query string, args []any) {
		s.mu.Lock()
		defer s.mu.Unlock()
		s.all = append(s.all, statement{query, args})
	}), s
}

// setting is a statement that sets how the ones after it are run; the beginning of
// a transaction undoes what the one before has set.
func (s *statement) setting() bool {
	return s.query == "begin" || strings.Contains(s.query, "set local")
}

// Queries are the statements as one text each, without those that only set how
// others are run.
func (s *Statements) Queries() (queries []string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for i := range s.all {
		if !s.all[i].setting() {
			queries = append(queries, strings.Join(strings.Fields(s.all[i].query), " "))
		}
	}
	return queries
}

// Set is what a setting is run as, after "savepoint fresh" in a transaction in which
// all that was run for a context is explained.
func Set(query string) string {
	if query == "begin" {
		return "rollback to savepoint fresh"
	}
	return query
}

// explained are the statements that have a plan: of the others no page reads.
var explained = regexp.MustCompile(`^\s*(select|with|insert|update|delete)\b`)

// Whole returns how tables are read from end to end that none of the statements
// may read so, as "query: what the plan says". The database at url decides which
// index it takes; that there is one that leads to the rows is what is asked:
// PostgreSQL is kept from preferring to read a small table whole.
func (s *Statements) Whole(tb testing.TB, url string, tables []string) (faults []string) {
	tb.Helper()
	db := raw(tb, url)
	defer db.Close()
	x, err := db.Begin()
	if err != nil {
		tb.Fatal(err)
	}
	defer x.Rollback()
	explain := "explain query plan "
	if strings.Contains(url, "://") {
		explain = "explain "
		if _, err := x.Exec(`set local enable_seqscan = off; set local jit = off`); err != nil {
			tb.Fatal(err)
		}
	}
	if _, err := x.Exec("savepoint fresh"); err != nil {
		tb.Fatal(err)
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	kept := false // the plan is the same for all values
	for i := range s.all {
		c := &s.all[i]
		if c.setting() {
			if _, err := x.Exec(Set(c.query)); err != nil {
				tb.Fatal(err)
			}
			kept = strings.Contains(c.query, "force_generic_plan")
			continue
		}
		gone := strings.Contains(c.query, "staged_") && !strings.HasPrefix(c.query, "with staged_") // a temporary table
		if gone || !explained.MatchString(c.query) {
			continue
		}
		query, args := c.query, c.args
		if kept {
			query, args = Kept(tb, x, query, len(args)), nil
		}
		rows, err := x.Query(explain+query, args...)
		if err != nil {
			tb.Fatalf("%v\n%s", err, c.query)
		}
		columns, err := rows.Columns()
		if err != nil {
			tb.Fatal(err)
		}
		var plan []string
		for rows.Next() {
			values := make([]any, len(columns))
			dest := make([]any, len(columns))
			for i := range values {
				dest[i] = &values[i]
			}
			if err := rows.Scan(dest...); err != nil {
				tb.Fatal(err)
			}
			switch v := values[len(values)-1].(type) { // SQLite has three before
			case []byte:
				plan = append(plan, string(v))
			default:
				plan = append(plan, fmt.Sprint(v))
			}
		}
		if err := rows.Err(); err != nil {
			tb.Fatal(err)
		}
		for _, whole := range wholeReads(plan, c.query, tables) {
			faults = append(faults, fmt.Sprintf("%s: %s", strings.Join(strings.Fields(c.query), " "), whole))
		}
	}
	return faults
}

// Kept prepares a statement with n parameters on PostgreSQL and returns what to
// explain to see the plan that the server keeps of it, for whatever values.
func Kept(tb testing.TB, x interface {
	Exec(query string, args ...any) (sql.Result, error)
}, query string, n int) string {
	tb.Helper()
	// Under a name of its own: the connection may be one that keeps others.
	name := fmt.Sprint("kept_", prepared.Add(1))
	if _, err := x.Exec("prepare " + name + " as " + query); err != nil {
		tb.Fatalf("%v\n%s", err, query)
	}
	if n == 0 {
		return "execute " + name
	}
	return "execute " + name + "(null" + strings.Repeat(", null", n-1) + ")"
}

var prepared atomic.Int64 // by Kept

var (
	sqliteScan   = regexp.MustCompile(`^SCAN (\w+)`)
	postgresScan = regexp.MustCompile(`(Seq Scan|Index Scan|Index Only Scan|Bitmap Heap Scan)(?: Backward)?(?: using \w+)? on (\w+)`)
)

// wholeReads finds the lines of a plan that read one of the tables from end to
// end: a scan, also one along an index, without a condition that leads to rows.
func wholeReads(plan []string, query string, tables []string) (found []string) {
	for i, line := range plan {
		for _, table := range tables {
			if m := sqliteScan.FindStringSubmatch(line); m != nil && named(query, m[1], table) {
				found = append(found, line)
			}
			m := postgresScan.FindStringSubmatch(line)
			if m == nil || m[2] != table {
				continue
			}
			if m[1] == "Seq Scan" || !led(plan[i+1:]) {
				found = append(found, strings.TrimSpace(line))
			}
		}
	}
	return found
}

// led says whether a scan whose plan goes on like this has a condition on its
// index; a bitmap's stands one node further down.
func led(rest []string) bool {
	for i, line := range rest {
		if strings.Contains(line, "Index Cond:") {
			return true
		}
		if strings.Contains(line, "->") && !(i <= 2 && strings.Contains(line, "Bitmap")) {
			return false
		}
	}
	return false
}

// named says whether name is the table in the query, or stands for it.
func named(query, name, table string) bool {
	return name == table || regexp.MustCompile(`\b`+table+`\s+(?:as\s+)?`+name+`\b`).MatchString(query)
}
