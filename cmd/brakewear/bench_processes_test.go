package main

import (
	"encoding/json"
	"errors"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"brakewear/internal/pgserver"
)

// TestMain lets the test binary be one of the processes that bench processes
// starts, and the program where it is called by its name.
func TestMain(m *testing.M) {
	if filepath.Base(os.Args[0]) == "brakewear" || len(os.Args) > 2 && os.Args[1] == "bench" && os.Args[2] == "process" {
		main()
		return
	}
	os.Exit(m.Run())
}

// TestBenchProcesses: whatever the number of processes, the same work is done.
// The rates are the machine's.
func TestBenchProcesses(t *testing.T) {
	out, said, err := command(t, "bench", "processes", "--vehicles", "12", "--processes", "1,2", "--reading", "200ms", "--format", "json")
	if errors.Is(err, pgserver.ErrNone) {
		t.Skip(err)
	}
	if err != nil {
		t.Fatalf("%v\n%s", err, said)
	}
	var results []processesBench
	if err := json.Unmarshal([]byte(out), &results); err != nil {
		t.Fatalf("%v in %s", err, out)
	}
	if len(results) != 12 {
		t.Fatalf("got %d results, want three kinds of work, twice, by one and two processes", len(results))
	}
	readings := results[0].Done
	for _, r := range results {
		switch r.What {
		case doImport:
			if r.Done != readings || readings < 12 {
				t.Errorf("got %+v, want %d readings taken in", r, readings)
			}
		case doRefit:
			if r.Done != 12 {
				t.Errorf("got %+v, want 12 vehicles", r)
			}
		default:
			if r.Done < 2 {
				t.Errorf("got %+v, want pages read", r)
			}
		}
		if !(r.Rate > 0) || math.Abs(r.Rate-float64(r.Done)/r.Seconds) > 1e-6*r.Rate || r.Processes == 1 && r.Ratio != 1 {
			t.Errorf("no sense in %+v", r)
		}
	}
	if _, _, err := command(t, "bench", "processes", "--processes", "0"); err == nil || exitCode(err) != exitUsage {
		t.Errorf("no processes: got %v, want a refusal", err)
	}
}

// TestSplitCSV: every row is in one part, a vehicle's all in the same.
func TestSplitCSV(t *testing.T) {
	file := write(t, "readings.csv", "vehicle,mm\na,1\nb,2\na,3\nc,4\n")
	if err := splitCSV(file, 2); err != nil {
		t.Fatal(err)
	}
	for i, want := range []string{"vehicle,mm\na,1\na,3\nc,4\n", "vehicle,mm\nb,2\n"} {
		got, err := os.ReadFile(filepath.Clean(partOf(file, 2, i)))
		if err != nil || string(got) != want {
			t.Errorf("part %d: got %q, %v; want %q", i, got, err, want)
		}
	}
	var out strings.Builder
	if err := processesTable(&out, []processesBench{{What: doRefit, Processors: 2}}); err != nil || !strings.Contains(out.String(), "ratio") {
		t.Errorf("got %q, %v", out.String(), err)
	}
}

// TestBenchPartitions: all is timed on both tables. The times are the machine's.
func TestBenchPartitions(t *testing.T) {
	out, said, err := command(t, "bench", "partitions", "--readings", "8000", "--fleets", "4", "--partitions", "3", "--format", "json")
	if errors.Is(err, pgserver.ErrNone) {
		t.Skip(err)
	}
	if err != nil {
		t.Fatalf("%v\n%s", err, said)
	}
	var results []partitionsBench
	if err := json.Unmarshal([]byte(out), &results); err != nil {
		t.Fatalf("%v in %s", err, out)
	}
	if len(results) != 12 {
		t.Errorf("got %d results, want 12", len(results))
	}
	for _, r := range results {
		if !(r.Plain > 0 && r.Parts > 0) {
			t.Errorf("no sense in %+v", r)
		}
	}
	if _, _, err := command(t, "bench", "partitions", "--readings", "10"); err == nil || exitCode(err) != exitUsage {
		t.Errorf("too few readings: got %v, want a refusal", err)
	}
}
