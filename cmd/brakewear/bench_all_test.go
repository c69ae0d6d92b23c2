package main

import (
	"encoding/json"
	"errors"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"brakewear/internal/store"
)

// TestBenchAll measures a small fleet and wants sense in every line.
func TestBenchAll(t *testing.T) {
	dir, keep := t.TempDir(), filepath.Join(t.TempDir(), "kept")
	out, said, err := command(t, "bench", "--vehicles", "100", "--keep", keep, "--databases", store.SQLite, "--jobs", "30", "--asking", "100ms", "--format", "json", "--out", dir,
		"--cpuprofile", filepath.Join(dir, "cpu"), "--memprofile", filepath.Join(dir, "mem"))
	if err != nil {
		t.Fatalf("%v\n%s", err, said)
	}
	var rep allReport
	if err := json.Unmarshal([]byte(out), &rep); err != nil {
		t.Fatal(err)
	}
	by := map[string]*workBench{}
	for _, x := range rep.Results {
		by[x.Work] = x
		if x.Done < 1 || x.Cost <= 0 || x.Aim == "" || x.Work != workProposal && (x.Database != store.SQLite || x.Vehicles != 100) {
			t.Errorf("no sense in %+v", x)
		}
	}
	for _, work := range []string{workProposal, workImport, workImportOne, workRefit, workChanged, workUpload, workDue, workDueWritten, workFirst, workVehicle, workService} {
		if by[work] == nil {
			t.Fatalf("%s was not measured", work)
		}
	}
	for work, ratio := range map[string]float64{
		workImport:     by[workImport].Rate / by[workImport].Ceiling,
		workImportOne:  by[workImportOne].Rate / by[workImportOne].Ceiling,
		workRefit:      by[workRefit].Rate / by[workRefit].Ceiling,
		workChanged:    by[workChanged].Ceiling / by[workChanged].Rate, // of times
		workDue:        by[workDue].Rate / by[workDue].Ceiling,
		workDueWritten: by[workDueWritten].Rate / by[workDueWritten].Ceiling,
		workFirst:      by[workFirst].Ceiling / by[workFirst].Rate,
		workVehicle:    by[workVehicle].Ceiling / by[workVehicle].Rate,
	} {
		if got := by[work].Ratio; !(got > 0) || math.Abs(got-ratio) > 1e-9*ratio {
			t.Errorf("%s: got the ratio %g, want %g", work, got, ratio)
		}
	}
	for _, work := range []string{workUpload, workDue, workDueWritten, workFirst, workVehicle} {
		if x := by[work]; !(x.P50 > 0 && x.P50 <= x.P99) {
			t.Errorf("no sense in %+v", x)
		}
	}
	for _, name := range []string{"bench.txt", "bench.json", "cpu", "mem"} {
		if info, err := os.Stat(filepath.Join(dir, name)); err != nil || info.Size() == 0 {
			t.Errorf("%s: %v, %v", name, info, err)
		}
	}
	// The fleet was kept: the same is asked of it again, and nothing else is done.
	out, said, err = command(t, "bench", "--vehicles", "100", "--databases", store.SQLite, "--jobs", "30", "--asking", "100ms", "--format", "json", "--keep", keep)
	var again allReport
	if err := errors.Join(err, json.Unmarshal([]byte(out), &again)); err != nil {
		t.Fatalf("%v\n%s", err, said)
	}
	var works []string
	for _, x := range again.Results {
		works = append(works, x.Work)
	}
	want := []string{workProposal, workUpload, workDue, workDueWritten, workFirst, workVehicle}
	for _, job := range []string{"proposal", "digest", "clean-up", "backup"} {
		want = append(want, workNight+job)
	}
	want = append(want, workOverviewNew, workOverviewPage)
	for _, address := range wholeFiles {
		name, _, _ := strings.Cut(address, "?")
		want = append(want, workFile+name)
	}
	want = append(want, workCalendars, workOtherPages, workSecondImport, workSecondRefit, workService)
	if !slices.Equal(works, want) {
		t.Errorf("of a kept fleet: got %q, want %q", works, want)
	}
	if _, _, err := command(t, "bench", "--vehicles", "99"); err == nil || exitCode(err) != exitUsage {
		t.Errorf("99 vehicles: got %v, want a refusal", err)
	}
}

// TestGrowth fits exponents that are known, and draws them.
func TestGrowth(t *testing.T) {
	rep := &allReport{}
	for _, n := range []int{1000, 100, 10000} { // in whatever order
		x := float64(n)
		rep.Results = append(rep.Results,
			&workBench{Work: workRefit, Database: store.SQLite, Vehicles: n, Cost: 3 * x, CostOf: "s"},
			&workBench{Work: workDue, Database: store.SQLite, Vehicles: n, Cost: 2, CostOf: "ms"},
			&workBench{Work: workImport, Database: store.Postgres, Vehicles: n, Cost: math.Pow(x, 1.5), CostOf: "s"})
	}
	rep.Results = append(rep.Results, &workBench{Work: workProposal, Database: "-", Cost: 1})
	rep.grow()
	for _, x := range rep.Results {
		want := map[string]float64{workRefit: 1, workImport: 1.5}[x.Work] // as they were made up
		if math.Abs(x.Exponent-want) > 1e-9 {
			t.Errorf("%s: got the exponent %g, want %g", x.Work, x.Exponent, want)
		}
	}
	dir := t.TempDir()
	if err := rep.write(dir); err != nil {
		t.Fatal(err)
	}
	text, err := os.ReadFile(filepath.Join(dir, "bench.txt"))
	if want := "grow faster than the fleet: " + workImport + " on postgres (1.50) (exponent"; err != nil || !strings.Contains(string(text), want) {
		t.Errorf("got %v, %s; want %q", err, text, want)
	}
	for _, name := range []string{"cost-sqlite-s.png", "cost-sqlite-ms.png", "cost-postgres-s.png"} {
		b, err := os.ReadFile(filepath.Join(dir, name))
		if err != nil || !strings.HasPrefix(string(b), "\x89PNG") {
			t.Errorf("%s: %v", name, err)
		}
	}
	again := &allReport{}
	if err := again.add(filepath.Join(dir, "bench.json")); err != nil || len(again.Results) != len(rep.Results) {
		t.Errorf("read again: got %d results, %v; want %d", len(again.Results), err, len(rep.Results))
	}
	if err := again.add(filepath.Join(dir, "bench.txt")); exitCode(err) != exitUsage {
		t.Errorf("a file of another kind: got %v, want a refusal", err)
	}
}
