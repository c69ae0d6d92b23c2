package internal

import (
	"bytes"
	"encoding/json"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// topLevel is all that may lie at the top of the repository: a stranger finds
// every kind of thing under one name.
var topLevel = []string{
	".ci", ".gitignore",
	"DEVELOPERS.md", "LICENSE", "Makefile", "README.md", "go.mod", "go.sum",
	"api", "cmd", "dashboard", "forecast", "ingest", "internal", "migrations", "testdata",
}

func TestTopLevel(t *testing.T) {
	for _, name := range tracked(t) {
		if top, _, _ := strings.Cut(name, "/"); !slices.Contains(topLevel, top) {
			t.Errorf("%s: %q has no place at the top; move it under a folder there is", name, top)
		}
	}
}

// machine finds what belongs to one machine only: a folder that a checkout or
// a home happens to lie in, or the host that a package registry is reached by.
// The words are put together here so that this file is clean by its own rule.
var machine = regexp.MustCompile(
	`(^|[^\w.)/-])/(` + strings.Join([]string{"wo" + "rk", "fa" + "rm", "ro" + "ot", "ho" + "me", "Us" + "ers"}, "|") + `)/` +
		`|` + strings.Join([]string{`pro` + `xy\.golang`, `su` + `m\.golang`, `regis` + `try\.npmjs`, `de` + `b\.debian`, `secu` + `rity\.debian`}, "|"))

func TestNoTraceOfAMachine(t *testing.T) {
	for _, name := range tracked(t) {
		text := read(t, name)
		if strings.IndexByte(text[:min(len(text), 8000)], 0) >= 0 {
			continue // binary, by the rule git uses
		}
		for i, line := range strings.Split(text, "\n") {
			if m := machine.FindString(line); m != "" {
				t.Errorf("%s:%d: %q belongs to one machine only", name, i+1, m)
			}
		}
	}
}

// TestTablesAreMadeSafe wants whatever writes a table for a spreadsheet to pass
// its text through ingest.CSVCell, so that no cell is run as a formula. The
// generator's names are its own, and a template has none.
func TestTablesAreMadeSafe(t *testing.T) {
	writers := 0
	for _, name := range tracked(t) {
		if !strings.HasSuffix(name, ".go") || strings.HasSuffix(name, "_test.go") || name == "ingest/template.go" {
			continue
		}
		text := read(t, name)
		if !strings.Contains(text, "csv.NewWriter(") {
			continue
		}
		writers++
		if !strings.Contains(text, "ingest.CSVCell(") {
			t.Errorf("%s writes CSV and does not use ingest.CSVCell", name)
		}
	}
	if writers < 3 {
		t.Errorf("found %d writers of CSV, want the exports at least", writers)
	}
}

// TestPicturesAreSmall wants pictures that weigh little in every clone: few
// colours, as make screenshots draws them.
func TestPicturesAreSmall(t *testing.T) {
	const most = 100_000
	found := 0
	for _, name := range tracked(t) {
		if ext := filepath.Ext(name); ext != ".png" && ext != ".jpg" && ext != ".webp" {
			continue
		}
		found++
		if n := len(read(t, name)); n > most {
			t.Errorf("%s: %d bytes, want %d at the most", name, n, most)
		}
	}
	if found == 0 {
		t.Error("found no picture")
	}
}

func TestTraceOfAMachineCaught(t *testing.T) {
	for _, c := range []struct {
		line string
		want bool
	}{
		{"see /wo" + "rk/main/go.mod", true},
		{"/ho" + "me/someone/brakewear.db", true},
		{`open("/ro` + `ot/x")`, true},
		{"https://pro" + "xy.golang.org", true},
		{"https://example.org/ho" + "me/page", false},
		{"testdata/wo" + "rk/a.csv", false},
		{"hours of wo" + "rk/day", false},
	} {
		if got := machine.MatchString(c.line); got != c.want {
			t.Errorf("%q: got %v, want %v", c.line, got, c.want)
		}
	}
}

// TestDependenciesExplained wants every module that our code, tests or tools
// use directly to be named in DEVELOPERS.md in the version go.mod takes.
func TestDependenciesExplained(t *testing.T) {
	text := read(t, "DEVELOPERS.md")
	for _, m := range direct(t) {
		row := regexp.MustCompile(`(?m)^\|[^|\n]*\b` + regexp.QuoteMeta(m.Path) + `[^|\n]*\|\s*` + regexp.QuoteMeta(m.Version) + `\s*\|`)
		if !row.MatchString(text) {
			t.Errorf("DEVELOPERS.md: no row for %s %s in the table of dependencies", m.Path, m.Version)
		}
	}
}

// TestVariables wants the environment variables that the Makefile and the
// documents name to be read by some Go file: one spelt otherwise would switch
// nothing on, and nobody would notice.
func TestVariables(t *testing.T) {
	names := regexp.MustCompile(`\b[A-Z]{3,}_[A-Z_]{3,}\b`)
	inGo := map[string]bool{"CGO_ENABLED": true, "DEFAULT_GOAL": true, "MAKEFILE_LIST": true} // of go and make themselves
	for _, name := range tracked(t) {
		if strings.HasSuffix(name, ".go") {
			for _, v := range names.FindAllString(read(t, name), -1) {
				inGo[v] = true
			}
		}
	}
	for _, name := range []string{"Makefile", "README.md", "DEVELOPERS.md"} {
		for _, v := range names.FindAllString(read(t, name), -1) {
			if !inGo[v] {
				t.Errorf("%s: %s is read by no Go file", name, v)
			}
		}
	}
}

// TestLinks wants what the documents link to inside the repository to be there.
func TestLinks(t *testing.T) {
	link := regexp.MustCompile(`\]\(([^):]+)\)`) // no colon: not a URL
	files := tracked(t)
	for _, name := range files {
		if filepath.Ext(name) != ".md" {
			continue
		}
		for _, m := range link.FindAllStringSubmatch(read(t, name), -1) {
			path, _, _ := strings.Cut(m[1], "#")
			if path != "" && !slices.Contains(files, filepath.Join(filepath.Dir(name), path)) {
				t.Errorf("%s links to %s, which is not there", name, m[1])
			}
		}
	}
}

// mod is one required module.
type mod struct{ Path, Version string }

// direct returns the modules that some package or tool of ours names itself.
func direct(t *testing.T) []mod {
	t.Helper()
	watch(t)
	var file struct {
		Require []mod
		Tool    []mod
	}
	if err := json.Unmarshal(goOutput(t, "mod", "edit", "-json"), &file); err != nil {
		t.Fatal(err)
	}
	used := strings.Fields(string(goOutput(t, "list", "-e", "-f",
		`{{join .Imports "\n"}}{{"\n"}}{{join .TestImports "\n"}}{{"\n"}}{{join .XTestImports "\n"}}`, "./...")))
	for _, tool := range file.Tool {
		used = append(used, tool.Path)
	}
	return slices.DeleteFunc(file.Require, func(m mod) bool {
		return !slices.ContainsFunc(used, func(path string) bool {
			return path == m.Path || strings.HasPrefix(path, m.Path+"/")
		})
	})
}

// goOutput runs the go command at the root and returns what it prints.
func goOutput(t *testing.T, args ...string) []byte {
	t.Helper()
	cmd := exec.Command("go", args...)
	cmd.Dir = root(t)
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("go %s: %v\n%s", strings.Join(args, " "), err, stderr.Bytes())
	}
	return out
}

