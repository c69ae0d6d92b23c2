package jobs

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"go.uber.org/goleak"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// hands are the hands of a clock that a test moves.
type hands struct {
	mu sync.Mutex
	t  time.Time
}

func (h *hands) now() time.Time {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.t
}

func (h *hands) set(t time.Time) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.t = t
}

// diary is what jobs write into as they run.
type diary struct {
	mu    sync.Mutex
	lines []string
}

func (d *diary) add(line string) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.lines = append(d.lines, line)
}

func (d *diary) take() []string {
	d.mu.Lock()
	defer d.mu.Unlock()
	got := d.lines
	d.lines = nil
	return got
}

// nightly is a job at three that writes its name into the diary.
func nightly(name string, d *diary) pipeline.Job {
	return pipeline.Job{Name: name, Spec: "0 3 * * *", Limit: time.Minute, Run: func(context.Context, string) (string, error) {
		d.add(name)
		return "Did " + name + ".", nil
	}}
}

// run looks after jobs for a moment: until nothing is due any more.
func run(t *testing.T, db *store.DB, h *hands, table ...pipeline.Job) {
	t.Helper()
	c := &Clock{DB: db, Jobs: table, Log: slog.New(slog.DiscardHandler), Now: h.now, pace: 20 * time.Millisecond}
	if err := c.prepare(); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- c.Run(ctx) }()
	if err := settle(ctx, db, c, h); err != nil {
		t.Error(err)
	}
	cancel()
	if err := <-done; err != nil {
		t.Fatal(err)
	}
}

// settle waits until c has seen every job, and nothing waits or is under way.
func settle(ctx context.Context, db *store.DB, c *Clock, h *hands) error {
	zones, err := db.TimeZones(ctx)
	if err != nil {
		return err
	}
	want := 0
	for _, j := range c.Jobs {
		if want++; j.PerZone {
			want += len(zones) - 1
		}
	}
	for range 1000 {
		time.Sleep(10 * time.Millisecond)
		times, err := db.JobTimes(ctx)
		if err != nil {
			return err
		}
		open, err := db.OpenRuns(ctx)
		if err != nil {
			return err
		}
		seen := 0
		for _, j := range times {
			if j.Next == nil || !j.Next.After(h.now()) || j.Handled.After(h.now().AddDate(1, 0, 0)) {
				continue // not looked at yet: a clock that far ahead is put right first
			}
			s := c.schedules[j.Job]
			if last, _ := s.between(pipeline.Zone(j.Zone), j.Handled, h.now()); last.IsZero() {
				seen++
			}
		}
		if seen == want && len(open) == 0 {
			return nil
		}
	}
	return errors.New("the clock does not come to rest")
}

var (
	evening = time.Date(2026, 3, 1, 20, 0, 0, 0, time.UTC)
	night   = time.Date(2026, 3, 2, 3, 0, 0, 0, time.UTC)
)

// What passed before the clock began is none of its business; what passes
// while it stands still is made up, once.
func TestMissedIsMadeUpOnce(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		d, h := &diary{}, &hands{t: evening}
		for _, c := range []struct {
			now  time.Time
			want int
		}{
			{evening, 0},
			{evening.Add(time.Hour), 0},
			{night, 1},
			{night.Add(time.Minute), 0},
			{night.Add(-time.Hour), 0}, // a clock that is put back
			{night.Add(5*24*time.Hour + 9*time.Hour), 1},
			{night.Add(6 * 24 * time.Hour), 1},
		} {
			h.set(c.now)
			run(t, db, h, nightly("count", d))
			if got := d.take(); len(got) != c.want {
				t.Errorf("at %v: ran %d times, want %d", c.now, len(got), c.want)
			}
		}
		last, err := db.LastRun(t.Context(), "count", "UTC")
		if err != nil {
			t.Fatal(err)
		}
		if last.State != store.RunDone || last.Message != "Did count." || last.Due == nil || !last.Due.Equal(night.Add(6*24*time.Hour)) || last.Ended == nil {
			t.Errorf("last run: got %+v", last)
		}
	})
}

// The clock is 20 years ahead for a moment. It does not stop the scheduled work
// for years.
func TestFaultClockFarAhead(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		d, h := &diary{}, &hands{t: evening.AddDate(20, 0, 0)}
		run(t, db, h, nightly("count", d))
		h.set(evening)
		run(t, db, h, nightly("count", d))
		h.set(night)
		run(t, db, h, nightly("count", d))
		if got := d.take(); len(got) != 1 {
			t.Errorf("ran %d times, want once", len(got))
		}
	})
}

