package internal

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// TestWorkedExamples does to a copy of the tree what DEVELOPERS.md says of
// adding something: each example in testdata/adding still fits the code, and
// the tests that it brings along pass.
func TestWorkedExamples(t *testing.T) {
	dir := t.TempDir()
	for _, name := range tracked(t) {
		if strings.HasPrefix(name, "testdata/adding/") {
			continue
		}
		b, err := os.ReadFile(filepath.Join(root(t), name))
		if os.IsNotExist(err) {
			continue // deleted and not yet committed
		}
		if err != nil {
			t.Fatal(err)
		}
		to := filepath.Join(dir, name)
		if err := os.MkdirAll(filepath.Dir(to), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(to, b, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	do := func(name string, args ...string) {
		t.Helper()
		cmd := exec.CommandContext(t.Context(), name, args...)
		cmd.Dir = dir
		if out, err := cmd.CombinedOutput(); err != nil {
			t.Fatalf("%s %s: %v\n%s", name, strings.Join(args, " "), err, out)
		}
	}
	text := read(t, "DEVELOPERS.md")
	// The page and the job ask the query.
	for _, name := range []string{"query", "page", "column", "model", "job"} {
		patch := "testdata/adding/" + name + ".diff"
		if !strings.Contains(text, "("+patch+")") {
			t.Errorf("DEVELOPERS.md does not link to %s", patch)
		}
		do("git", "apply", filepath.Join(root(t), patch))
	}
	if testing.Short() {
		t.Skip("they fit; to run them takes building the tree once more")
	}
	do("go", "test", "-run", "^Test(Unmeasured|UnmeasuredPage|UnmeasuredJob|Chassis|Latest|TemplatesFitTheirStructs)$",
		"./internal/store", "./dashboard", "./internal/pipeline", "./forecast")
}
