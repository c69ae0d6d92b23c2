package main

import (
	"fmt"
	"strings"
	"text/tabwriter"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/mail"
	"brakewear/internal/store"
)

// peopleCmd is the commands on people who are told by e-mail.
type peopleCmd struct {
	List peopleListCmd `cmd:"" default:"withargs" help:"List who is told."`
	Add  peopleAddCmd  `cmd:"" help:"Tell somebody."`
	Stop peopleStopCmd `cmd:"" help:"Tell somebody no longer."`
}

type peopleListCmd struct {
	database
	listed
}

func (c peopleListCmd) Help() string {
	return `Example:
  brakewear people list --format json`
}

func (c peopleListCmd) Run(e *env) error {
	db, err := c.existing(e)
	if err != nil {
		return err
	}
	defer db.Close()
	rs, err := db.Recipients(e.ctx, auth.AllFleets())
	if err != nil {
		return err
	}
	if c.json() {
		list := []personLine{}
		for _, r := range rs {
			l := personLine{Name: r.Name, Address: r.Address, Role: r.Role, ToldOf: toldOf(r)}
			if r.Last != nil {
				l.LastDay, l.LastState = r.Last.Day.String(), r.Last.State
			}
			list = append(list, l)
		}
		return e.printJSON(list)
	}
	w := tabwriter.NewWriter(e.stdout, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "NAME\tADDRESS\tROLE\tTOLD OF\tLAST")
	for _, r := range rs {
		last := "–"
		if r.Last != nil {
			last = r.Last.Day.String() + ", " + r.Last.State
		}
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\n", r.Name, r.Address, r.Role, toldOf(r), last)
	}
	return w.Flush()
}

// personLine is a person who is told, as JSON.
type personLine struct {
	Name      string `json:"name"`
	Address   string `json:"address"`
	Role      string `json:"role"`
	ToldOf    string `json:"told_of"`
	LastDay   string `json:"last_day,omitempty"` // of the latest e-mail
	LastState string `json:"last_state,omitempty"`
}

func toldOf(r store.Recipient) string {
	if r.Everything {
		return placeWords(store.Place{})
	}
	var names []string
	for _, p := range r.Places {
		names = append(names, placeWords(p))
	}
	return strings.Join(names, ", ")
}

// placeWords names a place as --fleet and --depot take it.
func placeWords(p store.Place) string {
	switch {
	case p.DepotID != 0:
		return p.Fleet + "/" + p.Depot
	case p.FleetID != 0:
		return p.Fleet
	}
	return "everything"
}

type peopleAddCmd struct {
	database
	Name    string `arg:"" help:"The person's name."`
	Address string `arg:"" help:"E-mail address."`
	Role    string `help:"Who that is." enum:"manager,planner" default:"planner"`
	placesGiven
}

// placesGiven are the flags that name fleets and depots.
type placesGiven struct {
	Fleet []string `help:"Fleet it is about; may come several times. Everything unless given." sep:"none" placeholder:"NAME"`
	Depot []string `help:"Depot it is about, after its fleet and a slash; may come several times." sep:"none" placeholder:"FLEET/DEPOT"`
}

func (c peopleAddCmd) Help() string {
	return `Examples:
  brakewear people add --role manager "Ada Lund" ada@example.org
  brakewear people add --depot "Ferry Lines/Harbour" "Bo Berg" bo@example.org`
}

func (c peopleAddCmd) Run(e *env) error {
	db, err := c.open(e)
	if err != nil {
		return err
	}
	defer db.Close()
	r := &store.Recipient{Name: c.Name, Role: c.Role, Everything: len(c.Fleet)+len(c.Depot) == 0}
	if r.Address, err = mail.ValidAddress(c.Address); err != nil {
		return err
	}
	if r.Places, err = c.places(e, db); err != nil {
		return err
	}
	if err := db.SaveRecipient(e.ctx, auth.AllFleets(), commandLine, r); err != nil {
		return err
	}
	if r, err := db.Recipient(e.ctx, auth.AllFleets(), r.ID); err == nil {
		fmt.Fprintf(e.stdout, "%s is told of %s.\n", r.Name, toldOf(r))
	}
	return nil
}

// places finds the fleets and depots of the names given.
func (c placesGiven) places(e *env, db *store.DB) (places []store.Place, err error) {
	fleets, err := db.Fleets(e.ctx, auth.AllFleets())
	if err != nil {
		return nil, err
	}
	depots, err := db.Depots(e.ctx, auth.AllFleets())
	if err != nil {
		return nil, err
	}
	find := func(fleetName, depotName string) error {
		for _, f := range fleets {
			if !strings.EqualFold(f.Name, fleetName) {
				continue
			}
			if depotName == "" {
				places = append(places, store.Place{FleetID: f.ID})
				return nil
			}
			for _, d := range depots {
				if d.FleetID == f.ID && strings.EqualFold(d.Name, depotName) {
					places = append(places, store.Place{FleetID: f.ID, DepotID: d.ID})
					return nil
				}
			}
			return fleet.NotFoundf("depot %q: fleet %s has none of this name", depotName, f.Name)
		}
		return fleet.NotFoundf("fleet %q: there is none of this name", fleetName)
	}
	for _, name := range c.Fleet {
		if err := find(name, ""); err != nil {
			return nil, err
		}
	}
	for _, name := range c.Depot {
		fleetName, depotName, ok := strings.Cut(name, "/")
		if !ok {
			return nil, fleet.Invalidf("depot %q: want its fleet, a slash and its name, such as Ferry Lines/Harbour", name)
		}
		if err := find(fleetName, depotName); err != nil {
			return nil, err
		}
	}
	return places, nil
}

type peopleStopCmd struct {
	database
	Address string `arg:"" help:"The person's e-mail address."`
}

func (c peopleStopCmd) Help() string {
	return `Example:
  brakewear people stop ada@example.org`
}

func (c peopleStopCmd) Run(e *env) error {
	db, err := c.existing(e)
	if err != nil {
		return err
	}
	defer db.Close()
	rs, err := db.Recipients(e.ctx, auth.AllFleets())
	if err != nil {
		return err
	}
	for _, r := range rs {
		if strings.EqualFold(r.Address, c.Address) {
			if err := db.StopRecipient(e.ctx, auth.AllFleets(), commandLine, r.ID); err != nil {
				return err
			}
			_, err := fmt.Fprintf(e.stdout, "%s is told no longer.\n", r.Name)
			return err
		}
	}
	return fleet.NotFoundf("address %s: nobody is told there", c.Address)
}
