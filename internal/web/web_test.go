package web

import (
	"bytes"
	"compress/gzip"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"os"
	"strings"
	"syscall"
	"testing"
	"testing/fstest"

	"github.com/gin-gonic/gin"

	"brakewear/internal/fleet"
)

// testEngine returns an engine whose handlers fail in every way, and its log.
func testEngine(t *testing.T) (*gin.Engine, *bytes.Buffer) {
	t.Helper()
	var log bytes.Buffer
	r := NewEngine(slog.New(slog.NewTextHandler(&log, nil)))
	UseErrorPage(r, func(_ *gin.Context, p Problem) ([]byte, error) {
		return fmt.Appendf(nil, "<h1>%s</h1><p>%s</p>", p.Title, p.Detail), nil
	})
	for name, err := range map[string]error{
		"invalid":     fleet.Invalidf("line 3: want a date"),
		"notfound":    fmt.Errorf("vehicle: %w", fleet.NotFoundf("no vehicle 7")),
		"conflict":    fleet.Conflictf("already booked"),
		"unavailable": fmt.Errorf("dial 10.0.0.7: %w", fleet.ErrUnavailable),
		"full":        fmt.Errorf("write /var/lib/secret: %w", fleet.ErrFull),
		"disk":        fmt.Errorf("copy: %w", &os.PathError{Op: "write", Path: "/tmp/secret", Err: syscall.ENOSPC}),
		"readonly":    fmt.Errorf("note: %w", fleet.ErrReadOnly),
		"unsure":      fmt.Errorf("take in: %w", fleet.ErrUnsure),
		"damaged":     fmt.Errorf("read: %w", fleet.ErrDamaged),
		"cut":         fmt.Errorf("query: %w", errors.Join(context.DeadlineExceeded, os.ErrDeadlineExceeded)), // as the store cuts a line
		"deadline":    fmt.Errorf("query: %w", context.DeadlineExceeded),
		"gone":        context.Canceled,
		"secret":      errors.New("password of the database is 12345"),
	} {
		fail := Handle(func(*gin.Context) error { return err })
		r.GET("/"+name, fail)
		r.GET("/api/v1/"+name, fail)
	}
	r.GET("/panic", func(*gin.Context) { panic("secret of the panic") })
	r.GET("/half", Handle(func(c *gin.Context) error {
		c.Header("Content-Disposition", "attachment")
		if _, err := c.Writer.WriteString("half"); err != nil {
			return err
		}
		return errors.New("the other half is missing")
	}))
	r.GET("/ok", Handle(func(c *gin.Context) error {
		Send(c, http.StatusOK, "text/plain; charset=utf-8", bytes.Repeat([]byte("wear "), 1000))
		return nil
	}))
	r.GET("/stream", Handle(func(c *gin.Context) error {
		w := Stream(c)
		for range 1000 {
			if _, err := io.WriteString(w, "wear "); err != nil {
				return err
			}
		}
		return w.Close()
	}))
	r.GET("/stream/fails", Handle(func(c *gin.Context) error {
		Stream(c)
		return fleet.Invalidf("no such list")
	}))
	echo := Handle(func(c *gin.Context) error {
		n, err := io.Copy(io.Discard, c.Request.Body)
		if err != nil {
			return err
		}
		c.String(http.StatusOK, "%d", n)
		return nil
	})
	r.POST("/form", echo)
	r.POST("/page", Handle(func(c *gin.Context) error {
		c.String(http.StatusOK, c.PostForm("why"))
		return nil
	}))
	r.POST("/file", AllowBody(3*MaxBody), echo)
	return r, &log
}

