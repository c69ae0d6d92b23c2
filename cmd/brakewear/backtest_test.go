package main

import (
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"testing"

	"brakewear/forecast"
	"brakewear/internal/pipeline"
	"brakewear/internal/units"
)

// simulated writes a small invented fleet and returns its folder.
func simulated(t *testing.T, args ...string) string {
	t.Helper()
	dir := t.TempDir()
	if _, _, err := command(t, append([]string{"simulate", "--vehicles", "60", "--seed", "1", "--out", dir}, args...)...); err != nil {
		t.Fatal(err)
	}
	return dir
}

// files returns what is in a folder, by name.
func files(t *testing.T, dir string) map[string]string {
	t.Helper()
	out := make(map[string]string)
	for _, pattern := range []string{"*.csv", "truth/*.csv"} {
		names, err := filepath.Glob(filepath.Join(dir, pattern))
		if err != nil {
			t.Fatal(err)
		}
		for _, n := range names {
			b, err := os.ReadFile(n)
			if err != nil {
				t.Fatal(err)
			}
			out[strings.TrimPrefix(n, dir)] = string(b)
		}
	}
	return out
}

// withProcessors runs f with so many processors.
func withProcessors(n int, f func()) {
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(n))
	f()
}

func TestSimulate(t *testing.T) {
	var one, three, other map[string]string
	withProcessors(1, func() { one = files(t, simulated(t)) })
	withProcessors(3, func() { three = files(t, simulated(t)) })
	other = files(t, simulated(t, "--seed", "2"))
	if len(one) != 13 {
		t.Errorf("%d files, want five and eight of the truth", len(one))
	}
	for name, text := range one {
		if rows := strings.Count(text, "\n"); rows < 2 {
			t.Errorf("%s: %d lines", name, rows)
		}
		if three[name] != text {
			t.Errorf("%s: differs with the number of processors", name)
		}
		if other[name] == text {
			t.Errorf("%s: the same with another seed", name)
		}
	}
	if got := strings.Count(one["/vehicles.csv"], "\n"); got != 61 {
		t.Errorf("vehicles.csv: %d lines, want a header and 60 vehicles", got)
	}
}

func TestBacktest(t *testing.T) {
	dir := simulated(t)
	replay := func(args ...string) string {
		out, errOut, err := command(t, append([]string{"backtest", "--files", dir, "--as-of", "2025-03-31,2025-09-30"}, args...)...)
		if err != nil {
			t.Fatalf("%v\n%s", err, errOut)
		}
		if !strings.Contains(errOut, "vehicles.csv: 60 accepted, 0 refused") {
			t.Errorf("error output lacks what was taken in: %s", errOut)
		}
		return out
	}
	var out, again string
	withProcessors(1, func() { out = replay("--format", "json") })
	withProcessors(3, func() { again = replay("--format", "json") })
	if out != again {
		t.Error("the scores differ with the number of processors")
	}
	var result backtestResult
	if err := json.Unmarshal([]byte(out), &result); err != nil {
		t.Fatal(err)
	}
	rows := result.Scores
	cases := make(map[string]int) // of all groups, by model
	for _, r := range rows {
		if r.By == "all" {
			cases[r.Model] = r.Cases
		}
		for _, s := range []forecast.Score{r.Km, r.Day, r.Relative} {
			for _, share := range []float64{s.Cover50, s.Cover80, s.Cover95, s.Below05} {
				if !(share >= 0 && share <= 1) {
					t.Errorf("%+v: a share of %g", r.ScoreGroup, share)
				}
			}
			if !(s.Cover50 <= s.Cover80 && s.Cover80 <= s.Cover95) {
				t.Errorf("%+v: the intervals hold %g, %g, %g", r.ScoreGroup, s.Cover50, s.Cover80, s.Cover95)
			}
			if s.N != r.Cases-r.Unanswered || s.CRPS < 0 {
				t.Errorf("%+v: %d scores with CRPS %g, %d cases, %d without an answer", r.ScoreGroup, s.N, s.CRPS, r.Cases, r.Unanswered)
			}
		}
	}
	models := append(pipeline.ModelNames(), "two-point", "fixed")
	for _, m := range models {
		if n := cases[m]; n < 60 || n != cases["line"] {
			t.Errorf("%s: %d cases, line %d; want the same, and one a vehicle at least", m, n, cases["line"])
		}
	}

	whats := make(map[string]bool)
	for _, d := range result.Detection {
		if !(d.N >= 0 && d.N <= d.Of) {
			t.Errorf("%+v: more than there are", d)
		}
		whats[d.What] = true
	}
	for _, what := range []string{forecast.FoundChanges, forecast.FoundTypos, forecast.SetTypos, forecast.SetGood} {
		if !whats[what] {
			t.Errorf("nothing of %q", what)
		}
	}
}

