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
		// Of what was replaced long ago stays what somebody decided on, also where that
		// was taken back.
		quay := []fleet.Depot{depotOf(t, db, "Quay")}
		for _, days := range []int{92, 91, 89, 1} {
			back(days)
			var vs []store.Visit
			for i := range 3 {
				vs = append(vs, visitOf(v, quay[0].ID, monday, 480+fleet.Clock(i)))
			}
			p := mustPropose(t, db, quay, vs...)
			switch days {
			case 91: // more than go at once
				mustExec(t, db, `
					insert into proposal_visits (
						proposal_id, fleet_id, depot_id, vehicle_id, advice, bay, starts, minutes, hours,
						work, why, remedy, changed, state, decided_by)
					with recursive n (i) as (select 1 union all select i + 1 from n where i < ?)
					select
						x.proposal_id, x.fleet_id, x.depot_id, x.vehicle_id, x.advice, x.bay, x.starts, x.minutes, x.hours,
						x.work, x.why, x.remedy, x.changed, x.state, x.decided_by
					from n
					cross join proposal_visits x
					where x.id = ?`, store.CleanUpRows, p.Visits[0].ID)
			case 92:
				err := db.DeclineVisits(t.Context(), all, "N. N.", "hired out", []int64{p.Visits[0].ID, p.Visits[1].ID})
				if err == nil {
					err = db.TakeBackVisits(t.Context(), all, "N. N.", []int64{p.Visits[1].ID})
				}
				if err != nil {
					t.Fatal(err)
				}
			}
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
			{What: "visits of proposals that were replaced", Rows: 1 + 3 + store.CleanUpRows},
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
			"select count(*) from proposals":                   4,
			"select count(*) from proposal_visits":             2 + 3 + 3,
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
