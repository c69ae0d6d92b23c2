// Package internal holds the tests of the tree as a whole: which package may
// import which, and what may lie in the repository at all.
package internal

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"go/parser"
	"go/token"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

const module = "brakewear"

// level gives each package its place. Imports go down only: a package imports
// none of its own level and none above. A new package must be given a line.
var level = map[string]int{
	"cmd/brakewear": 6,

	"api":              5,
	"dashboard":        5,
	"internal/jobs":    5,
	"internal/demo":    5,
	"internal/monitor": 5,

	"internal/web":      4,
	"internal/pipeline": 4,

	"internal/findings": 3,

	"internal/store":           3,
	"internal/mail":            2,
	"internal/mail/mailtest":   3, // stands above mail; see onlyFrom
	"internal/store/storetest": 4, // stands above store; see onlyFrom

	"ingest":                     2,
	"internal/plan":              2,
	"dashboard/chart":            2,
	"internal/auth":              2,
	"internal/openid":            2,
	"internal/openid/openidtest": 3, // stands above openid; see onlyFrom
	"internal/calendar":          2,
	"internal/guide":             2,
	"internal/rules":             2,
	"migrations":                 2,

	"internal/faults":   1,
	"internal/fleet":    1,
	"internal/pgserver": 1,
	"internal/units":    1,
	"forecast":          1,

	"internal/faultproxy": 1, // for tests

	"internal/golden": 0, // for tests
}

// onlyFrom narrows who may import a package of ours beyond its level. An empty
// list means test files alone.
var onlyFrom = map[string][]string{
	"migrations":                 {"internal/store"},
	"internal/faultproxy":        {},
	"internal/golden":            {},
	"internal/store/storetest":   {},
	"internal/mail/mailtest":     {},
	"internal/pgserver":          {"cmd/brakewear", "internal/store/storetest"},
	"internal/demo":              {"cmd/brakewear"},
	"internal/jobs":              {"cmd/brakewear"},
	"internal/monitor":           {"cmd/brakewear"},
	"internal/openid/openidtest": {},
	"internal/openid":            {"cmd/brakewear", "dashboard", "internal/pipeline", "internal/openid/openidtest"},
	"api":                        {"cmd/brakewear"},
	"dashboard":                  {"cmd/brakewear"},
}

// allowed says which of our packages may import a thing from outside. An entry
// covers the import paths below it; the longest entry decides. What is not
// listed here is for test files alone.
var allowed = map[string][]string{
	"database/sql":                        {"internal/store", "internal/store/storetest"},
	"database/sql/driver":                 {"internal/store", "internal/fleet"}, // fleet.Date scans itself
	"github.com/jmoiron/sqlx":             {"internal/store", "internal/store/storetest"},
	"github.com/lib/pq":                   {"internal/store", "internal/store/storetest"},
	"modernc.org/sqlite":                  {"internal/store", "internal/store/storetest"},
	"modernc.org/libc":                    {"internal/store"},
	"github.com/pressly/goose":            {"internal/store"},
	"github.com/gin-gonic/gin":            {"api", "cmd/brakewear", "dashboard", "internal/web"},
	"github.com/robfig/cron":              {"internal/jobs"},
	"gonum.org/v1/gonum":                  {"forecast"},
	"gonum.org/v1/plot":                   {"dashboard/chart"},
	"github.com/xuri/excelize":            {"ingest"},
	"golang.org/x/text":                   {"ingest"}, // Windows-1252 and UTF-16
	"github.com/alexedwards/argon2id":     {"internal/auth"},
	"github.com/trustelem/zxcvbn":         {"internal/auth"},
	"github.com/pquerna/otp":              {"internal/auth"},
	"github.com/boombuler/barcode":        {"internal/auth"},
	"github.com/alecthomas/kong":          {"cmd/brakewear"},
	"github.com/schollz/progressbar/v3":   {"cmd/brakewear"},
	"github.com/prometheus/client_golang": {"internal/monitor"},
	"github.com/arran4/golang-ical":       {"internal/calendar"},
	"github.com/coreos/go-oidc/v3":        {"internal/openid"},
	"golang.org/x/oauth2":                 {"internal/openid"},
	"github.com/oauth2-proxy/mockoidc":    {"internal/openid/openidtest"},
	"github.com/golang-jwt/jwt/v5":        {"internal/openid/openidtest"},
	"github.com/google/go-cmp":            {"internal/golden"},
	"github.com/wneessen/go-mail":         {"internal/mail"},
	"github.com/emersion/go-smtp":         {"internal/mail/mailtest"},
	"github.com/emersion/go-sasl":         {"internal/mail/mailtest"},
}

