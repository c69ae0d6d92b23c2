package main

import (
	"os/exec"
	"strings"
	"testing"
)

// TestBashCompletion asks bash what it would offer.
func TestBashCompletion(t *testing.T) {
	bash, err := exec.LookPath("bash")
	if err != nil {
		t.Skip("no bash here")
	}
	script, _, err := command(t, "completion", "bash")
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		line string // the last word is being typed
		want string // all that is offered
	}{
		{"brakewear imp", "import"},
		{"brakewear people a", "add"},
		{"brakewear people add --ro", "--role"},
		{"brakewear people add --role ", "manager planner"},
		{"brakewear import --dates m", "mdy"},
		{"brakewear import --check --ki", "--kind"},
		{"brakewear import --kind od", "odometer"},
		{"brakewear import --database ", ""}, // bash offers files
		{"brakewear run back", "backup"},
		{"brakewear help tut", "tutorial"},
		{"brakewear help impo", "import"},
		{"brakewear serve --monitor", "--monitor-listen"},
		{"brakewear completion f", "fish"},
	} {
		words := strings.Split(c.line, " ")
		run := script + "COMP_WORDS=("
		for _, w := range words {
			run += " '" + w + "'"
		}
		run += "); COMP_CWORD=$((${#COMP_WORDS[@]} - 1)); _brakewear; echo \"${COMPREPLY[*]}\""
		cmd := exec.Command(bash, "--norc", "-c", run)
		out, err := cmd.CombinedOutput()
		if got := strings.TrimSpace(string(out)); err != nil || got != c.want {
			t.Errorf("%q: got %q, %v, want %q", c.line, got, err, c.want)
		}
	}
}

// TestFishCompletion asks fish what it would offer.
func TestFishCompletion(t *testing.T) {
	fish, err := exec.LookPath("fish")
	if err != nil {
		t.Skip("no fish here")
	}
	script, _, err := command(t, "completion", "fish")
	if err != nil {
		t.Fatal(err)
	}
	for line, want := range map[string]string{
		"brakewear imp":                 "import",
		"brakewear people a":            "add",
		"brakewear people add --ro":     "--role",
		"brakewear import --dates m":    "mdy",
		"brakewear people add --role m": "manager",
		"brakewear completion f":        "fish",
		"brakewear import --kind od":    "odometer",
		"brakewear run back":            "backup",
		"brakewear help tut":            "tutorial",
	} {
		cmd := exec.Command(fish, "--no-config", "-c", script+"complete -C '"+line+"'")
		out, err := cmd.CombinedOutput()
		got, _, _ := strings.Cut(strings.TrimSpace(string(out)), "\t")
		if err != nil || got != want {
			t.Errorf("%q: got %q, %v, want %q", line, out, err, want)
		}
	}
}

// TestCompletionsParse lets each shell that is here read its own.
func TestCompletionsParse(t *testing.T) {
	for _, shell := range []string{"bash", "zsh", "fish"} {
		script, _, err := command(t, "completion", shell)
		if err != nil {
			t.Fatal(err)
		}
		for _, want := range []string{"import", "monitor-listen", "people add"} {
			if !strings.Contains(script, want) {
				t.Errorf("%s: %s is missing", shell, want)
			}
		}
		path, err := exec.LookPath(shell)
		if err != nil {
			t.Logf("no %s here", shell)
			continue
		}
		cmd := exec.Command(path, "-n")
		cmd.Stdin = strings.NewReader(script)
		if out, err := cmd.CombinedOutput(); err != nil {
			t.Errorf("%s: %v: %s", shell, err, out)
		}
	}
	if _, _, err := command(t, "completion", "goat"); err == nil || exitCode(err) != exitUsage {
		t.Errorf("of no shell: got %v", err)
	}
}
