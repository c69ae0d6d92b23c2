package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"math"
	"net"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
)

// command runs one command line as a shell would.
func command(t *testing.T, args ...string) (stdout, stderr string, err error) {
	t.Helper()
	var out, errOut bytes.Buffer
	err = run(t.Context(), args, func(string) string { return "" }, &out, &errOut)
	return out.String(), errOut.String(), err
}

// write puts a file into a new folder and returns its name.
func write(t *testing.T, name, text string) string {
	t.Helper()
	file := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return file
}

// The vehicles, places and readings of these tests are invented.
const (
	axlesCSV = `vehicle,axle,brake,pad_new_mm,pad_limit_mm
Van 7,1,disc,12,2
`
	readingsCSV = `vehicle,date,odometer_km,axle,part,side,face,value_mm
Van 7,2025-03-01,20000,1,pad,left,inner,9.8
Van 7,2025-09-01,32000,1,pad,left,inner,8.1
Van 7,2026-02-20,44000,1,pad,left,inner,6.4
`
)

func reports(t *testing.T, out string) []pipeline.Report {
	t.Helper()
	var rs []pipeline.Report
	if err := json.Unmarshal([]byte(out), &rs); err != nil {
		t.Fatalf("%v in %s", err, out)
	}
	return rs
}

func TestForecastFromFiles(t *testing.T) {
	axles, readings := write(t, "axles.csv", axlesCSV), write(t, "readings.csv", readingsCSV)
	for _, model := range pipeline.ModelNames() {
		t.Run(model, func(t *testing.T) {
			out, _, err := command(t, "forecast", "--axles", axles, "--readings", readings,
				"--as-of", "2026-03-01", "--format", "json", "--model", model)
			if err != nil {
				t.Fatal(err)
			}
			rs := reports(t, out)
			if len(rs) != 1 {
				t.Fatalf("got %d axles, want 1", len(rs))
			}
			r := rs[0]
			if r.Vehicle != "Van 7" || r.Axle != 1 || r.Readings != 3 || r.Limiting == nil {
				t.Errorf("got %+v", r)
			}
			// The readings lie on a line of 1.7 mm per 12,000 km, so the limit
			// of 2 mm is 4.4 mm, or 31,059 km, past the last of them: own
			// arithmetic. Pooling may move it a little, and the places that
			// nobody measured may come first.
			if want := 75059.0; r.LimitKm.P50 == nil || math.Abs(*r.LimitKm.P50-want) > 0.15*want {
				t.Errorf("limit at %v km, want about %g", r.LimitKm.P50, want)
			}
			for _, pair := range [][2]*fleet.Date{{r.LimitDate.P10, r.LimitDate.P50}, {r.LimitDate.P50, r.LimitDate.P90}} {
				if pair[0] == nil || pair[1] != nil && *pair[0] > *pair[1] {
					t.Errorf("limit dates not in order: %v", r.LimitDate)
				}
			}
			if r.BookBy == nil || *r.BookBy > *r.LimitDate.P10 {
				t.Errorf("book by %v, want a day before %v", r.BookBy, r.LimitDate.P10)
			}
		})
	}
}

func TestForecastFormats(t *testing.T) {
	axles, readings := write(t, "axles.csv", axlesCSV), write(t, "readings.csv", readingsCSV)
	for format, want := range map[string]string{
		"table": "left inner pad",
		"csv":   "Van 7,1,2026-03-01",
		"json":  `"vehicle":"Van 7"`,
	} {
		out, _, err := command(t, "forecast", "--axles", axles, "--readings", readings, "--as-of", "2026-03-01", "--format", format, "--model", "line")
		if err != nil {
			t.Fatal(err)
		}
		if !strings.Contains(out, want) || strings.Contains(out, "NaN") {
			t.Errorf("%s: got %s, want %q in it and no NaN", format, out, want)
		}
	}
}

func TestForecastKeepsGoodRowsAndSaysWhatWasRefused(t *testing.T) {
	axles := write(t, "axles.csv", axlesCSV)
	readings := write(t, "readings.csv", readingsCSV+"Van 8,2026-02-20,44000,1,pad,left,inner,6.4\nVan 7,2026-02-20,44000,1,pad,left,inner,thin\n")
	out, errOut, err := command(t, "forecast", "--axles", axles, "--readings", readings, "--as-of", "2026-03-01", "--format", "json")
	if !errors.Is(err, errRefused) || exitCode(err) != exitRefused {
		t.Errorf("got error %v (exit %d), want rows refused", err, exitCode(err))
	}
	if rs := reports(t, out); len(rs) != 1 || rs[0].Readings != 3 {
		t.Errorf("got %+v, want the good rows forecast", rs)
	}
	for _, want := range []string{"line 5", "Van 8", "line 6", "thin"} {
		if !strings.Contains(errOut, want) {
			t.Errorf("error output %q lacks %q", errOut, want)
		}
	}
}

