package jobs

import (
	"bytes"
	"context"
	"errors"
	"log/slog"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

func TestRunNow(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		d := &diary{}
		c := &Clock{DB: db, Jobs: []pipeline.Job{nightly("count", d)}, Log: slog.New(slog.DiscardHandler)}
		said := ""
		say := func(zone, did string) { said += zone + ": " + did }
		if err := c.RunNow(t.Context(), "count", "N. N.", say); err != nil || said != "UTC: Did count." {
			t.Errorf("got %q, %v", said, err)
		}
		if err := c.RunNow(t.Context(), "cuont", "N. N.", say); !errors.Is(err, fleet.ErrNotFound) {
			t.Errorf("of an unknown job: got %v, want not found", err)
		}
		lock(t, db, "count")
		if err := c.RunNow(t.Context(), "count", "N. N.", say); !errors.Is(err, fleet.ErrConflict) {
			t.Errorf("while another runs it: got %v, want a conflict", err)
		}
		if got := d.take(); len(got) != 1 {
			t.Errorf("ran %d times, want once", len(got))
		}
	})
}

// Who waits for a job that does not end when it is to is told at once, and of one
// that ends by its result alone.
func TestRunNowHangs(t *testing.T) {
	db := storetest.MustOpen(t, storetest.URL(t, store.SQLite))
	run, err := db.StartNow(t.Context(), "refit", "UTC", "N. N.")
	if err != nil {
		t.Fatal(err)
	}
	synctest.Test(t, func(t *testing.T) {
		var log bytes.Buffer
		c := &Clock{DB: db, Log: slog.New(slog.NewTextHandler(&log, nil))}
		hang := make(chan bool)
		j := pipeline.Job{Name: "refit", Limit: time.Minute, Run: func(context.Context, string) (string, error) {
			<-hang
			return "Late.", nil
		}}
		done := make(chan bool)
		go func() {
			c.perform(t.Context(), j, run, true)
			close(done)
		}()
		time.Sleep(j.Limit + 2*graceTime)
		synctest.Wait()
		if !strings.Contains(log.String(), `msg="job overran"`) {
			t.Errorf("past its limit: got the log %q, want it to say so", &log)
		}
		close(hang)
		<-done

		log.Reset()
		j.Run = func(ctx context.Context, _ string) (string, error) {
			<-ctx.Done()
			return "", ctx.Err()
		}
		if r := c.perform(t.Context(), j, run, true); r.state != store.RunOverran || log.Len() > 0 {
			t.Errorf("of one that heeds its limit: got %s and the log %q, want none", r.state, &log)
		}
	})
}

// A time zone that fails keeps none of the others from its run, and what it did
// all the same is said.
func TestRunNowGoesOn(t *testing.T) {
	url := storetest.URL(t, store.SQLite)
	storetest.Exec(t, url, "insert into fleets (name, name_key) values ('North', 'north')")
	storetest.Exec(t, url, "insert into depots (fleet_id, name, name_key, time_zone) values (1, 'Quay', 'quay', 'Asia/Tokyo'), (1, 'Mill', 'mill', 'Europe/Berlin'), (1, 'Sands', 'sands', 'UTC')")
	j := pipeline.Job{Name: "plan", Spec: "0 3 * * *", PerZone: true, Limit: time.Minute, Run: func(_ context.Context, zone string) (string, error) {
		switch zone {
		case "Asia/Tokyo":
			return "Planned 1 fleet, not the other.", errors.New("the other")
		case "Europe/Berlin":
			return "", errors.New("none")
		}
		return "Planned.", nil
	}}
	c := &Clock{DB: storetest.MustOpen(t, url), Jobs: []pipeline.Job{j}, Log: slog.New(slog.DiscardHandler)}
	var said []string
	err := c.RunNow(t.Context(), "plan", "N. N.", func(zone, did string) { said = append(said, zone+": "+did) })
	slices.Sort(said)
	if want := []string{"Asia/Tokyo: Planned 1 fleet, not the other.", "UTC: Planned."}; !slices.Equal(said, want) {
		t.Errorf("said %q, want %q", said, want)
	}
	if err == nil || err.Error() != "the other\nnone" {
		t.Errorf("got %v, want both errors", err)
	}
}
