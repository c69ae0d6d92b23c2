package main

import (
	"os"
	"strings"
	"testing"

	"brakewear/internal/golden"
)

// TestReadme runs the README's example and wants it to print what stands
// there.
func TestReadme(t *testing.T) {
	t.Chdir("../..")
	old, err := os.ReadFile("README.md")
	if err != nil {
		t.Fatal(err)
	}
	const prompt = "$ bin/brakewear forecast "
	lines := strings.Split(string(old), "\n")
	var out []string
	ran := 0
	for i := 0; i < len(lines); i++ {
		out = append(out, lines[i])
		args, ok := strings.CutPrefix(lines[i], prompt)
		if !ok {
			continue
		}
		ran++
		stdout, stderr, err := command(t, append([]string{"forecast"}, strings.Fields(args)...)...)
		if err != nil {
			t.Fatalf("%s: %v\n%s", lines[i], err, stderr)
		}
		for i+1 < len(lines) && !strings.HasPrefix(lines[i+1], "$ ") && !strings.HasPrefix(lines[i+1], "```") {
			i++
		}
		out = append(out, strings.Split(strings.TrimRight(stdout, "\n"), "\n")...)
	}
	if ran == 0 {
		t.Fatalf("README.md: no line starts with %q", prompt)
	}
	golden.Text(t, "README.md", strings.Join(out, "\n"))
}
