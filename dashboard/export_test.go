package dashboard

import (
	"errors"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"slices"
	"strings"
	"testing"

	"github.com/gin-gonic/gin"
)

// A large workbook is written by way of a temporary file, of which nothing is left
// when it comes to nothing in between.
func TestExportGivenUp(t *testing.T) {
	d, err := New(empty(t).svc)
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	t.Setenv("TMPDIR", dir)
	files := func() int {
		all, err := os.ReadDir(dir)
		if err != nil {
			t.Fatal(err)
		}
		return len(all)
	}
	c, _ := gin.CreateTestContext(httptest.NewRecorder())
	c.Request = httptest.NewRequest(http.MethodGet, "/due.xlsx", nil)
	gone := errors.New("who asked has gone")
	long := strings.Repeat("x", 10_000)
	err = d.export(c, "to-book", []string{"a"}, func(row func(...any) error) error {
		for n := 0; files() == 0; n++ {
			if n > 10_000 { // 100 MB; the library takes a file from 16 MB on
				t.Fatal("no temporary file: the test shows nothing")
			}
			if err := row(long); err != nil {
				return err
			}
		}
		return gone
	})
	if !errors.Is(err, gone) || files() != 0 {
		t.Errorf("got %v and %d files left, want none", err, files())
	}
}

// A list that comes in pages is handed on row by row, until a row or a page fails.
func TestEachOfPages(t *testing.T) {
	pages := map[string][]int{"": {1, 2}, "2": {3, 4}, "4": {5}}
	for _, c := range []struct {
		name    string
		without string // this page
		stop    int    // at this row
		want    []int
		err     string
	}{
		{"all", "none", 0, []int{1, 2, 3, 4, 5}, ""},
		{"a row fails", "none", 4, []int{1, 2, 3}, "no row"},
		{"a page fails", "4", 0, []int{1, 2, 3, 4}, "no page"},
	} {
		var got []int
		err := eachOfPages(func(after string) ([]int, string, error) {
			if after == c.without {
				return nil, "", errors.New("no page")
			}
			rows := pages[after]
			if len(rows) < 2 {
				return rows, "", nil
			}
			return rows, fmt.Sprint(rows[1]), nil
		}, func(x *int) error {
			if *x == c.stop {
				return errors.New("no row")
			}
			got = append(got, *x)
			return nil
		})
		if said := fmt.Sprint(err); !slices.Equal(got, c.want) || c.err == "" != (err == nil) || c.err != "" && said != c.err {
			t.Errorf("%s: got %d, %v, want %d, %q", c.name, got, err, c.want, c.err)
		}
	}
}
