package main

import (
	"path/filepath"
	"strings"
	"testing"
)

// A reading is doubted, corrected, set aside and counts again; the findings
// follow.
func TestCorrectAndFindings(t *testing.T) {
	db := filepath.Join(t.TempDir(), "own.db")
	vehicles := write(t, "vehicles.csv", "vehicle,fleet,depot,plate,category\nVan 7,Works,North,AB 1,N1\n")
	axles := write(t, "axles.csv", axlesCSV)
	readings := write(t, "readings.csv", readingsCSV+"Van 7,2026-02-25,44000,1,pad,left,inner,110\n") // a slipped decimal point
	if _, _, err := command(t, "import", "--database", db, vehicles, axles, readings); err != nil {
		t.Fatal(err)
	}
	out, _, err := command(t, "findings", "--database", db)
	if want := "110 mm on 25 Feb 2026 is not used"; err != nil || !strings.Contains(out, want) || !strings.Contains(out, "[reading 4]") {
		t.Fatalf("got %q, %v; want %q of reading 4", out, err, want)
	}
	if _, _, err := command(t, "correct", "reading", "4", "--value", "111", "--database", db, "--why", "x", "--by", "N. N."); err == nil ||
		!strings.Contains(err.Error(), "nothing was changed: 111.0 mm is more than a new one has") || !strings.Contains(err.Error(), "--confirmed") {
		t.Errorf("a second slip: got %v, want it pointed out", err)
	}
	for _, c := range []struct{ args, want string }{
		{"correct reading 4 --value 5.0 --odometer none", "reading 4: corrected; reading 5 stands instead"},
		{"correct reading 5 --set-aside", "reading 5: set aside"},
		{"correct reading 5 --undo", "reading 5: counts again"},
		{"correct reading 5 --value 30 --confirmed", "reading 5: corrected; reading 6 stands instead"},
		{"correct reading 6 --value 5.0", "reading 6: corrected; reading 7 stands instead"},
	} {
		out, _, err := command(t, append(strings.Fields(c.args), "--database", db, "--why", "slip of the pen", "--by", "N. N.")...)
		if err != nil || !strings.Contains(out, c.want) {
			t.Errorf("%s: got %q, %v; want %q", c.args, out, err, c.want)
		}
	}
	if out, _, err := command(t, "findings", "--database", db, "--kind", "disagrees"); err != nil || out != "nothing to look at\n" {
		t.Errorf("got %q, %v", out, err)
	}
	if out, _, err := command(t, "findings", "--database", db, "--all"); err != nil || !strings.Contains(out, "no longer seen") {
		t.Errorf("got %q, %v", out, err)
	}
	for _, c := range []struct{ args, want string }{
		{"correct reading 4 --value 5.1", "was corrected by N. N."},
		{"correct reading 7", "nothing is changed"},
		{"correct reading 7 --value thin", "value:"},
		{"correct reading 7 --date 1.2.2026", "want year-month-day"},
		{"correct reading 7 --odometer far", "odometer:"},
		{"correct reading 7 --set-aside --date 2026-02-24", "one of them"},
		{"correct reading 7 --set-aside --confirmed", "one of them"},
		{"correct reading 99 --value 5", "reading 99: there is none"},
		{"correct upload 1 --value 5", "upload"},
		{"correct reading 5 --value 5 --undo", "can't be used together"},
	} {
		_, _, err := command(t, append(strings.Fields(c.args), "--database", db, "--why", "x", "--by", "N. N.")...)
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: got %v, want %q", c.args, err, c.want)
		}
	}
	if _, _, err := command(t, "findings", "--database", db, "--kind", "rust"); err == nil || !strings.Contains(err.Error(), "want one of") {
		t.Errorf("a kind there is none of: got %v", err)
	}
}
