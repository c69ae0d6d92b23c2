package ingest

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"brakewear/internal/golden"
)

// TestSamples reads the sample uploads: what they say is invented, what is
// said about them is what people get to read.
func TestSamples(t *testing.T) {
	files, err := filepath.Glob("../testdata/uploads/*.*")
	if err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	for _, path := range files {
		if filepath.Ext(path) == ".md" {
			continue
		}
		file, err := os.Open(path)
		if err != nil {
			t.Fatal(err)
		}
		defer file.Close()
		r, err := NewReader(file, filepath.Base(path), Options{Today: today})
		if err != nil {
			t.Errorf("%v", err)
			continue
		}
		rows, err := readAll(r)
		if err != nil {
			t.Errorf("%v", err)
		}
		fmt.Fprintf(&b, "== %s: %s, %d rows, %d refused\n", filepath.Base(path), r.Kind(), len(rows), r.Refused())
		for _, row := range rows {
			fmt.Fprintln(&b, show(row))
		}
		for _, p := range r.Problems() {
			fmt.Fprintln(&b, "!", showProblem(p))
		}
	}
	golden.Text(t, "testdata/samples.txt", b.String())
}
