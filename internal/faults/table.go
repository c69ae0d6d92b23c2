package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
)

// What became of a test.
const (
	passed  = "passed"
	failed  = "FAILED"
	skipped = "skipped"
	cut     = "CUT SHORT" // it began and did not end
	notRun  = "NOT RUN"   // its package was not built, or ended before
)

// databases name the subtests that are rows of their own.
var databases = []string{"sqlite", "postgres"}

// row is a test, on one database where it has subtests named after those.
type row struct {
	test
	database string
	figures  []string
	result   string
	seconds  float64
}

// event is what go test -json tells; see go doc test2json.
type event struct {
	Action, Package, Test, Output, Key, Value string
	Elapsed                                   float64
}

// read makes rows of what go test told of the tests, in the order of the
// tests. What failed tests and packages printed comes with them.
func read(events io.Reader, tests []test) (rows []row, said string, err error) {
	of := map[string]*row{}
	index := func(e event) *row {
		name, sub, _ := strings.Cut(e.Test, "/")
		i := slices.IndexFunc(tests, func(t test) bool { return t.name == name && inPackage(e.Package, t.pkg) })
		if i < 0 {
			return nil
		}
		first, _, _ := strings.Cut(sub, "/")
		if !slices.Contains(databases, first) {
			first = ""
		}
		key := rowKey(i, first)
		if of[key] == nil {
			of[key] = &row{test: tests[i], database: first, result: cut}
		}
		return of[key]
	}
	printed := map[string]*strings.Builder{} // by test, and of packages by ""
	var failures strings.Builder
	for dec := json.NewDecoder(events); ; {
		var e event
		if err := dec.Decode(&e); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			return nil, "", fmt.Errorf("what go test told: %w", err)
		}
		place := e.Package + " " + e.Test
		if printed[place] == nil {
			printed[place] = &strings.Builder{}
		}
		result := map[string]string{"pass": passed, "fail": failed, "skip": skipped}[e.Action]
		switch {
		case e.Action == "output" || e.Action == "build-output":
			printed[place].WriteString(e.Output)
		case e.Action == "fail" || e.Action == "build-fail":
			failures.WriteString(printed[place].String())
		}
		if e.Test == "" {
			continue
		}
		r := index(e)
		switch {
		case r == nil:
		case e.Action == "attr":
			r.figure(e.Key, e.Value)
		case result != "" && (e.Test == r.name || e.Test == r.name+"/"+r.database):
			r.result, r.seconds = result, e.Elapsed
		}
	}
	for i, t := range tests {
		begun := false
		for _, database := range append(databases, "") {
			begun = begun || of[rowKey(i, database)] != nil
		}
		if !begun {
			of[rowKey(i, "")] = &row{test: t, result: notRun}
		}
	}
	return sorted(of), failures.String(), nil
}

// rowKey sorts by the test's place, then by database.
func rowKey(test int, database string) string { return fmt.Sprintf("%06d/%s", test, database) }

// inPackage says whether an import path is that of a folder of the module.
func inPackage(path, folder string) bool {
	_, rest, _ := strings.Cut(path, "/")
	return rest == folder
}

// sorted returns the rows in their order. A test that has rows for databases
// has none of its own, unless it did not pass.
func sorted(of map[string]*row) []row {
	var keys []string
	for k := range of {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	var rows []row
	for i, k := range keys {
		number, database, _ := strings.Cut(k, "/")
		if database == "" && of[k].result == passed && i+1 < len(keys) && strings.HasPrefix(keys[i+1], number+"/") {
			continue
		}
		rows = append(rows, *of[k])
	}
	return rows
}

// figure notes a figure in words. A database that a test names itself is no
// figure.
func (r *row) figure(key, value string) {
	if key == "database" {
		r.database = value
		return
	}
	r.figures = append(r.figures, strings.ReplaceAll(key, "-", " ")+" "+value)
}

// write prints the table.
func write(w io.Writer, rows []row) error {
	var b strings.Builder
	b.WriteString("| fault | shown | database | figures | result | s |\n| --- | --- | --- | --- | --- | ---: |\n")
	cell := strings.NewReplacer("|", `\|`, "\n", " ")
	for _, r := range rows {
		name := r.fault
		if name == "" {
			name = r.name
		}
		fmt.Fprintf(&b, "| %s | %s | %s | %s | %s | %.1f |\n", cell.Replace(name), cell.Replace(r.shown),
			r.database, cell.Replace(strings.Join(r.figures, ", ")), r.result, r.seconds)
	}
	_, err := io.WriteString(w, b.String())
	return err
}
