package main

import (
	"fmt"
	"strings"

	"github.com/alecthomas/kong"
)

// commandsReference describes every command in Markdown.
func commandsReference(model *kong.Node) string {
	var b strings.Builder
	b.WriteString(`# Commands

A command prints its result on the standard output, and everything else (the log, errors, a bar on long
work) on the error output; there is no bar where that is no terminal. Reading commands print for
people, or with ` + "`--format json`" + ` for programs. ` + "`brakewear COMMAND --help`" + ` says what is here.

## Exit codes

| code | what it says |
| --- | --- |
`)
	for _, c := range exitCodes {
		fmt.Fprintf(&b, "| %d | %s |\n", c.code, c.meaning)
	}
	for _, leaf := range model.Leaves(true) {
		fmt.Fprintf(&b, "\n## %s\n\n%s\n", strings.TrimPrefix(leaf.Path(), model.Name+" "), leaf.Help)
		fmt.Fprintf(&b, "\n    %s %s\n", model.Name, strings.TrimSpace(strings.TrimPrefix(leaf.Summary(), model.Name)))
		if leaf.Detail != "" {
			b.WriteString("\n")
			example := false // as its writers indent them
			for line := range strings.Lines(leaf.Detail) {
				line = strings.TrimRight(line, "\n")
				before := example
				if example = strings.HasPrefix(line, "  "); example {
					if !before {
						b.WriteString("\n")
					}
					line = "    " + strings.TrimSpace(line)
				}
				b.WriteString(line + "\n")
			}
		}
		b.WriteString(argumentsTable(leaf))
	}
	return b.String()
}

// placeholder stands for a flag's value; blank for one without.
func placeholder(f *kong.Flag) string {
	switch {
	case f.IsBool():
		return ""
	case f.PlaceHolder != "":
		return f.PlaceHolder
	case f.Enum != "":
		return strings.Join(values(f.Value), "|")
	case f.Target.CanInt() || f.Target.CanFloat():
		return "N"
	}
	return strings.ToUpper(f.Name)
}

// argumentsTable describes a command's arguments and flags.
func argumentsTable(leaf *kong.Node) string {
	var b strings.Builder
	row := func(name, unless, meaning string) {
		if b.Len() == 0 {
			b.WriteString("\n| argument | unless given | what it is |\n| --- | --- | --- |\n")
		}
		fmt.Fprintf(&b, "| %s | %s | %s |\n", code(cell(name)), code(cell(unless)), cell(meaning))
	}
	for _, p := range leaf.Positional {
		row(p.Summary(), p.Default, p.Help)
	}
	for _, f := range leaf.Flags {
		if f.Hidden || f.Name == "help" {
			continue
		}
		meaning := choices(f)
		if len(f.Envs) > 0 {
			meaning += " Also by " + code(f.Envs[0]) + "."
		}
		row(strings.TrimSpace("--"+f.Name+" "+placeholder(f)), f.Default, meaning)
	}
	return b.String()
}
