// Package guide is the documentation for those who run brakewear or work with
// it: Markdown and example files that the program carries with it and prints.
// It holds no logic of the program, and what is generated here is written by
// the tests of the packages it describes.
package guide

import (
	"embed"
	"io/fs"
	"path"
	"strings"
)

//go:embed *.md deploy
var files embed.FS

// examples is the folder of files to copy, which are printed as they are.
const examples = "deploy"

// Topic is one thing there is to read.
type Topic struct {
	Name  string // what it is asked for by
	Title string // blank for an example file
}

// reference begins the name of files that are written by tests of what they
// describe: their topic is the rest.
const reference = "reference-"

// Topics returns the documents by name, then the example files.
func Topics() (ts []Topic) {
	for _, name := range glob("*.md") {
		b, _ := files.ReadFile(name)
		ts = append(ts, Topic{topicOf(name), title(string(b))})
	}
	for _, name := range glob(examples + "/*") {
		ts = append(ts, Topic{Name: name})
	}
	return ts
}

// Text returns a topic as text for a terminal, an example file as it is. ok is
// false where there is none of the name.
func Text(topic string) (text string, ok bool) {
	for _, name := range append(glob("*.md"), glob(examples+"/*")...) {
		if topicOf(name) != topic {
			continue
		}
		b, err := files.ReadFile(name)
		if err != nil {
			return "", false
		}
		if path.Ext(name) == ".md" {
			return plain(string(b)), true
		}
		return string(b), true
	}
	return "", false
}

// glob returns the embedded files of a pattern, sorted by name.
func glob(pattern string) []string {
	names, err := fs.Glob(files, pattern)
	if err != nil {
		panic(err) // the patterns are ours
	}
	return names
}

// topicOf names a file as a person types it.
func topicOf(name string) string {
	if base, ok := strings.CutSuffix(name, ".md"); ok {
		return strings.TrimPrefix(strings.ToLower(base), reference)
	}
	return name
}

// title returns the first heading of a document.
func title(text string) string {
	for line := range strings.Lines(text) {
		if t, ok := strings.CutPrefix(line, "# "); ok {
			return strings.TrimSpace(t)
		}
	}
	return ""
}