// read returns a file of the repository; one deleted but not yet committed
// reads as empty.
func read(t *testing.T, name string) string {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(root(t), name))
	if err != nil && !errors.Is(err, os.ErrNotExist) {
		t.Fatal(err)
	}
	return string(b)
}

// tracked returns the files that git has, or skips the test where there is no
// repository, such as in an unpacked archive.
func tracked(t *testing.T) []string {
	t.Helper()
	watch(t)
	cmd := exec.Command("git", "ls-files", "-z")
	cmd.Dir = root(t)
	out, err := cmd.Output()
	if err != nil {
		t.Skipf("no git repository here, so nothing says which files are tracked: %v", err)
	}
	return strings.Split(strings.TrimSuffix(string(out), "\x00"), "\x00")
}

// TestPackagesExplained wants every package in the contributors' table of the
// layout.
func TestPackagesExplained(t *testing.T) {
	guide := read(t, "DEVELOPERS.md")
	seen := map[string]bool{}
	for _, name := range tracked(t) {
		dir := filepath.ToSlash(filepath.Dir(name))
		if !strings.HasSuffix(name, ".go") || seen[dir] || dir == "internal" || strings.Contains(dir, "testdata") {
			continue
		}
		seen[dir] = true
		parent := filepath.ToSlash(filepath.Dir(dir))
		test := strings.HasSuffix(dir, "test") // beside the package it is for
		if !strings.Contains(guide, "| `"+dir+"` |") && !(test && strings.Contains(guide, "`"+filepath.Base(dir)+"`") && strings.Contains(guide, "| `"+parent+"` |")) {
			t.Errorf("%s: no line in the layout of DEVELOPERS.md", dir)
		}
	}
}
