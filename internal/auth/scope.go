package auth

import "slices"

// Scope says which fleets and depots a caller may see and change. Its zero
// value sees nothing. Every store method that touches fleet data takes one.
type Scope struct {
	all    bool
	fleets []int64
	depots []int64
	plan   *Scope // see Planning; nil = all of it
}

// AllFleets is the scope of the command line and of scheduled work. A request
// has the one that Who.Scope gives: a test lets no package that answers requests
// call this.
func AllFleets() Scope { return Scope{all: true} }

// ScopeOf returns the scope of the fleets and depots given, as they are kept
// with a person or a piece of work.
func ScopeOf(fleets, depots []int64) Scope { return Scope{fleets: fleets, depots: depots} }

// Planning is the part of the scope in which the caller has the right to plan too:
// what is handed in as files takes the right to measure, and some files more.
func (s Scope) Planning() Scope {
	if s.plan != nil {
		return *s.plan
	}
	return s
}

// Measuring is the scope without what is said of planning.
func (s Scope) Measuring() Scope {
	s.plan = nil
	return s
}

// PlansLess says whether Planning is another scope, to be kept beside this one.
func (s Scope) PlansLess() bool { return s.plan != nil }

// WithPlanning is the scope of somebody who may plan in another one only.
func (s Scope) WithPlanning(plan Scope) Scope {
	s.plan = &plan
	return s
}

// All says whether nothing is hidden from the scope.
func (s Scope) All() bool { return s.all }

// Fleets returns the fleets seen whole.
func (s Scope) Fleets() []int64 { return s.fleets }

// Depots returns the depots seen apart from those fleets.
func (s Scope) Depots() []int64 { return s.depots }

// Sees says whether the scope sees what belongs to the depot of the fleet; depot
// 0 is what belongs to the whole fleet.
func (s Scope) Sees(fleetID, depotID int64) bool {
	return s.all || slices.Contains(s.fleets, fleetID) || slices.Contains(s.depots, depotID)
}

// same says whether both see alike, by the same grants.
func (s Scope) same(t Scope) bool {
	return s.all == t.all && slices.Equal(s.fleets, t.fleets) && slices.Equal(s.depots, t.depots)
}

// Empty says whether the scope sees nothing.
func (s Scope) Empty() bool { return !s.all && len(s.fleets) == 0 && len(s.depots) == 0 }