// A scheduled job fails, panics or takes too long. Each ends in its own way,
// and the others go on.
func TestFaultInOneJob(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		d, h := &diary{}, &hands{t: evening}
		bad := func(name string, limit time.Duration, f func(ctx context.Context) error) pipeline.Job {
			return pipeline.Job{Name: name, Spec: "0 3 * * *", Limit: limit, Run: func(ctx context.Context, _ string) (string, error) {
				return "", f(ctx)
			}}
		}
		table := []pipeline.Job{
			bad("bad row", time.Minute, func(context.Context) error { panic("secret of the stack") }),
			bad("broken", time.Minute, func(context.Context) error { return errors.New("secret of the log") }),
			bad("refused", time.Minute, func(context.Context) error { return fleet.Invalidf("folder: it is not there") }),
			bad("slow", 30*time.Millisecond, func(ctx context.Context) error { <-ctx.Done(); return ctx.Err() }),
			bad("full", time.Minute, func(context.Context) error {
				return errors.Join(fleet.Invalidf("secret of what failed before"), fleet.ErrFull)
			}),
			nightly("good", d),
		}
		run(t, db, h, table...)
		h.set(night)
		run(t, db, h, table...)
		if got := d.take(); !slices.Equal(got, []string{"good"}) {
			t.Errorf("got %q, want the good job to have run", got)
		}
		for job, want := range map[string][2]string{
			"bad row": {store.RunPanicked, "the log says why"},
			"broken":  {store.RunFailed, "the log says why"},
			"refused": {store.RunFailed, "folder: it is not there"},
			"full":    {store.RunFailed, "No space is left on the disk."},
			"slow":    {store.RunOverran, "longer than it may"},
			"good":    {store.RunDone, "Did good."},
		} {
			got, err := db.LastRun(t.Context(), job, "UTC")
			if err != nil {
				t.Fatal(err)
			}
			if got.State != want[0] || !strings.Contains(got.Message, want[1]) || strings.Contains(got.Message, "secret") {
				t.Errorf("%s: got %s %q, want %s and %q", job, got.State, got.Message, want[0], want[1])
			}
		}
		counts, err := db.RunCounts(t.Context(), time.Now().Add(-time.Hour))
		if err != nil || len(counts) != len(table) {
			t.Errorf("got the counts %v, %v; want one of each", counts, err)
		}
	})
}

// A job waits for those it comes after, also where all are made up at once,
// and also for one that another process is about.
func TestAfter(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		d, h := &diary{}, &hands{t: evening}
		first, second, third := nightly("first", d), nightly("second", d), nightly("third", d)
		first.Run = func(context.Context, string) (string, error) {
			time.Sleep(100 * time.Millisecond)
			d.add("first")
			return "", errors.New("failed")
		}
		second.After = []string{"first"}
		third.After = []string{"first", "second"}
		run(t, db, h, third, second, first)
		h.set(night)
		run(t, db, h, third, second, first)
		if got := d.take(); !slices.Equal(got, []string{"first", "second", "third"}) {
			t.Errorf("got %q", got)
		}

		h.set(night.Add(24 * time.Hour))
		lock(t, db, "first") // by another process, which does not begin
		c := &Clock{DB: db, Jobs: []pipeline.Job{second, first}, Log: slog.New(slog.DiscardHandler), Now: h.now}
		if err := c.prepare(); err != nil {
			t.Fatal(err)
		}
		entries, err := c.entries(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		if !c.held(&entries[0], entries) {
			t.Error("the second does not wait for the first")
		}
		h.set(night.Add(24*time.Hour + first.Limit))
		if c.held(&entries[0], entries) {
			t.Error("the second waits longer than the first may take")
		}
	})
}

// lock holds a job's lock until the test ends.
func lock(t *testing.T, db *store.DB, job string) {
	t.Helper()
	_, release, err := db.LockJob(t.Context(), job)
	if err != nil || release == nil {
		t.Fatalf("cannot lock %s: %v", job, err)
	}
	t.Cleanup(release)
}

// In each zone on the day of that zone, and once where it is for all.
func TestZones(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		var entries []store.VehicleEntry
		for i, depot := range []string{"Quay", "Mill", "Far Side"} {
			entries = append(entries, store.VehicleEntry{Fleet: "North", Depot: depot, Vehicle: fleet.Vehicle{Number: fmt.Sprint("Bus ", i)}})
		}
		err := db.TakeIn(t.Context(), auth.AllFleets(), &fleet.Upload{}, func(w *store.Writer) error {
			_, err := w.Vehicles(entries)
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
		setZone(t, db, "Far Side", "Pacific/Auckland")

		d := &diary{}
		each, once := nightly("each", d), nightly("once", d)
		each.PerZone = true
		each.Run = func(_ context.Context, zone string) (string, error) { d.add("each " + zone); return "", nil }
		h := &hands{t: evening.Add(-10 * time.Hour)} // 23:00 in Auckland
		for _, c := range []struct {
			now  time.Time
			want []string
		}{
			{h.t, nil},
			{h.t.Add(4 * time.Hour), []string{"each Pacific/Auckland"}},
			{night, []string{"each UTC", "once"}},
		} {
			h.set(c.now)
			run(t, db, h, each, once)
			got := d.take()
			slices.Sort(got)
			if !slices.Equal(got, c.want) {
				t.Errorf("at %v: got %q, want %q", c.now, got, c.want)
			}
		}
	})
}