func TestAnswers(t *testing.T) {
	r, log := testEngine(t)
	for _, c := range []struct {
		method, path string
		bodyBytes    int
		status       int
		body         string // part of the answer
		logged       string // part of the log beside the access line
	}{
		{"GET", "/invalid", 0, 400, "<p>line 3: want a date</p>", ""},
		{"GET", "/notfound", 0, 404, "<p>vehicle: no vehicle 7</p>", ""},
		{"GET", "/conflict", 0, 409, "already booked", ""},
		{"GET", "/unavailable", 0, 503, "try again", "10.0.0.7"},
		{"GET", "/full", 0, 507, "nothing was stored", "/var/lib"},
		{"GET", "/disk", 0, 507, "make room", "no space left"},
		{"GET", "/readonly", 0, 503, "only be read", "read-only"},
		{"GET", "/unsure", 0, 503, "not known whether this was stored", "take in"},
		{"GET", "/damaged", 0, 500, "is damaged", "restore the last backup"},
		{"GET", "/cut", 0, 503, "took too long", "query"},
		{"GET", "/deadline", 0, 503, "try again", "query"},
		{"GET", "/gone", 0, 499, "", ""},
		{"GET", "/secret", 0, 500, "has been logged", "12345"},
		{"GET", "/panic", 0, 500, "has been logged", "secret of the panic"},
		{"GET", "/nowhere", 0, 404, "nothing at this address", ""},
		{"POST", "/invalid", 0, 405, "does not take a POST", ""},
		{"GET", "/api/v1/invalid", 0, 400, `"detail":"line 3: want a date"`, ""},
		{"GET", "/api/v1/nowhere", 0, 404, `"status":404`, ""},
		{"GET", "/api/v1/secret", 0, 500, `"title":"Internal Server Error"`, "12345"},
		{"POST", "/form", MaxBody, 200, "1048576", ""},
		{"POST", "/form", MaxBody + 1, 413, "larger than the 1 MB", ""},
		{"POST", "/page", MaxBody, 200, "", ""},
		{"POST", "/page", MaxBody + 1, 413, "larger than the 1 MB", ""},
		{"POST", "/file", 3 * MaxBody, 200, "3145728", ""},
		{"POST", "/file", 3*MaxBody + 1, 413, "larger than the 3 MB", ""},
	} {
		t.Run(c.method+" "+c.path, func(t *testing.T) {
			log.Reset()
			w := httptest.NewRecorder()
			req := httptest.NewRequest(c.method, c.path, bytes.NewReader(make([]byte, c.bodyBytes)))
			if c.path == "/page" {
				req.Header.Set("Content-Type", "application/x-www-form-urlencoded")
			}
			r.ServeHTTP(w, req)
			if w.Code != c.status {
				t.Errorf("status: got %d, want %d", w.Code, c.status)
			}
			body := w.Body.String()
			if !strings.Contains(body, c.body) {
				t.Errorf("body: got %q, want it to contain %q", body, c.body)
			}
			for _, secret := range []string{"12345", "10.0.0.7", "secret"} {
				if strings.Contains(body, secret) {
					t.Errorf("body tells %q", secret)
				}
			}
			if !strings.Contains(log.String(), c.logged) {
				t.Errorf("log: got %q, want it to contain %q", log, c.logged)
			}
			if !strings.Contains(log.String(), "status="+fmt.Sprint(c.status)) {
				t.Errorf("access log: got %q, want status %d in it", log, c.status)
			}
			if again := w.Header().Get("Retry-After") != ""; again != (c.status == 503 || c.status == 507) {
				t.Errorf("status %d: got Retry-After %t", c.status, again)
			}
			if w.Header().Get("X-Request-Id") == "" {
				t.Error("no request id")
			}
			if strings.HasPrefix(c.path, "/api/") {
				if got := w.Header().Get("Content-Type"); got != "application/problem+json" { // RFC 9457, 3
					t.Errorf("content type: got %q", got)
				}
				var p Problem
				if err := json.Unmarshal(w.Body.Bytes(), &p); err != nil || p.Status != c.status || p.Type != "about:blank" {
					t.Errorf("problem: got %+v, %v", p, err)
				}
			}
		})
	}
}

func TestHalfAnAnswerIsCut(t *testing.T) {
	r, _ := testEngine(t)
	srv := httptest.NewServer(r)
	defer srv.Close()
	res, err := srv.Client().Get(srv.URL + "/half")
	if err == nil {
		_, err = io.ReadAll(res.Body)
		res.Body.Close()
	}
	if err == nil {
		t.Error("got a whole answer, want the line cut")
	}
}