// TestBacktestFormats wants the same in every form.
func TestBacktestFormats(t *testing.T) {
	dir := simulated(t, "--vehicles", "12")
	replay := func(args ...string) string {
		out, errOut, err := command(t, append([]string{"backtest", "--files", dir, "--as-of", "2025-03-31"}, args...)...)
		if err != nil {
			t.Fatalf("%v\n%s", err, errOut)
		}
		return out
	}
	var result backtestResult
	if err := json.Unmarshal([]byte(replay("--format", "json")), &result); err != nil {
		t.Fatal(err)
	}
	lines, err := csv.NewReader(strings.NewReader(replay("--format", "csv"))).ReadAll()
	if want := 1 + len(result.Scores) + len(result.Detection); err != nil || len(lines) != want {
		t.Errorf("csv: %d lines, %v; want %d", len(lines), err, want)
	}
	table := replay("--plot", filepath.Join(dir, "held.svg"))
	for _, m := range append(pipeline.ModelNames(), "two-point", "fixed") {
		if !strings.Contains(table, " "+m+" ") {
			t.Errorf("table: no line of %s in\n%s", m, table)
		}
	}
	_, found, _ := strings.Cut(table, "What was found:")
	for _, d := range result.Detection {
		if !strings.Contains(found, d.What) {
			t.Errorf("table: no line of %q in\n%s", d.What, found)
		}
	}
	if len(result.Detection) == 0 {
		t.Error("nothing was found")
	}
	if svg, err := os.ReadFile(filepath.Join(dir, "held.svg")); err != nil || !strings.Contains(string(svg), "<svg") {
		t.Errorf("plot: %v", err)
	}
}

// TestBacktestLives wants every model and the threshold rule judged on whole
// lives: in the table, csv and json alike.
func TestBacktestLives(t *testing.T) {
	dir := simulated(t)
	out, errOut, err := command(t, "backtest", "--files", dir, "--as-of", "2025-03-31", "--lives", "--format", "json")
	if err != nil {
		t.Fatalf("%v\n%s", err, errOut)
	}
	var result backtestResult
	if err := json.Unmarshal([]byte(out), &result); err != nil {
		t.Fatal(err)
	}
	lives := make(map[string]forecast.BookingScore)
	for _, r := range result.Scores {
		if r.By == "all" {
			lives[r.Model] = r.Booking
		}
	}
	// What the other forms print of it: the lives themselves take long.
	var printed, values strings.Builder
	if err := errors.Join(scoresTable(&printed, units.Reader{}, result.Scores), scoresCSV(&values, result.Scores, result.Detection)); err != nil {
		t.Fatal(err)
	}
	_, table, _ := strings.Cut(printed.String(), "Whole lives")
	records, err := csv.NewReader(strings.NewReader(values.String())).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	column := func(row []string, name string) string { return row[slices.Index(records[0], name)] }
	for _, m := range append(pipeline.ModelNames(), "two-point", "fixed", forecast.ThresholdRule) {
		b := lives[m]
		if b.Lives < 100 || b.Lives > lives["full"].Lives || b.AtRisk.Level == 0 || b.AtRisk.Wasted <= 0 || b.AtRisk.Wasted >= 1 {
			t.Errorf("%s: %d lives, %+v", m, b.Lives, b.AtRisk)
		}
		if !strings.Contains(table, " "+m+" ") {
			t.Errorf("no line of %s in\n%s", m, table)
		}
		i := slices.IndexFunc(records, func(r []string) bool { return r[0] == "all" && r[2] == m })
		if i < 0 || column(records[i], "lives") != strconv.Itoa(b.Lives) || column(records[i], "passed_per_life") == "" {
			t.Errorf("csv: %s: got %v, want %d lives", m, records[max(i, 0)], b.Lives)
		}
	}
	// The full model throws away less than any yardstick at the same risk.
	for _, m := range []string{"two-point", "fixed", forecast.ThresholdRule} {
		if got, other := lives["full"].At5, lives[m].At5; got.Level == 0 || !(got.Wasted < other.Wasted) {
			t.Errorf("at 5 %% of lives full wastes %.2f, %s %.2f", got.Wasted, m, other.Wasted)
		}
	}
}

