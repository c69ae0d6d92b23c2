package main

import (
	"encoding/json"
	"errors"
	"math"
	"strings"
	"testing"

	"brakewear/internal/pgserver"
	"brakewear/internal/store"
)

// TestBenchImport: both ways store the same rows on every database there is.
// The rates are the machine's.
func TestBenchImport(t *testing.T) {
	out, said, err := command(t, "bench", "import", "--vehicles", "30", "--format", "json")
	if err != nil {
		t.Fatal(err)
	}
	var results []importBench
	if err := json.Unmarshal([]byte(out), &results); err != nil {
		t.Fatalf("%v in %s", err, out)
	}
	want := []string{store.SQLite, store.Postgres}
	if strings.Contains(said, pgserver.ErrNone.Error()) {
		want = want[:1]
	}
	if len(results) != len(want) {
		t.Fatalf("got %+v, want %v", results, want)
	}
	for i, r := range results {
		if r.Database != want[i] || r.Rows < 30 || r.Rows != results[0].Rows {
			t.Errorf("got %+v, want the same rows on %s", r, want[i])
		}
		if !(r.Rate > 0 && r.BareRate > 0 && r.PeakMB > 0) || math.Abs(r.Ratio-r.Rate/r.BareRate) > 1e-9*r.Ratio ||
			!(r.AloneRate > r.BareRate) || math.Abs(r.AloneRatio-r.Rate/r.AloneRate) > 1e-9*r.AloneRatio {
			t.Errorf("no sense in %+v", r)
		}
	}
	if out, _, err = command(t, "bench", "import", "--vehicles", "30"); err != nil || !strings.Contains(out, "bare rows/s") {
		t.Errorf("table: got %s, %v", out, err)
	}
	if _, _, err := command(t, "bench", "import", "--vehicles", "0"); err == nil || exitCode(err) != exitUsage {
		t.Errorf("no vehicles: got %v, want a refusal", err)
	}
}

// TestBenchWithoutPostgres: a machine without PostgreSQL still measures.
func TestBenchWithoutPostgres(t *testing.T) {
	t.Setenv("PATH", "")
	old := pgserver.DebianBins
	pgserver.DebianBins = t.TempDir()
	t.Cleanup(func() { pgserver.DebianBins = old })
	if _, err := pgserver.Start(pgserver.Fast); !errors.Is(err, pgserver.ErrNone) {
		t.Fatalf("got %v, want %v", err, pgserver.ErrNone)
	}
	out, said, err := command(t, "bench", "import", "--vehicles", "5")
	if err != nil || !strings.Contains(out, store.SQLite) || !strings.Contains(said, "PostgreSQL left out") {
		t.Errorf("got %s, %s, %v", out, said, err)
	}
}
