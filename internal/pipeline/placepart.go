package pipeline

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"brakewear/ingest"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
)

// knowParts makes the resolver know the parts that there are, for a parts file.
func (s *Service) knowParts(ctx context.Context, k *resolver) error {
	ps, err := s.DB.StockParts(ctx, k.sc, 0)
	k.parts = map[partName]bool{}
	for i := range ps {
		k.parts[partName{ps[i].FleetID, strings.ToLower(ps[i].Number)}] = true
	}
	return err
}

// partName is what a part is known by.
type partName struct {
	fleet  int64
	number string // in lower case
}

// placePart puts a row of a parts file into b, or says why it cannot be taken.
func (k *resolver) placePart(b *batch, row *ingest.Row) *fleet.Problem {
	p := row.Part
	e := store.StockEntry{Fleet: row.Fleet, Part: p.Part, Depot: p.Depot, Stock: p.Stock, Fit: p.Fit}
	e.Given.Price, e.Given.LeadDays, e.Given.PerAxle = p.HasPrice, p.HasLead, p.HasPerAxle
	in := k.fleetNamed(row.Fleet)
	switch {
	case row.Fleet == "" && len(k.fleets) == 1:
		in = 0
	case row.Fleet == "":
		return &fleet.Problem{Column: "fleet", Message: fmt.Sprintf("there are %d fleets: add a column fleet that says whose part it is", len(k.fleets))}
	case in < 0:
		return &fleet.Problem{Column: "fleet", Read: row.Fleet, Message: "no fleet has this name: correct it"}
	}
	of := k.fleets[in]
	e.Fleet = of.Name
	plan := k.sc.Planning()
	whole := plan.Sees(of.ID, 0)
	may := whole
	if p.Depot != "" {
		at := slices.IndexFunc(k.depots, func(d fleet.Depot) bool { return d.FleetID == of.ID && strings.EqualFold(d.Name, p.Depot) })
		if at < 0 {
			return &fleet.Problem{Column: "depot", Read: p.Depot, Message: "the fleet has no depot of this name: correct it"}
		}
		may = plan.Sees(of.ID, k.depots[at].ID)
	}
	name := partName{of.ID, strings.ToLower(p.Part.Number)}
	switch {
	case !may && !slices.ContainsFunc(k.depots, func(d fleet.Depot) bool { return d.FleetID == of.ID && plan.Sees(of.ID, d.ID) }):
		return &fleet.Problem{Column: "part_number", Read: p.Part.Number, Message: "you may not plan for this fleet: have a planner hand the line in"}
	case !may && p.Depot != "":
		return &fleet.Problem{Column: "depot", Read: p.Depot, Message: "you may not plan for this depot: have a planner hand the line in"}
	case !k.parts[name] && p.Part.Item == "":
		return &fleet.Problem{Column: "item", Message: "blank, and the part is new: say what it is, such as pads"}
	case !whole && (!k.parts[name] || p.Part.Item != "" || p.Part.Name != "" || p.Fit != nil || p.HasPrice || p.HasLead || p.HasPerAxle):
		return &fleet.Problem{Column: "part_number", Read: p.Part.Number, Message: "you may set what lies at your depots, not what the part is: leave the other columns blank"}
	}
	if e.Fit != nil && e.Fit.Vehicle != "" {
		row.Fleet = of.Name
		v, fault := k.vehicle(row)
		if fault != nil {
			return fault
		}
		e.Fit.VehicleID = v.ID
	}
	k.parts[name] = true
	b.parts = append(b.parts, e)
	return nil
}
