package demo

import (
	"bytes"
	"encoding/csv"
	"errors"
	"io"
	"os"
	"path/filepath"
	"testing"

	"brakewear/ingest"
	"brakewear/internal/golden"
)

var allFiles = []string{
	"vehicles.csv", "axles.csv", "odometer.csv", "fitments.csv", "readings.csv",
	"truth/vehicles.csv", "truth/lives.csv", "truth/positions.csv",
	"truth/typos.csv", "truth/odometer.csv", "truth/distance.csv",
	"truth/inspections-to-come.csv", "truth/odometer-to-come.csv",
}

// TestGolden holds the files of two vehicles to the digit: a seed must go on
// meaning the same fleet, on any machine.
func TestGolden(t *testing.T) {
	dir := t.TempDir()
	if err := WriteCSV(dir, Options{Vehicles: 2, Seed: 17, Until: until}); err != nil {
		t.Fatal(err)
	}
	for _, name := range allFiles {
		got, err := os.ReadFile(filepath.Join(dir, name))
		if err != nil {
			t.Fatal(err)
		}
		golden.Text(t, filepath.Join("testdata", "two", name), string(got))
	}
}

// TestFilesAreWhole wants a row for each thing of each vehicle, of as many
// cells as the header has.
func TestFilesAreWhole(t *testing.T) {
	opt := Options{Vehicles: 120, Seed: 4, Until: until}
	dir := t.TempDir()
	if err := WriteCSV(dir, opt); err != nil {
		t.Fatal(err)
	}
	want := map[string]int{}
	opt.ToCome = true
	for v := range Generate(opt) {
		tr := &v.Truth
		want["vehicles.csv"]++
		want["axles.csv"] += len(v.Axles)
		want["odometer.csv"] += len(v.Odometer)
		want["fitments.csv"] += len(v.Fitments)
		want["readings.csv"] += len(v.Readings)
		want["truth/vehicles.csv"]++
		want["truth/lives.csv"] += len(tr.Lives)
		for i := range tr.Lives {
			want["truth/positions.csv"] += len(tr.Lives[i].Positions)
			want["truth/inspections-to-come.csv"] += len(tr.Lives[i].ToCome)
		}
		want["truth/typos.csv"] += len(tr.Typos)
		want["truth/odometer.csv"] += len(tr.OdometerFaults)
		want["truth/distance.csv"] += len(tr.Distance)
		want["truth/odometer-to-come.csv"] += len(tr.OdometerToCome)
	}
	for _, name := range allFiles {
		b, err := os.ReadFile(filepath.Join(dir, name))
		if err != nil {
			t.Fatal(err)
		}
		rows, err := csv.NewReader(bytes.NewReader(b)).ReadAll()
		if err != nil {
			t.Errorf("%s: %v", name, err)
		}
		if got := len(rows) - 1; got != want[name] {
			t.Errorf("%s: got %d rows, want %d", name, got, want[name])
		}
	}
}

// TestImportReadsTheFiles wants every row taken without a word, mistyped ones
// too: nothing written down is beyond what could be meant.
func TestImportReadsTheFiles(t *testing.T) {
	dir := t.TempDir()
	if err := WriteCSV(dir, Options{Vehicles: 300, Seed: 4, Until: until}); err != nil {
		t.Fatal(err)
	}
	for _, name := range allFiles[:5] {
		f, err := os.Open(filepath.Join(dir, name))
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		r, err := ingest.NewReader(f, name, ingest.Options{Today: until})
		if err != nil {
			t.Fatal(err)
		}
		if got, want := string(r.Kind())+".csv", name; got != want {
			t.Errorf("%s is taken for %s", want, got)
		}
		rows := make([]ingest.Row, 1000)
		n := 0
		for {
			k, err := r.Read(rows)
			n += k
			if errors.Is(err, io.EOF) {
				break
			}
			if err != nil {
				t.Fatal(err)
			}
		}
		for _, p := range r.Problems() {
			t.Errorf("%s line %d, %s %q: %s", name, p.Line, p.Column, p.Read, p.Message)
		}
		if n == 0 {
			t.Errorf("%s: no rows", name)
		}
	}
}

func TestWriteCSVSaysWhereItCannot(t *testing.T) {
	dir := t.TempDir()
	file := filepath.Join(dir, "a")
	if err := os.WriteFile(file, nil, 0o644); err != nil {
		t.Fatal(err)
	}
	if err := WriteCSV(file, Options{Vehicles: 1, Until: until}); err == nil {
		t.Error("wrote into a file as if it were a folder")
	}
	if err := os.Mkdir(filepath.Join(dir, "readings.csv"), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := WriteCSV(dir, Options{Vehicles: 1, Until: until}); err == nil {
		t.Error("wrote over a folder")
	}
}
