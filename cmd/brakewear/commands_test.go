package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/alecthomas/kong"

	"brakewear/internal/fleet"
	"brakewear/internal/golden"
)

func TestCommandsReference(t *testing.T) {
	golden.Text(t, inGuide("reference-commands.md"), commandsReference(model(t)))
}

// TestExitCodes does what each code is for.
func TestExitCodes(t *testing.T) {
	db := filepath.Join(t.TempDir(), "own.db")
	vehicles := write(t, "vehicles.csv", "vehicle,fleet\nVan 7,Invented\n")
	axles := write(t, "axles.csv", axlesCSV)
	readings := write(t, "readings.csv", readingsCSV)
	bad := write(t, "bad.csv", "vehicle,date,odometer_km,axle,part,side,face,value_mm\nVan 7,2025-02-30,20000,1,pad,left,inner,9.8\n")
	thick := write(t, "thick.csv", "vehicle,date,odometer_km,axle,part,side,face,value_mm\nVan 7,2026-03-20,46000,1,pad,left,inner,11.5\n")
	seen := map[int]bool{}
	for _, c := range []struct {
		args []string
		want int
	}{
		{[]string{"import", "--database", db, vehicles, axles, readings}, 0},
		{[]string{"import", "--check", "--database", db, thick}, exitDoubtful},
		{[]string{"import", "--database", db, bad}, exitRefused},
		{[]string{"import", "--database", db, "--kind", "goats", readings}, exitUsage},
		{[]string{"goats"}, exitUsage},
		{[]string{"help", "goats"}, exitUsage},
		{[]string{"migrate", "--database", "postgres://127.0.0.1:1/x?sslmode=disable"}, exitFailed},
	} {
		_, _, err := command(t, c.args...)
		got := 0
		if err != nil {
			got = exitCode(err)
		}
		seen[got] = true
		if got != c.want {
			t.Errorf("%s: got %d (%v), want %d", strings.Join(c.args, " "), got, err, c.want)
		}
	}
	// A command that is told to end says so, and ends as shells expect.
	ctx, end := context.WithCancel(t.Context())
	end()
	var out bytes.Buffer
	err := run(ctx, []string{"refit", "--database", db}, func(string) string { return "" }, &out, io.Discard)
	if !errors.Is(err, errCut) || out.Len() > 0 {
		t.Errorf("told to end: got %v and output %q, want %v", err, out.String(), errCut)
	}
	seen[exitCode(err)] = true
	for _, c := range exitCodes {
		if !seen[c.code] {
			t.Errorf("exit code %d is documented and not tested", c.code)
		}
	}
}

// TestNoDatabase: what only works on a fleet that is there makes no empty one
// of a mistyped name.
func TestNoDatabase(t *testing.T) {
	for _, line := range []string{"findings", "correct reading 1 --value 5 --why x --by x", "refit", "replay", "propose", "run",
		"people list", "people stop ada@example.org", "accounts list", "accounts link ada@example.org", "accounts stop ada@example.org",
		"backtest --as-of 2025-03-31", "check", "backup copy.db"} {
		db := filepath.Join(t.TempDir(), "flet.db")
		_, _, err := command(t, append(strings.Fields(line), "--database", db)...)
		if err == nil || !strings.Contains(err.Error(), db+": there is no such file") {
			t.Errorf("%s: got %v, want that there is no such file", line, err)
		}
		if _, err := os.Stat(db); err == nil {
			t.Errorf("%s made a database", line)
		}
	}
	db := filepath.Join(t.TempDir(), "flet.db")
	said, _, err := command(t, "import", "--check", "--database", db, write(t, "vehicles.csv", "vehicle,fleet\nVan 7,Invented\n"))
	if err != nil || !strings.Contains(said, db) {
		t.Errorf("a check without a database: got %v, %q, want its name", err, said)
	}
	if _, err := os.Stat(db); err == nil {
		t.Error("a check made a database")
	}
	away := filepath.Join(t.TempDir(), "no", "fleet.db")
	if _, _, err := command(t, "import", "--database", away, write(t, "vehicles.csv", "vehicle,fleet\nVan 7,Invented\n")); err == nil || !strings.Contains(err.Error(), "there is no folder "+filepath.Dir(away)) {
		t.Errorf("a folder that is not there: got %v", err)
	}
	dir := t.TempDir()
	if _, _, err := command(t, "import", "--database", dir, write(t, "vehicles.csv", "vehicle,fleet\nVan 7,Invented\n")); err == nil || !strings.Contains(err.Error(), dir) {
		t.Errorf("a folder for a database: got %v, want its name", err)
	}
}

