package main

import (
	"fmt"
	"strings"

	"github.com/alecthomas/kong"
)

// everyDatabase is from how many commands on those of a database are said in
// one word.
const everyDatabase = 8

// configReference describes every setting in Markdown, grouped by the commands
// that take it.
func configReference(model *kong.Node) string {
	var b strings.Builder
	b.WriteString(`# Settings

What lasts can be set by environment variable or by flag, and a flag goes before a variable. Passwords
are variables only, for others on the machine can read a command line. A variable that begins with
` + "`" + variablePrefix + "`" + ` and is not listed here is refused at start, so that a mistyped one does not go
unnoticed. Flags that are for one run only are with their command (` + "`brakewear help commands`" + `).

`)
	var groups []string
	of := map[string][]setting{}
	for _, s := range settings(model) {
		g := strings.Join(s.commands, ", ")
		if len(s.commands) >= everyDatabase {
			g = "Most commands"
		}
		if of[g] == nil {
			groups = append(groups, g)
		}
		of[g] = append(of[g], s)
	}
	for _, g := range groups {
		fmt.Fprintf(&b, "## %s\n\n| variable | flag | unless given | what it is |\n| --- | --- | --- | --- |\n", g)
		for _, s := range of[g] {
			fmt.Fprintf(&b, "| `%s` | %s | %s | %s |\n", s.variable, code(s.flag), code(s.unless), cell(s.meaning))
		}
		b.WriteString("\n")
	}
	b.WriteString(`Beside these, ` + "`TZ`" + ` is the time zone that *today* is in where several depots are meant, and PostgreSQL's own
variables (` + "`PGSSLROOTCERT`" + ` and others) fill in what the database's URL leaves open.
`)
	return b.String()
}

// code is text as it is typed, nothing for none.
func code(s string) string {
	if s == "" {
		return ""
	}
	return "`" + s + "`"
}

// cell is text within a table.
func cell(s string) string { return strings.ReplaceAll(s, "|", `\|`) }
