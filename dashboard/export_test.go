package dashboard

import (
	"errors"
	"net/http"
	"net/http/httptest"
	"os"
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
