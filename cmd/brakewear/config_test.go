package main

import (
	"errors"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/alecthomas/kong"

	"brakewear/internal/fleet"
	"brakewear/internal/golden"
)

// model returns the command line's model.
func model(t *testing.T) *kong.Node {
	t.Helper()
	parser, err := newParser(io.Discard, io.Discard, func(int) {})
	if err != nil {
		t.Fatal(err)
	}
	return parser.Model.Node
}

// inGuide is the path of a file of the guide.
func inGuide(name string) string { return filepath.Join("..", "..", "internal", "guide", name) }

func TestConfigReference(t *testing.T) {
	golden.Text(t, inGuide("reference-config.md"), configReference(model(t)))
}

// TestSecretsAreDeclared: every variable that the code reads by itself is in
// the list, and nothing is there that is not read.
func TestSecretsAreDeclared(t *testing.T) {
	files, err := filepath.Glob("*.go")
	if err != nil {
		t.Fatal(err)
	}
	var read []string
	for _, f := range files {
		if strings.HasSuffix(f, "_test.go") {
			continue
		}
		b, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range regexp.MustCompile(`getenv\((\w+)\)`).FindAllStringSubmatch(string(b), -1) {
			read = append(read, m[1])
		}
	}
	// Named by constants, of which the declaration has the values.
	if want := []string{"secondKeys", "openidSecret", "smtpPassword"}; !slices.Equal(read, want) || len(secrets) != len(want) {
		t.Errorf("read are %q, and %d declared; declare them in secrets and here", read, len(secrets))
	}
}

func TestUnknownVariables(t *testing.T) {
	m := model(t)
	for _, c := range []struct {
		environ []string
		want    string // in the error; blank: none
	}{
		{nil, ""},
		{[]string{"HOME=/root", "BRAKEWEA=1", "DATABASE_URL=x", "BRAKEWEAR_LISTEN=a", "BRAKEWEAR_SMTP_PASSWORD=b", "BRAKEWEAR_REQUIRE_POSTGRES=1"}, ""},
		{[]string{"BRAKEWEAR_LISTN=a"}, "variable BRAKEWEAR_LISTN: there is no such setting; is BRAKEWEAR_LISTEN meant?"},
		{[]string{"BRAKEWEAR_MAIL_HOST=a"}, "is BRAKEWEAR_SMTP_HOST meant?"},
		{[]string{"BRAKEWEAR_PASSWORD=a"}, "is BRAKEWEAR_SMTP_PASSWORD meant?"},
		{[]string{"BRAKEWEAR_=a"}, "variable BRAKEWEAR_: "},
		{[]string{"BRAKEWEAR_URLS=a", "BRAKEWEAR_BACKUPDIR=b"}, "variable BRAKEWEAR_BACKUPDIR: there is no such setting; is BRAKEWEAR_BACKUP_DIR meant?\nvariable BRAKEWEAR_URLS: there is no such setting; is BRAKEWEAR_URL meant?"},
	} {
		err := knownVariables(m, c.environ)
		if c.want == "" && err != nil || c.want != "" && (!errors.Is(err, fleet.ErrInvalid) || !strings.Contains(err.Error(), c.want)) {
			t.Errorf("%q: got %v, want %q", c.environ, err, c.want)
		}
	}
}

// TestUnknownVariableStopsAll: every command but those that help.
func TestUnknownVariableStopsAll(t *testing.T) {
	t.Setenv("BRAKEWEAR_LISTN", "127.0.0.1:1")
	file := filepath.Join(t.TempDir(), "own.db")
	if _, _, err := command(t, "migrate", "--database", file); err == nil || !strings.Contains(err.Error(), "BRAKEWEAR_LISTEN meant?") || exitCode(err) != exitUsage {
		t.Errorf("migrate: got %v", err)
	}
	if _, err := os.Stat(file); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("it made the database all the same: %v", err)
	}
	for _, args := range [][]string{{"help", "config"}, {"version"}, {"serve", "--help"}} {
		if _, _, err := command(t, args...); err != nil {
			t.Errorf("%q: %v", args, err)
		}
	}
}

// TestEdits has distances counted by hand.
func TestEdits(t *testing.T) {
	for _, c := range []struct {
		a, b string
		want int
	}{{"", "", 0}, {"", "abc", 3}, {"abc", "", 3}, {"brake", "brake", 0}, {"brake", "break", 2}, {"drum", "rum", 1}, {"pad", "paid", 1}} {
		if got := edits(c.a, c.b); got != c.want {
			t.Errorf("edits(%q, %q): got %d, want %d", c.a, c.b, got, c.want)
		}
	}
}

// A key that is none is refused at the start, before anything is kept under it, and by a
// check; it shows nowhere.
func TestAKeyThatIsNoneIsRefused(t *testing.T) {
	const key = "c2hvcnQ="
	var stdout, stderr strings.Builder
	getenv := func(name string) string {
		if name == secondKeys {
			return key
		}
		return ""
	}
	for _, args := range [][]string{{"serve", "--listen", "127.0.0.1:0"}, {"check"}} {
		args = append(args, "--database", filepath.Join(t.TempDir(), "fleet.db"))
		err := run(t.Context(), args, getenv, &stdout, &stderr)
		if exitCode(err) != exitUsage || !strings.Contains(err.Error(), secondKeys+": key 1: want 32 random bytes") {
			t.Fatalf("%s: got %v", args[0], err)
		}
		if text := stdout.String() + stderr.String() + err.Error(); strings.Contains(text, key) {
			t.Errorf("%s: the key shows: %s", args[0], text)
		}
	}
}
