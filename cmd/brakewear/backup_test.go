package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"brakewear/internal/store/storetest"
)

func TestBackupAndRestore(t *testing.T) {
	dir := t.TempDir()
	database, file, other := filepath.Join(dir, "own.db"), filepath.Join(dir, "backup.db"), filepath.Join(dir, "other.db")
	vehicles := write(t, "vehicles.csv", "vehicle,fleet,depot\nVan 7,Works,North\n")
	axles, readings := write(t, "axles.csv", axlesCSV), write(t, "readings.csv", readingsCSV)
	if _, _, err := command(t, "import", "--database", database, vehicles, axles, readings); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		args []string
		want string // in what is printed or in the error
		exit int
	}{
		{[]string{"backup", "--database", filepath.Join(dir, "none.db"), file}, "no such file", exitUsage},
		{[]string{"backup", "--database", database, file}, "1 vehicles, 3 readings", 0},
		{[]string{"backup", "--database", database, file}, "overwrites nothing", exitFailed},
		{[]string{"restore", "--database", other, file}, "Restored to " + other, 0},
		{[]string{"restore", "--database", other, file}, "there is a database already", exitFailed},
		{[]string{"restore", "--database", other, "--replace", file}, other + ".before-restore-1", 0},
		{[]string{"restore", "--database", other, "--replace", vehicles}, "no database of this program", exitUsage},
		{[]string{"restore", "--database", "postgres://localhost/x", file}, "--database", exitUsage},
		{[]string{"refit", "--database", other, "--as-of", "2026-03-01"}, "1 axle of 1 vehicle", 0},
	} {
		out, _, err := command(t, c.args...)
		exit := 0
		if err != nil {
			exit, out = exitCode(err), err.Error()
		}
		if exit != c.exit || !strings.Contains(out, c.want) {
			t.Errorf("%q: got %q, exit code %d; want %q, %d", c.args, out, exit, c.want, c.exit)
		}
	}
	// Both are told of where they were done, with who did it.
	for file, want := range map[string]string{database: "backed up", other: "restored"} {
		rows := storetest.Dump(t, file, `select done_by || ' of ' || origin || ': ' || act || ' ' || detail as v from audit_log where record = 'database' order by id`)
		if len(rows) != 1 || !strings.Contains(rows[0], commandLine+" of "+machineUser()+": "+want) || !strings.Contains(rows[0], "backup.db") {
			t.Errorf("the log of %s says %q, want once that it was %s", file, rows, want)
		}
	}
	if _, err := os.Stat(filepath.Join(dir, "none.db")); err == nil {
		t.Error("a database was made of a name that was mistyped")
	}
}

func TestRunJob(t *testing.T) {
	database, backups := filepath.Join(t.TempDir(), "own.db"), filepath.Join(t.TempDir(), "kept")
	if _, _, err := command(t, "migrate", "--database", database); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		args []string
		want string
		exit int
	}{
		{[]string{"run", "--database", database}, "when brakewear serves", 0},
		{[]string{"run", "--database", database, "refit"}, "refit (UTC): Forecast 0 axles of 0 vehicles.", 0},
		{[]string{"run", "--database", database, "--backup-dir", backups, "backup"}, "backup (UTC): Wrote brakewear-", 0},
		{[]string{"run", "--database", database, "refitt"}, "none of this name", exitUsage},
		{[]string{"run", "--database", database, "--backup-dir", filepath.Join(database, "in"), "backup"}, "folder for backups", exitUsage},
	} {
		out, said, err := command(t, c.args...)
		if said != "" { // what came of it is in the output or the error, which main prints
			t.Errorf("%q: got %q beside what it did", c.args, said)
		}
		exit := 0
		if err != nil {
			exit, out = exitCode(err), err.Error()
		}
		if exit != c.exit || !strings.Contains(out, c.want) {
			t.Errorf("%q: got %q, exit code %d; want %q, %d", c.args, out, exit, c.want, c.exit)
		}
	}
	if found, err := filepath.Glob(filepath.Join(backups, "brakewear-*Z.db")); err != nil || len(found) != 1 {
		t.Errorf("got the backups %q, %v; want one", found, err)
	}
}
