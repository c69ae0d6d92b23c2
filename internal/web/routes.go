package web

import (
	"time"

	"brakewear/internal/auth"
)

// Rule is what a route asks of who sends a request.
type Rule struct {
	Method, Path string // as the router knows it
	Right        auth.Right
	Whole        bool // on everything: what it changes belongs to no fleet
}

// Routes is the one table of who may do what: each route, and the right it
// takes. Which role has which right is auth's to say. A test walks every route
// of the program as every role, and as a stranger.
var Routes = []Rule{
	{"GET", "/static/*name", auth.Public, false},
	{"HEAD", "/static/*name", auth.Public, false},
	{"GET", "/sign-in", auth.Public, false},
	{"POST", "/sign-in", auth.Public, false},
	{"GET", "/sign-in/link", auth.Public, false},
	{"POST", "/sign-in/link", auth.Public, false},
	{"GET", "/sign-in/code", auth.Public, false},  // the cookie of a right password is the right
	{"POST", "/sign-in/code", auth.Public, false}, // likewise
	{"GET", "/sign-in/openid", auth.Public, false},
	{"GET", "/sign-in/openid/back", auth.Public, false},
	{"GET", "/link/:secret", auth.Public, false},   // the address is the right
	{"POST", "/link/:secret", auth.Public, false},  // the address is the right
	{"GET", "/calendar/:file", auth.Public, false}, // the address is the right
	{"GET", "/measure-worker.js", auth.Public, false},

	{"POST", "/sign-out", auth.Own, false},
	{"GET", "/account", auth.Own, false},
	{"POST", "/account", auth.Own, false},
	{"POST", "/account/units", auth.Own, false},
	{"POST", "/account/password", auth.Own, false},
	{"POST", "/account/second", auth.Own, false},
	{"POST", "/account/second/confirm", auth.Own, false},
	{"POST", "/account/second/codes", auth.Own, false},
	{"POST", "/account/second/end", auth.Own, false},
	{"POST", "/account/sessions", auth.Own, false},
	{"POST", "/account/tokens", auth.Own, false},
	{"POST", "/account/tokens/:id/end", auth.Own, false},
	{"GET", "/templates/:file", auth.Own, false},
	{"GET", "/help", auth.Open, false}, // nothing of a fleet is on it

	{"GET", "/", auth.See, false},
	{"GET", "/due.csv", auth.See, false},
	{"GET", "/due.xlsx", auth.See, false},
	{"GET", "/overview", auth.See, false},
	{"GET", "/overview/:file", auth.See, false},
	{"GET", "/vehicles", auth.See, false},
	{"GET", "/vehicles/:id", auth.See, false},
	{"GET", "/vehicles/:id/charts/:file", auth.See, false},
	{"GET", "/vehicles/:id/tests/:test", auth.See, false},
	{"GET", "/vehicles/:id/limits", auth.See, false},
	{"GET", "/vehicles/:id/days", auth.See, false},
	{"GET", "/readings", auth.See, false},
	{"GET", "/readings/:id", auth.See, false},
	{"GET", "/readings/:id/problems.csv", auth.See, false},
	{"GET", "/findings", auth.See, false},
	{"GET", "/findings.csv", auth.See, false},
	{"GET", "/findings/:id", auth.See, false},
	{"GET", "/record", auth.See, false},
	{"GET", "/learned", auth.See, false},
	{"GET", "/rules", auth.See, false},
	{"GET", "/rules/sets/:set", auth.See, false},
	{"GET", "/rules/fleets/:id", auth.See, false},
	{"GET", "/plan", auth.See, false},
	{"GET", "/plan.csv", auth.See, false},
	{"GET", "/plan.xlsx", auth.See, false},
	{"GET", "/plan/day", auth.See, false},
	{"GET", "/plan/parts", auth.See, false},
	{"GET", "/plan/parts.csv", auth.See, false},
	{"GET", "/plan/parts.xlsx", auth.See, false},
	{"GET", "/bookings/:id", auth.See, false},
	{"GET", "/workshops", auth.See, false},
	{"GET", "/workshops/:id", auth.See, false},
	{"GET", "/parts", auth.See, false},
	{"GET", "/parts/:id", auth.See, false},
	{"GET", "/cards", auth.See, false},
	{"GET", "/cards/:id", auth.See, false},
	{"GET", "/steps", auth.See, false},

	{"POST", "/readings", auth.Measure, false},
	{"GET", "/readings/files/:id", auth.Measure, false},
	{"POST", "/readings/files/:id/take", auth.Measure, false},
	{"POST", "/readings/files/:id/drop", auth.Measure, false},
	{"GET", "/readings/files/:id/problems.csv", auth.Measure, false},
	{"GET", "/measure", auth.Measure, false},
	{"GET", "/vehicles/:id/measure", auth.Measure, false},
	{"POST", "/vehicles/:id/measure", auth.Measure, false},
	{"GET", "/vehicles/:id/measured/:upload", auth.Measure, false},
	{"GET", "/vehicles/:id/odometer", auth.Measure, false},
	{"POST", "/vehicles/:id/odometer", auth.Measure, false},
	{"GET", "/vehicles/:id/test", auth.Measure, false},
	{"POST", "/vehicles/:id/test", auth.Measure, false},
	{"POST", "/findings/:id", auth.Measure, false},

	{"GET", "/corrections/:kind/:id", auth.See, false},
	{"POST", "/corrections/:kind/:id", auth.Correct, false},
	{"GET", "/corrections/:kind/:id/axle", auth.Correct, false},
	{"POST", "/corrections/:kind/:id/axle", auth.Correct, false},
	{"POST", "/vehicles/:id/tests/:test/aside", auth.Correct, false},

	{"POST", "/cards", auth.Repair, false},
	{"GET", "/vehicles/:id/card", auth.Repair, false},
	{"POST", "/cards/:id/steps", auth.Repair, false},
	{"POST", "/cards/:id/parts", auth.Repair, false},
	{"POST", "/cards/:id/undo", auth.Repair, false},
	{"POST", "/cards/:id/close", auth.Repair, false},

	{"POST", "/plan/propose", auth.Plan, false},
	{"POST", "/plan/decide", auth.Plan, false},
	{"POST", "/bookings", auth.Plan, false},
	{"GET", "/bookings/new", auth.Plan, false},
	{"POST", "/bookings/:id/move", auth.Plan, false},
	{"POST", "/bookings/:id/:end", auth.Plan, false},
	{"POST", "/workshops/:id", auth.Plan, false},
	{"POST", "/workshops/:id/closures", auth.Plan, false},
	{"POST", "/workshops/:id/closures/:closure/drop", auth.Plan, false},
	{"GET", "/parts/new", auth.Plan, false},
	{"POST", "/parts", auth.Plan, false},
	{"POST", "/parts/:id", auth.Plan, false},
	{"POST", "/vehicles/:id/days", auth.Plan, false},
	{"POST", "/vehicles/:id/days/:kind/:entry/drop", auth.Plan, false},
	{"GET", "/calendars", auth.Plan, false},
	{"POST", "/calendars", auth.Plan, false},
	{"POST", "/calendars/:id/withdraw", auth.Plan, false},

	{"POST", "/vehicles/:id/limits", auth.Decide, false},
	{"POST", "/rules/fleets/:id", auth.Decide, false},
	{"POST", "/rules/fleets/:id/thresholds", auth.Decide, false},
	{"POST", "/steps", auth.Decide, false},
	{"POST", "/steps/makers", auth.Decide, false},
	{"GET", "/people", auth.Decide, false},
	{"POST", "/people", auth.Decide, false},
	{"GET", "/people/:id", auth.Decide, false},
	{"POST", "/people/:id", auth.Decide, false},
	{"POST", "/people/:id/stop", auth.Decide, false},

	{"GET", "/work", auth.Run, true},
	{"POST", "/work", auth.Run, true},

	{"GET", "/accounts", auth.People, false},
	{"POST", "/accounts", auth.People, false},
	{"GET", "/accounts/:id", auth.People, false},
	{"POST", "/accounts/:id/roles", auth.People, false},
	{"POST", "/accounts/:id/roles/:role/end", auth.People, false},
	{"POST", "/accounts/:id/link", auth.People, false},
	{"POST", "/accounts/:id/openid/end", auth.People, false},
	{"POST", "/accounts/:id/second/end", auth.People, false},
	{"POST", "/accounts/:id/sessions", auth.People, false},
	{"POST", "/accounts/:id/stop", auth.People, false},
	{"GET", "/changes", auth.People, false},
	{"GET", "/changes.csv", auth.People, false},

	{"GET", "/api/v1/openapi.yaml", auth.Public, false},
	{"GET", "/api/v1/columns", auth.Own, false},
	{"GET", "/api/v1/templates/:file", auth.Own, false},
	{"GET", "/api/v1/rule_sets", auth.Own, false},
	{"GET", "/api/v1/fleets", auth.See, false},
	{"GET", "/api/v1/depots", auth.See, false},
	{"GET", "/api/v1/due", auth.See, false},
	{"GET", "/api/v1/overview", auth.See, false},
	{"GET", "/api/v1/vehicles", auth.See, false},
	{"GET", "/api/v1/vehicles/:id", auth.See, false},
	{"GET", "/api/v1/vehicles/:id/history", auth.See, false},
	{"GET", "/api/v1/vehicles/:id/forecasts", auth.See, false},
	{"GET", "/api/v1/vehicles/:id/corrections", auth.See, false},
	{"GET", "/api/v1/vehicles/:id/brake_tests", auth.See, false},
	{"GET", "/api/v1/vehicles/:id/days", auth.See, false},
	{"GET", "/api/v1/vehicles/:id/limits", auth.See, false},
	{"GET", "/api/v1/fleets/:id/thresholds", auth.See, false},
	{"GET", "/api/v1/findings", auth.See, false},
	{"GET", "/api/v1/findings/:id", auth.See, false},
	{"GET", "/api/v1/bookings", auth.See, false},
	{"GET", "/api/v1/bookings/:id", auth.See, false},
	{"GET", "/api/v1/cards", auth.See, false},
	{"GET", "/api/v1/cards/:id", auth.See, false},
	{"GET", "/api/v1/cards/:id/entries", auth.See, false},
	{"GET", "/api/v1/proposals", auth.See, false},
	{"GET", "/api/v1/visits", auth.See, false},
	{"GET", "/api/v1/workshops", auth.See, false},
	{"GET", "/api/v1/workshops/:id", auth.See, false},
	{"GET", "/api/v1/workshops/:id/days", auth.See, false},
	{"GET", "/api/v1/parts", auth.See, false},
	{"GET", "/api/v1/parts_needed", auth.See, false},
	{"GET", "/api/v1/uploads", auth.See, false},
	{"GET", "/api/v1/uploads/:id", auth.See, false},

	{"POST", "/api/v1/findings/:id/notes", auth.Measure, false},
	{"POST", "/api/v1/findings/:id/fitment", auth.Measure, false},
	{"POST", "/api/v1/findings/:id/refusal", auth.Measure, false},
	{"POST", "/api/v1/vehicles/:id/inspections", auth.Measure, false},
	{"POST", "/api/v1/uploads", auth.Measure, false},
	{"POST", "/api/v1/checks", auth.Measure, false},
	{"POST", "/api/v1/files", auth.Measure, false},
	{"GET", "/api/v1/files/:id", auth.Measure, false},
	{"POST", "/api/v1/files/:id/take", auth.Measure, false},
	{"DELETE", "/api/v1/files/:id", auth.Measure, false},
	{"POST", "/api/v1/vehicles", auth.Measure, false},
	{"POST", "/api/v1/axles", auth.Measure, false},
	{"POST", "/api/v1/odometer", auth.Measure, false},
	{"POST", "/api/v1/fitments", auth.Measure, false},
	{"POST", "/api/v1/readings", auth.Measure, false},
	{"POST", "/api/v1/brake_tests", auth.Measure, false},
	{"POST", "/api/v1/readings/:id/corrections", auth.Correct, false},
	{"POST", "/api/v1/odometer/:id/corrections", auth.Correct, false},
	{"POST", "/api/v1/fitments/:id/corrections", auth.Correct, false},
	{"POST", "/api/v1/conditions/:id/corrections", auth.Correct, false},
	{"POST", "/api/v1/brake_tests/:id/corrections", auth.Correct, false},
	{"POST", "/api/v1/readings/:id/move", auth.Correct, false},

	{"POST", "/api/v1/bookings", auth.Plan, false},
	{"POST", "/api/v1/bookings/:id/move", auth.Plan, false},
	{"POST", "/api/v1/bookings/:id/done", auth.Plan, false},
	{"POST", "/api/v1/bookings/:id/missed", auth.Plan, false},
	{"POST", "/api/v1/bookings/:id/withdrawn", auth.Plan, false},
	{"POST", "/api/v1/proposals", auth.Plan, false},
	{"POST", "/api/v1/visits/accept", auth.Plan, false},
	{"POST", "/api/v1/visits/decline", auth.Plan, false},
	{"POST", "/api/v1/visits/reopen", auth.Plan, false},
	{"PUT", "/api/v1/workshops/:id", auth.Plan, false},
	{"POST", "/api/v1/workshops/:id/closures", auth.Plan, false},
	{"DELETE", "/api/v1/workshops/:id/closures/:closure", auth.Plan, false},
	{"POST", "/api/v1/vehicles/:id/absences", auth.Plan, false},
	{"DELETE", "/api/v1/vehicles/:id/absences/:entry", auth.Plan, false},
	{"POST", "/api/v1/vehicles/:id/planned_visits", auth.Plan, false},
	{"DELETE", "/api/v1/vehicles/:id/planned_visits/:entry", auth.Plan, false},
	{"PUT", "/api/v1/vehicles/:id/fluid_change", auth.Plan, false},
	{"POST", "/api/v1/absences", auth.Plan, false},
	{"POST", "/api/v1/planned_visits", auth.Plan, false},
	{"POST", "/api/v1/parts", auth.Plan, false},

	{"GET", "/api/v1/people", auth.Decide, false},
	{"GET", "/api/v1/people/:id", auth.Decide, false},
	{"PUT", "/api/v1/fleets/:id/rule_set", auth.Decide, false},
	{"PUT", "/api/v1/fleets/:id/thresholds", auth.Decide, false},
	{"PUT", "/api/v1/vehicles/:id/limits", auth.Decide, false},

	{"GET", "/api/v1/changes", auth.People, false},
}

