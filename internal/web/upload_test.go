package web

import (
	"bytes"
	"io"
	"log/slog"
	"mime/multipart"
	"net/http"
	"net/http/httptest"
	"os"
	"testing"

	"github.com/gin-gonic/gin"
)

// A file that was sent as part of a form lies in a temporary one while it is read,
// and not after, whatever became of the request.
func TestUploadLeavesNothing(t *testing.T) {
	dir := t.TempDir()
	t.Setenv("TMPDIR", dir)
	var form bytes.Buffer
	w := multipart.NewWriter(&form)
	part, err := w.CreateFormFile("file", "readings.csv")
	if err == nil {
		_, err = part.Write(make([]byte, formMemory+1))
	}
	if err == nil {
		err = w.Close()
	}
	if err != nil {
		t.Fatal(err)
	}
	for name, then := range map[string]func() error{
		"taken":    func() error { return nil },
		"panicked": func() error { panic("as should never be") },
	} {
		t.Run(name, func(t *testing.T) {
			r := NewEngine(slog.New(slog.DiscardHandler))
			r.POST("/files", AllowBody(MaxFile), Handle(func(c *gin.Context) error {
				if _, err := c.FormFile("file"); err != nil {
					return err
				}
				if n := filesIn(t, dir); n != 1 {
					t.Errorf("got %d files while it is read, want 1", n)
				}
				return then()
			}))
			srv := httptest.NewServer(r)
			defer srv.Close()
			resp, err := http.Post(srv.URL+"/files", w.FormDataContentType(), bytes.NewReader(form.Bytes()))
			if err != nil {
				t.Fatal(err)
			}
			_, err = io.Copy(io.Discard, resp.Body)
			if err != nil || resp.Body.Close() != nil {
				t.Fatal(err)
			}
			srv.Close() // which waits for the request to end
			if n := filesIn(t, dir); n != 0 {
				t.Errorf("got %d files after it, want none", n)
			}
		})
	}
}

func filesIn(t *testing.T, dir string) int {
	t.Helper()
	files, err := os.ReadDir(dir)
	if err != nil {
		t.Error(err)
	}
	return len(files)
}
