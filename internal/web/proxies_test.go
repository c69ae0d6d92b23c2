package web

import (
	"bytes"
	"errors"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/gin-gonic/gin"

	"brakewear/internal/fleet"
)

func TestParseProxies(t *testing.T) {
	for _, c := range []struct{ list, want string }{
		{"", ""},
		{"127.0.0.1", "127.0.0.1/32"},
		{"10.1.2.3/16, ::1", "10.1.0.0/16 ::1/128"},
		{"2001:db8::/32", "2001:db8::/32"},
		{"10.0.0.0/33", "error"},
		{"proxy.example", "error"},
		{"10.0.0.1:80", "error"},
		{"fe80::1%eth0", "error"},
		{"::ffff:10.0.0.1", "error"},
		{"0.0.0.0/0", "error"},
		{"10.0.0.1,::/0", "error"},
		{"10.0.0.1,", "error"},
	} {
		var list []string
		if c.list != "" {
			list = strings.Split(c.list, ",")
		}
		proxies, err := ParseProxies(list)
		var got []string
		for _, p := range proxies {
			got = append(got, p.String())
		}
		if c.want == "error" {
			if !errors.Is(err, fleet.ErrInvalid) {
				t.Errorf("%q: got %v, %v; want ErrInvalid", c.list, got, err)
			}
		} else if err != nil || strings.Join(got, " ") != c.want {
			t.Errorf("%q: got %v, %v; want %s", c.list, got, err, c.want)
		}
	}
}

// Addresses are those of RFC 5737 and RFC 3849, which are nobody's.
func TestTrustedProxies(t *testing.T) {
	var log bytes.Buffer
	r := NewEngine(slog.New(slog.NewTextHandler(&log, nil)))
	proxies, err := ParseProxies([]string{"10.1.0.0/16", "2001:db8:1::/48"})
	if err != nil {
		t.Fatal(err)
	}
	TrustProxies(r, proxies)
	r.GET("/", func(c *gin.Context) {
		SetSession(c, "secret")
		c.String(http.StatusOK, "%s %s", Client(c), Origin(c))
	})
	for _, c := range []struct {
		name, peer   string
		forwarded    []string // lines of X-Forwarded-For
		proto        string
		want, origin string
		secure       bool
	}{
		{"a stranger says nothing", "192.0.2.1:5", nil, "", "192.0.2.1", "192.0.2.1", false},
		{"a stranger gives out to be another", "192.0.2.1:5", []string{"203.0.113.9"}, "https", "192.0.2.1", "192.0.2.1", false},
		{"a stranger gives out to be a proxy", "192.0.2.1:5", []string{"203.0.113.9, 10.1.0.1"}, "https", "192.0.2.1", "192.0.2.1", false},
		{"a proxy says who", "10.1.0.1:5", []string{"203.0.113.9"}, "https", "203.0.113.9", "203.0.113.9", true},
		{"a client wrote to the left", "10.1.0.1:5", []string{"198.51.100.7, 203.0.113.9"}, "http", "203.0.113.9", "203.0.113.9", false},
		{"a client wrote a line of its own", "10.1.0.1:5", []string{"198.51.100.7", "203.0.113.9"}, "", "203.0.113.9", "203.0.113.9", false},
		{"a client wrote nonsense", "10.1.0.1:5", []string{"'; drop table, 203.0.113.9"}, "", "203.0.113.9", "203.0.113.9", false},
		{"a client gives out to be a proxy", "10.1.0.1:5", []string{"10.1.0.7, 203.0.113.9"}, "", "203.0.113.9", "203.0.113.9", false},
		{"two proxies in a row", "10.1.0.1:5", []string{"198.51.100.7, 203.0.113.9, 10.1.0.2"}, "https", "203.0.113.9", "203.0.113.9", true},
		{"a proxy says nothing", "10.1.0.1:5", nil, "", "10.1.0.1", "10.1.0.1", false},
		{"a proxy says nonsense", "10.1.0.1:5", []string{"203.0.113.9, unknown"}, "", "10.1.0.1", "10.1.0.1", false},
		{"another header", "10.1.0.1:5", []string{""}, "", "10.1.0.1", "10.1.0.1", false},
		{"a proxy by IPv6", "[2001:db8:1::2]:5", []string{"2001:db8:2:3:4:5:6:7"}, "https", "2001:db8:2:3:4:5:6:7", "2001:db8:2:3::/64", true},
		{"IPv4 as IPv6 writes it", "[::ffff:10.1.0.1]:5", []string{"203.0.113.9"}, "https", "203.0.113.9", "203.0.113.9", true},
		{"with a zone", "[fe80::1:2%eth0]:5", nil, "", "fe80::1:2%eth0", "fe80::/64", false},
	} {
		t.Run(c.name, func(t *testing.T) {
			log.Reset()
			req := httptest.NewRequest("GET", "/", nil)
			req.RemoteAddr = c.peer
			req.Header["X-Forwarded-For"] = c.forwarded
			req.Header.Set("X-Forwarded-Proto", c.proto)
			req.Header.Set("X-Real-Ip", "198.51.100.99")
			req.Header.Set("Forwarded", "for=198.51.100.99")
			w := httptest.NewRecorder()
			r.ServeHTTP(w, req)
			if got, want := w.Body.String(), c.want+" "+c.origin; got != want {
				t.Errorf("client and origin: got %q, want %q", got, want)
			}
			if !strings.Contains(log.String(), "client="+c.want+" ") {
				t.Errorf("log: got %q, want client=%s", log.String(), c.want)
			}
			cookie := w.Result().Cookies()[0]
			if want := map[bool]string{true: secureCookie, false: SessionCookie}[c.secure]; cookie.Secure != c.secure || cookie.Name != want {
				t.Errorf("cookie: got %q, secure %v; want %q", cookie.Name, cookie.Secure, want)
			}
		})
	}
}
