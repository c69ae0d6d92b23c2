package dashboard

import (
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/mail"
	"brakewear/internal/store"
	"brakewear/internal/units"
	"brakewear/internal/web"
)

// AccountsPage is the accounts, and the form of another.
type AccountsPage struct {
	Shell
	Rows        []AccountRow
	Name, Email Field
	Grant       GrantForm
	Fault       string
	Link        string // of the account just made, shown this once
	For         string
	Elsewhere   string // what one can sign in with instead of a password; blank: nothing
}

// AccountRow is an account.
type AccountRow struct {
	Name, Email, Roles, Seen, Link string
}

// GrantForm chooses a role and a place.
type GrantForm struct {
	Roles  []Choice
	Places []Choice
}

// OtherAccountPage is one account as an admin sees it.
type OtherAccountPage struct {
	Shell
	Account   AccountRow
	Grants    []GrantRow
	Grant     GrantForm
	Link      string // to choose a password, shown this once
	GiveLink  string
	LinkLink  string
	StopLink  string
	OutLink   string // signs it out everywhere
	FreeLink  string
	PlainLink string   // takes its second factor off
	Second    bool     // there is one
	Bound     []string // what it signs in with instead of a password
	Log       string   // of the changes to it
	Fault     string
	NeverSeen bool
	Elsewhere bool // it has roles beyond the reader's: no links, no stopping
}

// GrantRow is a role on a place.
type GrantRow struct {
	Role, Place, By, End string
}

func (d *Dashboard) registerAccounts(r *gin.Engine) {
	r.GET("/account", web.Handle(d.account))
	r.POST("/account", web.Handle(d.renameAccount))
	r.POST("/account/units", web.Handle(d.setReader))
	r.POST("/account/password", web.Handle(d.changePassword))
	r.POST("/account/sessions", web.Handle(d.endSessions))
	r.POST("/account/tokens", web.Handle(d.makeToken))
	r.POST("/account/tokens/:id/end", web.Handle(d.endToken))
	r.GET("/accounts", web.Handle(d.accounts))
	r.POST("/accounts", web.Handle(d.addAccount))
	r.GET("/accounts/:id", web.Handle(d.otherAccount))
	r.POST("/accounts/:id/roles", web.Handle(d.giveRole))
	r.POST("/accounts/:id/roles/:role/end", web.Handle(d.endRole))
	r.POST("/accounts/:id/link", web.Handle(d.linkAccount))
	r.POST("/accounts/:id/sessions", web.Handle(d.endSessionsOf))
	r.POST("/accounts/:id/stop", web.Handle(d.stopAccount))
}

func (d *Dashboard) accounts(c *gin.Context) error {
	return d.showAccounts(c, http.StatusOK, AccountsPage{})
}

func (d *Dashboard) showAccounts(c *gin.Context, status int, p AccountsPage) error {
	tell := reader(c)
	as, err := d.svc.DB.Accounts(c.Request.Context(), d.scope(c))
	if err != nil {
		return err
	}
	p.Shell = Shell{Title: "Accounts", Place: "accounts"}
	for i := range as {
		p.Rows = append(p.Rows, accountRow(tell, &as[i]))
	}
	p.Name.Name, p.Name.Label = "name", "Name"
	if d.svc.OpenID != nil {
		p.Elsewhere = d.svc.OpenID.Label()
	}
	p.Email.Name, p.Email.Label, p.Email.Type = "email", "E-mail", "email"
	if p.Grant, err = d.grantForm(c, p.Fault != ""); err != nil {
		return err
	}
	return d.send(c, status, "accounts", p)
}

func accountPath(id int64) string { return "/accounts/" + strconv.FormatInt(id, 10) }

func accountRow(tell units.Reader, a *store.Account) AccountRow {
	row := AccountRow{Name: a.Name, Email: a.Email, Seen: "has not signed in yet", Link: accountPath(a.ID)}
	var roles []string
	for _, g := range a.Grants {
		roles = append(roles, string(g.Role)+" of "+grantPlace(g.Place))
	}
	if a.Elsewhere {
		roles = append(roles, "others elsewhere")
	}
	row.Roles = strings.Join(roles, ", ")
	if a.SignedInAt != nil {
		row.Seen = "signed in " + tell.At(*a.SignedInAt)
	}
	return row
}

