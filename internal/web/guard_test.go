package web

import (
	"context"
	"crypto/tls"
	"fmt"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/gin-gonic/gin"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
)

func TestNext(t *testing.T) {
	for _, c := range []struct{ path, want string }{
		{"/due?sort=km", "/due?sort=km"},
		{"/", "/"},
		{"", "/"},
		{"due", "/"},
		{"https://elsewhere.example/", "/"},
		{"//elsewhere.example/", "/"},
		{"///elsewhere.example/", "/"},
		{`/\elsewhere.example/`, "/"},
		{`\\elsewhere.example/`, "/"},
		{"/\t/elsewhere.example/", "/"},
		{"/due\r\nSet-Cookie: a=b", "/"},
		{"javascript:alert(1)", "/"},
		{"/%zz", "/"},
	} {
		if got := Next(c.path); got != c.want {
			t.Errorf("%q: got %q, want %q", c.path, got, c.want)
		}
	}
}

func TestSessionCookie(t *testing.T) {
	gin.SetMode(gin.ReleaseMode)
	for _, c := range []struct {
		name   string
		tls    bool // ended by us
		before bool // ended before us
		secret string
		want   http.Cookie
	}{
		{name: "in the clear", secret: "s", want: http.Cookie{Name: "brakewear", Value: "s", MaxAge: 14 * 24 * 3600}},
		{name: "TLS", tls: true, secret: "s", want: http.Cookie{Name: "__Host-brakewear", Value: "s", Secure: true, MaxAge: 14 * 24 * 3600}},
		{name: "TLS before us", before: true, secret: "s", want: http.Cookie{Name: "__Host-brakewear", Value: "s", Secure: true, MaxAge: 14 * 24 * 3600}},
		{name: "signing out", secret: "", want: http.Cookie{Name: "brakewear", MaxAge: -1}},
	} {
		r := gin.New()
		r.POST("/sign-in", func(gc *gin.Context) { SetSession(gc, c.secret) })
		var h http.Handler = r
		if c.before {
			h = OverTLS(r)
		}
		req := httptest.NewRequest(http.MethodPost, "/sign-in", nil)
		if c.tls {
			req.TLS = &tls.ConnectionState{}
		}
		w := httptest.NewRecorder()
		h.ServeHTTP(w, req)
		cookies := w.Result().Cookies()
		if len(cookies) != 1 {
			t.Fatalf("%s: got %d cookies", c.name, len(cookies))
		}
		got := cookies[0]
		if got.Name != c.want.Name || got.Value != c.want.Value || got.Secure != c.want.Secure || got.MaxAge != c.want.MaxAge {
			t.Errorf("%s: got %v, want %v", c.name, got, &c.want)
		}
		// RFC 6265bis, 4.1.3.2: __Host- wants Path=/ and no Domain.
		if !got.HttpOnly || got.SameSite != http.SameSiteLaxMode || got.Path != "/" || got.Domain != "" {
			t.Errorf("%s: got %v, want HttpOnly, SameSite=Lax, the whole of this host and no other", c.name, got)
		}
		if sent := w.Header().Get("Strict-Transport-Security") == "max-age=31536000; includeSubDomains"; sent != c.before {
			t.Errorf("%s: Strict-Transport-Security sent: got %t, want %t", c.name, sent, c.before)
		}
	}
}

// people is an Entry that knows one secret for each of its keys.
type people map[string]auth.Who

func (p people) SessionOf(_ context.Context, secret string) (auth.Who, error) {
	if who, ok := p[secret]; ok && who.Only == nil {
		return who, nil
	}
	return auth.Who{}, fleet.Strangerf("You are not signed in.")
}

func (p people) TokenOf(_ context.Context, secret string) (auth.Who, error) {
	if who, ok := p[secret]; ok && who.Only != nil {
		return who, nil
	}
	return auth.Who{}, fleet.Strangerf("The token is not known.")
}

