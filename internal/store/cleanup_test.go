package store_test

import (
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// Only what has had its time goes, and nothing measured.
func TestCleanUp(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		now := time.Date(2026, 3, 1, 3, 0, 0, 0, time.UTC)
		back := func(days int) { db.Now = func() time.Time { return now.AddDate(0, 0, -days) } }
		v := mustVehicles(t, db, entry("Bus 1"))[0]
		for i, days := range []int{29, 31} {
			back(days)
			up := fleet.Upload{Kind: "test", Name: "test.csv", By: "N. N.", Key: string(rune('a' + i))}
			err := db.TakeIn(t.Context(), all, &up, func(w *store.Writer) error {
				_, err := w.Readings([]fleet.Reading{reading(v, day(1, 1+i), 8)})
				return err
			})
			if err != nil {
				t.Fatal(err)
			}
		}
		for _, days := range []int{200, 100, 89} {
			back(days)
			run, err := db.StartNow(t.Context(), "refit", "UTC", "N. N.")
			if err != nil {
				t.Fatal(err)
			}
			if err := db.EndRun(t.Context(), run.ID, store.RunDone, ""); err != nil {
				t.Fatal(err)
			}
		}
		back(300) // the only one of its job
		run, err := db.StartNow(t.Context(), "backup", "UTC", "N. N.")
		if err != nil {
			t.Fatal(err)
		}
		if err := db.EndRun(t.Context(), run.ID, store.RunDone, ""); err != nil {
			t.Fatal(err)
		}
		if err := db.BeginJob(t.Context(), "digest", "UTC", now); err != nil {
			t.Fatal(err)
		}
		back(2)
		if _, err := db.AskForRun(t.Context(), "digest", "UTC", "N. N."); err != nil {
			t.Fatal(err)
		}
		back(0)
		for file, expires := range map[string]time.Duration{"old": -time.Minute, "new": time.Hour} {
			mustExec(t, db, `
				insert into kept_files (sha256, name, kind, date_order, sent_by, scope, bytes, sent_at, expires_at, state, read_bytes, read_rows, report, fault)
				values (?, ?, '', '', '', '', 0, ?, ?, 'checked', 0, 0, '', '')`,
				file, file, store.Instant(now), store.Instant(now.Add(expires)))
		}

		got, err := db.CleanUp(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		want := []store.CleanedUp{
			{What: "uploaded files that nobody took in", Rows: 1},
			{What: "keys of requests", Rows: 1},
			{What: "runs of scheduled work", Rows: 2},
			{What: "runs that nothing began", Rows: 1},
		}
		if d := cmp.Diff(want, got); d != "" {
			t.Error(d)
		}
		for query, want := range map[string]int{
			"select count(*) from thickness_readings":          2,
			"select count(*) from uploads":                     3,
			"select count(*) from request_keys":                1,
			"select count(*) from job_runs":                    2,
			"select count(*) from kept_files":                  1,
			"select count(*) from kept_files where name='new'": 1,
		} {
			if n := count(t, db, query); n != want {
				t.Errorf("%s: got %d, want %d", query, n, want)
			}
		}
		if got, err = db.CleanUp(t.Context()); err != nil || len(got) != 0 {
			t.Errorf("again: got %v, %v; want nothing left to do", got, err)
		}
	})
}
