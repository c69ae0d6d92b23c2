package jobs

import (
	"bufio"
	"context"
	"fmt"
	"log/slog"
	"os"
	"os/exec"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"brakewear/internal/pipeline"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// Set for the processes that TestFaultThreeProcesses starts.
const (
	processURL   = "JOBS_TEST_URL"
	processDiary = "JOBS_TEST_DIARY" // file that all append to
	processStart = "JOBS_TEST_START" // Unix time at which night falls
	processSkew  = "JOBS_TEST_SKEW"  // by which the process's clock is wrong
)

const (
	// minutes is how many minutes pass for the processes, at three a second.
	minutes = 15
	faster  = 180
	// slowest is longer than a process may take to get ready.
	slowest = time.Minute
)

// One of three processes with clocks a bit apart is killed in the midst of a
// scheduled job. Every minute is seen to by exactly one of them, and what the
// dead one began is ended by another.
func TestFaultThreeProcesses(t *testing.T) {
	if os.Getenv(processURL) != "" {
		process(t)
		return
	}
	t.Run(store.Postgres, func(t *testing.T) {
		url := storetest.URL(t, store.Postgres)
		db := storetest.MustOpen(t, url)
		path := t.TempDir() + "/diary"
		start := time.Now().Add(2 * time.Second)
		var all []*exec.Cmd
		for _, skew := range []string{"0s", "-3s", "2s"} {
			cmd := exec.CommandContext(t.Context(), os.Args[0], "-test.run=^TestFaultThreeProcesses$", "-test.timeout=2m")
			cmd.Env = append(os.Environ(), processURL+"="+url, processDiary+"="+path, processSkew+"="+skew,
				processStart+"="+strconv.FormatInt(start.UnixNano(), 10))
			cmd.Stderr = os.Stderr
			if err := cmd.Start(); err != nil {
				t.Fatal(err)
			}
			all = append(all, cmd)
		}
		victim := killOne(t, path, all)
		for i, cmd := range all {
			if err := cmd.Wait(); (err != nil) != (i == victim) {
				t.Errorf("process %d: %v", i, err)
			}
		}

		dead := strconv.Itoa(all[victim].Process.Pid)
		begun, ended := map[string]int{}, map[string]int{}
		under := "" // who is at work
		for _, line := range read(t, path) {
			f := strings.Fields(line) // begin|end, process
			if f[0] == "end" {
				ended[f[1]]++
				under = ""
				continue
			}
			begun[f[1]]++
			if under != "" && under != dead {
				t.Errorf("%s began while %s was at work", f[1], under)
			}
			under = f[1]
		}
		runs, err := db.JobRuns(t.Context(), store.MaxLimit)
		if err != nil {
			t.Fatal(err)
		}
		done, cut := map[string]int{}, 0
		for _, r := range runs {
			switch r.State {
			case store.RunDone:
				done[r.Due.Format(time.TimeOnly)]++
			case store.RunCutShort:
				cut++
			default:
				t.Errorf("a run is left %s: %+v", r.State, r)
			}
		}
		t.Logf("%d runs by %d processes, %d cut short; begun %v, ended %v", len(runs), len(begun), cut, begun, ended)
		t.Attr("runs", strconv.Itoa(len(runs)))
		t.Attr("cut-short", strconv.Itoa(cut))
		// On a busy machine a run may take longer than its minute, and several
		// that were missed are made up as one.
		if len(done) < minutes/3 {
			t.Errorf("%d minutes of %d were seen to; the test shows nothing", len(done), minutes)
		}
		for due, n := range done {
			if n != 1 {
				t.Errorf("%s was seen to %d times", due, n)
			}
		}
		if cut != 1 {
			t.Errorf("%d runs were cut short, want that of the killed process", cut)
		}
		total := 0
		for _, n := range ended {
			total += n
		}
		if total != len(done) {
			t.Errorf("the work was done %d times for %d minutes", total, len(done))
		}
		if len(begun) < 2 {
			t.Errorf("only %v worked; the test shows nothing", begun)
		}
	})
}

// killOne kills the first process that has begun its second run, in the midst
// of it, and returns which it was.
func killOne(t *testing.T, path string, all []*exec.Cmd) int {
	t.Helper()
	deadline := time.Now().Add(slowest)
	for time.Now().Before(deadline) {
		lines := read(t, path)
		if len(lines) >= 3 && strings.HasPrefix(lines[len(lines)-1], "begin") {
			f := strings.Fields(lines[len(lines)-1])
			i := slices.IndexFunc(all, func(c *exec.Cmd) bool { return strconv.Itoa(c.Process.Pid) == f[1] })
			if err := all[i].Process.Kill(); err != nil {
				t.Fatal(err)
			}
			return i
		}
		time.Sleep(2 * time.Millisecond)
	}
	t.Fatal("nothing runs")
	return 0
}

func read(t *testing.T, path string) (lines []string) {
	t.Helper()
	f, err := os.Open(path)
	if os.IsNotExist(err) {
		return nil
	}
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	s := bufio.NewScanner(f)
	for s.Scan() {
		lines = append(lines, s.Text())
	}
	return lines
}

// process is one of the three.
func process(t *testing.T) {
	db := storetest.MustOpen(t, os.Getenv(processURL))
	nanos, err := strconv.ParseInt(os.Getenv(processStart), 10, 64)
	if err != nil {
		t.Fatal(err)
	}
	skew, err := time.ParseDuration(os.Getenv(processSkew))
	if err != nil {
		t.Fatal(err)
	}
	start := time.Unix(0, nanos)
	diary, err := os.OpenFile(os.Getenv(processDiary), os.O_APPEND|os.O_CREATE|os.O_WRONLY, 0o600)
	if err != nil {
		t.Fatal(err)
	}
	defer diary.Close()
	write := func(what string) {
		if _, err := fmt.Fprintf(diary, "%s %d\n", what, os.Getpid()); err != nil {
			t.Error(err)
		}
	}
	c := &Clock{
		DB:   db,
		Log:  slog.New(slog.NewTextHandler(os.Stderr, &slog.HandlerOptions{Level: slog.LevelWarn})),
		Now:  func() time.Time { return night.Add(time.Since(start)*faster + skew) },
		pace: 20 * time.Millisecond,
		Jobs: []pipeline.Job{{Name: "minute", Spec: "* * * * *", Limit: time.Minute, Run: func(context.Context, string) (string, error) {
			write("begin")
			time.Sleep(60 * time.Millisecond)
			write("end")
			return "", nil
		}}},
	}
	ctx, cancel := context.WithDeadline(t.Context(), start.Add(minutes*time.Minute/faster))
	defer cancel()
	if err := c.Run(ctx); err != nil {
		t.Fatal(err)
	}
}