// pure packages answer the same to the same question: they read no file, no
// clock source of their own and no chance.
var pure = []string{"internal/fleet", "internal/guide", "forecast", "internal/plan", "dashboard/chart", "internal/auth", "internal/rules", "internal/findings"}

// impure is what a pure package must not import.
var impure = []string{"os", "os/exec", "net", "net/http", "math/rand", "math/rand/v2", "log", "log/slog"}

// forbiddenNames say nothing about what a package is for.
var forbiddenNames = []string{"util", "utils", "common", "helper", "helpers", "model", "models", "types", "misc", "base", "shared"}

// pkg is what the checks need of one package as `go list -json` tells it.
type pkg struct {
	ImportPath string
	Name       string
	Doc        string
	GoFiles    []string
	CgoFiles   []string
	Imports    []string
}

func (p pkg) path() string { return strings.TrimPrefix(p.ImportPath, module+"/") }

// code says whether p has files beside its tests.
func (p pkg) code() bool { return len(p.GoFiles)+len(p.CgoFiles) > 0 }

func TestImports(t *testing.T) {
	for _, fault := range checkImports(list(t)) {
		t.Error(fault)
	}
}

// checkImports returns what is wrong with the arrows, a sentence each.
func checkImports(pkgs []pkg) []string {
	var faults []string
	fault := func(format string, args ...any) { faults = append(faults, fmt.Sprintf(format, args...)) }
	for _, p := range pkgs {
		from := p.path()
		if slices.Contains(forbiddenNames, filepath.Base(from)) || slices.Contains(forbiddenNames, p.Name) {
			fault("%s: the name says nothing of what the package is for", from)
		}
		if !p.code() {
			continue
		}
		if _, ok := level[from]; !ok {
			fault("%s: has no place yet; give it a level in internal/imports_test.go", from)
			continue
		}
		for _, to := range p.Imports {
			if why := checkImport(from, to); why != "" {
				fault("%s imports %s: %s", from, strings.TrimPrefix(to, module+"/"), why)
			}
		}
	}
	return faults
}

// checkImport says why the package from may not import the path to, or "".
func checkImport(from, to string) string {
	if ours, ok := strings.CutPrefix(to, module+"/"); ok {
		list, narrowed := onlyFrom[ours]
		switch {
		case narrowed && len(list) == 0:
			return "it is for test files alone"
		case narrowed && !slices.Contains(list, from):
			return "only " + strings.Join(list, ", ") + " may"
		case level[ours] == 0:
			return "it has no place yet; give it a level in internal/imports_test.go"
		case level[ours] >= level[from]:
			return fmt.Sprintf("imports go down only, and it stands on level %d, the importer on %d", level[ours], level[from])
		}
		return ""
	}
	if slices.Contains(pure, from) && slices.Contains(impure, to) {
		return "the package is pure: what it needs comes in as an argument"
	}
	who, listed := permission(to)
	switch {
	case listed && !slices.Contains(who, from):
		return "only " + strings.Join(who, ", ") + " may"
	case !listed && !standard(to):
		return "no package has leave to use it; give it a line in internal/imports_test.go"
	}
	return ""
}

// permission finds the longest entry of allowed at or above path.
func permission(path string) (who []string, listed bool) {
	longest := -1
	for entry, list := range allowed {
		under := path == entry || strings.HasPrefix(path, entry+"/")
		if under && len(entry) > longest {
			who, listed, longest = list, true, len(entry)
		}
	}
	return who, listed
}

