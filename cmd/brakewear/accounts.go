package main

import (
	"cmp"
	"context"
	"fmt"
	"strings"
	"text/tabwriter"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/mail"
	"brakewear/internal/store"
)

// accountsCmd is the commands on people who sign in.
type accountsCmd struct {
	List accountsListCmd `cmd:"" default:"withargs" help:"List who signs in, and what they may do."`
	Add  accountsAddCmd  `cmd:"" help:"Add somebody, and print the link at which the password is chosen."`
	Link accountsLinkCmd `cmd:"" help:"Print a link at which somebody chooses a new password."`
	Stop accountsStopCmd `cmd:"" help:"End somebody's account."`

	SecondOff accountsSecondOffCmd `cmd:"" help:"Take the second factor off somebody's account who lost it."`
}

type accountsListCmd struct {
	database
	listed
}

func (c accountsListCmd) Help() string {
	return `Example:
  brakewear accounts list --format json`
}

// accountLine is an account, as JSON.
type accountLine struct {
	Name     string   `json:"name"`
	Email    string   `json:"email"`
	Roles    []string `json:"roles"`
	SignedIn string   `json:"signed_in,omitempty"` // day of the last time
}

func (c accountsListCmd) Run(e *env) error {
	db, err := c.existing(e)
	if err != nil {
		return err
	}
	defer db.Close()
	as, err := db.Accounts(e.ctx, auth.AllFleets())
	if err != nil {
		return err
	}
	list := []accountLine{}
	for _, a := range as {
		l := accountLine{Name: a.Name, Email: a.Email, Roles: []string{}}
		for _, g := range a.Grants {
			l.Roles = append(l.Roles, string(g.Role)+" of "+placeWords(g.Place))
		}
		if a.SignedInAt != nil {
			l.SignedIn = fleet.DateOf(*a.SignedInAt).String()
		}
		list = append(list, l)
	}
	if c.json() {
		return e.printJSON(list)
	}
	w := tabwriter.NewWriter(e.stdout, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "NAME\tE-MAIL\tROLES\tSIGNED IN")
	for _, l := range list {
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\n", l.Name, l.Email, strings.Join(l.Roles, ", "), cmp.Or(l.SignedIn, "–"))
	}
	return w.Flush()
}

// printLink prints where somebody chooses a password.
func (r reachedAt) printLink(e *env, name, path string) error {
	base := cmp.Or(strings.TrimSuffix(r.URL, "/"), "http://127.0.0.1:8080")
	_, err := fmt.Fprintf(e.stdout, "%s chooses a password at this address, once, within a day:\n%s%s\n", name, base, path)
	return err
}

type accountsAddCmd struct {
	database
	reachedAt
	placesGiven
	Name  string `arg:"" help:"The person's name."`
	Email string `arg:"" help:"E-mail address to sign in with."`
	Role  string `help:"What that person may do." enum:"manager,planner,technician,admin" required:""`
}

func (c accountsAddCmd) Help() string {
	return `Examples:
  brakewear accounts add --role admin "Ada Lund" ada@example.org
  brakewear accounts add --role technician --depot "Ferry Lines/Harbour" "Bo Berg" bo@example.org`
}

func (c accountsAddCmd) Run(e *env) error {
	db, err := c.open(e)
	if err != nil {
		return err
	}
	defer db.Close()
	email, err := mail.ValidAddress(c.Email)
	if err != nil {
		return err
	}
	places, err := c.places(e, db)
	if err != nil {
		return err
	}
	a := store.Account{Name: c.Name, Email: email}
	for _, p := range places {
		a.Grants = append(a.Grants, store.Grant{Role: auth.Role(c.Role), Place: p})
	}
	if len(places) == 0 {
		a.Grants = []store.Grant{{Role: auth.Role(c.Role)}}
	}
	link, err := e.service(db, 0).AddAccount(e.ctx, auth.AllFleets(), commandLine, &a)
	if err != nil {
		return err
	}
	return c.printLink(e, a.Name, link)
}

type accountsLinkCmd struct {
	database
	reachedAt
	Email string `arg:"" help:"The person's e-mail address."`
}

func (c accountsLinkCmd) Help() string {
	return `Example:
  brakewear accounts link ada@example.org`
}

func (c accountsLinkCmd) Run(e *env) error {
	db, err := c.existing(e)
	if err != nil {
		return err
	}
	defer db.Close()
	id, err := accountOf(e, db, c.Email)
	if err != nil {
		return err
	}
	link, err := e.service(db, 0).MakeLink(e.ctx, auth.AllFleets(), commandLine, id)
	if err != nil {
		return err
	}
	return c.printLink(e, c.Email, link)
}

type accountsStopCmd struct {
	database
	Email string `arg:"" help:"The person's e-mail address."`
}

func (c accountsStopCmd) Help() string {
	return `Example:
  brakewear accounts stop bo@example.org`
}

func (c accountsStopCmd) Run(e *env) error {
	return c.change(e, c.Email, (*store.DB).StopAccount, "signs in no longer.")
}

type accountsSecondOffCmd struct {
	database
	Email string `arg:"" help:"The person's e-mail address."`
}

func (c accountsSecondOffCmd) Help() string {
	return `Example:
  brakewear accounts second-off ada@example.org`
}

func (c accountsSecondOffCmd) Run(e *env) error {
	return c.change(e, c.Email, (*store.DB).EndSecond, "signs in with the password alone, and is signed out everywhere.")
}

// change makes a change to the account of an e-mail address, and says what became
// of it.
func (d database) change(e *env, email string, do func(*store.DB, context.Context, auth.Scope, string, int64) error, said string) error {
	db, err := d.existing(e)
	if err != nil {
		return err
	}
	defer db.Close()
	id, err := accountOf(e, db, email)
	if err != nil {
		return err
	}
	if err := do(db, e.ctx, auth.AllFleets(), commandLine, id); err != nil {
		return err
	}
	_, err = fmt.Fprintf(e.stdout, "%s %s\n", email, said)
	return err
}

// accountOf finds the account of an e-mail address.
func accountOf(e *env, db *store.DB, email string) (int64, error) {
	id, _, err := db.PasswordOf(e.ctx, email)
	if err == nil && id == 0 {
		err = fleet.NotFoundf("e-mail %s: there is no account with it", email)
	}
	return id, err
}
