package web

import (
	"net/http"
	"net/url"
	"strings"
	"time"

	"github.com/gin-gonic/gin"
)

// An errand is what a browser has begun to sign in with: its way to the provider
// and back, or a right password whose code is awaited. Its secret ties what comes
// to the browser that went.

// errandLife is how long somebody may take over it: to find the second factor.
const errandLife = 10 * time.Minute

// maxErrandNext bounds where an errand leads to, so that the cookie is taken.
const maxErrandNext = 1000

func errandCookie(r *http.Request) string { return cookieName(r) + "-errand" }

// SetErrand gives the browser the secret of an errand, and where to go after
// it; "" takes it back.
func SetErrand(c *gin.Context, secret, next string) {
	if len(next) > maxErrandNext {
		next = "/"
	}
	cookie := http.Cookie{
		Name:     errandCookie(c.Request),
		Value:    secret + "." + url.QueryEscape(next),
		Path:     "/",
		HttpOnly: true,
		Secure:   Secure(c.Request),
		SameSite: http.SameSiteLaxMode, // it comes along when the provider sends the browser back
		MaxAge:   int(errandLife.Seconds()),
	}
	if secret == "" {
		cookie.Value, cookie.MaxAge = "", -1
	}
	http.SetCookie(c.Writer, &cookie)
}

// Errand returns the secret of the browser's errand, "" when it is on none, and
// where to go after it.
func Errand(c *gin.Context) (secret, next string) {
	cookie, err := c.Request.Cookie(errandCookie(c.Request))
	if err != nil {
		return "", "/"
	}
	secret, next, _ = strings.Cut(cookie.Value, ".")
	if next, err = url.QueryUnescape(next); err != nil {
		next = "/"
	}
	return secret, Next(next)
}
