package pipeline

import (
	"slices"
	"strings"

	"brakewear/ingest"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
)

// placeAbsence puts a row of an absences file into b, or says why it cannot be
// taken. Forecasts know nothing of absences, so its vehicle is not touched.
func (k *resolver) placeAbsence(b *batch, row *ingest.Row) *fleet.Problem {
	a := row.Absence
	if a.Closure != nil {
		return k.placeClosure(b, row)
	}
	v, fault := k.plannedFor(row)
	if fault != nil {
		return fault
	}
	a.Vehicle.VehicleID = v.ID
	b.absences = append(b.absences, *a.Vehicle)
	return nil
}

// plannedFor returns the row's vehicle, or says why the sender may not plan for it.
func (k *resolver) plannedFor(row *ingest.Row) (store.VehicleKey, *fleet.Problem) {
	v, fault := k.vehicle(row)
	if fault != nil {
		return v, fault
	}
	home := slices.IndexFunc(k.depots, func(d fleet.Depot) bool { return d.FleetID == v.FleetID && d.Name == v.Depot })
	if home < 0 || !k.sc.Planning().Sees(v.FleetID, k.depots[home].ID) {
		return v, &fleet.Problem{Column: "vehicle", Read: row.Vehicle, Message: "you may not plan for this vehicle: have a planner hand the line in"}
	}
	return v, nil
}

// placeVisit is placeAbsence for a day on which a vehicle comes in anyway.
func (k *resolver) placeVisit(b *batch, row *ingest.Row) *fleet.Problem {
	v, fault := k.plannedFor(row)
	if fault != nil {
		return fault
	}
	visit := row.Visit.PlannedVisit
	visit.VehicleID = v.ID
	if name := row.Visit.Depot; name != "" {
		at := slices.IndexFunc(k.depots, func(d fleet.Depot) bool { return d.FleetID == v.FleetID && strings.EqualFold(d.Name, name) })
		switch {
		case at < 0:
			return &fleet.Problem{Column: "depot", Read: name, Message: "the vehicle's fleet has no depot of this name: correct it, or leave it blank for a visit elsewhere"}
		case !k.sc.Planning().Sees(v.FleetID, k.depots[at].ID):
			return &fleet.Problem{Column: "depot", Read: name, Message: "you may not plan for this workshop: have a planner hand the line in"}
		}
		visit.DepotID = k.depots[at].ID
	}
	b.visits = append(b.visits, visit)
	return nil
}

// placeClosure is placeAbsence for a workshop's days.
func (k *resolver) placeClosure(b *batch, row *ingest.Row) *fleet.Problem {
	a := row.Absence
	refuse := func(message string) *fleet.Problem {
		return &fleet.Problem{Column: "depot", Read: a.Depot, Message: message}
	}
	var named []fleet.Depot
	in := k.fleetNamed(row.Fleet)
	for _, d := range k.depots {
		if strings.EqualFold(d.Name, a.Depot) && (row.Fleet == "" || in >= 0 && d.FleetID == k.fleets[in].ID) {
			named = append(named, d)
		}
	}
	plan := k.sc.Planning()
	if len(named) > 1 { // only those that the sender plans for may be meant
		strange := func(d fleet.Depot) bool { return !plan.Sees(d.FleetID, d.ID) }
		if own := slices.DeleteFunc(slices.Clone(named), strange); len(own) == 1 {
			named = own
		}
	}
	switch {
	case len(named) == 0:
		return refuse("no depot has this name: correct it")
	case len(named) > 1:
		return refuse("several fleets have a depot of this name: add a column fleet that says which")
	case !plan.Sees(named[0].FleetID, named[0].ID):
		return refuse("you may not plan for this workshop: have a planner hand the line in")
	}
	a.Closure.DepotID = named[0].ID
	b.closures = append(b.closures, *a.Closure)
	return nil
}