func TestImportTwiceChangesNothing(t *testing.T) {
	db := filepath.Join(t.TempDir(), "own.db")
	vehicles := write(t, "vehicles.csv", "vehicle,fleet,depot,plate,category\nVan 7,Works,North,AB 1,N1\n")
	axles, readings := write(t, "axles.csv", axlesCSV), write(t, "readings.csv", readingsCSV)
	args := []string{"import", "--database", db, vehicles, axles, readings}
	out, _, err := command(t, args...)
	if err != nil {
		t.Fatal(err)
	}
	if want := "readings.csv (readings): 3 accepted, 0 refused, 0 already there"; !strings.Contains(out, want) {
		t.Errorf("got %s, want %q in it", out, want)
	}
	out, _, err = command(t, args...)
	if err != nil {
		t.Fatal(err)
	}
	if want := "readings.csv (readings): 0 accepted, 0 refused, 3 already there"; !strings.Contains(out, want) {
		t.Errorf("got %s, want %q in it", out, want)
	}
	if out, _, err = command(t, "refit", "--database", db, "--as-of", "2026-03-01"); err != nil || !strings.Contains(out, "1 axle of 1 vehicle") {
		t.Errorf("refit: got %q, %v", out, err)
	}
}

func TestBadCommandLines(t *testing.T) {
	axles, readings := write(t, "axles.csv", axlesCSV), write(t, "readings.csv", readingsCSV)
	for _, tt := range []struct {
		name string
		args []string
		want string
	}{
		{"unknown command", []string{"forcast"}, "forcast"},
		{"unknown flag", []string{"accounts", "add", "--rol", "admin"}, "brakewear accounts add --help explains it"},
		{"missing file", []string{"forecast", "--axles", "none.csv", "--readings", readings}, "none.csv"},
		{"bad day", []string{"forecast", "--axles", axles, "--readings", readings, "--as-of", "1.3.2026"}, "2026-03-01"},
		{"bad risk", []string{"forecast", "--axles", axles, "--readings", readings, "--risk", "5"}, "0.05"},
		{"bad model", []string{"forecast", "--axles", axles, "--readings", readings, "--model", "guess"}, "pooled"},
		{"a folder for a database", []string{"refit", "--database", filepath.Dir(axles)}, "it is a folder: name a file in it"},
		{"standard input", []string{"import", "-"}, "/dev/stdin"},
		{"no days", []string{"propose", "--days", "0"}, "want 1 to 366"},
		{"no address", []string{"demo", "--listen", "here"}, "--listen here: want HOST:PORT"},
		{"no port", []string{"serve", "--database", filepath.Join(filepath.Dir(axles), "own.db"), "--listen", "127.0.0.1:99999"}, "--listen 127.0.0.1:99999: want HOST:PORT"},
		{"wrong kind of file", []string{"forecast", "--axles", write(t, "plates.csv", "vehicle,plate\nVan 7,AB 1\n"), "--readings", readings}, "axle"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			_, _, err := command(t, tt.args...)
			if err == nil || !strings.Contains(err.Error(), tt.want) {
				t.Fatalf("got %v, want an error with %q in it", err, tt.want)
			}
			if got := exitCode(err); got != exitUsage {
				t.Errorf("exit code %d, want %d", got, exitUsage)
			}
		})
	}
}

// TestAddressTaken: a demo says so before it makes a fleet.
func TestAddressTaken(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	out, _, err := command(t, "demo", "--listen", l.Addr().String())
	if err == nil || !strings.Contains(err.Error(), "another program serves there") || exitCode(err) != exitFailed || out != "" {
		t.Errorf("got %q, %v; want no demo and the address refused", out, err)
	}
}

// fullDisk is an output that takes nothing.
type fullDisk struct{}

func (fullDisk) Write([]byte) (int, error) { return 0, syscall.ENOSPC }

// A result that cannot be written is no success, whatever printed it.
func TestOutputLost(t *testing.T) {
	db := filepath.Join(t.TempDir(), "own.db")
	if _, _, err := command(t, "migrate", "--database", db); err != nil {
		t.Fatal(err)
	}
	for _, args := range [][]string{{"refit", "--database", db}, {"version"}, {"findings", "--database", db}} {
		err := run(t.Context(), args, func(string) string { return "" }, fullDisk{}, io.Discard)
		if !errors.Is(err, syscall.ENOSPC) || exitCode(err) != exitFailed {
			t.Errorf("%q: got %v, want %v", args, err, syscall.ENOSPC)
		}
	}
}

