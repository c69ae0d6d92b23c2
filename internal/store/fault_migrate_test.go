package store_test

import (
	"fmt"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"testing"
	"time"

	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// migratedURL is set for the process that TestFaultKilledMigrating kills.
const migratedURL = "STORE_TEST_MIGRATED_URL"

// The process is killed by SIGKILL in the midst of steps of a migration. No step
// is half done, the next process goes on where it ended, and the schema is what
// it is where nobody was killed.
func TestFaultKilledMigrating(t *testing.T) {
	if url := os.Getenv(migratedURL); url != "" {
		if err := storetest.MustOpen(t, url).Migrate(t.Context()); err != nil {
			t.Fatal(err)
		}
		return
	}
	for _, dialect := range []string{store.SQLite, store.Postgres} {
		t.Run(dialect, func(t *testing.T) {
			url := storetest.EmptyURL(t, dialect)
			db := storetest.MustOpen(t, url)
			if _, _, err := db.SchemaVersion(t.Context()); err != nil { // makes the table of versions
				t.Fatal(err)
			}
			steps := func() int { return count(t, db, "select count(*) from goose_db_version") }
			for _, done := range []int{1, 4, 8} { // rows; the first says that there is nothing
				killMigrating(t, url, func() bool { return steps() >= done })
				if n := steps(); n != done {
					t.Errorf("killed in the midst of a step: %d are done, want %d", n, done)
				}
			}
			if err := db.Migrate(t.Context()); err != nil {
				t.Fatalf("the next process: %v", err)
			}
			dump := dumpSQLite
			if dialect == store.Postgres {
				dump = dumpPostgres
			}
			if got, want := dump(t, db), dump(t, storetest.Open(t, dialect)); got != want {
				t.Errorf("the schema is not what it is otherwise:\n%s", got)
			}
			if broken, _, err := db.Check(t.Context()); err != nil || len(broken) > 0 {
				t.Errorf("afterwards: %+v, %v", broken, err)
			}
			t.Attr("kills", "3")
			t.Attr("steps", strconv.Itoa(steps()-1))
		})
	}
}

// killMigrating starts a process that migrates, slowly, and kills it in the
// midst of a step once it has come so far.
func killMigrating(t *testing.T, url string, soFar func() bool) {
	t.Helper()
	defer storetest.Slow(t, url, "insert on goose_db_version")()
	cmd := exec.CommandContext(t.Context(), os.Args[0], "-test.run=^TestFaultKilledMigrating$")
	cmd.Env = append(os.Environ(), migratedURL+"="+url)
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	defer cmd.Wait()
	defer cmd.Process.Kill()
	for end := time.Now().Add(3 * time.Minute); time.Now().Before(end); time.Sleep(5 * time.Millisecond) {
		if soFar() && writing(t, url) {
			return
		}
	}
	t.Fatal("it does not come so far")
}

// writing says whether somebody is in the midst of writing.
func writing(t *testing.T, url string) bool {
	t.Helper()
	if strings.Contains(url, "://") {
		return fmt.Sprint(storetest.Dump(t, url, `select count(*) as n from pg_stat_activity where datname = current_database() and backend_xid is not null`)) != "[n=0 ]"
	}
	return storetest.Busy(t, url)
}