// standard says whether path is in the standard library: its first element
// has no dot.
func standard(path string) bool {
	first, _, _ := strings.Cut(path, "/")
	return !strings.Contains(first, ".")
}

// TestImportsCaught plants one wrong thing at a time in a made-up tree that is
// right without it.
func TestImportsCaught(t *testing.T) {
	clean := map[string][]string{
		"cmd/brakewear":     {"brakewear/api", "brakewear/dashboard", "brakewear/internal/jobs", "brakewear/internal/fleet", "github.com/alecthomas/kong", "os"},
		"api":               {"brakewear/internal/web", "brakewear/internal/store", "github.com/gin-gonic/gin"},
		"dashboard":         {"brakewear/dashboard/chart", "brakewear/internal/pipeline", "embed"},
		"dashboard/chart":   {"brakewear/forecast", "gonum.org/v1/plot/plotter"},
		"internal/jobs":     {"brakewear/internal/pipeline", "github.com/robfig/cron/v3"},
		"internal/pipeline": {"brakewear/internal/store", "brakewear/ingest", "brakewear/forecast"},
		"internal/web":      {"github.com/gin-gonic/gin", "net/http"},
		"internal/store":    {"brakewear/migrations", "brakewear/internal/fleet", "github.com/pressly/goose/v3", "database/sql"},
		"migrations":        {"embed"},
		"ingest":            {"brakewear/internal/fleet", "github.com/xuri/excelize/v2", "encoding/csv"},
		"internal/fleet":    {"database/sql/driver", "errors"},
		"forecast":          {"gonum.org/v1/gonum/mat", "math"},
	}
	for _, c := range []struct {
		name     string
		from, to string // import planted; to == "" plants the package alone
		want     string // blank: nothing wrong
	}{
		{name: "clean tree", from: "api", to: "fmt"},
		{"upwards", "internal/store", "brakewear/internal/pipeline", "internal/store imports internal/pipeline: imports go down only, and it stands on level 4, the importer on 3"},
		{"sideways", "ingest", "brakewear/dashboard/chart", "ingest imports dashboard/chart: imports go down only, and it stands on level 2, the importer on 2"},
		{"sideways at the bottom", "forecast", "brakewear/internal/fleet", "forecast imports internal/fleet: imports go down only, and it stands on level 1, the importer on 1"},
		{"pages from the API", "api", "brakewear/dashboard", "api imports dashboard: only cmd/brakewear may"},
		{"migrations from above", "cmd/brakewear", "brakewear/migrations", "cmd/brakewear imports migrations: only internal/store may"},
		{"test package in code", "api", "brakewear/internal/store/storetest", "api imports internal/store/storetest: it is for test files alone"},
		{"SQL in a page", "dashboard", "github.com/jmoiron/sqlx", "dashboard imports github.com/jmoiron/sqlx: only internal/store, internal/store/storetest may"},
		{"standard SQL in a page", "dashboard", "database/sql", "dashboard imports database/sql: only internal/store, internal/store/storetest may"},
		{"longest entry decides", "internal/store", "database/sql/driver", ""},
		{"router in the store", "internal/store", "github.com/gin-gonic/gin/binding", "internal/store imports github.com/gin-gonic/gin/binding: only api, cmd/brakewear, dashboard, internal/web may"},
		{"a name that only begins alike", "dashboard", "github.com/gin-gonic/gin-else", "dashboard imports github.com/gin-gonic/gin-else: no package has leave to use it; give it a line in internal/imports_test.go"},
		{"spreadsheets in a page", "dashboard", "github.com/xuri/excelize/v2", "dashboard imports github.com/xuri/excelize/v2: only ingest may"},
		{"numerics in the words", "internal/fleet", "gonum.org/v1/gonum/stat", "internal/fleet imports gonum.org/v1/gonum/stat: only forecast may"},
		{"file in the numerics", "forecast", "os", "forecast imports os: the package is pure: what it needs comes in as an argument"},
		{"chance in the numerics", "forecast", "math/rand/v2", "forecast imports math/rand/v2: the package is pure: what it needs comes in as an argument"},
		{"package without a place", "internal/lending", "fmt", "internal/lending: has no place yet; give it a level in internal/imports_test.go"},
		{"import of a package without a place", "api", "brakewear/internal/lending", "api imports internal/lending: it has no place yet; give it a level in internal/imports_test.go"},
		{"empty name", "internal/helpers", "", "internal/helpers: the name says nothing of what the package is for"},
	} {
		t.Run(c.name, func(t *testing.T) {
			var pkgs []pkg
			planted := false
			for path, imports := range clean {
				p := pkg{ImportPath: module + "/" + path, Name: filepath.Base(path), GoFiles: []string{"a.go"}, Imports: imports}
				if path == c.from {
					p.Imports = append(slices.Clone(imports), c.to)
					planted = true
				}
				pkgs = append(pkgs, p)
			}
			if !planted {
				p := pkg{ImportPath: module + "/" + c.from, Name: filepath.Base(c.from)}
				if c.to != "" {
					p.GoFiles, p.Imports = []string{"a.go"}, []string{c.to}
				}
				pkgs = append(pkgs, p)
			}
			if got := strings.Join(checkImports(pkgs), "\n"); got != c.want {
				t.Errorf("got %q, want %q", got, c.want)
			}
		})
	}
}

