package dashboard

import (
	"net/http"
	"net/url"
	"testing"
	"time"

	"brakewear/internal/auth"
	"brakewear/internal/store"
)

// worked is w after some nights of scheduled work.
func worked(t *testing.T, w *world) *world {
	t.Helper()
	ctx, db := t.Context(), w.svc.DB
	zones, err := db.TimeZones(ctx)
	if err != nil {
		t.Fatal(err)
	}
	for _, j := range w.svc.Jobs() {
		if err := db.BeginJob(ctx, j.Name, zones[0], now.AddDate(0, 0, -3)); err != nil {
			t.Fatal(err)
		}
		if err := db.ShowNext(ctx, j.Name, zones[0], now.Add(17*time.Hour)); err != nil {
			t.Fatal(err)
		}
	}
	if feeds, err := db.CalendarFeeds(ctx, auth.AllFleets()); err != nil {
		t.Fatal(err)
	} else if len(feeds) == 0 {
		if _, err := w.svc.MakeCalendar(ctx, auth.AllFleets(), &store.CalendarFeed{DepotID: 1, MadeBy: tester}); err != nil {
			t.Fatal(err)
		}
	}
	if people, err := db.Recipients(ctx, auth.AllFleets()); err != nil {
		t.Fatal(err)
	} else if len(people) == 0 {
		r := &store.Recipient{Name: "Ann Planner", Address: "ann@island.example", Role: store.RolePlanner, Places: []store.Place{{FleetID: 1}}}
		if err := db.SaveRecipient(ctx, auth.AllFleets(), tester, r); err != nil {
			t.Fatal(err)
		}
	}
	for night, end := range [][2]string{
		{store.RunDone, "Forecast 3 axles of 3 vehicles."},
		{store.RunDone, "Forecast 3 axles of 3 vehicles."},
		{store.RunOverran, "It took longer than it may and was given up."},
	} {
		due := now.AddDate(0, 0, night-2).Add(-7 * time.Hour)
		run, started, err := db.StartDue(ctx, "refit", zones[0], due)
		if err != nil || !started {
			return w // it was worked before
		}
		if err := db.EndRun(ctx, run.ID, end[0], end[1]); err != nil {
			t.Fatal(err)
		}
	}
	return w
}

func TestWork(t *testing.T) {
	w := small(t)
	check(t, parse(t, w.get("/work").Body.String()), []has{
		{"h1", "Scheduled work"},
		{".work-times dd", "not yet"},
		{".work-now button", ""}, // no clock that would do it
		{".work h2", "Backup"},
		{"nav.office a[aria-current]", "Scheduled work"},
	})
	worked(t, w)
	check(t, parse(t, w.get("/work").Body.String()), []has{
		{".work li.ill h2", "Refit"},
		{".work li.ill dd", "took too long"},
		{".work dd", "2 done, 1 took too long"},
		{".work dd time[datetime=2026-03-03T02:00:00Z]", "Tue 3 Mar 2026 02:00"},
		{"tbody tr.ill td", "took too long"},
		{"tbody tr td", "by the clock"},
		{"[data-again]", ""},
	})
	ask := url.Values{"job": {"refit"}, "zone": {"UTC"}}
	if rec := w.submit("/work", ask); rec.Code != http.StatusSeeOther || rec.Header().Get("Location") != "/work" {
		t.Fatalf("asked to run: got %d %s", rec.Code, rec.Body)
	}
	check(t, parse(t, w.get("/work").Body.String()), []has{
		{".work-now [role=status]", "waits to begin"},
		{"tbody tr td", "asked for by dashboard"},
		{"[data-again]", "*"},
	})
	for _, c := range []struct {
		name   string
		form   url.Values
		status int
	}{
		{"twice", ask, http.StatusConflict},
		{"no such job", url.Values{"job": {"coffee"}, "zone": {"UTC"}}, http.StatusNotFound},
		{"no such zone", url.Values{"job": {"refit"}, "zone": {"Moon"}}, http.StatusNotFound},
	} {
		if rec := w.submit("/work", c.form); rec.Code != c.status {
			t.Errorf("%s: got status %d, want %d", c.name, rec.Code, c.status)
		}
	}
}

func TestTookWords(t *testing.T) {
	for d, want := range map[time.Duration]string{
		-time.Second:             "",
		90 * time.Millisecond:    "under a second",
		time.Second:              "1 second",
		100 * time.Second:        "100 seconds",
		3*time.Minute + 1:        "3 minutes",
		150 * time.Minute:        "2.5 hours",
		119*time.Minute + 29*1e9: "119 minutes",
	} {
		if got := tookWords(d); got != want {
			t.Errorf("%v: got %q, want %q", d, got, want)
		}
	}
}

// A refit under way says how far it is, and is looked at again.
func TestWorkFar(t *testing.T) {
	w := small(t)
	worked(t, w)
	db := w.svc.DB
	r := store.Refit{Model: "line", AsOf: today, Risk: .05, Scope: auth.AllFleets(), Knows: []byte("{}")}
	if err := db.JoinRefit(t.Context(), &r, 2); err != nil {
		t.Fatal(err)
	}
	page := parse(t, w.get("/work").Body.String())
	check(t, page, []has{
		{".work dd[role=status]", "Learning, step 1: 0 of 2 shares are done; no process is at work."},
		{"[data-again]", "*"},
	})
	sh, err := db.TakeShare(t.Context(), r.ID, 0, "another 1", time.Minute)
	if err != nil {
		t.Fatal(err)
	}
	if err := db.FinishShare(t.Context(), sh, nil); err != nil {
		t.Fatal(err)
	}
	if _, err := db.TakeShare(t.Context(), r.ID, 0, "another 2", time.Minute); err != nil {
		t.Fatal(err)
	}
	check(t, parse(t, w.get("/work").Body.String()), []has{
		{".work dd[role=status]", "Learning, step 1: 1 of 2 shares are done; 1 process is at work."},
	})
	if err := db.FailRefit(t.Context(), r.ID, "enough"); err != nil {
		t.Fatal(err)
	}
	check(t, parse(t, w.get("/work").Body.String()), []has{{".work dd[role=status]", ""}})
}