func TestHeaders(t *testing.T) {
	r, _ := testEngine(t)
	w := httptest.NewRecorder()
	r.ServeHTTP(w, httptest.NewRequest("GET", "/ok", nil))
	for name, want := range map[string]string{
		"X-Content-Type-Options":     "nosniff",
		"Cross-Origin-Opener-Policy": "same-origin",
		"Cache-Control":              "no-store",
		"Referrer-Policy":            "same-origin",

		"Cross-Origin-Resource-Policy": "same-origin",
		"Access-Control-Allow-Origin":  "", // nobody else's pages
	} {
		if got := w.Header().Get(name); got != want {
			t.Errorf("%s: got %q, want %q", name, got, want)
		}
	}
	csp := w.Header().Get("Content-Security-Policy")
	for _, want := range []string{"default-src 'none'", "base-uri 'none'", "frame-ancestors 'none'"} {
		if !strings.Contains(csp, want) || strings.Contains(csp, "unsafe") {
			t.Errorf("content security policy: got %q, want %s in it", csp, want)
		}
	}
}

func TestProtect(t *testing.T) {
	r, _ := testEngine(t)
	h := Protect(r)
	for _, c := range []struct {
		method, path, site string
		want               int
	}{
		{"POST", "/form", "cross-site", 403},
		{"POST", "/form", "same-site", 403}, // another port or subdomain
		{"POST", "/form", "same-origin", 200},
		{"POST", "/form", "none", 200}, // typed in
		{"POST", "/form", "", 200},     // not a browser
		{"GET", "/ok", "cross-site", 200},
	} {
		req := httptest.NewRequest(c.method, c.path, nil)
		if c.site != "" {
			req.Header.Set("Sec-Fetch-Site", c.site)
		}
		w := httptest.NewRecorder()
		h.ServeHTTP(w, req)
		if w.Code != c.want {
			t.Errorf("%s %s from %q: got %d, want %d", c.method, c.path, c.site, w.Code, c.want)
		}
	}
}

func TestSendCompresses(t *testing.T) {
	r, _ := testEngine(t)
	plain := strings.Repeat("wear ", 1000)
	for _, c := range []struct {
		accept string
		zipped bool
	}{
		{"gzip, deflate, br", true},
		{"br;q=1.0, gzip;q=0.8", true},
		{"GZIP", true},
		{"gzip;q=0", false},
		{"br", false},
		{"", false},
	} {
		for path, long := range map[string]bool{"/ok": false, "/stream": true} {
			req := httptest.NewRequest("GET", path, nil)
			req.Header.Set("Accept-Encoding", c.accept)
			w := httptest.NewRecorder()
			r.ServeHTTP(w, req)
			if got := w.Header().Get("Content-Encoding") == "gzip"; got != c.zipped {
				t.Errorf("%s, Accept-Encoding %q: compressed %v, want %v", path, c.accept, got, c.zipped)
			}
			if got := w.Header().Get("Content-Length"); !long && got != fmt.Sprint(w.Body.Len()) {
				t.Errorf("%s, Accept-Encoding %q: Content-Length %s, body of %d", path, c.accept, got, w.Body.Len())
			}
			body := io.Reader(w.Body)
			if c.zipped {
				z, err := gzip.NewReader(w.Body)
				if err != nil {
					t.Fatal(err)
				}
				body = z
			}
			if got, err := io.ReadAll(body); err != nil || string(got) != plain {
				t.Errorf("%s, Accept-Encoding %q: got %d bytes, %v; want %d", path, c.accept, len(got), err, len(plain))
			}
		}
	}
	// Nothing of it was sent: the page that says why is none of its bytes.
	req := httptest.NewRequest("GET", "/stream/fails", nil)
	req.Header.Set("Accept-Encoding", "gzip")
	w := httptest.NewRecorder()
	r.ServeHTTP(w, req)
	if w.Code != http.StatusBadRequest || w.Header().Get("Content-Encoding") != "" || !strings.Contains(w.Body.String(), "no such list") {
		t.Errorf("got %d, %v, %q", w.Code, w.Header(), w.Body)
	}
}

