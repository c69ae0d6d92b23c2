package dashboard

import (
	"errors"
	"fmt"
	"net/http"

	"github.com/gin-gonic/gin"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/openid"
	"brakewear/internal/pipeline"
	"brakewear/internal/web"
)

// elsewherePath is where one goes to sign in with the provider of OpenID
// Connect. It is a link and no form: a form may lead to this site only, which
// browsers hold against what it is redirected to, too (CSP Level 3, form-action).
const elsewherePath = "/sign-in/openid"

func (d *Dashboard) registerOpenID(r *gin.Engine) {
	r.GET(elsewherePath, web.Handle(d.elsewhere))
	r.GET(pipeline.BackPath, web.Handle(d.back))
	r.POST("/accounts/:id/openid/end", web.Handle(d.freeAccount))
}

var errNoProvider = fleet.NotFoundf("nobody signs in here by another service: sign in with e-mail and password")

// elsewhere sends the browser to the provider.
func (d *Dashboard) elsewhere(c *gin.Context) error {
	if d.svc.OpenID == nil {
		return errNoProvider
	}
	next, secret := web.Next(c.Query("next")), auth.NewSecret()
	address, err := d.svc.OpenID.Address(c.Request.Context(), secret)
	if err != nil {
		return d.turnedBack(c, next, err)
	}
	web.SetErrand(c, secret, next)
	c.Redirect(http.StatusSeeOther, address)
	return nil
}

// back signs in who comes back from the provider.
func (d *Dashboard) back(c *gin.Context) error {
	if d.svc.OpenID == nil {
		return errNoProvider
	}
	errand, next := web.Errand(c)
	web.SetErrand(c, "", "") // it counts once
	secret, err := d.svc.SignInElsewhere(c.Request.Context(), errand, c.Request.URL.Query(), web.Origin(c), c.Request.UserAgent())
	if err != nil {
		return d.turnedBack(c, next, err)
	}
	web.SetSession(c, secret)
	c.Redirect(http.StatusSeeOther, next)
	return nil
}

// turnedBack shows the page to sign in with why it did not work elsewhere; with
// a password it still may.
func (d *Dashboard) turnedBack(c *gin.Context, next string, err error) error {
	status, fault := http.StatusUnauthorized, ""
	name := d.svc.OpenID.Label()
	wait, waits := errors.AsType[*fleet.WaitError](err)
	switch {
	case errors.Is(err, openid.ErrUnreachable):
		status, fault = http.StatusServiceUnavailable, fmt.Sprintf("%s cannot be reached just now. Try again in a moment, or sign in with your password.", name)
		web.RetryLater(c)
	case errors.Is(err, openid.ErrDeclined):
		fault = fmt.Sprintf("You were not signed in at %s. Try again, or sign in with your password.", name)
	case errors.Is(err, openid.ErrRefused):
		fault = fmt.Sprintf("What %s sent back does not belong to this browser, or is too old. Try again.", name)
	case waits:
		status, fault = http.StatusTooManyRequests, wait.Why
	case isKind(err, fleet.ErrStranger, fleet.ErrConflict, fleet.ErrInvalid):
		fault = capital(err.Error())
	default:
		return err
	}
	web.LogRefused(c, "sign-in elsewhere", err)
	c.Header("Referrer-Policy", "no-referrer") // the address holds the code
	return d.showSignIn(c, status, next, "", fault)
}

// freeAccount lets go of who an account is to the provider.
func (d *Dashboard) freeAccount(c *gin.Context) error {
	id, err := web.PathID(c, "account")
	if err != nil {
		return err
	}
	return d.otherDone(c, d.svc.DB.FreeAccount(c.Request.Context(), d.scope(c), d.who(c), id))
}