// setZone sets a depot's time zone.
func setZone(t *testing.T, db *store.DB, depot, zone string) {
	t.Helper()
	ds, err := db.Depots(t.Context(), auth.AllFleets())
	if err != nil {
		t.Fatal(err)
	}
	for _, d := range ds {
		if d.Name != depot {
			continue
		}
		if err := db.SetTimeZone(t.Context(), auth.AllFleets(), d.ID, zone); err != nil {
			t.Fatal(err)
		}
	}
}

// What a person asks for runs though it is not due, and once.
func TestAskedFor(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		d, h := &diary{}, &hands{t: evening}
		if _, err := db.AskForRun(t.Context(), "count", "UTC", "N. N."); !errors.Is(err, fleet.ErrNotFound) {
			t.Errorf("of a job that is not there: got %v, want not found", err)
		}
		run(t, db, h, nightly("count", d))
		if _, err := db.AskForRun(t.Context(), "count", "UTC", "N. N."); err != nil {
			t.Fatal(err)
		}
		if _, err := db.AskForRun(t.Context(), "count", "UTC", "M. M."); !errors.Is(err, fleet.ErrConflict) {
			t.Errorf("asked twice: got %v, want a conflict", err)
		}
		run(t, db, h, nightly("count", d))
		if got := d.take(); len(got) != 1 {
			t.Errorf("ran %d times, want once", len(got))
		}
		last, err := db.LastRun(t.Context(), "count", "UTC")
		if err != nil || last.AskedBy != "N. N." || last.Due != nil || last.State != store.RunDone {
			t.Errorf("got %+v, %v", last, err)
		}
		h.set(night)
		run(t, db, h, nightly("count", d))
		if got := d.take(); len(got) != 1 {
			t.Errorf("at its own time it ran %d times, want once", len(got))
		}
	})
}

// A run that a process did not live to end is begun again, but not for ever.
func TestCutShort(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		d, h := &diary{}, &hands{t: evening}
		run(t, db, h, nightly("count", d))
		old, started, err := db.StartDue(t.Context(), "count", "UTC", night.Add(-24*time.Hour+8*time.Hour))
		if err != nil || started {
			t.Fatalf("a time that was seen to began again: %v, %v", started, err)
		}
		if old, started, err = db.StartDue(t.Context(), "count", "UTC", night); err != nil || !started {
			t.Fatal(started, err)
		}
		h.set(night.Add(time.Minute))
		run(t, db, h, nightly("count", d))
		if got := d.take(); len(got) != 1 {
			t.Errorf("ran %d times, want once more", len(got))
		}
		runs, err := db.JobRuns(t.Context(), 10)
		if err != nil || len(runs) != 2 {
			t.Fatalf("got %+v, %v; want two runs", runs, err)
		}
		if again := runs[0]; again.Attempt != 2 || !again.Due.Equal(night) || again.State != store.RunDone {
			t.Errorf("the second attempt: got %+v", again)
		}
		if runs[1].ID != old.ID || runs[1].State != store.RunCutShort {
			t.Errorf("the first attempt: got %+v", runs[1])
		}

		if old, err = db.StartNow(t.Context(), "count", "UTC", "N. N."); err != nil {
			t.Fatal(err)
		}
		for old.Attempt < maxAttempts {
			var cut bool
			if old, cut, err = db.Restart(t.Context(), old, maxAttempts); err != nil || !cut {
				t.Fatal(cut, err)
			}
		}
		run(t, db, h, nightly("count", d))
		if got := d.take(); len(got) != 0 {
			t.Errorf("after %d attempts it ran again", maxAttempts)
		}
	})
}

// A process that is told to end leaves its run to the next one.
func TestStopped(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		d, h := &diary{}, &hands{t: evening}
		run(t, db, h, nightly("count", d))
		h.set(night)
		began := make(chan bool, 1)
		long := nightly("count", d)
		long.Run = func(ctx context.Context, _ string) (string, error) {
			began <- true
			<-ctx.Done()
			return "", ctx.Err()
		}
		c := &Clock{DB: db, Jobs: []pipeline.Job{long}, Log: slog.New(slog.DiscardHandler), Now: h.now, pace: 20 * time.Millisecond}
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan error, 1)
		go func() { done <- c.Run(ctx) }()
		<-began
		cancel()
		if err := <-done; err != nil {
			t.Fatal(err)
		}
		run(t, db, h, nightly("count", d))
		if got := d.take(); len(got) != 1 {
			t.Errorf("ran %d times after the restart, want once", len(got))
		}
	})
}

func TestBadTime(t *testing.T) {
	c := &Clock{Jobs: []pipeline.Job{{Name: "refit", Spec: "25 o'clock"}}}
	if err := c.Run(t.Context()); err == nil || !strings.Contains(err.Error(), "refit") {
		t.Errorf("got %v, want an error that names the job", err)
	}
}

// A job that will not end does not keep the program from ending.
func TestDeafJob(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := &Clock{Log: slog.New(slog.DiscardHandler)}
		hang := make(chan bool)
		c.wg.Go(func() { <-hang })
		start := time.Now()
		c.wait()
		if took := time.Since(start); took < graceTime || took > 2*graceTime {
			t.Errorf("waited %v", took)
		}
		close(hang)
	})
}