// The guard asks for the right that the table gives, by the way in that the
// route takes: a token opens no page, and a session's secret is no token.
func TestGuard(t *testing.T) {
	r := NewEngine(slog.New(slog.DiscardHandler))
	r.Use(Guard(people{
		"ann": {Account: 1, Grants: []auth.Grant{{Role: auth.Technician}}},
		"bo":  {Account: 2, Grants: []auth.Grant{{Role: auth.Admin, FleetID: 1}}},
		"top": {Account: 3, Grants: []auth.Grant{{Role: auth.Admin}}},
		"key": {Account: 1, Token: 1, Grants: []auth.Grant{{Role: auth.Technician}}, Only: []auth.Right{auth.See}},
	}))
	r.GET("/help", func(c *gin.Context) { c.String(http.StatusOK, "%d", SignedIn(c).Account) })
	UseErrorPage(r, func(c *gin.Context, p Problem) ([]byte, error) {
		return fmt.Appendf(nil, "%d %s", SignedIn(c).Account, p.Detail), nil
	})
	for _, path := range []string{"/plan", "/work", "/account", SignInPath, "/api/v1/due", "/nobody-wrote-it-down"} {
		r.GET(path, func(c *gin.Context) { c.String(http.StatusOK, "in") })
	}
	for _, path := range []string{"/plan/propose", "/api/v1/proposals"} {
		r.POST(path, func(c *gin.Context) { c.String(http.StatusOK, "in") })
	}
	for _, c := range []struct {
		name, request, session, token string
		want                          int
		to                            string
	}{
		{name: "a page for all", request: "GET /sign-in", want: 200},
		{name: "a page, nobody", request: "GET /plan?week=2", want: 303, to: "/sign-in?next=%2Fplan%3Fweek%3D2"},
		{name: "a page, by session", request: "GET /plan", session: "ann", want: 200},
		{name: "a page, by a session that is not known", request: "GET /plan", session: "old", want: 303, to: "/sign-in?next=%2Fplan"},
		{name: "a page, by token", request: "GET /plan", token: "key", want: 303, to: "/sign-in?next=%2Fplan"},
		{name: "a form, nobody", request: "POST /plan/propose", want: 401},
		{name: "a form, without the right", request: "POST /plan/propose", session: "ann", want: 403},
		{name: "what takes everything, admin of a fleet", request: "GET /work", session: "bo", want: 403},
		{name: "what takes everything, admin of everything", request: "GET /work", session: "top", want: 200},
		{name: "one's own account", request: "GET /account", session: "ann", want: 200},
		{name: "a route that nobody wrote down", request: "GET /nobody-wrote-it-down", session: "bo", want: 403},
		{name: "the API, nobody", request: "GET /api/v1/due", want: 401},
		{name: "the API, by token", request: "GET /api/v1/due", token: "key", want: 200},
		{name: "the API, by a token that is not known", request: "GET /api/v1/due", token: "no", want: 401},
		{name: "the API, a session's secret as token", request: "GET /api/v1/due", token: "ann", want: 401},
		{name: "the API, by session", request: "GET /api/v1/due", session: "ann", want: 200},
		{name: "the API, a token without the right", request: "POST /api/v1/proposals", token: "key", want: 403},
		{name: "the API, a bad token with a good session", request: "GET /api/v1/due", token: "no", session: "ann", want: 401},
	} {
		method, path, _ := strings.Cut(c.request, " ")
		req := httptest.NewRequest(method, path, nil)
		if c.session != "" {
			req.AddCookie(&http.Cookie{Name: SessionCookie, Value: c.session})
		}
		if c.token != "" {
			req.Header.Set("Authorization", "Bearer "+c.token)
		}
		w := httptest.NewRecorder()
		r.ServeHTTP(w, req)
		if w.Code != c.want || w.Header().Get("Location") != c.to {
			t.Errorf("%s: got %d to %q, want %d to %q", c.name, w.Code, w.Header().Get("Location"), c.want, c.to)
		}
		if blames := strings.Contains(w.Body.String(), "this token may not"); blames != (c.token != "" && c.want == 403) {
			t.Errorf("%s: the answer is %q", c.name, w.Body)
		}
		if asks := w.Header().Get("WWW-Authenticate") != ""; asks != (c.want == 401 && strings.Contains(path, "/api/")) {
			t.Errorf("%s: WWW-Authenticate sent: %t (RFC 6750, 3)", c.name, asks)
		}
	}
	// Where nobody need be signed in, who is so is known: the page is theirs.
	for _, c := range []struct {
		path, session, want string
		status              int
	}{
		{"/help", "", "0", 200},
		{"/help", "bo", "2", 200},
		{"/help", "old", "0", 200},
		{"/no-such-page", "bo", "2 There is nothing at this address.", 404},
		{"/no-such-page", "", "0 There is nothing at this address.", 404},
	} {
		req := httptest.NewRequest(http.MethodGet, c.path, nil)
		req.Header.Set("Accept", "text/html")
		if c.session != "" {
			req.AddCookie(&http.Cookie{Name: SessionCookie, Value: c.session})
		}
		w := httptest.NewRecorder()
		r.ServeHTTP(w, req)
		if w.Code != c.status || w.Body.String() != c.want {
			t.Errorf("%s as %q: got %d %q, want %d %q", c.path, c.session, w.Code, w.Body, c.status, c.want)
		}
	}
}