func grantPlace(p store.Place) string {
	if p.FleetID == 0 {
		return "everything"
	}
	return placeName(p)
}

// grantForm offers the roles, and the places that the sender may give them on. It
// begins at the role that changes the least for others, and where it is to hold is
// asked: what one forgets to choose is not the most there is. A form that comes back
// keeps what was chosen.
func (d *Dashboard) grantForm(c *gin.Context, comesBack bool) (f GrantForm, err error) {
	ctx, sc := c.Request.Context(), d.scope(c)
	fleets, err := d.svc.DB.Fleets(ctx, sc)
	if err != nil {
		return f, err
	}
	depots, err := d.svc.DB.Depots(ctx, sc)
	if err != nil {
		return f, err
	}
	for _, r := range auth.Roles {
		f.Roles = append(f.Roles, Choice{Value: string(r), Label: capital(string(r)), Chosen: r == auth.Technician})
	}
	if sc.All() {
		f.Places = append(f.Places, Choice{Value: "0/0", Label: "Everything"})
	}
	for _, x := range fleets {
		if sc.All() || slices.Contains(sc.Fleets(), x.ID) {
			f.Places = append(f.Places, Choice{Value: placeValue(x.ID, 0), Label: x.Name + ", whole fleet"})
		}
		for _, dep := range depots {
			if dep.FleetID == x.ID {
				f.Places = append(f.Places, Choice{Value: placeValue(x.ID, dep.ID), Label: x.Name + ", " + dep.Name})
			}
		}
	}
	if len(f.Places) > 1 {
		f.Places = slices.Insert(f.Places, 0, Choice{Label: "choose where"})
	}
	if comesBack {
		for name, choices := range map[string][]Choice{"role": f.Roles, "place": f.Places} {
			for i := range choices {
				choices[i].Chosen = choices[i].Value == c.PostForm(name)
			}
		}
	}
	return f, nil
}

func placeValue(fleetID, depotID int64) string {
	return strconv.FormatInt(fleetID, 10) + "/" + strconv.FormatInt(depotID, 10)
}

// readGrant reads a role and a place from a form.
func readGrant(c *gin.Context) (store.Grant, error) {
	g := store.Grant{Role: auth.Role(c.PostForm("role"))}
	fleetText, depotText, _ := strings.Cut(c.PostForm("place"), "/")
	var err1, err2 error
	g.FleetID, err1 = strconv.ParseInt(fleetText, 10, 64)
	g.DepotID, err2 = strconv.ParseInt(depotText, 10, 64)
	if err1 != nil || err2 != nil || g.FleetID < 0 || g.DepotID < 0 || g.FleetID == 0 && g.DepotID != 0 {
		return g, fleet.Invalidf("place: choose where the role is to hold")
	}
	return g, nil
}

func (d *Dashboard) addAccount(c *gin.Context) error {
	p := AccountsPage{Name: Field{Value: strings.TrimSpace(c.PostForm("name"))}, Email: Field{Value: strings.TrimSpace(c.PostForm("email"))}}
	g, err := readGrant(c)
	a := store.Account{Name: p.Name.Value, Grants: []store.Grant{g}}
	if err == nil {
		a.Email, err = mail.ValidAddress(p.Email.Value)
	}
	if err == nil {
		p.Link, err = d.svc.AddAccount(c.Request.Context(), d.scope(c), d.who(c), &a)
	}
	if isKind(err, fleet.ErrInvalid, fleet.ErrConflict, fleet.ErrDenied) {
		p.Fault = capital(err.Error())
		return d.showAccounts(c, http.StatusBadRequest, p)
	}
	if err != nil {
		return err
	}
	p.Link, p.For = d.origin(c)+p.Link, a.Name
	p.Name, p.Email = Field{}, Field{}
	return d.showAccounts(c, http.StatusOK, p)
}

func (d *Dashboard) otherAccount(c *gin.Context) error {
	return d.showOther(c, http.StatusOK, "", "")
}

