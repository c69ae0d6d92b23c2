package auth

import (
	"slices"

	"brakewear/internal/units"
)

// Role is what somebody is to a fleet, a depot, or the whole installation.
type Role string

// The roles.
const (
	Manager    Role = "manager"
	Planner    Role = "planner"
	Technician Role = "technician"
	Admin      Role = "admin"
)

// Roles lists them in the order they are shown to people.
var Roles = []Role{Manager, Planner, Technician, Admin}

// Right is one kind of thing that may be done.
type Right string

// The rights. What a route needs is written in web.Routes.
const (
	Public  Right = "public"  // no need to sign in
	Open    Right = "open"    // nor for this; who is signed in is known, so that the page is theirs
	Own     Right = "own"     // one's own account; everybody who is signed in
	See     Right = "see"     // lists, vehicles, forecasts, plan, track record
	Measure Right = "measure" // readings, files, brake tests, what findings need
	Correct Right = "correct" // put right or set aside what was entered
	Repair  Right = "repair"  // work from a job card
	Plan    Right = "plan"    // propose, book, move; hours, closures, parts, calendars
	Decide  Right = "decide"  // rule sets, limits, thresholds, card steps, who is told
	Run     Right = "run"     // scheduled work of the installation
	People  Right = "people"  // accounts, what they may do, and the log of who did what
)

// Rights lists those that a role may have, in the order they are shown.
var Rights = []Right{See, Measure, Correct, Repair, Plan, Decide, Run, People}

// may is the whole of who may do what. A test walks every route as every role
// and compares.
var may = map[Role][]Right{
	Technician: {See, Measure, Correct, Repair},
	Planner:    {See, Measure, Repair, Plan},
	Manager:    {See, Measure, Correct, Repair, Plan, Decide},
	Admin:      {See, Measure, Correct, Repair, Plan, Decide, Run, People},
}

// May says whether role has the right.
func (r Role) May(right Right) bool { return slices.Contains(may[r], right) }

// Known says whether there is such a role.
func (r Role) Known() bool { return may[r] != nil }

// Grant gives a role on a fleet, on one depot of it, or on everything.
type Grant struct {
	Role    Role
	FleetID int64 // 0 = everything
	DepotID int64 // 0 = the whole fleet
}

// Who is somebody signed in, or a token of theirs.
type Who struct {
	Account int64
	Name    string
	Email   string
	Grants  []Grant
	Only    []Right      // of a token; nil = all that the grants give
	Session int64        // 0 = by token
	Token   int64        // 0 = by session
	Reader  units.Reader // how they want numbers and days said
	State   string       // of the database, when all this was read; blank = not known
}

// may says whether who has the right at all, wherever.
func (w Who) may(right Right, role Role) bool {
	return role.May(right) && (w.Only == nil || slices.Contains(w.Only, right))
}

// Scope returns the fleets and depots on which who has the right: the zero
// scope, which sees nothing, when there are none.
func (w Who) Scope(right Right) Scope {
	sc := w.scope(right)
	if right == Measure {
		if plan := w.scope(Plan); !plan.same(sc) {
			sc.plan = &plan
		}
	}
	return sc
}

func (w Who) scope(right Right) (sc Scope) {
	for _, g := range w.Grants {
		if !w.may(right, g.Role) {
			continue
		}
		switch {
		case g.FleetID == 0:
			return Scope{all: true}
		case g.DepotID == 0:
			sc.fleets = append(sc.fleets, g.FleetID)
		default:
			sc.depots = append(sc.depots, g.DepotID)
		}
	}
	return sc
}

// May says whether who has the right on anything.
func (w Who) May(right Right) bool {
	return slices.ContainsFunc(w.Grants, func(g Grant) bool { return w.may(right, g.Role) })
}
