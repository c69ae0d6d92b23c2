package internal

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"path/filepath"
	"strings"
	"testing"
)

// makesScopes finds the places in a file that make a scope out of nothing.
func makesScopes(name string, src any) (at []string, err error) {
	set := token.NewFileSet()
	file, err := parser.ParseFile(set, name, src, parser.SkipObjectResolution)
	if err != nil {
		return nil, err
	}
	ast.Inspect(file, func(n ast.Node) bool {
		sel, ok := n.(*ast.SelectorExpr)
		if !ok || sel.Sel.Name != "AllFleets" && sel.Sel.Name != "ScopeOf" {
			return true
		}
		if x, ok := sel.X.(*ast.Ident); ok && x.Name == "auth" {
			at = append(at, set.Position(sel.Pos()).String())
		}
		return true
	})
	return at, nil
}

// TestScopesComeFromSignIn: what answers requests takes their scopes from who
// signed in, and makes none of its own.
func TestScopesComeFromSignIn(t *testing.T) {
	for _, dir := range []string{"../api", "../dashboard", "web"} {
		err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
				return err
			}
			at, err := makesScopes(path, nil)
			for _, a := range at {
				t.Errorf("%s: a request's scope comes from web.Scope alone", a)
			}
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	got, err := makesScopes("x.go", "package x\nvar a, b = auth.AllFleets(), auth.ScopeOf(nil, nil)")
	if err != nil || len(got) != 2 {
		t.Errorf("two places: got %q, %v", got, err)
	}
}