// TestDemoMakesItsDatabase: the file that the demo is to be kept in is not
// there at the first start.
func TestDemoMakesItsDatabase(t *testing.T) {
	if testing.Short() {
		t.Skip("makes the demo's fleet")
	}
	defer func(months int) { demoMonths = months }(demoMonths)
	demoMonths = 1
	db := filepath.Join(t.TempDir(), "demo.db")
	demo := func() string {
		ctx, stop := context.WithCancel(t.Context())
		defer stop()
		out := &untilServing{stop: stop}
		if err := run(ctx, []string{"demo", "--database", db}, func(string) string { return "" }, out, io.Discard); err != nil {
			t.Errorf("got %v, want it to serve until it is ended", err)
		}
		return out.String()
	}
	const made = "Making the demo fleet"
	if out := demo(); !strings.Contains(out, made) {
		t.Errorf("got %s, want %q", out, made)
	}
	// Its own database it opens again.
	if out := demo(); strings.Contains(out, made) || !strings.Contains(out, "Serving on") {
		t.Errorf("again: got %s, want the fleet that there is served", out)
	}
}

// untilServing is output that calls stop as soon as it says that something is served.
type untilServing struct {
	bytes.Buffer
	stop func()
}

func (w *untilServing) Write(b []byte) (int, error) {
	n, err := w.Buffer.Write(b)
	if strings.Contains(w.String(), "Serving on") {
		w.stop()
	}
	return n, err
}

// The address is looked at first: to make the fleet takes a while.
func TestDemoAddress(t *testing.T) {
	db := filepath.Join(t.TempDir(), "demo.db")
	_, _, err := command(t, "demo", "--database", db, "--listen", "nowhere:none")
	if !errors.Is(err, fleet.ErrInvalid) || !strings.Contains(err.Error(), "--listen nowhere:none") {
		t.Errorf("got %v, want that it cannot listen there", err)
	}
	if _, err := os.Stat(db); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("got a database, %v; want none made", err)
	}
}

// TestDemoLeavesAFleetAlone: the demo's accounts, whose passwords everybody
// knows, are not added to a database in use, nor to one just begun.
func TestDemoLeavesAFleetAlone(t *testing.T) {
	dir := t.TempDir()
	live, begun := filepath.Join(dir, "live.db"), filepath.Join(dir, "begun.db")
	if _, _, err := command(t, "import", "--database", live, write(t, "vehicles.csv", "vehicle,fleet\nVan 7,Invented\n")); err != nil {
		t.Fatal(err)
	}
	if _, _, err := command(t, "accounts", "add", "--database", begun, "--role", "admin", "Ada", "ada@example.org"); err != nil {
		t.Fatal(err)
	}
	for file, want := range map[string]string{live: "holds a fleet that is not the demo's", begun: "holds accounts that are not the demo's"} {
		_, _, err := command(t, "demo", "--database", file)
		if !errors.Is(err, fleet.ErrInvalid) || !strings.Contains(err.Error(), want) || !strings.Contains(err.Error(), file) {
			t.Errorf("%s: got %v, want %q", filepath.Base(file), err, want)
		}
		out, _, err := command(t, "accounts", "--database", file)
		if err != nil || strings.Contains(out, "island.example") {
			t.Errorf("%s: got the accounts %s, %v, want none of the demo's", filepath.Base(file), out, err)
		}
	}
}

// TestReadingCommandsPrintJSON: what only reads can be read by programs, also
// when there is nothing.
func TestReadingCommandsPrintJSON(t *testing.T) {
	db := filepath.Join(t.TempDir(), "own.db")
	if _, _, err := command(t, "people", "add", "--database", db, "Ada", "ada@example.org"); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		args []string
		want int // least number of items
	}{{[]string{"findings"}, 0}, {[]string{"people"}, 1}, {[]string{"people", "list"}, 1}, {[]string{"run"}, 4}, {[]string{"propose"}, 0}} {
		out, _, err := command(t, append(c.args, "--database", db, "--format", "json")...)
		var items []map[string]any
		if err == nil {
			err = json.Unmarshal([]byte(out), &items)
		}
		if err != nil || items == nil || len(items) < c.want {
			t.Errorf("%q: got %v, %s", c.args, err, out)
		}
	}
}

