package dashboard

import (
	"fmt"
	"net/http"
	"slices"
	"strconv"

	"github.com/gin-gonic/gin"

	"brakewear/internal/fleet"
	"brakewear/internal/mail"
	"brakewear/internal/store"
	"brakewear/internal/units"
	"brakewear/internal/web"
)

// PeoplePage is who is told by e-mail of what.
type PeoplePage struct {
	Shell
	Server string // that mail goes through; "" = none is set
	Rows   []PersonRow
	Form   PersonForm
}

// PersonPage is the form of one person.
type PersonPage struct {
	Shell
	Form PersonForm
}

// PersonRow is a person who is told.
type PersonRow struct {
	Name, Address, Role, Places string
	Last                        string // latest digest, in words
	Ill                         bool   // it did not go out
	Link, Stop                  string
}

// PersonForm is the form of a person.
type PersonForm struct {
	Link          string // where it goes
	Button        string
	Faults        int
	Name, Address Field
	Roles         []Choice
	All           bool // may be told of everything
	Everything    bool
	Fleets        []Choice
	Depots        []Choice
	Fault         string // of the places
}

func (d *Dashboard) people(c *gin.Context) error {
	form, err := d.personForm(c, nil, &store.Recipient{Role: store.RolePlanner})
	if err != nil {
		return err
	}
	return d.showPeople(c, http.StatusOK, form)
}

func (d *Dashboard) showPeople(c *gin.Context, status int, form PersonForm) error {
	tell := reader(c)
	rs, err := d.svc.DB.Recipients(c.Request.Context(), d.scope(c))
	if err != nil {
		return err
	}
	p := PeoplePage{Shell: Shell{Title: "People told", Place: "people"}, Form: form}
	if d.svc.Mail != nil {
		p.Server = d.svc.Mail.Address()
	}
	for i := range rs {
		p.Rows = append(p.Rows, personRow(tell, &rs[i]))
	}
	return d.send(c, status, "people", p)
}

func personPath(id int64) string { return "/people/" + strconv.FormatInt(id, 10) }

func personRow(tell units.Reader, r *store.Recipient) PersonRow {
	row := PersonRow{
		Name:    r.Name,
		Address: r.Address,
		Role:    r.Role,
		Places:  "everything",
		Last:    "nothing yet",
		Link:    personPath(r.ID),
		Stop:    personPath(r.ID) + "/stop",
	}
	if !r.Everything {
		row.Places = ""
		for i, p := range r.Places {
			if i > 0 {
				row.Places += ", "
			}
			row.Places += placeName(p)
		}
	}
	if r.Last != nil {
		row.Last = digestWords[r.Last.State] + " " + tell.Day(r.Last.Day)
		if r.Last.Message != "" {
			row.Last += ": " + r.Last.Message
		}
		row.Ill = r.Last.State != store.DigestSent && r.Last.State != store.DigestNothing
	}
	return row
}

// digestWords say what became of a day's digest.
var digestWords = map[string]string{
	store.DigestSending:   "perhaps sent",
	store.DigestSent:      "sent",
	store.DigestNothing:   "nothing new on",
	store.DigestFailed:    "not sent",
	store.DigestRefused:   "not sent",
	store.DigestUncertain: "perhaps sent",
}

func placeName(p store.Place) string {
	if p.DepotID != 0 {
		return p.Depot + " (" + p.Fleet + ")"
	}
	return p.Fleet
}

