package dashboard

import (
	"compress/gzip"
	"io"
	"net/http"
	"net/http/httptest"
	"regexp"
	"strings"
	"testing"
)

// maxWeight is what a page may weigh on the wire when nothing of it is kept:
// itself, its style sheets, scripts and the font, compressed. It is some three
// seconds of a slow phone's network.
const maxWeight = 150_000

// linked finds what a page loads.
var linked = regexp.MustCompile(`(?:href|src)="(/static/[^"]+)"`)

// TestPagesAreLight weighs every page.
func TestPagesAreLight(t *testing.T) {
	w := island(t)
	weights := map[string]int{}
	get := func(path string) (weight int, body []byte) {
		req := httptest.NewRequest(http.MethodGet, path, nil)
		req.Header.Set("Accept-Encoding", "gzip")
		rec := httptest.NewRecorder()
		w.handler.ServeHTTP(rec, req)
		weight, body = rec.Body.Len(), rec.Body.Bytes()
		if rec.Header().Get("Content-Encoding") == "gzip" {
			z, err := gzip.NewReader(rec.Body)
			if err != nil {
				t.Fatal(err)
			}
			if body, err = io.ReadAll(z); err != nil {
				t.Fatal(err)
			}
		}
		return weight, body
	}
	for _, p := range everyPage(t) {
		path, _, _ := strings.Cut(p.path, "#")
		total, body := get(path)
		page := total
		seen := map[string]bool{}
		for _, m := range linked.FindAllSubmatch(body, -1) {
			path := string(m[1])
			if seen[path] {
				continue
			}
			seen[path] = true
			if weights[path] == 0 {
				weights[path], _ = get(path)
			}
			total += weights[path]
		}
		if len(seen) < 4 {
			t.Errorf("%s: loads %d files, want the font, a style sheet and scripts among them", p.name, len(seen))
		}
		t.Logf("%-18s %4d kB, %3d kB of it the page itself", p.name, total>>10, page>>10)
		if total > maxWeight {
			t.Errorf("%s weighs %d bytes, want at most %d", p.name, total, maxWeight)
		}
	}
}