// TestForecastDates reads dates in the order that is said of the files, and says of
// a file without rows that it has none.
func TestForecastDates(t *testing.T) {
	axles := write(t, "axles.csv", axlesCSV)
	dmy := write(t, "readings.csv", "vehicle,date,odometer_km,axle,part,side,face,value_mm\nVan 7,25.02.2026,44000,1,pad,left,inner,6.4\n")
	out, errOut, err := command(t, "forecast", "--axles", axles, "--readings", dmy, "--as-of", "2026-03-01", "--dates", "dmy")
	if err != nil || !strings.Contains(out, " 6.4 mm ") {
		t.Errorf("got %q, %q, %v; want 6.4 mm four days later", out, errOut, err)
	}
	none := write(t, "readings.csv", "vehicle,date,odometer_km,axle,part,side,face,value_mm\n")
	out, errOut, err = command(t, "forecast", "--axles", axles, "--readings", none, "--as-of", "2026-03-01")
	if err != nil || !strings.Contains(errOut, "readings.csv: note, file: the file has its columns, and no rows below them") {
		t.Errorf("no rows: got %q, %q, %v", out, errOut, err)
	}
}

func TestVersionAndHelp(t *testing.T) {
	if out, _, err := command(t, "version"); err != nil || !strings.HasPrefix(out, "brakewear ") {
		t.Errorf("version: got %q, %v", out, err)
	}
	if out, _, err := command(t, "--help"); err != nil || !strings.Contains(out, "forecast") {
		t.Errorf("help: got %q, %v", out, err)
	}
}

// TestImportCheck: the exit code says what a check found, and nothing is kept.
func TestImportCheck(t *testing.T) {
	db := filepath.Join(t.TempDir(), "fleet.db")
	vehicles := write(t, "vehicles.csv", "vehicle,category\nVan 7,N1\n")
	axles, readings := write(t, "axles.csv", axlesCSV), write(t, "readings.csv", readingsCSV)
	const head = "vehicle,date,odometer_km,axle,part,side,face,value_mm\n"
	for _, c := range []struct {
		name  string
		check bool
		files []string
		exit  int
		want  string
	}{
		{"all of a new fleet", true, []string{vehicles, axles, readings}, 0, "readings.csv (readings): 3 accepted, 0 refused, 0 already there\n"},
		{"nothing was kept", true, []string{axles}, exitRefused, "axles.csv (axles): 0 accepted, 1 refused"},
		{"taken in", false, []string{vehicles, axles, readings}, 0, "forecast 1 axle of 1 vehicle"},
		{"again", true, []string{readings}, 0, "every row is there already: taken in as upload 3"},
		{"doubtful", true, []string{write(t, "more.csv", head+"Van 7,2026-02-25,44100,1,pad,left,inner,9.9\n")}, exitDoubtful, "doubtful, line 2, value_mm, read \"9.9\": Van 7, axle 1 left inner pad: thicker than last time"},
		{"refused and doubtful", true, []string{write(t, "more.csv", head+"Van 7,2026-02-25,44100,1,pad,left,inner,9.9\nVan 8,2026-02-25,44100,1,pad,left,inner,9.9\n")}, exitRefused, "1 accepted, 1 refused, 0 already there, 1 doubtful"},
		{"not a file of ours", true, []string{write(t, "menu.csv", "soup,price\nleek,4\n"), readings}, exitUsage, "readings.csv (readings): 0 accepted"},
		{"empty", true, []string{write(t, "empty.csv", "")}, exitUsage, "empty.csv: cannot be read: the file is empty"},
		{"an order of dates", true, []string{write(t, "more.csv", head+"Van 7,25/02/2026,44100,1,pad,left,inner,6.4\n")}, exitRefused, "say the order for the whole file"},
	} {
		t.Run(c.name, func(t *testing.T) {
			args := []string{"import", "--database", db}
			if c.check {
				args = append(args, "--check")
			}
			out, errOut, err := command(t, append(args, c.files...)...)
			got := 0
			if err != nil {
				got = exitCode(err)
			}
			if got != c.exit || !strings.Contains(out, c.want) {
				t.Errorf("exit code %d, %q; want %d and %q", got, out, c.exit, c.want)
			}
			if errOut != "" {
				t.Errorf("error output %q where nobody looks, want no bar", errOut)
			}
			if c.check != strings.Contains(out, "checked only: nothing was taken in") {
				t.Errorf("check %v: got %q", c.check, out)
			}
		})
	}
	if out, _, err := command(t, "import", "--database", db, "--check", "--dates", "dmy",
		write(t, "more.csv", head+"Van 7,25/02/2026,44100,1,pad,left,inner,6.4\n")); err != nil || !strings.Contains(out, "1 accepted") {
		t.Errorf("with the order of dates declared: got %q, %v", out, err)
	}
}
