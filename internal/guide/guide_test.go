package guide

import (
	"strings"
	"testing"
)

func TestTopics(t *testing.T) {
	seen := map[string]bool{}
	for _, topic := range Topics() {
		if seen[topic.Name] {
			t.Errorf("%s is there twice", topic.Name)
		}
		seen[topic.Name] = true
		text, ok := Text(topic.Name)
		if !ok || len(text) < 200 {
			t.Errorf("%s: got %q", topic.Name, text)
		}
		if topic.Title == "" && !strings.HasPrefix(topic.Name, examples+"/") {
			t.Errorf("%s: a document without a title", topic.Name)
		}
		if topic.Title != "" && !strings.HasPrefix(text, topic.Title+"\n=") {
			t.Errorf("%s begins %.60q, want its title %q", topic.Name, text, topic.Title)
		}
	}
	for _, name := range []string{"operations", "scale-out", "config", "commands", "files", "api", "deploy", "deploy/brakewear.service", "deploy/Containerfile"} {
		if !seen[name] {
			t.Errorf("no topic %s", name)
		}
	}
	for _, name := range []string{"", "goats", "operations.md", "deploy/", "../guide", "guide.go"} {
		if text, ok := Text(name); ok {
			t.Errorf("Text(%q): got %.40q, want none", name, text)
		}
	}
}

func TestPlain(t *testing.T) {
	for _, c := range []struct{ name, md, want string }{
		{"heads", "# One\n## Two\n### Three\ntext\n", "One\n===\nTwo\n---\nThree\ntext\n"},
		{"marks", "a **bold** and *slanted* word, [there](http://a.example/x) and `a **code** [x](y)`\n",
			"a bold and slanted word, there (http://a.example/x) and `a **code** [x](y)`\n"},
		{"no marks", "2 * 3 * 4 is 24 * 1\n", "2 * 3 * 4 is 24 * 1\n"},
		{"fence", "```console\n$ # not a heading\n| no table |\n```\nafter\n", "    $ # not a heading\n    | no table |\nafter\n"},
		{"indented", "    $ **x** | y\n", "    $ **x** | y\n"},
		{"table", "| a | long head |\n| --- | ---: |\n| `x \\| y` | 1 |\n\nafter\n",
			"a        long head\n-------  ---------\n`x | y`  1\n\nafter\n"},
		{"end of file", "| a |\n| - |\n| b |", "a\n-\nb\n"},
	} {
		t.Run(c.name, func(t *testing.T) {
			if got := plain(c.md); got != c.want {
				t.Errorf("got\n%s\nwant\n%s", got, c.want)
			}
		})
	}
}

// TestPlainBreaksWideTables: no line is wider than a table may be, and no word
// is lost.
func TestPlainBreaksWideTables(t *testing.T) {
	long := strings.Repeat("some words of a cell ", 12)
	got := plain("| key | meaning | other |\n| --- | --- | --- |\n| `BRAKEWEAR_SOMETHING_LONG` | " + long + " | " + long + " |\n")
	for line := range strings.Lines(got) {
		if len(strings.TrimRight(line, "\n")) > tableWidth {
			t.Errorf("%d wide: %s", len(line), line)
		}
	}
	if want, n := 24*5, len(strings.Fields(got)); n != want+1+3+3 {
		t.Errorf("got %d words, want %d of two cells, a key, and three heads with their lines", n, want)
	}
}

// TestDocumentsFitATerminal wants what is printed to be readable in a window of
// the usual width, and every table to be one.
func TestDocumentsFitATerminal(t *testing.T) {
	for _, topic := range Topics() {
		text, _ := Text(topic.Name)
		if topic.Title == "" {
			continue
		}
		for i, line := range strings.Split(text, "\n") {
			if n := len([]rune(line)); n > 130 && !strings.HasPrefix(line, "    ") {
				t.Errorf("%s, line %d as printed: %d signs: %.60s…", topic.Name, i+1, n, line)
			}
		}
	}
}
