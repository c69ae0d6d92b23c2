package dashboard

import (
	"slices"
	"strconv"

	"github.com/gin-gonic/gin"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/web"
)

// fleetChoice returns the fleet asked for, 0 for all, and the choices there
// are; none where there is one fleet only.
func (d *Dashboard) fleetChoice(c *gin.Context) (id int64, choices []Choice, err error) {
	if id, err = queryID(c, "fleet"); err != nil {
		return 0, nil, err
	}
	fleets, err := d.svc.DB.Fleets(c.Request.Context(), d.scope(c))
	if err == nil && id != 0 && !slices.ContainsFunc(fleets, func(f fleet.Fleet) bool { return f.ID == id }) {
		err = noPlace("fleet", id)
	}
	if err != nil || len(fleets) < 2 {
		return id, nil, err
	}
	return id, placeChoices(id, "all fleets", fleets, func(f fleet.Fleet) (int64, string) { return f.ID, f.Name }), nil
}

// noPlace says that there is no fleet or depot of a number, or none that one sees:
// which of these, is for nobody to know.
func noPlace(what string, id int64) error {
	return fleet.NotFoundf("%s %d: there is none, or none that you may see", what, id)
}

// placeChoices are the choices among places, the one of id chosen, behind all of them
// together.
func placeChoices[P any](id int64, all string, places []P, named func(P) (int64, string)) []Choice {
	choices := []Choice{{"0", all, id == 0}}
	for _, p := range places {
		at, name := named(p)
		choices = append(choices, Choice{strconv.FormatInt(at, 10), name, at == id})
	}
	return choices
}

func depotNamed(p fleet.Depot) (int64, string) { return p.ID, p.Name }

// tellApart adds its fleet to the name of each depot that several have, of n depots.
func (d *Dashboard) tellApart(c *gin.Context, n int, at func(i int) *fleet.Depot) error {
	shared := sharedNames(n, func(i int) (string, int64) { return at(i).Name, at(i).ID })
	if len(shared) == 0 {
		return nil
	}
	fleets, err := d.svc.DB.Fleets(c.Request.Context(), web.SignedIn(c).Scope(auth.See))
	if err != nil {
		return err
	}
	names := map[int64]string{}
	for _, f := range fleets {
		names[f.ID] = f.Name
	}
	for i := range n {
		if p := at(i); shared[p.Name] {
			p.Name += " (" + names[p.FleetID] + ")"
		}
	}
	return nil
}

// sharedNames returns those of n names that more than one has.
func sharedNames[Who comparable](n int, at func(i int) (name string, of Who)) map[string]bool {
	first, shared := map[string]Who{}, map[string]bool{}
	for i := range n {
		name, of := at(i)
		if one, known := first[name]; !known {
			first[name] = of
		} else if one != of {
			shared[name] = true
		}
	}
	return shared
}

// depotChoice is fleetChoice for the depots that sc sees.
func (d *Dashboard) depotChoice(c *gin.Context, sc auth.Scope) (id int64, choices []Choice, err error) {
	if id, err = queryID(c, "depot"); err != nil {
		return 0, nil, err
	}
	depots, err := d.svc.DB.Depots(c.Request.Context(), sc)
	if err == nil && id != 0 && !slices.ContainsFunc(depots, func(p fleet.Depot) bool { return p.ID == id }) {
		err = noPlace("depot", id)
	}
	if err != nil || len(depots) < 2 {
		return id, nil, err
	}
	err = d.tellApart(c, len(depots), func(i int) *fleet.Depot { return &depots[i] })
	return id, placeChoices(id, "all depots", depots, depotNamed), err
}

// maxDepotChoices is how many depots of all fleets anybody looks through for one.
// Judgement: some screens of them on a phone.
const maxDepotChoices = 60

// depotOfFleet is depotChoice beside a choice of the fleet: of very many depots
// it offers those of the fleet that is chosen.
func (d *Dashboard) depotOfFleet(c *gin.Context, fleetID int64) (id int64, choices []Choice, err error) {
	if id, err = queryID(c, "depot"); err != nil {
		return 0, nil, err
	}
	depots, more, err := d.svc.DB.DepotsToChoose(c.Request.Context(), d.scope(c), fleetID, id, maxDepotChoices)
	if err != nil {
		return 0, nil, err
	}
	if id != 0 && !slices.ContainsFunc(depots, func(p fleet.Depot) bool { return p.ID == id }) {
		var other []fleet.Depot
		if fleetID != 0 {
			if other, _, err = d.svc.DB.DepotsToChoose(c.Request.Context(), d.scope(c), 0, id, 0); err != nil {
				return 0, nil, err
			}
		}
		if len(other) == 0 {
			return 0, nil, noPlace("depot", id)
		}
		id = 0 // another fleet was chosen since
	}
	all := "all depots"
	switch {
	case more:
		all = "all depots; for one, choose its fleet first"
	case len(depots) < 2 && id == 0:
		return id, nil, nil
	}
	err = d.tellApart(c, len(depots), func(i int) *fleet.Depot { return &depots[i] })
	return id, placeChoices(id, all, depots, depotNamed), err
}

// queryID reads an id of the query; 0 when it is not there.
func queryID(c *gin.Context, name string) (int64, error) {
	s := c.Query(name)
	if s == "" {
		return 0, nil
	}
	id, err := strconv.ParseInt(s, 10, 64)
	if err != nil || id < 0 {
		return 0, fleet.Invalidf("%s %q: want the number of a %s", name, s, name)
	}
	return id, nil
}
