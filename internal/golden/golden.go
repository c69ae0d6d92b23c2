// Package golden compares what a test gets with a file of what it wants, and rewrites the
// file where the test runs with -update. It knows nothing of what is in the files, and
// is for test files alone.
package golden

import (
	"flag"
	"os"
	"path/filepath"
	"testing"

	"github.com/google/go-cmp/cmp"
)

var update = flag.Bool("update", false, "rewrite the golden files")

// Text wants the file to hold got.
func Text(t *testing.T, file, got string) {
	t.Helper()
	Like(t, file, got, func(want, got string) string { return cmp.Diff(want, got) })
}

// Like wants the file to hold what differs from got in nothing that counts: differ
// returns the difference, "" when there is none.
func Like(t *testing.T, file, got string, differ func(want, got string) string) {
	t.Helper()
	if *update {
		if err := os.MkdirAll(filepath.Dir(file), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(file, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if diff := differ(string(want), got); diff != "" {
		t.Errorf("%s is not what the program gives now; the test rewrites it with -update (-want +got):\n%s", file, diff)
	}
}