// Lets says whether the rule lets who through: a stranger is nobody's account.
func (r Rule) Lets(who auth.Who) bool {
	switch {
	case r.Right == auth.Public, r.Right == auth.Open:
		return true
	case r.Right == auth.Own || who.Account == 0:
		return who.Account != 0
	}
	sc := who.Scope(r.Right)
	return !sc.Empty() && (sc.All() || !r.Whole)
}

// LetsAt says whether the rule lets who through to what belongs to the depot of
// the fleet; depot 0 is the whole fleet.
func (r Rule) LetsAt(who auth.Who, fleetID, depotID int64) bool {
	return r.Lets(who) && (r.Right == auth.Public || r.Right == auth.Open || r.Right == auth.Own || who.Scope(r.Right).Sees(fleetID, depotID))
}

// rules is Routes by method and path.
var rules = func() map[string]Rule {
	m := make(map[string]Rule, len(Routes))
	for _, r := range Routes {
		m[r.Method+" "+r.Path] = r
	}
	return m
}()

// long are the routes that may take FileTime instead of RequestTime: files of a
// whole fleet, and work on one. A route that brings a file says so by AllowBody.
var long = map[string]bool{
	"GET /changes.csv":     true,
	"GET /due.csv":         true,
	"GET /due.xlsx":        true,
	"GET /findings.csv":    true,
	"GET /overview":        true, // figures of a whole fleet, when nobody asked before
	"GET /overview/:file":  true,
	"GET /plan.csv":        true,
	"GET /plan.xlsx":       true,
	"GET /plan/parts.csv":  true,
	"GET /plan/parts.xlsx": true,

	"GET /readings/:id/problems.csv":       true,
	"GET /readings/files/:id/problems.csv": true,

	"POST /plan/propose":                true,
	"POST /plan/decide":                 true,
	"POST /rules/fleets/:id":            true, // forecasts of all its vehicles
	"POST /rules/fleets/:id/thresholds": true,

	"GET /api/v1/overview":            true,
	"POST /api/v1/proposals":          true,
	"POST /api/v1/visits/accept":      true,
	"POST /api/v1/visits/decline":     true,
	"POST /api/v1/visits/reopen":      true,
	"PUT /api/v1/fleets/:id/rule_set": true,
}

// timeOf is how long a request to a route may take.
func timeOf(method, path string) time.Duration {
	if long[method+" "+path] {
		return FileTime
	}
	return RequestTime
}

// RuleOf returns the rule of a route as the router knows it.
func RuleOf(method, path string) (Rule, bool) {
	r, ok := rules[method+" "+path]
	return r, ok
}
