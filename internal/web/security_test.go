package web

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// requirement is a row of security.md.
type requirement struct {
	level, met, how string
	tests           []string
}

func requirements(t *testing.T) (rows map[string]requirement, order []string) {
	t.Helper()
	text, err := os.ReadFile("security.md")
	if err != nil {
		t.Fatal(err)
	}
	rows = map[string]requirement{}
	for line := range strings.Lines(string(text)) {
		cells := strings.Split(strings.Trim(strings.TrimSpace(line), "|"), "|")
		if id := strings.TrimSpace(cells[0]); len(cells) == 6 && strings.HasPrefix(id, "V") {
			if _, twice := rows[id]; twice {
				t.Errorf("%s is there twice", id)
			}
			for i := range cells {
				cells[i] = strings.TrimSpace(cells[i])
			}
			rows[id] = requirement{cells[1], cells[3], cells[4], strings.Fields(strings.ReplaceAll(cells[5], "`", ""))}
			order = append(order, id)
		}
	}
	return rows, order
}

// TestStandardIsWhole wants a row for every requirement of levels 1 and 2, and
// an answer in each.
func TestStandardIsWhole(t *testing.T) {
	rows, order := requirements(t)
	text, err := os.ReadFile("testdata/asvs-5.0.0.txt")
	if err != nil {
		t.Fatal(err)
	}
	of := map[string]int{}
	var want []string
	for line := range strings.Lines(string(text)) {
		fields := strings.Fields(line)
		if strings.HasPrefix(line, "#") {
			continue
		}
		for i, level := range fields[1:] {
			of[level]++
			id := fmt.Sprintf("%s.%d", fields[0], i+1)
			if level == "3" {
				continue
			}
			want = append(want, id)
			row, ok := rows[id]
			switch {
			case !ok:
				t.Errorf("%s: security.md has no row", id)
			case row.level != level:
				t.Errorf("%s: level %s, want %s", id, row.level, level)
			case !slices.Contains([]string{"yes", "partly", "no", "runner", "n/a"}, row.met):
				t.Errorf("%s: met %q", id, row.met)
			case row.how == "":
				t.Errorf("%s: does not say how, or why not", id)
			case row.met == "n/a" && len(row.tests) > 0:
				t.Errorf("%s: does not apply, and has tests", id)
			}
		}
	}
	if !slices.Equal(order, want) {
		t.Errorf("got the rows %v, want %v", order, want)
	}
	// Counted from the standard's own table.
	if of["1"] != 70 || of["2"] != 183 || of["3"] != 92 {
		t.Errorf("got %v requirements by level, want 70, 183 and 92", of)
	}
	met := map[string]int{}
	for _, r := range rows {
		met[r.met]++
	}
	says := fmt.Sprintf("Of %d requirements %d are met, %d in part, %d not; %d are for the runner, and %d do not apply.",
		len(rows), met["yes"], met["partly"], met["no"], met["runner"], met["n/a"])
	if doc, err := os.ReadFile("security.md"); err != nil || !bytes.Contains(doc, []byte(says)) {
		t.Errorf("security.md does not say: %s", says)
	}
}

// TestStandardNamesTests wants every test that a row names to be in the tree.
func TestStandardNamesTests(t *testing.T) {
	cmd := exec.Command("git", "grep", "-hoE", `^func (Test|Fuzz)\w+\(`, "--", "*_test.go")
	cmd.Dir = "../.."
	out, err := cmd.Output()
	if err != nil {
		t.Skip("no git, or no repository:", err)
	}
	there := map[string]bool{}
	for _, m := range regexp.MustCompile(`func (\w+)\(`).FindAllSubmatch(out, -1) {
		there[string(m[1])] = true
	}
	rows, _ := requirements(t)
	named := 0
	for id, row := range rows {
		for _, test := range row.tests {
			named++
			if !there[test] {
				t.Errorf("%s: there is no test %s", id, test)
			}
		}
	}
	if named < 150 {
		t.Errorf("got %d tests named: the table was not read", named)
	}
}