// TestBacktestWithoutTruth: files of a workshop have no truth; later readings
// stand in for it.
func TestBacktestWithoutTruth(t *testing.T) {
	dir := simulated(t, "--vehicles", "20")
	if err := os.RemoveAll(filepath.Join(dir, "truth")); err != nil {
		t.Fatal(err)
	}
	out, errOut, err := command(t, "backtest", "--files", dir, "--as-of", "2025-03-31", "--format", "json")
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(errOut, "no truth in these files") {
		t.Errorf("error output %q does not say so", errOut)
	}
	var result backtestResult
	if err := json.Unmarshal([]byte(out), &result); err != nil || len(result.Scores) == 0 || len(result.Detection) > 0 {
		t.Errorf("%d rows, %d of what was found, %v", len(result.Scores), len(result.Detection), err)
	}
}

func TestBacktestRefuses(t *testing.T) {
	empty := t.TempDir()
	for _, tt := range []struct {
		name string
		args []string
		want []string
	}{
		{"no such folder", []string{"--files", filepath.Join(empty, "none"), "--as-of", "2025-03-31"}, []string{"--files", "none"}},
		{"folder without the files", []string{"--files", empty, "--as-of", "2025-03-31"}, []string{empty, "vehicles.csv", "simulate"}},
		{"no source", []string{"--as-of", "2025-03-31"}, []string{"--files", "--database"}},
		{"two sources", []string{"--files", empty, "--database", "x.db", "--as-of", "2025-03-31"}, []string{"--files", "--database"}},
		{"no day", []string{"--files", empty}, []string{"--as-of"}},
		{"not a day", []string{"--files", empty, "--as-of", "31.3.2025"}, []string{"31.3.2025"}},
		{"not a risk", []string{"--files", empty, "--as-of", "2025-03-31", "--risk", "2"}, []string{"risk 2", "0.05"}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			out, _, err := command(t, append([]string{"backtest"}, tt.args...)...)
			if err == nil || exitCode(err) != exitUsage || out != "" {
				t.Fatalf("got %v (exit %d) and output %q, want a refusal", err, exitCode(err), out)
			}
			for _, want := range tt.want {
				if !strings.Contains(err.Error(), want) {
					t.Errorf("got %q, want %q in it", err, want)
				}
			}
		})
	}
}

// TestBacktestLivesPrinted asks for whole lives in the forms that people read: the
// table has each model's lives below its scores, and csv beside them, and both are
// the same; without --lives neither has any.
func TestBacktestLivesPrinted(t *testing.T) {
	dir := t.TempDir()
	simulate := []string{"simulate", "--vehicles", "2", "--seed", "1", "--years", "1.5", "--until", "2025-06-30", "--out", dir}
	if _, _, err := command(t, simulate...); err != nil {
		t.Fatal(err)
	}
	run := func(args ...string) string {
		t.Helper()
		out, errOut, err := command(t, append([]string{"backtest", "--files", dir, "--as-of", "2025-03-31"}, args...)...)
		if err != nil {
			t.Fatalf("%q: %v\n%s", args, err, errOut)
		}
		return out
	}
	_, table, _ := strings.Cut(run("--lives", "--format", "table"), "Whole lives")
	var inTable []string
	for line := range strings.Lines(table) {
		if f := strings.Fields(line); len(f) > 5 && f[0] == "all" {
			inTable = append(inTable, strings.Join(f[1:5], " ")) // model, lives, level, past limit
		}
	}
	inCSV := func(text string) (rows []string) {
		records, err := csv.NewReader(strings.NewReader(text)).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		at := func(row []string, name string) string { return row[slices.Index(records[0], name)] }
		number := func(row []string, name string) float64 {
			x, err := strconv.ParseFloat(at(row, name), 64)
			if err != nil {
				t.Errorf("%s of %q: %v", name, row, err)
			}
			return x
		}
		for _, row := range records[1:] {
			if row[0] == "all" && at(row, "lives") != "" {
				rows = append(rows, fmt.Sprintf("%s %s %.3f %.1f%%", at(row, "model"), at(row, "lives"), number(row, "level"), 100*number(row, "passed_per_life")))
			}
		}
		return rows
	}
	want := inCSV(run("--lives", "--format", "csv"))
	if len(want) != len(pipeline.ModelNames())+3 { // and two-point, fixed, threshold
		t.Errorf("csv has lives of %q", want)
	}
	if !slices.Equal(inTable, want) {
		t.Errorf("the table has %q, csv %q", inTable, want)
	}
	if out := run("--format", "table"); strings.Contains(out, "Whole lives") {
		t.Errorf("without --lives: got %s", out)
	}
	if rows := inCSV(run("--format", "csv")); len(rows) != 0 {
		t.Errorf("without --lives: csv has %q", rows)
	}
}
