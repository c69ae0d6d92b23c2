package dashboard

import (
	"cmp"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/mail"
	"brakewear/internal/store"
	"brakewear/internal/web"
)

// AccountPage is one's own account.
type AccountPage struct {
	Shell
	Name, Email Field
	Roles       []string
	Least       int // characters of a password
	Fault, Done string
	Sessions    []SessionRow
	Tokens      []TokenRow
	Rights      []Choice
	TokenName   Field
	Reader      ReaderForm
	Second      SecondView
	Until       Field
	Secret      string // of the token just made, shown this once
}

// SessionRow is a browser one is signed in with.
type SessionRow struct {
	Browser, Since, Seen string
	Here                 bool
}

// TokenRow is a token for a program.
type TokenRow struct {
	Name, Rights, Until, Used, End string
}

func (d *Dashboard) account(c *gin.Context) error {
	p := AccountPage{}
	if c.Query("done") == "units" {
		p.Done = "Kept: from now on your pages say it like this."
	}
	return d.showAccount(c, http.StatusOK, p)
}

// showAccount fills p in and sends it.
func (d *Dashboard) showAccount(c *gin.Context, status int, p AccountPage) error {
	tell := reader(c)
	ctx, who := c.Request.Context(), web.SignedIn(c)
	p.Shell = Shell{Title: "Your account", Place: "account"}
	p.Least = auth.MinPassword
	p.Name = Field{Name: "name", Label: "Name", Value: who.Name}
	p.Email = Field{Name: "email", Label: "E-mail", Value: who.Email, Type: "email"}
	ss, err := d.svc.DB.Sessions(ctx, who)
	if err != nil {
		return err
	}
	for _, s := range ss {
		p.Sessions = append(p.Sessions, SessionRow{s.Browser, tell.At(s.StartedAt), tell.At(s.SeenAt), s.ID == who.Session})
	}
	ks, err := d.svc.DB.Tokens(ctx, who)
	if err != nil {
		return err
	}
	for _, k := range ks {
		row := TokenRow{Name: k.Name, Until: tell.DayAt(k.Until), Used: "not yet", End: "/account/tokens/" + strconv.FormatInt(k.ID, 10) + "/end"}
		if k.UsedAt != nil {
			row.Used = tell.DayAt(*k.UsedAt)
		}
		var words []string
		for _, r := range k.Rights {
			words = append(words, web.RightWords(r))
		}
		row.Rights = strings.Join(words, ", ")
		p.Tokens = append(p.Tokens, row)
	}
	for _, r := range auth.Rights {
		if who.May(r) {
			p.Rights = append(p.Rights, Choice{Value: string(r), Label: capital(web.RightWords(r)), Chosen: r == auth.See})
		}
	}
	if p.Second, err = d.secondView(c); err != nil {
		return err
	}
	p.Reader = readerForm(who.Reader, c.GetHeader("Accept-Language"), d.svc.Today())
	p.Reader.Zone, p.Reader.HomeZone = who.Reader.Zone, cmp.Or(d.svc.HomeZone(ctx), "UTC")
	depots, err := d.svc.DB.Depots(ctx, who.Scope(auth.See))
	if err != nil {
		return err
	}
	for _, x := range depots {
		p.Reader.Zones = append(p.Reader.Zones, x.TimeZone)
	}
	slices.Sort(p.Reader.Zones)
	p.Reader.Zones = slices.Compact(p.Reader.Zones)
	p.TokenName = Field{Name: "name", Label: "What it is for"}
	p.Until = Field{Name: "until", Label: "Works until", Type: "date", Value: (d.svc.Today() + 90).String()}
	if p.Fault != "" { // what was typed into the form at fault stays
		switch c.FullPath() {
		case "/account":
			p.Name.Value, p.Email.Value = c.PostForm("name"), c.PostForm("email")
		case "/account/tokens":
			p.TokenName.Value, p.Until.Value = c.PostForm("name"), c.PostForm("until")
			for i := range p.Rights {
				p.Rights[i].Chosen = slices.Contains(c.PostFormArray("right"), p.Rights[i].Value)
			}
		}
	}
	return d.send(c, status, "account", p)
}

// accountDone shows the account's page with what was done, or with the fault
// in err that its reader can mend.
func (d *Dashboard) accountDone(c *gin.Context, err error, done string) error {
	if isKind(err, fleet.ErrInvalid, fleet.ErrConflict, fleet.ErrDenied) {
		return d.showAccount(c, http.StatusBadRequest, AccountPage{Fault: capital(err.Error())})
	}
	if err != nil {
		return err
	}
	return d.showAccount(c, http.StatusOK, AccountPage{Done: done})
}

func (d *Dashboard) renameAccount(c *gin.Context) error {
	email, err := mail.ValidAddress(c.PostForm("email"))
	if err == nil {
		err = d.svc.RenameAccount(c.Request.Context(), web.SignedIn(c), strings.TrimSpace(c.PostForm("name")), email, c.PostForm("old"))
	}
	if err == nil {
		c.Redirect(http.StatusSeeOther, "/account")
		return nil
	}
	return d.accountDone(c, err, "")
}

func (d *Dashboard) changePassword(c *gin.Context) error {
	err := fleet.Invalidf("the two new passwords are not the same: type them again")
	if c.PostForm("password") == c.PostForm("again") {
		err = d.svc.ChangePassword(c.Request.Context(), web.SignedIn(c), c.PostForm("old"), c.PostForm("password"))
	}
	if err == nil {
		err = d.renewSession(c)
	}
	return d.accountDone(c, err, "The password is changed. Everywhere else you are signed out.")
}

// renewSession gives the browser its session under another secret: whoever wants to
// be alone with the account wants a copy of the old one to end, too.
func (d *Dashboard) renewSession(c *gin.Context) error {
	secret := auth.NewSecret()
	if err := d.svc.DB.RenewSession(c.Request.Context(), web.SignedIn(c), secret); err != nil {
		return err
	}
	web.SetSession(c, secret)
	return nil
}

func (d *Dashboard) endSessions(c *gin.Context) error {
	err := d.svc.DB.EndOtherSessions(c.Request.Context(), web.SignedIn(c))
	if err == nil {
		err = d.renewSession(c)
	}
	return d.accountDone(c, err, "Everywhere else you are signed out.")
}

func (d *Dashboard) makeToken(c *gin.Context) error {
	f := readFields(c)
	k := store.Token{Name: f.text("name"), Until: f.must("until").Time()}
	if !f.ok() {
		return d.accountDone(c, fleet.Invalidf("works until: %s", f.faults["until"]), "")
	}
	for _, r := range c.PostFormArray("right") {
		k.Rights = append(k.Rights, auth.Right(r))
	}
	secret := auth.NewSecret()
	if err := d.svc.DB.AddToken(c.Request.Context(), web.SignedIn(c), &k, secret); err != nil {
		return d.accountDone(c, err, "")
	}
	return d.showAccount(c, http.StatusOK, AccountPage{Secret: secret})
}

func (d *Dashboard) endToken(c *gin.Context) error {
	id, err := web.PathID(c, "token")
	if err != nil {
		return err
	}
	err = d.svc.DB.EndToken(c.Request.Context(), web.SignedIn(c), id)
	return d.accountDone(c, err, "The token works no longer.")
}