// saysNothing are the commands that print nothing which a program would read,
// or what is one form already.
var saysNothing = map[string]string{
	"serve": "serves", "demo": "serves", "simulate": "writes files", "correct": "changes one thing",
	"people add": "changes one thing", "people stop": "changes one thing",
	"accounts add": "prints a link", "accounts link": "prints a link", "accounts stop": "changes one thing",
	"accounts second-off": "changes one thing",
	"completion":          "prints a script", "help": "prints what is to be read", "bench process": "speaks to bench processes",
}

// TestEveryCommandSpeaksToPrograms: every command with something to say offers
// it as JSON.
func TestEveryCommandSpeaksToPrograms(t *testing.T) {
	seen := map[string]bool{}
	for _, leaf := range model(t).Leaves(false) {
		command := leaf.Path()
		seen[command] = true
		json := slices.ContainsFunc(leaf.Flags, func(f *kong.Flag) bool { return f.Name == "format" && slices.Contains(values(f.Value), "json") })
		if _, silent := saysNothing[command]; silent == json {
			t.Errorf("%s: offers JSON: %v", command, json)
		}
	}
	for command := range saysNothing {
		if !seen[command] {
			t.Errorf("there is no command %s", command)
		}
	}
}

// TestJSONOfWork: commands that do something say what, in one document on the
// standard output, and no bar is drawn where nobody looks.
func TestJSONOfWork(t *testing.T) {
	db := filepath.Join(t.TempDir(), "own.db")
	vehicles := write(t, "vehicles.csv", "vehicle,fleet\nVan 7,Invented\n")
	axles := write(t, "axles.csv", axlesCSV)
	readings := write(t, "readings.csv", readingsCSV)
	bad := write(t, "bad.csv", "vehicle,date,odometer_km,axle,part,side,face,value_mm\nVan 7,2025-02-30,20000,1,pad,left,inner,9.8\n")
	unread := write(t, "menu.csv", "soup,price\nleek,4\n")
	copied := filepath.Join(t.TempDir(), "copy.db")
	restored := filepath.Join(t.TempDir(), "restored.db")
	for _, c := range []struct {
		args []string
		exit int
		want string // somewhere in it
	}{
		{[]string{"version"}, 0, `"version": `},
		{[]string{"migrate", "--database", db}, 0, `"database": "sqlite"`},
		{[]string{"import", "--check", "--database", db, vehicles, unread}, exitUsage, `"unreadable": "`},
		{[]string{"import", "--database", db, vehicles, axles}, 0, `"refit": {`},
		{[]string{"import", "--database", db, readings, unread}, exitUsage, `"accepted": 3`},
		{[]string{"import", "--check", "--database", db, readings}, 0, `"before": 3`},
		{[]string{"import", "--database", db, bad}, exitRefused, `"line": 2`},
		{[]string{"refit", "--database", db}, 0, `"axles": 1`},
		{[]string{"replay", "--database", db, "--months", "1"}, 0, `"days": 1`},
		{[]string{"backup", "--database", db, copied}, 0, `"thickness_readings": 3`},
		{[]string{"restore", "--database", restored, copied}, 0, `"thickness_readings": 3`},
	} {
		out, errOut, err := command(t, append(c.args, "--format", "json")...)
		exit := 0
		if err != nil {
			exit = exitCode(err)
		}
		var doc map[string]any
		if jerr := json.Unmarshal([]byte(out), &doc); jerr != nil || exit != c.exit || !strings.Contains(out, c.want) {
			t.Errorf("%q: got %v, exit %d (%v), %s; want exit %d and %s", c.args, jerr, exit, err, out, c.exit, c.want)
		}
		if strings.ContainsAny(errOut, "\r\x1b") {
			t.Errorf("%q draws: %q", c.args, errOut)
		}
	}
}

// TestEveryCommandHasAnExample: with flags that there are.
func TestEveryCommandHasAnExample(t *testing.T) {
	for _, leaf := range model(t).Leaves(true) {
		command := strings.TrimSuffix(leaf.Path(), " list")
		found := false
		for line := range strings.Lines(leaf.Detail) {
			_, args, is := strings.Cut(line, "brakewear "+command)
			if !is || !strings.HasPrefix(line, "  ") {
				continue
			}
			found = true
			for _, word := range strings.Fields(args) {
				name, isFlag := strings.CutPrefix(word, "--")
				if isFlag && !slices.ContainsFunc(leaf.Flags, func(f *kong.Flag) bool { return f.Name == name }) {
					t.Errorf("%s: an example has --%s, which is no flag of it", leaf.Path(), name)
				}
			}
		}
		if !found {
			t.Errorf("%s: its help has no example", leaf.Path())
		}
	}
}
