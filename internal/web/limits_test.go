package web

import (
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/gin-gonic/gin"
)

// A request would never end. What it asks of the database ends when the time of
// its route is over.
func TestFaultRequestTime(t *testing.T) {
	r := NewEngine(slog.New(slog.DiscardHandler))
	left := Handle(func(c *gin.Context) error {
		end, ok := c.Request.Context().Deadline()
		c.String(http.StatusOK, "%t %.0f", ok, time.Until(end).Seconds())
		return nil
	})
	r.GET("/plan", left)
	r.GET("/due.csv", left)
	r.POST("/plan/propose", left)
	r.POST("/form", AllowBody(MaxBody), left)
	r.POST("/file", AllowBody(MaxFile), left)
	for _, c := range []struct {
		method, path string
		want         time.Duration
	}{
		{"GET", "/plan", RequestTime},
		{"GET", "/due.csv", FileTime},
		{"POST", "/plan/propose", FileTime},
		{"POST", "/form", RequestTime},
		{"POST", "/file", FileTime},
	} {
		w := httptest.NewRecorder()
		r.ServeHTTP(w, httptest.NewRequest(c.method, c.path, nil))
		if got, want := w.Body.String(), fmt.Sprintf("true %.0f", c.want.Seconds()); got != want {
			t.Errorf("%s %s: got a limit %s s, want %s s", c.method, c.path, got, want)
		}
	}
}

// Every file that is made of many rows has the time for it, and what is said
// to be long is there.
func TestLongRoutes(t *testing.T) {
	for route := range long {
		if method, path, _ := strings.Cut(route, " "); timeOf(method, path) != FileTime {
			t.Errorf("%s: is not long", route)
		} else if _, ok := RuleOf(method, path); !ok {
			t.Errorf("%s: there is no such route", route)
		}
	}
	for _, r := range Routes {
		if file := strings.HasSuffix(r.Path, ".csv") || strings.HasSuffix(r.Path, ".xlsx"); file && timeOf(r.Method, r.Path) != FileTime {
			t.Errorf("%s %s: a file, and has the time of a page", r.Method, r.Path)
		}
	}
}

// A client sends its form drop by drop. It is answered 408, and the line is
// closed.
func TestFaultSlowBody(t *testing.T) {
	t.Parallel()
	r := gin.New() // NewEngine, but that a request has less time
	r.Use(limitBody, func(c *gin.Context) { within(c, c.Request, 100*time.Millisecond) }, readForm)
	r.POST("/file", Handle(func(c *gin.Context) error {
		_, err := io.Copy(io.Discard, c.Request.Body)
		return err
	}))
	r.POST("/page", Handle(func(c *gin.Context) error {
		c.String(http.StatusOK, "%q was taken as it is", c.PostForm("thickness"))
		return nil
	}))
	srv := httptest.NewServer(r)
	t.Cleanup(srv.Close)
	for path, kind := range map[string]string{"/file": "text/csv", "/page": "application/x-www-form-urlencoded"} {
		t.Run(path, func(t *testing.T) {
			t.Parallel()
			conn, err := net.Dial("tcp", srv.Listener.Addr().String())
			if err != nil {
				t.Fatal(err)
			}
			defer conn.Close()
			if err := conn.SetDeadline(time.Now().Add(bodyGrace + 5*time.Second)); err != nil {
				t.Fatal(err)
			}
			if _, err := fmt.Fprintf(conn, "POST %s HTTP/1.1\r\nHost: test\r\nContent-Type: %s\r\nContent-Length: 1000\r\n\r\nthickness=", path, kind); err != nil {
				t.Fatal(err)
			}
			answer, err := io.ReadAll(conn)
			if err != nil || !strings.HasPrefix(string(answer), "HTTP/1.1 408 ") {
				t.Errorf("got %.100q, %v; want 408 and the end", answer, err)
			}
		})
	}
}

func TestBodyError(t *testing.T) {
	for name, c := range map[string]struct {
		err  error
		ours bool
	}{
		"none":      {nil, false},
		"cut short": {io.ErrUnexpectedEOF, false},
		"too large": {fmt.Errorf("multipart: %w", &http.MaxBytesError{Limit: 3}), true},
		"too slow":  {fmt.Errorf("multipart: %w", errSlowBody), true},
		"disk full": {fmt.Errorf("multipart: %w", syscall.ENOSPC), true},
	} {
		if got := BodyError(c.err) != nil; got != c.ours {
			t.Errorf("%s: got %t, want %t", name, got, c.ours)
		}
	}
}
