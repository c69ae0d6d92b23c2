package web

import (
	"context"
	"log/slog"
	"net/http"
	"net/url"
	"strings"

	"github.com/gin-gonic/gin"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
)

// Entry is where sessions and tokens are looked up. Both return
// fleet.ErrStranger for one that is not known.
type Entry interface {
	SessionOf(ctx context.Context, secret string) (auth.Who, error)
	TokenOf(ctx context.Context, secret string) (auth.Who, error)
}

// SignInPath is where a page sends who is not signed in.
const SignInPath = "/sign-in"

const (
	whoKey   = "web.who"
	scopeKey = "web.scope"
)

// Guard lets a request through to its handler when whoever sends it has the
// right that Routes asks for, on anything; what exactly it reaches, its scope
// says. A route that is not in Routes is for nobody.
func Guard(entry Entry) gin.HandlerFunc {
	return Handle(func(c *gin.Context) error {
		if c.FullPath() == "" {
			known(c, entry)
			return nil // leads nowhere, and says so
		}
		rule, ok := RuleOf(c.Request.Method, c.FullPath())
		if !ok {
			return fleet.Deniedf("nobody was given the right to do this")
		}
		if rule.Right == auth.Public {
			keepOrigin(c, auth.Who{})
			return nil
		}
		if rule.Right == auth.Open {
			keepOrigin(c, known(c, entry))
			return nil
		}
		who, err := identify(c, entry)
		if err != nil {
			return stranger(c, err)
		}
		c.Set(whoKey, who)
		keepOrigin(c, who)
		if rule.Right == auth.Own {
			return nil
		}
		sc := who.Scope(rule.Right)
		if !rule.Lets(who) {
			logger(c).LogAttrs(c.Request.Context(), slog.LevelWarn, "refused",
				slog.Int64("account", who.Account), slog.String("right", string(rule.Right)),
				slog.String("client", Client(c)), slog.String("request", RequestID(c)))
			if who.Token != 0 {
				return fleet.Deniedf("this token may not do this. It takes the right to %s: make a token that has it, on the page Your account", rightWords[rule.Right])
			}
			return fleet.Deniedf("your account may not do this. It takes the right to %s: ask whoever looks after the accounts", rightWords[rule.Right])
		}
		c.Set(scopeKey, sc)
		return nil
	})
}

// known returns who is signed in where nobody need be, so that the page is theirs;
// zero for a stranger, and where that cannot be looked up just now.
func known(c *gin.Context, entry Entry) auth.Who {
	who, err := identify(c, entry)
	if err != nil {
		return auth.Who{}
	}
	c.Set(whoKey, who)
	return who
}

// keepOrigin has the changes that the request makes tell where they come from.
func keepOrigin(c *gin.Context, who auth.Who) {
	o := auth.Origin{Via: auth.ViaPage, From: Client(c), Name: who.Name, Account: who.Account, Token: who.Token, Request: RequestID(c)}
	if api(c) {
		o.Via = auth.ViaAPI
	}
	c.Request = c.Request.WithContext(auth.WithOrigin(c.Request.Context(), o))
}

// rightWords follow "the right to".
var rightWords = map[auth.Right]string{
	auth.See:     "see fleets",
	auth.Measure: "enter measurements",
	auth.Correct: "correct what was entered",
	auth.Repair:  "work from job cards",
	auth.Plan:    "plan the workshops",
	auth.Decide:  "set rules and limits",
	auth.Run:     "run the installation's scheduled work",
	auth.People:  "look after accounts",
}

// RightWords says what a right is for, after "may".
func RightWords(r auth.Right) string { return rightWords[r] }

// identify returns who sends a request: by a token on the API, or by a session.
func identify(c *gin.Context, entry Entry) (auth.Who, error) {
	if token, ok := strings.CutPrefix(c.GetHeader("Authorization"), "Bearer "); ok && api(c) { // RFC 6750, 2.1
		return entry.TokenOf(c.Request.Context(), strings.TrimSpace(token))
	}
	cookie, err := c.Request.Cookie(cookieName(c.Request))
	if err != nil || cookie.Value == "" {
		return auth.Who{}, fleet.Strangerf("You are not signed in: sign in.")
	}
	return entry.SessionOf(c.Request.Context(), cookie.Value)
}

