package auth

import (
	"slices"
	"testing"
)

func TestScopeOfWho(t *testing.T) {
	on := func(role Role, fleet, depot int64) Grant { return Grant{Role: role, FleetID: fleet, DepotID: depot} }
	for _, c := range []struct {
		name   string
		who    Who
		right  Right
		all    bool
		fleets []int64
		depots []int64
	}{
		{name: "no role", right: See},
		{name: "a role that has the right", who: Who{Grants: []Grant{on(Planner, 1, 0)}}, right: Plan, fleets: []int64{1}},
		{name: "a role that has it not", who: Who{Grants: []Grant{on(Technician, 1, 0)}}, right: Plan},
		{name: "an unknown role", who: Who{Grants: []Grant{on("king", 0, 0)}}, right: See},
		{name: "one depot", who: Who{Grants: []Grant{on(Technician, 1, 7)}}, right: Measure, depots: []int64{7}},
		{
			name: "the right in one place, another role in another",
			who:  Who{Grants: []Grant{on(Technician, 1, 0), on(Planner, 2, 0), on(Manager, 3, 9)}}, right: Plan,
			fleets: []int64{2}, depots: []int64{9},
		},
		{name: "everything goes before places", who: Who{Grants: []Grant{on(Planner, 2, 0), on(Admin, 0, 0)}}, right: Plan, all: true},
		{name: "everything by a role without the right", who: Who{Grants: []Grant{on(Technician, 0, 0), on(Planner, 2, 0)}}, right: Plan, fleets: []int64{2}},
		{name: "a token with the right", who: Who{Grants: []Grant{on(Admin, 0, 0)}, Only: []Right{See}}, right: See, all: true},
		{name: "a token without it", who: Who{Grants: []Grant{on(Admin, 0, 0)}, Only: []Right{See}}, right: Plan},
		{name: "a token with a right its account lost", who: Who{Grants: []Grant{on(Technician, 1, 0)}, Only: []Right{Plan}}, right: Plan},
		{name: "a token with no right", who: Who{Grants: []Grant{on(Admin, 0, 0)}, Only: []Right{}}, right: See},
	} {
		sc := c.who.Scope(c.right)
		if sc.All() != c.all || !slices.Equal(sc.Fleets(), c.fleets) || !slices.Equal(sc.Depots(), c.depots) {
			t.Errorf("%s: got %+v, want all %t, fleets %v, depots %v", c.name, sc, c.all, c.fleets, c.depots)
		}
		if got := c.who.May(c.right); got == sc.Empty() {
			t.Errorf("%s: May: got %t with scope %+v", c.name, got, sc)
		}
	}
}

// Who may hand in files may plan with them only where the right to plan holds.
func TestPlanning(t *testing.T) {
	on := func(role Role, fleet, depot int64) Grant { return Grant{Role: role, FleetID: fleet, DepotID: depot} }
	for _, c := range []struct {
		name string
		who  Who
		want []bool // plans for depots 11 and 12 of fleet 1, 21 of fleet 2
		less bool   // than the depots measured for
	}{
		{"a planner", Who{Grants: []Grant{on(Planner, 1, 0)}}, []bool{true, true, false}, false},
		{"a technician", Who{Grants: []Grant{on(Technician, 0, 0)}}, []bool{false, false, false}, true},
		{"one everywhere, one there", Who{Grants: []Grant{on(Technician, 0, 0), on(Planner, 1, 12)}}, []bool{false, true, false}, true},
		{"one fleet, another fleet", Who{Grants: []Grant{on(Technician, 2, 0), on(Planner, 1, 0)}}, []bool{true, true, false}, true},
		{"one depot, another depot", Who{Grants: []Grant{on(Technician, 1, 11), on(Planner, 1, 12)}}, []bool{false, true, false}, true},
		{"an admin", Who{Grants: []Grant{on(Admin, 0, 0)}}, []bool{true, true, true}, false},
		{"an admin's token to measure", Who{Grants: []Grant{on(Admin, 0, 0)}, Only: []Right{Measure}}, []bool{false, false, false}, true},
	} {
		sc := c.who.Scope(Measure)
		plan := sc.Planning()
		got := []bool{plan.Sees(1, 11), plan.Sees(1, 12), plan.Sees(2, 21)}
		if !slices.Equal(got, c.want) || sc.PlansLess() != c.less {
			t.Errorf("%s: got %v by %+v, want %v, less: %v", c.name, got, sc, c.want, c.less)
		}
	}
	if !AllFleets().Planning().All() {
		t.Error("the command line may not plan")
	}
}

// Every role has rights that people know, and none that goes with nobody.
func TestRolesHaveRights(t *testing.T) {
	for _, r := range Roles {
		if !r.Known() || !r.May(See) {
			t.Errorf("%s: not known, or may not even see", r)
		}
		for _, right := range []Right{Public, Own} {
			if r.May(right) {
				t.Errorf("%s has %s: it is no right of a role", r, right)
			}
		}
	}
	if len(may) != len(Roles) {
		t.Errorf("%d roles have rights, %d are shown", len(may), len(Roles))
	}
	for _, right := range Rights {
		if !Admin.May(right) {
			t.Errorf("an admin may not %s: nobody could give it", right)
		}
	}
}