// personForm makes the form of r, with what was sent where it comes back.
func (d *Dashboard) personForm(c *gin.Context, f *fields, r *store.Recipient) (PersonForm, error) {
	ctx, sc := c.Request.Context(), d.scope(c)
	fleets, err := d.svc.DB.Fleets(ctx, sc)
	if err != nil {
		return PersonForm{}, err
	}
	depots, err := d.svc.DB.Depots(ctx, sc)
	if err != nil {
		return PersonForm{}, err
	}
	p := PersonForm{
		Link:       "/people",
		Button:     "Tell this person",
		Name:       f.field("name", "Name", r.Name),
		Address:    f.field("address", "E-mail address", r.Address),
		All:        sc.All(),
		Everything: r.Everything,
	}
	p.Address.Type = "email"
	if f != nil {
		p.Faults, p.Fault = len(f.faults), f.faults["places"]
	}
	if r.ID != 0 {
		p.Link, p.Button = personPath(r.ID), "Save"
	}
	for _, role := range store.Roles {
		p.Roles = append(p.Roles, Choice{Value: role, Label: capital(role), Chosen: role == r.Role})
	}
	names := map[int64]string{}
	for _, x := range fleets {
		names[x.ID] = x.Name
		if !sc.Sees(x.ID, 0) { // a depot of it only
			continue
		}
		chosen := slices.ContainsFunc(r.Places, func(p store.Place) bool { return p.FleetID == x.ID && p.DepotID == 0 })
		p.Fleets = append(p.Fleets, Choice{Value: fmt.Sprint(x.ID), Label: x.Name, Chosen: chosen})
	}
	for _, x := range depots {
		chosen := slices.ContainsFunc(r.Places, func(p store.Place) bool { return p.DepotID == x.ID })
		label := x.Name
		if len(fleets) > 1 {
			label += " (" + names[x.FleetID] + ")"
		}
		p.Depots = append(p.Depots, Choice{Value: fmt.Sprint(x.ID), Label: label, Chosen: chosen})
	}
	return p, nil
}

// readPerson reads the form of a person.
func (d *Dashboard) readPerson(c *gin.Context, id int64) (*fields, *store.Recipient, error) {
	f := readFields(c)
	r := &store.Recipient{ID: id, Name: f.text("name"), Role: f.text("role"), Everything: f.text("everything") != ""}
	var err error
	r.Address, err = mail.ValidAddress(f.text("address"))
	if err := f.take("address", err); err != nil {
		return nil, nil, err
	}
	if r.Name == "" {
		f.fault("name", "Give a name")
	}
	for _, id := range f.ids("fleet") {
		r.Places = append(r.Places, store.Place{FleetID: id})
	}
	depots, err := d.svc.DB.Depots(c.Request.Context(), d.scope(c))
	if err != nil {
		return nil, nil, err
	}
	for _, id := range f.ids("depot") {
		i := slices.IndexFunc(depots, func(x fleet.Depot) bool { return x.ID == id })
		if i < 0 {
			f.fault("places", "Choose from the depots there are")
			continue
		}
		r.Places = append(r.Places, store.Place{FleetID: depots[i].FleetID, DepotID: id})
	}
	if !r.Everything && len(r.Places) == 0 {
		f.fault("places", "Tick at least one of these")
	}
	return f, r, nil
}

// savePerson adds a person, or changes one.
func (d *Dashboard) savePerson(c *gin.Context) error {
	var id int64
	if c.Param("id") != "" {
		var err error
		if id, err = web.PathID(c, "person"); err != nil {
			return err
		}
	}
	f, r, err := d.readPerson(c, id)
	if err != nil {
		return err
	}
	if f.ok() {
		err = d.svc.DB.SaveRecipient(c.Request.Context(), d.scope(c), d.who(c), r)
		if isKind(err, fleet.ErrNotFound) {
			return err
		}
		if err := f.take("address", err); err != nil {
			return err
		}
	}
	if f.ok() {
		c.Redirect(http.StatusSeeOther, "/people")
		return nil
	}
	form, err := d.personForm(c, f, r)
	if err != nil {
		return err
	}
	if id != 0 {
		return d.send(c, http.StatusBadRequest, "person", PersonPage{Shell{Title: r.Name, Place: "people"}, form})
	}
	return d.showPeople(c, http.StatusBadRequest, form)
}

func (d *Dashboard) person(c *gin.Context) error {
	id, err := web.PathID(c, "person")
	if err != nil {
		return err
	}
	r, err := d.svc.DB.Recipient(c.Request.Context(), d.scope(c), id)
	if err != nil {
		return err
	}
	form, err := d.personForm(c, nil, &r)
	if err != nil {
		return err
	}
	return d.send(c, http.StatusOK, "person", PersonPage{Shell{Title: r.Name, Place: "people"}, form})
}

func (d *Dashboard) stopPerson(c *gin.Context) error {
	id, err := web.PathID(c, "person")
	if err != nil {
		return err
	}
	if err := d.svc.DB.StopRecipient(c.Request.Context(), d.scope(c), d.who(c), id); err != nil {
		return err
	}
	c.Redirect(http.StatusSeeOther, "/people")
	return nil
}