func (d *Dashboard) showOther(c *gin.Context, status int, link, fault string) error {
	tell := reader(c)
	id, err := web.PathID(c, "account")
	if err != nil {
		return err
	}
	a, err := d.svc.DB.Account(c.Request.Context(), d.scope(c), id)
	if err != nil {
		return err
	}
	path := accountPath(id)
	p := OtherAccountPage{
		Shell:     Shell{Title: a.Name, Place: "accounts"},
		Account:   accountRow(tell, &a),
		Link:      link,
		GiveLink:  path + "/roles",
		LinkLink:  path + "/link",
		StopLink:  path + "/stop",
		OutLink:   path + "/sessions",
		FreeLink:  path + "/openid/end",
		PlainLink: path + "/second/end",
		Second:    a.Second,
		Log:       fmt.Sprintf("/changes?record=account&number=%d", id),
		Fault:     fault,
		NeverSeen: !a.Password,
		Elsewhere: a.Elsewhere,
	}
	for _, g := range a.Grants {
		p.Grants = append(p.Grants, GrantRow{
			Role:  capital(string(g.Role)),
			Place: grantPlace(g.Place),
			By:    g.GivenBy + ", " + tell.Day(fleet.DateOf(g.GivenAt)),
			End:   path + "/roles/" + strconv.FormatInt(g.ID, 10) + "/end",
		})
	}
	ss, err := d.svc.DB.SubjectsOf(c.Request.Context(), d.scope(c), id)
	if err != nil {
		return err
	}
	for _, s := range ss {
		p.Bound = append(p.Bound, s.Issuer+", since "+tell.Day(fleet.DateOf(s.BoundAt)))
	}
	if p.Grant, err = d.grantForm(c, fault != ""); err != nil {
		return err
	}
	return d.send(c, status, "otheraccount", p)
}

// otherDone goes back to the account's page, or shows it with the fault in
// err that its reader can mend.
func (d *Dashboard) otherDone(c *gin.Context, err error) error {
	if isKind(err, fleet.ErrInvalid, fleet.ErrConflict, fleet.ErrDenied) {
		return d.showOther(c, http.StatusBadRequest, "", capital(err.Error()))
	}
	if err != nil {
		return err
	}
	c.Redirect(http.StatusSeeOther, "/accounts/"+c.Param("id"))
	return nil
}

func (d *Dashboard) giveRole(c *gin.Context) error {
	id, err := web.PathID(c, "account")
	if err != nil {
		return err
	}
	g, err := readGrant(c)
	if err == nil {
		err = d.svc.DB.GiveGrant(c.Request.Context(), d.scope(c), d.who(c), id, &g)
	}
	return d.otherDone(c, err)
}

func (d *Dashboard) endRole(c *gin.Context) error {
	id, err := web.PathID(c, "account")
	if err != nil {
		return err
	}
	grant, err := web.PathNumber(c, "role", "role")
	if err != nil {
		return err
	}
	return d.otherDone(c, d.svc.DB.EndGrant(c.Request.Context(), d.scope(c), d.who(c), id, grant))
}

func (d *Dashboard) linkAccount(c *gin.Context) error {
	id, err := web.PathID(c, "account")
	if err != nil {
		return err
	}
	link, err := d.svc.MakeLink(c.Request.Context(), d.scope(c), d.who(c), id)
	if err != nil {
		return d.otherDone(c, err)
	}
	return d.showOther(c, http.StatusOK, d.origin(c)+link, "")
}

func (d *Dashboard) endSessionsOf(c *gin.Context) error {
	id, err := web.PathID(c, "account")
	if err != nil {
		return err
	}
	return d.otherDone(c, d.svc.DB.EndSessionsOf(c.Request.Context(), d.scope(c), d.who(c), id))
}

func (d *Dashboard) stopAccount(c *gin.Context) error {
	id, err := web.PathID(c, "account")
	if err != nil {
		return err
	}
	if err := d.svc.DB.StopAccount(c.Request.Context(), d.scope(c), d.who(c), id); err != nil {
		return d.otherDone(c, err)
	}
	c.Redirect(http.StatusSeeOther, "/accounts")
	return nil
}
