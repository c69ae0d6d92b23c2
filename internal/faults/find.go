package main

import (
	"go/ast"
	"go/doc"
	"go/parser"
	"go/token"
	"io/fs"
	"path/filepath"
	"slices"
	"strings"
)

// prefix begins the name of every test that shows a fault.
const prefix = "TestFault"

// test is one that shows a fault.
type test struct {
	pkg, name    string // the folder, from the module's root
	fault, shown string // of its comment: the first sentence, and the rest
}

// find returns the tests in the module at root, in the order of their files.
func find(root string) ([]test, error) {
	var tests []test
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() && (d.Name() == "testdata" || d.Name() == "bin" || len(d.Name()) > 1 && d.Name()[0] == '.') {
			return filepath.SkipDir
		}
		if !strings.HasSuffix(path, "_test.go") {
			return nil
		}
		file, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.ParseComments|parser.SkipObjectResolution)
		if err != nil {
			return err
		}
		dir, err := filepath.Rel(root, filepath.Dir(path))
		if err != nil {
			return err
		}
		for _, decl := range file.Decls {
			if f, ok := decl.(*ast.FuncDecl); ok && f.Recv == nil && strings.HasPrefix(f.Name.Name, prefix) {
				fault, shown := sentences(f.Doc.Text())
				tests = append(tests, test{filepath.ToSlash(dir), f.Name.Name, fault, shown})
			}
		}
		return nil
	})
	return tests, err
}

// sentences divides a comment's first paragraph into its first sentence and
// the rest.
func sentences(comment string) (first, rest string) {
	paragraph, _, _ := strings.Cut(comment, "\n\n")
	words := strings.Join(strings.Fields(paragraph), " ")
	first = new(doc.Package).Synopsis(words)
	return first, strings.TrimSpace(strings.TrimPrefix(words, first))
}

// packages returns the folders that the tests are in, as go test takes them.
func packages(tests []test) []string {
	var out []string
	for _, t := range tests {
		if dir := "./" + t.pkg; !slices.Contains(out, dir) {
			out = append(out, dir)
		}
	}
	return out
}

// names returns a pattern that matches just the tests.
func names(tests []test) string {
	var out []string
	for _, t := range tests {
		out = append(out, t.name)
	}
	return "^(" + strings.Join(out, "|") + ")$"
}
