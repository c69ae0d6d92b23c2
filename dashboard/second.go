package dashboard

import (
	"errors"
	"net/http"

	"github.com/gin-gonic/gin"

	"brakewear/internal/fleet"
	"brakewear/internal/pipeline"
	"brakewear/internal/web"
)

// codePath is where the code is asked for after the password.
const codePath = "/sign-in/code"

// CodePage asks for the code of a second factor, and tells the app about it
// where it is the first.
type CodePage struct {
	Shell
	Name  string
	Fault string
	SetUp *pipeline.SetUp // nil = the app knows it
}

// SecondPage sets up a second factor of one's own.
type SecondPage struct {
	Shell
	Fault string
	SetUp *pipeline.SetUp
}

// RecoveryPage shows recovery codes, this once.
type RecoveryPage struct {
	Shell
	Codes []string
	Next  string // where to go on
}

// SecondView is the second factor on one's account's page.
type SecondView struct {
	Offered bool // there is a password that it stands beside
	On      bool
	Must    bool
	Since   string
	Left    string // recovery codes
}

func (d *Dashboard) registerSecond(r *gin.Engine) {
	r.GET(codePath, web.Handle(d.code))
	r.POST(codePath, web.Handle(d.giveCode))
	r.POST("/account/second", web.Handle(d.beginSecond))
	r.POST("/account/second/confirm", web.Handle(d.confirmSecond))
	r.POST("/account/second/codes", web.Handle(d.renewRecovery))
	r.POST("/account/second/end", web.Handle(d.endSecond))
	r.POST("/accounts/:id/second/end", web.Handle(d.endSecondOf))
}

// letIn sends the browser of who gave the password on: signed in, or to the
// code.
func (d *Dashboard) letIn(c *gin.Context, e pipeline.Entered, next string) {
	if e.Begun != "" {
		web.SetErrand(c, e.Begun, next)
		c.Redirect(http.StatusSeeOther, codePath)
		return
	}
	web.SetSession(c, e.Session)
	c.Redirect(http.StatusSeeOther, next)
}

func (d *Dashboard) code(c *gin.Context) error { return d.showCode(c, http.StatusOK, "") }

// showCode asks for the code, or for the password again where that is too long
// ago.
func (d *Dashboard) showCode(c *gin.Context, status int, fault string) error {
	begun, next := web.Errand(c)
	b, err := d.svc.BegunSignIn(c.Request.Context(), begun)
	if errors.Is(err, fleet.ErrStranger) {
		return d.notBegun(c, next, err)
	}
	if err != nil {
		return err
	}
	return d.send(c, status, "code", CodePage{Shell{Title: "Sign in"}, b.Name, fault, b.SetUp})
}

func (d *Dashboard) notBegun(c *gin.Context, next string, err error) error {
	web.SetErrand(c, "", "")
	return d.showSignIn(c, http.StatusUnauthorized, next, "", err.Error())
}

// giveCode signs in by the code.
func (d *Dashboard) giveCode(c *gin.Context) error {
	begun, next := web.Errand(c)
	session, recovery, err := d.svc.FinishSignIn(c.Request.Context(), begun, c.PostForm("code"), web.Origin(c), c.Request.UserAgent())
	switch _, wait := errors.AsType[*fleet.WaitError](err); {
	case wait:
		return d.showCode(c, http.StatusTooManyRequests, err.Error())
	case errors.Is(err, fleet.ErrStranger):
		return d.notBegun(c, next, err)
	case isKind(err, fleet.ErrDenied, fleet.ErrConflict):
		return d.showCode(c, http.StatusUnauthorized, capital(err.Error()))
	case err != nil:
		return err
	}
	web.SetErrand(c, "", "")
	web.SetSession(c, session)
	if len(recovery) > 0 {
		return d.send(c, http.StatusOK, "recovery", RecoveryPage{Shell{Title: "Recovery codes"}, recovery, next})
	}
	c.Redirect(http.StatusSeeOther, next)
	return nil
}

// secondView is what one's account's page says of the second factor.
func (d *Dashboard) secondView(c *gin.Context) (v SecondView, err error) {
	f, err := d.svc.DB.SecondOf(c.Request.Context(), web.SignedIn(c).Account)
	if err != nil {
		return v, err
	}
	v = SecondView{Offered: f.Password, On: f.On(), Must: d.svc.MustHaveSecond(f)}
	if f.On() {
		v.Since = reader(c).Day(fleet.DateOf(*f.ConfirmedAt))
		v.Left = plural(f.Recovery, "recovery code", "recovery codes")
	}
	return v, nil
}

func (d *Dashboard) beginSecond(c *gin.Context) error {
	s, err := d.svc.BeginSecond(c.Request.Context(), web.SignedIn(c), c.PostForm("old"))
	if err != nil {
		return d.accountDone(c, err, "")
	}
	return d.showSecond(c, http.StatusOK, s, "")
}

func (d *Dashboard) showSecond(c *gin.Context, status int, s *pipeline.SetUp, fault string) error {
	return d.send(c, status, "second", SecondPage{Shell{Title: "A second factor", Place: "account"}, fault, s})
}

func (d *Dashboard) confirmSecond(c *gin.Context) error {
	ctx, who := c.Request.Context(), web.SignedIn(c)
	// Before the codes are kept: an error behind that would leave nobody who has seen them.
	if err := d.renewSession(c); err != nil {
		return err
	}
	codes, err := d.svc.ConfirmSecond(ctx, who, c.PostForm("code"))
	if isKind(err, fleet.ErrDenied) {
		s, again := d.svc.SecondBegun(ctx, who)
		if again != nil {
			return d.accountDone(c, again, "")
		}
		return d.showSecond(c, http.StatusBadRequest, s, err.Error())
	}
	return d.recovery(c, codes, err)
}

func (d *Dashboard) renewRecovery(c *gin.Context) error {
	codes, err := d.svc.RenewRecovery(c.Request.Context(), web.SignedIn(c), c.PostForm("old"))
	return d.recovery(c, codes, err)
}

func (d *Dashboard) recovery(c *gin.Context, codes []string, err error) error {
	if err != nil {
		return d.accountDone(c, err, "")
	}
	return d.send(c, http.StatusOK, "recovery", RecoveryPage{Shell{Title: "Recovery codes", Place: "account"}, codes, "/account"})
}

func (d *Dashboard) endSecond(c *gin.Context) error {
	err := d.svc.EndSecond(c.Request.Context(), web.SignedIn(c), c.PostForm("old"))
	if err == nil {
		err = d.renewSession(c)
	}
	return d.accountDone(c, err, "The second factor is off: the password alone signs you in. Everywhere else you are signed out.")
}

// endSecondOf takes off the second factor of who lost it.
func (d *Dashboard) endSecondOf(c *gin.Context) error {
	id, err := web.PathID(c, "account")
	if err != nil {
		return err
	}
	return d.otherDone(c, d.svc.DB.EndSecond(c.Request.Context(), d.scope(c), d.who(c), id))
}