func TestAssets(t *testing.T) {
	files := fstest.MapFS{
		"app.css":      {Data: []byte("a{}")},
		"img/icon.svg": {Data: []byte("<svg/>")},
	}
	a, err := NewAssets(files, "/static/")
	if err != nil {
		t.Fatal(err)
	}
	r := NewEngine(slog.New(slog.DiscardHandler))
	a.Register(r)
	for name, want := range map[string]string{"app.css": "text/css; charset=utf-8", "img/icon.svg": "image/svg+xml"} {
		path, err := a.Path(name)
		if err != nil {
			t.Fatal(err)
		}
		w := httptest.NewRecorder()
		r.ServeHTTP(w, httptest.NewRequest("GET", path, nil))
		if w.Code != 200 || w.Body.String() != string(files[name].Data) {
			t.Errorf("%s: got %d %q", path, w.Code, w.Body)
		}
		if got := w.Header().Get("Content-Type"); got != want {
			t.Errorf("%s: content type %q, want %q", path, got, want)
		}
		if got := w.Header().Get("Cache-Control"); !strings.Contains(got, "immutable") {
			t.Errorf("%s: Cache-Control %q", path, got)
		}
	}
	font := fstest.MapFS{"a.css": {Data: []byte(`src: url("font.woff2")`)}, "font.woff2": {Data: []byte("wOF2")}}
	f, err := NewAssets(font, "/static/")
	if err != nil {
		t.Fatal(err)
	}
	sheet, _ := f.Path("a.css")
	hashed, _ := f.Path("font.woff2")
	if got, want := string(f.files[strings.TrimPrefix(sheet, "/static/")].body), `src: url("`+strings.TrimPrefix(hashed, "/static/")+`")`; got != want {
		t.Errorf("a style sheet names %s, want %s", got, want)
	}
	delete(font, "font.woff2")
	if _, err := NewAssets(font, "/static/"); err == nil {
		t.Error("a style sheet may name a file that is not there")
	}
	before, _ := a.Path("app.css")
	files["app.css"].Data = []byte("b{}")
	b, err := NewAssets(files, "/static/")
	if err != nil {
		t.Fatal(err)
	}
	if after, _ := b.Path("app.css"); after == before {
		t.Errorf("another content has the same name %s", after)
	}
	if _, err := a.Path("none.css"); err == nil {
		t.Error("a file that is not there got an address")
	}
	for _, path := range []string{"/static/app.css", "/static/", "/static/../go.mod"} {
		w := httptest.NewRecorder()
		r.ServeHTTP(w, httptest.NewRequest("GET", path, nil))
		if w.Code != 404 && w.Code != 301 {
			t.Errorf("%s: got %d, want 404", path, w.Code)
		}
	}
}

// The secret of an address never reaches the log, whatever becomes of it.
func TestSecretsAreNotLogged(t *testing.T) {
	r, log := testEngine(t)
	r.GET(SecretPath+":file", Handle(func(c *gin.Context) error {
		switch c.Query("how") {
		case "panic":
			panic("broken")
		case "fail":
			return errors.New("broken")
		}
		c.Status(http.StatusOK)
		return nil
	}))
	for _, path := range []string{
		"/calendar/PSST.ics", "/calendar/PSST.ics?how=fail", "/calendar/PSST.ics?how=panic",
		"/calendar/PSST/more", "//calendar/PSST.ics", "/Calendar/PSST.ics", "/calendar/%50SST.ics",
	} {
		log.Reset()
		r.ServeHTTP(httptest.NewRecorder(), httptest.NewRequest(http.MethodGet, "http://brakes.example"+path, nil))
		if !strings.Contains(log.String(), "path=") || strings.Contains(log.String(), "PSST") {
			t.Errorf("%s: logged %s", path, log)
		}
	}
}

// A HEAD has the header of a GET and no body.
func TestHead(t *testing.T) {
	r := NewEngine(slog.New(slog.DiscardHandler))
	r.GET("/page", Handle(func(c *gin.Context) error {
		Send(c, http.StatusOK, "text/plain", []byte("words"))
		return nil
	}))
	srv := httptest.NewServer(Protect(r))
	defer srv.Close()
	res, err := http.Head(srv.URL + "/page")
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	body, err := io.ReadAll(res.Body)
	if err != nil || res.StatusCode != http.StatusOK || res.Header.Get("Content-Type") != "text/plain" || len(body) != 0 {
		t.Errorf("got %d, %q, %q, %v", res.StatusCode, res.Header.Get("Content-Type"), body, err)
	}
}
