package ingest

import (
	"fmt"
	"io"
	"strings"
)

// WriteColumns writes the documentation of all columns as Markdown.
func WriteColumns(w io.Writer) error {
	var b strings.Builder
	b.WriteString("# Files and their columns\n\n" +
		"CSV (cells parted by comma, semicolon or tab; UTF-8 or Windows-1252), XLSX (the first\n" +
		"sheet that fits) or JSON (an array of objects with these names). Columns are found by\n" +
		"their header, in any order, whatever its case and the signs between its words. A header\n" +
		"may name another unit: `value (1/32 in)`, `odometer mi`. Columns of other names are not\n" +
		"read, which the upload's notes say.\n")
	for _, k := range Kinds {
		fmt.Fprintf(&b, "\n## %s\n\n| column | needed | unit | example | what to write | other headers |\n| --- | --- | --- | --- | --- | --- |\n", k)
		for _, c := range columns[k] {
			needed := ""
			if c.Required {
				needed = "yes"
			}
			// Headers of new and limit values are many and alike.
			other := c.Synonyms
			if len(other) > maxSynonymsShown {
				other = append(other[:maxSynonymsShown:maxSynonymsShown], "…")
			}
			fmt.Fprintf(&b, "| `%s` | %s | %s | %s | %s | %s |\n", c.Name, needed, c.Unit, c.Example, c.Help, strings.Join(other, ", "))
		}
	}
	_, err := io.WriteString(w, b.String())
	return err
}

const maxSynonymsShown = 16
