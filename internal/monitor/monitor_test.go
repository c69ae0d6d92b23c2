package monitor

import (
	"errors"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"regexp"
	"strings"
	"testing"
	"time"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
	"brakewear/internal/web"
)

func get(t *testing.T, h http.Handler, path string) (status int, body string) {
	t.Helper()
	w := httptest.NewRecorder()
	h.ServeHTTP(w, httptest.NewRequest(http.MethodGet, path, nil))
	return w.Code, w.Body.String()
}

func watching(db *store.DB) *Monitor {
	return New(db, "test", slog.New(slog.NewTextHandler(io.Discard, nil)))
}

// TestHealth asks at both addresses: the process's own, and the one that pages
// are at.
func TestHealth(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		m := watching(db)
		page := http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { io.WriteString(w, "a page") })
		for name, h := range map[string]http.Handler{"own": m.Handler(), "pages": m.Over(page)} {
			for path, want := range map[string]string{"/healthz": "alive\n", "/readyz": "ready\n"} {
				if status, body := get(t, h, path); status != http.StatusOK || body != want {
					t.Errorf("%s: %s: got %d %q, want 200 %q", name, path, status, body, want)
				}
			}
		}
		if _, body := get(t, m.Over(page), "/metrics"); body != "a page" {
			t.Errorf("figures among the pages: got %.60q", body)
		}
		m.Ending()
		if status, body := get(t, m.Handler(), "/readyz"); status != http.StatusServiceUnavailable || body != "ending\n" {
			t.Errorf("ending: got %d %q", status, body)
		}
		if status, _ := get(t, m.Handler(), "/healthz"); status != http.StatusOK {
			t.Errorf("ending, and alive: got %d", status)
		}
	})
}

// TestNotReady takes the database away.
func TestNotReady(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		m := watching(db)
		if err := db.Close(); err != nil {
			t.Fatal(err)
		}
		for range 2 { // the second is answered by the first one's answer
			if status, body := get(t, m.Handler(), "/readyz"); status != http.StatusServiceUnavailable || body != "the database does not answer\n" {
				t.Errorf("got %d %q", status, body)
			}
		}
		if status, body := get(t, m.Handler(), "/metrics"); status != http.StatusOK || !strings.Contains(body, "\nbrakewear_database_up 0\n") {
			t.Errorf("got %d, database_up in %s", status, lines(body, "brakewear_database_up"))
		}
	})
}

// TestReadyWhileWriting: a large upload keeps the only writer of the embedded
// database busy, which is no reason to send people elsewhere.
func TestReadyWhileWriting(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		m := watching(db)
		err := db.Trial(t.Context(), func(*store.DB) error {
			if status, body := get(t, m.Handler(), "/readyz"); status != http.StatusOK {
				t.Errorf("got %d %q", status, body)
			}
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	})
}

// lines returns the lines of text that begin with start.
func lines(text, start string) string {
	return strings.Join(regexp.MustCompile(`(?m)^`+start+`.*$`).FindAllString(text, -1), "\n")
}

func TestMetrics(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ctx := t.Context()
		m := watching(db)
		m.Request(web.Answered{Route: "/vehicles/:id", Method: "GET", Status: 200, Took: 20 * time.Millisecond})
		m.Request(web.Answered{Route: "/vehicles/:id", Method: "GET", Status: 404, Took: 2 * time.Second})
		m.Request(web.Answered{Method: "GOAT", Status: 404})

		fill := func(w *store.Writer) error { return nil }
		up := fleet.Upload{Kind: "readings", Name: "a.csv", Accepted: 5, Refused: 2, Repeated: 1}
		if err := db.TakeIn(ctx, auth.AllFleets(), &up, fill); err != nil {
			t.Fatal(err)
		}
		broken := errors.New("a broken file")
		up = fleet.Upload{Kind: "readings", Name: "b.csv"}
		if err := db.TakeIn(ctx, auth.AllFleets(), &up, func(*store.Writer) error { return broken }); !errors.Is(err, broken) {
			t.Fatalf("got %v", err)
		}
		tried := fleet.Upload{Kind: "odometer", Name: "c.csv"}
		if err := db.Trial(ctx, func(trial *store.DB) error { return trial.TakeIn(ctx, auth.AllFleets(), &tried, fill) }); err != nil {
			t.Fatal(err)
		}

		began := time.Date(2026, 3, 1, 2, 0, 0, 0, time.UTC)
		db.Now = func() time.Time { return began }
		if err := db.BeginJob(ctx, "refit", "UTC", began.Add(-time.Hour)); err != nil {
			t.Fatal(err)
		}
		run, _, err := db.StartDue(ctx, "refit", "UTC", began)
		if err != nil {
			t.Fatal(err)
		}
		db.Now = func() time.Time { return began.Add(90 * time.Second) }
		if err := db.EndRun(ctx, run.ID, store.RunFailed, "no rain"); err != nil {
			t.Fatal(err)
		}
		if _, err := db.AskForRun(ctx, "refit", "UTC", "Ada"); err != nil {
			t.Fatal(err)
		}

		status, body := get(t, m.Handler(), "/metrics")
		if status != http.StatusOK {
			t.Fatalf("got %d: %s", status, body)
		}
		for _, want := range []string{
			`brakewear_requests_total{method="GET",route="/vehicles/:id",status="200"} 1`,
			`brakewear_requests_total{method="GET",route="/vehicles/:id",status="404"} 1`,
			`brakewear_requests_total{method="other",route="none",status="404"} 1`,
			`brakewear_request_seconds_bucket{method="GET",route="/vehicles/:id",le="0.025"} 1`,
			`brakewear_request_seconds_bucket{method="GET",route="/vehicles/:id",le="2.5"} 2`,
			`brakewear_requests_in_flight 0`,
			`brakewear_uploads_total{kind="readings",result="taken"} 1`,
			`brakewear_uploads_total{kind="readings",result="failed"} 1`,
			`brakewear_upload_rows_total{kind="readings",result="accepted"} 5`,
			`brakewear_upload_rows_total{kind="readings",result="refused"} 2`,
			`brakewear_upload_rows_total{kind="readings",result="repeated"} 1`,
			`brakewear_database_up 1`,
			`brakewear_job_last_result{job="refit",result="failed",zone="UTC"} 1`,
			`brakewear_job_last_duration_seconds{job="refit",zone="UTC"} 90`,
			`brakewear_job_open{job="refit",state="waiting",zone="UTC"} 1`,
			`brakewear_build_info{version="test"} 1`,
		} {
			if !strings.Contains(body, "\n"+want+"\n") {
				t.Errorf("no %s; there is\n%s", want, lines(body, strings.FieldsFunc(want, func(r rune) bool { return r == '{' || r == ' ' })[0]))
			}
		}
		if strings.Contains(body, `kind="odometer"`) {
			t.Errorf("an upload that was only tried is counted: %s", lines(body, "brakewear_upload"))
		}
		// 2026-03-01 02:01:30 UTC in seconds since 1970, as date(1) has it.
		if got := lines(body, "brakewear_job_last_end_timestamp_seconds"); !strings.HasSuffix(got, " 1.77233049e+09") {
			t.Errorf("end of the last run: got %s", got)
		}
		if got := lines(body, "brakewear_database_connections_limit"); (db.Dialect() == store.Postgres) != strings.Contains(got, `pool="all"`) || got == "" {
			t.Errorf("pools: got %s", got)
		}
	})
}