// bounds finds words that say what a package does not do. They show that
// somebody thought of it, not that it is well said.
var bounds = regexp.MustCompile(`(?i)\b(never|no|not|nothing|nobody|neither|none|without)\b`)

// TestPackageComments wants every package to say what it is for, and what it
// never does.
func TestPackageComments(t *testing.T) {
	for _, p := range list(t) {
		start := "Package " + p.Name + " "
		if p.Name == "main" {
			start = "Command " + filepath.Base(p.path()) + " "
		}
		if p.code() && !strings.HasPrefix(p.Doc, start) {
			t.Errorf("%s: no package comment that starts with %q", p.path(), start)
		}
		if p.code() && !bounds.MatchString(comment(t, p)) {
			t.Errorf("%s: the package comment does not say what the package never does", p.path())
		}
	}
}

// comment returns a package's whole comment; go list gives its first sentence.
func comment(t *testing.T, p pkg) string {
	t.Helper()
	var b strings.Builder
	for _, name := range p.GoFiles {
		f, err := parser.ParseFile(token.NewFileSet(), filepath.Join(root(t), p.path(), name), nil, parser.PackageClauseOnly|parser.ParseComments)
		if err != nil {
			t.Fatal(err)
		}
		b.WriteString(f.Doc.Text())
	}
	return b.String()
}

// list returns the packages of the module.
func list(t *testing.T) []pkg {
	t.Helper()
	watch(t)
	out := goOutput(t, "list", "-e", "-json=ImportPath,Name,Doc,GoFiles,CgoFiles,Imports", "./...")
	var pkgs []pkg
	for dec := json.NewDecoder(bytes.NewReader(out)); ; {
		var p pkg
		err := dec.Decode(&p)
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		pkgs = append(pkgs, p)
	}
	if len(pkgs) < 2 {
		t.Fatalf("go list found %d packages; is this the module's root? %s", len(pkgs), root(t))
	}
	return pkgs
}

// root returns the folder of go.mod.
func root(t *testing.T) string {
	t.Helper()
	dir, err := filepath.Abs("..")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(filepath.Join(dir, "go.mod")); err != nil {
		t.Fatal(err)
	}
	return dir
}

// watch looks at every Go file, so that the go command sees what these tests
// depend on and does not answer from its cache when another package changed.
func watch(t *testing.T) {
	t.Helper()
	err := filepath.WalkDir(root(t), func(path string, d os.DirEntry, err error) error {
		if err != nil {
			// Somebody's scratch file may go while we look.
			if errors.Is(err, os.ErrNotExist) {
				return nil
			}
			return err
		}
		if d.IsDir() && (d.Name() == ".git" || d.Name() == "bin" || d.Name() == "node_modules") {
			return filepath.SkipDir
		}
		if strings.HasSuffix(path, ".go") {
			os.Stat(path)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}
