package main

import (
	"path/filepath"
	"strings"
	"testing"

	"brakewear/forecast"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/units"
)

// TestUnitsOfTheForecast prints the README's example, by its first axle, in the
// units of its reader. 4.0 mm, 3.0 mm, 2.77 mm per 10,000 km and 3408 km of it by
// NIST SP 811: 1 in = 25.4 mm, 1 mi = 1.609344 km.
func TestUnitsOfTheForecast(t *testing.T) {
	const dir = "../../testdata/example/"
	example := func(args ...string) string {
		t.Helper()
		out, _, err := command(t, append([]string{"forecast", "--axles", dir + "axles.csv", "--readings", dir + "readings.csv", "--as-of", "2026-03-01"}, args...)...)
		if err != nil {
			t.Fatal(err)
		}
		return out
	}
	tests := []struct{ units, head, row string }{
		{"", "LIMIT MM PER 10,000 KM KM LEFT", "4.0 mm 3.0 mm 2.77 3408"},
		{"mi", "LIMIT MM PER 10,000 MI MI LEFT", "4.0 mm 3.0 mm 4.46 2118"},
		{"in,km", "LIMIT IN PER 10,000 KM KM LEFT", "5/32 in 3.8/32 in 3.49/32 3408"},
		{"mi,in", "LIMIT IN PER 10,000 MI MI LEFT", "5/32 in 3.8/32 in 5.62/32 2118"},
	}
	for _, tt := range tests {
		t.Run("units "+tt.units, func(t *testing.T) {
			args := []string{}
			if tt.units != "" {
				args = []string{"--units", tt.units}
			}
			lines := strings.Split(example(args...), "\n")
			if got := strings.Join(strings.Fields(lines[0]), " "); !strings.Contains(got, tt.head) {
				t.Errorf("got the head %q, want %q in it", got, tt.head)
			}
			if got := strings.Join(strings.Fields(lines[1]), " "); !strings.Contains(got, " "+tt.row+" ") {
				t.Errorf("got %q, want %q in it", got, tt.row)
			}
			for _, format := range []string{"csv", "json"} {
				if got, want := example(append(args, "--format", format)...), example("--format", format); got != want {
					t.Errorf("%s is for programs: got\n%s\nwant\n%s", format, got, want)
				}
			}
		})
	}
	t.Setenv("BRAKEWEAR_UNITS", "mi")
	if got := example(); !strings.Contains(got, "MI LEFT") {
		t.Errorf("by the variable: got %q, want miles", got)
	}
	if got := example("--units", "km"); !strings.Contains(got, "KM LEFT") {
		t.Errorf("a flag goes before the variable: got %q, want km", got)
	}
}

// TestUnitsOfSentences says what was kept in mm and km in other units; what is
// typed stays in mm.
func TestUnitsOfSentences(t *testing.T) {
	db := filepath.Join(t.TempDir(), "own.db")
	vehicles := write(t, "vehicles.csv", "vehicle,fleet,depot,plate,category\nVan 7,Works,North,AB 1,N1\n")
	axles := write(t, "axles.csv", axlesCSV)
	readings := write(t, "readings.csv", readingsCSV+"Van 7,2026-02-25,44000,1,pad,left,inner,110\n") // a slipped decimal point
	if _, _, err := command(t, "import", "--database", db, vehicles, axles, readings); err != nil {
		t.Fatal(err)
	}
	out, _, err := command(t, "findings", "--database", db, "--units", "in")
	if want := "138.6/32 in on 25 Feb 2026 is not used"; err != nil || !strings.Contains(out, want) { // 110 mm
		t.Errorf("got %q, %v; want %q", out, err, want)
	}
	out, _, err = command(t, "findings", "--database", db, "--units", "in", "--format", "json")
	if want := "110 mm on 25 Feb 2026 is not used"; err != nil || !strings.Contains(out, want) {
		t.Errorf("got %q, %v; want %q", out, err, want)
	}
	_, _, err = command(t, "correct", "reading", "4", "--value", "111", "--database", db, "--units", "in", "--why", "x", "--by", "N. N.")
	if want := "139.8/32 in is more than a new one has"; err == nil || !strings.Contains(err.Error(), want) { // 111 mm
		t.Errorf("got %v, want %q", err, want)
	}

	inMiles := units.Reader{DistanceIn: units.Miles}
	var said strings.Builder
	p := store.Proposal{Visits: []store.Visit{
		{Vehicle: "Van 7", Advice: store.AdviseNothing, Why: "limit in 1,609 km", Remedy: "drive it 805 km less"},
		{Vehicle: "Van 8", Why: "limit in 3,219 km"},
	}}
	p.Figures.Dropped = []string{"Van 9: limit in 16,093 km"}
	printProposal(&said, inMiles, fleet.NewDate(2026, 3, 1), &p)
	for _, want := range []string{"limit in 1,000 mi", "drive it 500 mi less", "limit in 2,000 mi", "limit in 10,000 mi"} {
		if !strings.Contains(said.String(), want) {
			t.Errorf("a proposal: got %q, want %q in it", said.String(), want)
		}
	}
	said.Reset()
	row := forecast.ScoreRow{}
	row.By, row.Cases = "all", 1
	row.Km.MAE = 1609.344
	if err := scoresTable(&said, inMiles, []forecast.ScoreRow{row}); err != nil {
		t.Fatal(err)
	}
	if got := said.String(); !strings.Contains(got, "MAE mi") || !strings.Contains(got, " 1000 ") || !strings.Contains(got, "50/80/95 mi") {
		t.Errorf("scores: got %q, want a mean error of 1000 mi", got)
	}
}

func TestUnitsRefused(t *testing.T) {
	for _, tt := range []struct{ units, want string }{
		{"miles", `must be one of "km","mi","mm","in"`},
		{"km,mi", "km or mi, not both"},
		{"mi,mm,in", "mm or in, not both"},
	} {
		_, _, err := command(t, "findings", "--units", tt.units)
		if err == nil || !strings.Contains(err.Error(), tt.want) || exitCode(err) != exitUsage {
			t.Errorf("%s: got %v, want %q", tt.units, err, tt.want)
		}
	}
}
