package store_test

import (
	"strings"
	"testing"
	"time"

	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// Two connections to one database stand for two processes.
func TestLockJob(t *testing.T) {
	for _, dialect := range []string{store.SQLite, store.Postgres} {
		t.Run(dialect, func(t *testing.T) {
			url := storetest.URL(t, dialect)
			one, two := storetest.MustOpen(t, url), storetest.MustOpen(t, url)
			mustLock := func(db *store.DB, job string, want bool) func() {
				t.Helper()
				held, release, err := db.LockJob(t.Context(), job)
				if err != nil {
					t.Fatal(err)
				}
				if got := release != nil; got != want {
					t.Fatalf("%s: got the lock: %v, want %v", job, got, want)
				}
				if want && held.Err() != nil {
					t.Errorf("%s: the lock is lost at once: %v", job, held.Err())
				}
				return release
			}
			release := mustLock(one, "refit", true)
			mustLock(two, "refit", false)
			mustLock(one, "refit", false)
			mustLock(two, "backup", true)()
			release()
			release = mustLock(two, "refit", true)
			mustLock(one, "refit", false)
			release()
		})
	}
}

// A process that died leaves its lease behind; it ends by itself, at once
// where it was written by a clock far ahead.
func TestLeaseEnds(t *testing.T) {
	db := storetest.Open(t, store.SQLite)
	now := time.Now()
	for _, c := range []struct {
		until time.Duration // from now
		want  bool
	}{
		{time.Minute, false},
		{-time.Second, true},
		{24 * time.Hour, true},
	} {
		mustExec(t, db, "delete from job_locks")
		mustExec(t, db, "insert into job_locks (name, holder, until) values ('refit', 'dead', ?)", store.Instant(now.Add(c.until)))
		_, release, err := db.LockJob(t.Context(), "refit")
		if err != nil {
			t.Fatal(err)
		}
		if got := release != nil; got != c.want {
			t.Errorf("a lease until %v from now: got the lock: %v, want %v", c.until, got, c.want)
		}
		if release != nil {
			release()
		}
	}
}

// Work ends with the lock it stands on.
func TestLockLost(t *testing.T) {
	defer store.SetLockChecked(20 * time.Millisecond)()
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		held, release, err := db.LockJob(t.Context(), "refit")
		if err != nil || release == nil {
			t.Fatal(err)
		}
		defer release()
		time.Sleep(100 * time.Millisecond)
		if held.Err() != nil {
			t.Fatal("the lock is lost though nothing happened")
		}
		if db.Dialect() == store.Postgres {
			mustExec(t, db, "select pg_terminate_backend(pid) from pg_locks where locktype = 'advisory'")
		} else {
			mustExec(t, db, "update job_locks set holder = 'another'")
		}
		select {
		case <-held.Done():
		case <-time.After(10 * time.Second):
			t.Error("the work goes on without its lock")
		}
	})
}

func TestJobMessageIsText(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		run, err := db.StartNow(t.Context(), "refit", "UTC", "N.\x00N.")
		if err != nil {
			t.Fatal(err)
		}
		if err := db.EndRun(t.Context(), run.ID, store.RunFailed, "bad \xff byte"); err != nil {
			t.Fatal(err)
		}
		last, err := db.LastRun(t.Context(), "refit", "UTC")
		if err != nil || !strings.HasPrefix(last.Message, "bad ") || last.Ended == nil || last.Ended.Before(*last.Started) {
			t.Errorf("got %+v, %v", last, err)
		}
	})
}
