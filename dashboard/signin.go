package dashboard

import (
	"errors"
	"net/http"
	"net/url"

	"github.com/gin-gonic/gin"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/web"
)

// SignInPage is where people sign in.
type SignInPage struct {
	Shell
	Next  string // where to go then
	Email Field
	Fault string
	Mails bool // a link can be sent by e-mail
	// Elsewhere is what one can sign in with instead, and where; blank: nothing.
	Elsewhere, ElsewhereLink string
	Demo                     []DemoAccount
}

// DemoAccount is an account of the demo, which anybody may use.
type DemoAccount struct {
	Role, Name, Email, Password, Does string
}

// MailLinkPage asks for a link by e-mail.
type MailLinkPage struct {
	Shell
	Email Field
	Sent  bool
}

// LinkPage is where a password is chosen.
type LinkPage struct {
	Shell
	Link, Name, Email string
	Least             int // characters
	Fault             string
}

func (d *Dashboard) registerSignIn(r *gin.Engine) {
	r.GET(web.SignInPath, web.Handle(d.signIn))
	r.POST(web.SignInPath, web.Handle(d.enter))
	r.GET("/sign-in/link", web.Handle(d.mailLink))
	r.POST("/sign-in/link", web.Handle(d.sendLink))
	r.GET("/link/:secret", web.Handle(d.link))
	r.POST("/link/:secret", web.Handle(d.useLink))
	r.POST("/sign-out", web.Handle(d.signOut))
	d.registerOpenID(r)
	d.registerSecond(r)
	d.registerAccounts(r)
}

func (d *Dashboard) signIn(c *gin.Context) error {
	return d.showSignIn(c, http.StatusOK, web.Next(c.Query("next")), "", "")
}

func (d *Dashboard) showSignIn(c *gin.Context, status int, next, email, fault string) error {
	p := SignInPage{
		Shell: Shell{Title: "Sign in"},
		Next:  next,
		Email: Field{Name: "email", Label: "E-mail", Value: email, Type: "email"},
		Fault: fault,
		Mails: d.svc.Mail != nil && d.svc.URL != "",
		Demo:  d.Demo,
	}
	if d.svc.OpenID != nil {
		p.Elsewhere, p.ElsewhereLink = d.svc.OpenID.Label(), elsewherePath+"?next="+url.QueryEscape(next)
	}
	return d.send(c, status, "signin", p)
}

// enter signs in.
func (d *Dashboard) enter(c *gin.Context) error {
	next, email := web.Next(c.PostForm("next")), c.PostForm("email")
	entered, err := d.svc.SignIn(c.Request.Context(), email, c.PostForm("password"), web.Origin(c), c.Request.UserAgent())
	if _, wait := errors.AsType[*fleet.WaitError](err); wait {
		return d.showSignIn(c, http.StatusTooManyRequests, next, email, err.Error())
	}
	if errors.Is(err, fleet.ErrStranger) {
		return d.showSignIn(c, http.StatusUnauthorized, next, email, err.Error())
	}
	if err != nil {
		return err
	}
	d.letIn(c, entered, next)
	return nil
}

func (d *Dashboard) signOut(c *gin.Context) error {
	if err := d.svc.DB.EndSession(c.Request.Context(), web.SignedIn(c)); err != nil {
		return err
	}
	web.SetSession(c, "")
	// Not "storage": readings that wait for a network lie there.
	c.Header("Clear-Site-Data", `"cache"`)
	c.Redirect(http.StatusSeeOther, web.SignInPath)
	return nil
}

func (d *Dashboard) mailLink(c *gin.Context) error { return d.showMailLink(c, false) }

func (d *Dashboard) showMailLink(c *gin.Context, sent bool) error {
	return d.send(c, http.StatusOK, "maillink", MailLinkPage{
		Shell: Shell{Title: "A new password"},
		Email: Field{Name: "email", Label: "E-mail", Type: "email"},
		Sent:  sent,
	})
}

func (d *Dashboard) sendLink(c *gin.Context) error {
	if err := d.svc.MailLink(c.Request.Context(), c.PostForm("email"), web.Origin(c)); err != nil {
		return err
	}
	return d.showMailLink(c, true)
}

func (d *Dashboard) link(c *gin.Context) error { return d.showLink(c, http.StatusOK, "") }

func (d *Dashboard) showLink(c *gin.Context, status int, fault string) error {
	name, email, err := d.svc.DB.LinkOf(c.Request.Context(), c.Param("secret"))
	if err != nil {
		return err
	}
	c.Header("Referrer-Policy", "no-referrer")
	return d.send(c, status, "link", LinkPage{Shell{Title: "Choose a password"}, c.Request.URL.Path, name, email, auth.MinPassword, fault})
}

func (d *Dashboard) useLink(c *gin.Context) error {
	if c.PostForm("password") != c.PostForm("again") {
		return d.showLink(c, http.StatusBadRequest, "The two are not the same: type it again.")
	}
	entered, err := d.svc.UseLink(c.Request.Context(), c.Param("secret"), c.PostForm("password"), c.Request.UserAgent())
	if isKind(err, fleet.ErrInvalid) {
		return d.showLink(c, http.StatusBadRequest, capital(err.Error()))
	}
	if err != nil {
		return err
	}
	d.letIn(c, entered, "/")
	return nil
}