func api(c *gin.Context) bool { return strings.HasPrefix(c.Request.URL.Path, "/api/") }

// stranger sends a person who opens a page to sign in and come back, and
// answers everything else with the error.
func stranger(c *gin.Context, err error) error {
	if ProblemOf(err).Status != http.StatusUnauthorized {
		return err
	}
	if api(c) {
		c.Header("WWW-Authenticate", `Bearer realm="brakewear"`) // RFC 6750, 3
		return err
	}
	if c.Request.Method == http.MethodGet && !WantsJSON(c) {
		to := SignInPath
		if path := c.Request.URL.RequestURI(); path != "/" {
			to += "?next=" + url.QueryEscape(path)
		}
		c.Redirect(http.StatusSeeOther, to)
		c.Abort()
		return nil
	}
	return err
}

// Next returns where to go on: the path, if it is one of this site, or "/".
// "//host" and "/\host" are another host's.
func Next(path string) string {
	u, err := url.Parse(path)
	if err != nil || u.IsAbs() || u.Host != "" || !strings.HasPrefix(path, "/") || strings.HasPrefix(path, "//") || strings.ContainsAny(path, "\\\r\n") {
		return "/"
	}
	return path
}

// SignedIn returns who sends the request; zero on a public page.
func SignedIn(c *gin.Context) auth.Who {
	who, _ := c.Value(whoKey).(auth.Who)
	return who
}

// Scope returns the fleets and depots that the request's right reaches.
func Scope(c *gin.Context) auth.Scope {
	sc, _ := c.Value(scopeKey).(auth.Scope)
	return sc
}

// SessionCookie is the cookie of a session in the clear. Over TLS its name keeps
// other hosts of the domain, and pages in the clear, from setting it
// (RFC 6265bis, 4.1.3.2).
const (
	SessionCookie = "brakewear"
	secureCookie  = "__Host-brakewear"
)

const secureKey = contextKey("web.secure")

type contextKey string

// transportPolicy has browsers ask for this name and those below it over TLS
// alone, for a year (RFC 6797; OWASP ASVS 5.0, 3.4.1).
const transportPolicy = "max-age=31536000; includeSubDomains"

// OverTLS tells that requests come over TLS, ended before us or by us.
func OverTLS(h http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Strict-Transport-Security", transportPolicy)
		h.ServeHTTP(w, r.WithContext(context.WithValue(r.Context(), secureKey, true)))
	})
}

// Secure tells whether a request came over TLS, to us or to a proxy of ours.
func Secure(r *http.Request) bool { return r.TLS != nil || r.Context().Value(secureKey) == true }

func cookieName(r *http.Request) string {
	if Secure(r) {
		return secureCookie
	}
	return SessionCookie
}

// Remember has the browser keep a choice of its user's for a year.
func Remember(c *gin.Context, name, value string) {
	http.SetCookie(c.Writer, &http.Cookie{
		Name: cookieName(c.Request) + "-" + name, Value: value, Path: "/", MaxAge: 365 * 24 * 60 * 60,
		HttpOnly: true, Secure: Secure(c.Request), SameSite: http.SameSiteLaxMode,
	})
}

// Remembered returns the choice that Remember kept, "" for none.
func Remembered(c *gin.Context, name string) string {
	cookie, err := c.Request.Cookie(cookieName(c.Request) + "-" + name)
	if err != nil {
		return ""
	}
	return cookie.Value
}

// SetSession gives the browser a session's secret; "" takes it back. The
// cookie lasts as long as a session may at most, the session as its row says.
func SetSession(c *gin.Context, secret string) {
	cookie := http.Cookie{
		Name:     cookieName(c.Request),
		Value:    secret,
		Path:     "/",
		HttpOnly: true,
		Secure:   Secure(c.Request),
		SameSite: http.SameSiteLaxMode, // a link in a mail opens a page signed in
		MaxAge:   14 * 24 * 60 * 60,
	}
	if secret == "" {
		cookie.MaxAge = -1
	}
	http.SetCookie(c.Writer, &cookie)
}
