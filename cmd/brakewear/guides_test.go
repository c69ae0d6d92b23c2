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
)

// What finds the command lines of the program that stand in a text, behind what a
// shell takes first, up to what it takes itself.
var (
	inText  = regexp.MustCompile("(?s)`([^`]+)`")
	inBlock = regexp.MustCompile(`(?m)^(?:    +|\$ )?((?:[A-Z_]+=(?:'[^']*'|\S+) )?(?:bin/)?brakewear [^…]*|make .*)$`)
	word    = regexp.MustCompile(`"[^"]*"|'[^']*'|\S+`)
)

// commandsIn returns the commands of a Markdown text: those of its blocks, and those that
// stand within sentences, which may leave out what they are given.
func commandsIn(text string) (whole, named []string) {
	var prose strings.Builder
	fenced := false
	text = regexp.MustCompile(`\\\n\s*`).ReplaceAllString(text, "") // lines that go on
	for line := range strings.Lines(text) {
		fence := strings.HasPrefix(line, "```")
		if fence {
			fenced = !fenced
		}
		if m := inBlock.FindStringSubmatch(strings.TrimRight(line, "\n")); m != nil && (fenced || strings.HasPrefix(line, "    ")) {
			whole = append(whole, m[1])
		} else if !fenced && !fence {
			prose.WriteString(line)
		}
	}
	for _, m := range inText.FindAllStringSubmatch(prose.String(), -1) {
		if s := strings.Join(strings.Fields(m[1]), " "); inBlock.MatchString(s) {
			named = append(named, s)
		}
	}
	return whole, named
}

// Every command and flag that the README and the guides name is one that there is.
func TestGuidesNameWhatThereIs(t *testing.T) {
	make, err := os.ReadFile("../../Makefile")
	if err != nil {
		t.Fatal(err)
	}
	files, err := filepath.Glob("../../internal/guide/*.md")
	if err != nil {
		t.Fatal(err)
	}
	found := 0
	texts := map[string]string{}
	files = slices.DeleteFunc(files, func(path string) bool { // written from the commands themselves
		return strings.HasPrefix(filepath.Base(path), "reference-")
	})
	for _, path := range append(files, "../../README.md", "../../DEVELOPERS.md") {
		text, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		texts[path] = string(text)
	}
	t.Chdir(t.TempDir())
	if err := os.Mkdir("fleet", 0o700); err != nil { // which one of them names
		t.Fatal(err)
	}
	for path, text := range texts {
		whole, named := commandsIn(text)
		for i, line := range append(whole, named...) {
			found++
			if target, ok := strings.CutPrefix(line, "make "); ok {
				if name := strings.Fields(target)[0]; !regexp.MustCompile(`(?m)^` + regexp.QuoteMeta(name) + `:`).Match(make) {
					t.Errorf("%s: make has no %s: %s", path, name, line)
				}
				continue
			}
			if err := understood(t, line); err != nil && (i < len(whole) || !lacksOnly(err)) {
				t.Errorf("%s: %s: %v", path, line, err)
			}
		}
	}
	if found < 60 { // there are more than a hundred
		t.Errorf("only %d commands were found", found)
	}
	for line, want := range map[string]string{
		"brakewear backup --database fleet.db": "expected",
		"brakewear bakup fleet.db":             "unexpected argument bakup",
		"brakewear serve --datbase fleet.db":   "unknown flag --datbase",
	} {
		if err := understood(t, line); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: got %v, want %s", line, err, want)
		}
	}
}

// lacksOnly says whether a command line is right as far as it goes.
func lacksOnly(err error) bool {
	return strings.HasPrefix(err.Error(), "expected") || strings.HasPrefix(err.Error(), "missing") || strings.HasSuffix(err.Error(), `but got "EOL" (<EOL>)`)
}

// understood reads a command line as the program does, and runs nothing. The files
// that it names are there.
func understood(t *testing.T, line string) error {
	t.Helper()
	_, line, _ = strings.Cut(line, "brakewear ")
	var args []string
	for _, w := range word.FindAllString(line, -1) {
		if w == ">" || w == ">>" || w == "&" || w == "|" || w == "#" {
			break
		}
		w = strings.Trim(w, `"'`)
		args = append(args, w)
		if strings.HasSuffix(w, ".csv") || strings.HasSuffix(w, ".db") {
			name := filepath.Base(w) // none outside of the test's folder
			args[len(args)-1] = name
			if err := os.WriteFile(name, nil, 0o600); err != nil {
				t.Fatal(err)
			}
		}
	}
	parser, err := newParser(io.Discard, io.Discard, func(int) { panic(errHelp) })
	if err != nil {
		t.Fatal(err)
	}
	defer func() {
		if p := recover(); p != nil && p != errHelp {
			panic(p)
		}
	}()
	_, err = parser.Parse(args)
	return err
}

var errHelp = errors.New("help was asked for")
