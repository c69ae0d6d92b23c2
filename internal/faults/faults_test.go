package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// The tests here are invented, and so is what go test tells of them.

const sample = `package a

import "testing"

// The process is killed by SIGKILL. Nothing of
// it shows.
//
// More of this.
func TestFaultKilled(t *testing.T) {}

func TestFaultBare(t *testing.T) {}

// No fault.
func TestOther(t *testing.T) {}

func (x y) TestFaultMethod() {}
`

func TestFind(t *testing.T) {
	root := t.TempDir()
	for _, name := range []string{"in/a/a_test.go", "in/a/a.go", "testdata/b_test.go", ".git/c_test.go"} {
		path := filepath.Join(root, name)
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(sample), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	got, err := find(root)
	if err != nil {
		t.Fatal(err)
	}
	want := []test{
		{"in/a", "TestFaultKilled", "The process is killed by SIGKILL.", "Nothing of it shows."},
		{"in/a", "TestFaultBare", "", ""},
	}
	if len(got) != 2 || got[0] != want[0] || got[1] != want[1] {
		t.Errorf("got %+v, want %+v", got, want)
	}
	if p := strings.Join(packages(got), " "); p != "./in/a" {
		t.Errorf("got packages %q", p)
	}
	if n := names(got); n != "^(TestFaultKilled|TestFaultBare)$" {
		t.Errorf("got names %q", n)
	}
}

func TestTable(t *testing.T) {
	tests := []test{
		{"in/a", "TestFaultKilled", "Killed.", "Nothing | shows."},
		{"in/a", "TestFaultBare", "", ""},
		{"b", "TestFaultKilled", "Of b.", ""},
		{"b", "TestFaultStuck", "Stuck.", ""},
		{"b", "TestFaultAfter", "After it.", ""},
	}
	const told = `{"Action":"run","Package":"example/in/a","Test":"TestFaultKilled/sqlite"}
{"Action":"attr","Package":"example/in/a","Test":"TestFaultKilled/sqlite/deep/er","Key":"rows-kept","Value":"7"}
{"Action":"attr","Package":"example/in/a","Test":"TestFaultKilled/sqlite","Key":"answer","Value":"1.2 s"}
{"Action":"fail","Package":"example/in/a","Test":"TestFaultKilled/sqlite/deep/er","Elapsed":9}
{"Action":"pass","Package":"example/in/a","Test":"TestFaultKilled/sqlite","Elapsed":1.25}
{"Action":"output","Package":"example/in/a","Test":"TestFaultKilled/postgres","Output":"it broke\n"}
{"Action":"fail","Package":"example/in/a","Test":"TestFaultKilled/postgres","Elapsed":2}
{"Action":"attr","Package":"example/in/a","Test":"TestFaultBare","Key":"database","Value":"both"}
{"Action":"skip","Package":"example/in/a","Test":"TestFaultBare","Elapsed":0}
{"Action":"pass","Package":"example/b","Test":"TestFaultKilled","Elapsed":3}
{"Action":"run","Package":"example/b","Test":"TestFaultStuck"}
{"Action":"pass","Package":"example/b","Test":"TestFaultNotOurs","Elapsed":3}
`
	rows, said, err := read(strings.NewReader(told), tests)
	if err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	if err := write(&b, rows); err != nil {
		t.Fatal(err)
	}
	want := `| fault | shown | database | figures | result | s |
| --- | --- | --- | --- | --- | ---: |
| Killed. | Nothing \| shows. | postgres |  | FAILED | 2.0 |
| Killed. | Nothing \| shows. | sqlite | rows kept 7, answer 1.2 s | passed | 1.2 |
| TestFaultBare |  | both |  | skipped | 0.0 |
| Of b. |  |  |  | passed | 3.0 |
| Stuck. |  |  |  | CUT SHORT | 0.0 |
| After it. |  |  |  | NOT RUN | 0.0 |
`
	if got := b.String(); got != want {
		t.Errorf("got\n%swant\n%s", got, want)
	}
	if said != "it broke\n" {
		t.Errorf("of the failures: got %q", said)
	}
}

// What go test itself says ends up in the exit code: here on a module whose
// one test fails, passes or is not there.
func TestRun(t *testing.T) {
	for name, c := range map[string]struct{ body, want, err string }{
		"passes":        {`t.Attr("seen", "3 rows")`, "| It breaks. | All is well. |  | seen 3 rows | passed |", ""},
		"fails":         {`t.Error("as it should")`, "| FAILED |", "as it should"},
		"skips":         {`t.Skip()`, "| skipped |", "no test ran"},
		"is not built":  {`nonsense`, "| NOT RUN |", "undefined: nonsense"},
		"is not wanted": {`} ; func TestOther(t *testing.T) { t.Error("ran")`, "| passed |", ""},
	} {
		t.Run(name, func(t *testing.T) {
			t.Chdir(t.TempDir())
			for file, text := range map[string]string{
				"go.mod":      "module brakewear\n\ngo 1.26\n",
				"a/a_test.go": "package a\n\nimport \"testing\"\n\n// It breaks. All is well.\nfunc TestFaultA(t *testing.T) { " + c.body + " }\n",
			} {
				if err := os.MkdirAll("a", 0o755); err != nil {
					t.Fatal(err)
				}
				if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
					t.Fatal(err)
				}
			}
			var out, errs strings.Builder
			err := run(nil, &out, &errs)
			if !strings.Contains(out.String(), c.want) {
				t.Errorf("got %q, want %q", out.String(), c.want)
			}
			if got := ""; err != nil {
				got = err.Error()
				if c.err == "" || !strings.Contains(got, c.err) {
					t.Errorf("got %q, want %q", got, c.err)
				}
			} else if c.err != "" {
				t.Errorf("got no error, want %q", c.err)
			}
		})
	}
}
