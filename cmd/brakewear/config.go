package main

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"github.com/alecthomas/kong"

	"brakewear/internal/fleet"
)

// setting is one thing that is set by flag or by environment variable.
type setting struct {
	flag     string // blank: by variable only
	variable string
	unless   string // what it is unless given
	meaning  string
	commands []string // that take it
}

// secrets are settings without a flag, for others on the machine can read a
// command line.
var secrets = []setting{
	{variable: openidSecret, meaning: "Secret by which the OpenID Connect provider knows this installation; a client without one is a public one.", commands: []string{"serve"}},
	{variable: secondKeys, meaning: "Key that seals the secrets of second factors in the database: 32 random bytes in base64 (head -c 32 /dev/urandom | base64). After a comma, older keys that still open; without one, secrets are kept as they are.", commands: []string{"serve", "check"}},
	{variable: smtpPassword, meaning: "Password to sign in to the mail server with.", commands: []string{"serve", "run"}},
}

// testVariables are read by this program's tests only.
var testVariables = []string{"BRAKEWEAR_REQUIRE_POSTGRES", "BRAKEWEAR_REQUIRE_BROWSER", "BRAKEWEAR_SCREENSHOTS"}

// variablePrefix begins the names of our variables, so that others are none of
// our business.
const variablePrefix = "BRAKEWEAR_"

// settings returns all flags that are variables too, in the order of the
// commands, and the secrets.
func settings(model *kong.Node) (list []setting) {
	known := map[string]int{} // by variable
	for _, leaf := range model.Leaves(true) {
		command := leaf.Path()
		command = strings.TrimPrefix(command, model.Name+" ")
		for _, f := range leaf.Flags {
			if len(f.Envs) == 0 {
				continue
			}
			i, seen := known[f.Envs[0]]
			if !seen {
				i = len(list)
				known[f.Envs[0]] = i
				list = append(list, setting{flag: "--" + f.Name, variable: f.Envs[0], meaning: choices(f)})
			}
			list[i].commands = append(list[i].commands, command)
			list[i].unless = cmp.Or(list[i].unless, f.Default)
		}
	}
	return append(list, secrets...)
}

// choices is what a flag means, and what it may be where that is one of a few.
func choices(f *kong.Flag) string {
	of := values(f.Value)
	if !slices.ContainsFunc(of, func(s string) bool { return !strings.Contains(f.Help, s) }) {
		return f.Help // it names them
	}
	return strings.TrimSuffix(f.Help, ".") + ": one of " + strings.Join(of, ", ") + "."
}

// knownVariables refuses variables that look like settings and are none: a
// mistyped one would leave its setting as it was, and nobody would know.
func knownVariables(model *kong.Node, environ []string) error {
	names := slices.Clone(testVariables)
	for _, s := range settings(model) {
		names = append(names, s.variable)
	}
	var faults []string
	for _, v := range environ {
		name, _, _ := strings.Cut(v, "=")
		if strings.HasPrefix(name, variablePrefix) && !slices.Contains(names, name) {
			faults = append(faults, fmt.Sprintf("variable %s: there is no such setting; is %s meant?", name, nearest(name, names)))
		}
	}
	if faults == nil {
		return nil
	}
	slices.Sort(faults)
	return fleet.Invalidf("%s (brakewear help config lists the settings)", strings.Join(faults, "\n"))
}

// nearest returns the name with the least to change.
func nearest(name string, names []string) string {
	return slices.MinFunc(names, func(a, b string) int { return cmp.Compare(edits(name, a), edits(name, b)) })
}

// edits counts the letters to insert, delete or replace that make b of a
// (V. I. Levenshtein, 1966; from memory).
func edits(a, b string) int {
	row := make([]int, len(b)+1) // of a's beginning and each beginning of b
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		before := row[0]
		row[0] = i + 1
		for j := range len(b) {
			replaced := before
			if a[i] != b[j] {
				replaced++
			}
			before = row[j+1]
			row[j+1] = min(row[j]+1, before+1, replaced)
		}
	}
	return row[len(b)]
}
