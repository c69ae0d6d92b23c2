package pipeline

import (
	"fmt"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// absencesHeader begins the files of the tests below; what they say is invented.
const absencesHeader = "vehicle,depot,fleet,first_day,last_day,weekdays,technician_hours,reason\n"

// An absences file fills the calendars of vehicles and workshops, once, and says
// of each line that it cannot take why.
func TestImportAbsences(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s := newShop(t, db)
		technician := auth.Who{Grants: []auth.Grant{{Role: auth.Technician, FleetID: s.depot.FleetID}}}.Scope(auth.Measure)
		planner := auth.Who{Grants: []auth.Grant{{Role: auth.Planner, FleetID: s.depot.FleetID, DepotID: s.depot.ID}}}.Scope(auth.Measure)
		for _, c := range []struct {
			name string
			sc   auth.Scope
			text string
			want string
		}{
			{"new", auth.AllFleets(), "Bus 1,,,2026-07-06,2026-07-17,,,hired out\nBus 2,,,,,Mon,,\n,harbour,,2026-12-24,,,,Midwinter\n", "3 taken, 0 there, 0 refused"},
			{"some of them again", auth.AllFleets(), "Bus 1,,,2026-07-06,2026-07-17,,,hired out\n,Harbour,,2026-12-24,,,,Midwinter\n,Harbour,,2026-07-06,2026-07-07,,7.5,leave\n", "1 taken, 2 there, 0 refused"},
			{"twice in a file", auth.AllFleets(), "Bus 3,,,2026-07-06,,,,\nBus 3,,Ferry Lines,2026-07-06,,,,\n", "1 taken, 1 there, 0 refused"},
			{"no such place", auth.AllFleets(), "Tram 9,,,2026-07-06,,,,\n,Moon,,2026-07-06,,,,\n,Harbour,Night Lines,2026-07-06,,,,\n",
				"0 taken, 0 there, 3 refused; vehicle no vehicle has this number: correct it, or take in a vehicles file that has it first; depot no depot has this name: correct it; depot no depot has this name: correct it"},
			{"a depot's planner", planner, "Bus 4,,,2026-07-06,,,,\n,Harbour,,2026-07-08,,,,\n", "2 taken, 0 there, 0 refused"},
			{"a technician", technician, "Bus 4,,,2026-07-09,,,,\n,Harbour,,2026-07-09,,,,\n",
				"0 taken, 0 there, 2 refused; vehicle you may not plan for this vehicle: have a planner hand the line in; depot you may not plan for this workshop: have a planner hand the line in"},
		} {
			s.handIn(c.name, c.sc, absencesHeader+c.text, c.want)
		}

		ups, err := db.Upkeeps(t.Context(), auth.AllFleets(), s.buses, s.today)
		s.check(err)
		var got []string
		for i, id := range s.buses {
			if ups[id] == nil {
				continue
			}
			for _, a := range ups[id].Absences {
				got = append(got, fmt.Sprintf("Bus %d %v %v %s %q", i+1, a.First, a.Last, a.Weekdays, a.Reason))
			}
		}
		w, err := db.Workshop(t.Context(), auth.AllFleets(), s.depot.ID, s.today)
		s.check(err)
		for _, c := range w.Closures {
			got = append(got, fmt.Sprintf("%s %s %g %q", c.First, c.Last, c.Technicians, c.Reason))
		}
		want := []string{
			`Bus 1 2026-07-06 2026-07-17  "hired out"`, `Bus 2 <nil> <nil> Mon ""`, `Bus 3 2026-07-06 2026-07-06  ""`, `Bus 4 2026-07-06 2026-07-06  ""`,
			`2026-07-06 2026-07-07 7.5 "leave"`, `2026-07-08 2026-07-08 0 ""`, `2026-12-24 2026-12-24 0 "Midwinter"`,
		}
		if d := cmp.Diff(want, got); d != "" {
			t.Errorf("the calendars (-want +got):\n%s", d)
		}
	})
}

// A file of planned visits fills the calendars of vehicles, once, and says of each
// line that it cannot take why.
func TestImportPlannedVisits(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s := newShop(t, db)
		technician := auth.Who{Grants: []auth.Grant{{Role: auth.Technician, FleetID: s.depot.FleetID}}}.Scope(auth.Measure)
		planner := auth.Who{Grants: []auth.Grant{{Role: auth.Planner, FleetID: s.depot.FleetID, DepotID: s.depot.ID}}}.Scope(auth.Measure)
		s.handIn("another depot", auth.AllFleets(), "vehicle,fleet,depot,category\nBus 90,Ferry Lines,Bridge,M3\n", "1 taken, 0 there, 0 refused")
		for _, c := range []struct {
			name string
			sc   auth.Scope
			text string
			want string
		}{
			{"new", auth.AllFleets(), "Bus 1,2026-07-06,statutory test,\nBus 1,2026-07-07,service,harbour\n", "2 taken, 0 there, 0 refused"},
			{"some of them again", auth.AllFleets(), "Bus 1,2026-07-07,service,Harbour\nBus 1,2026-07-07,tyres,Harbour\nBus 1,2026-07-07,tyres,Harbour\n", "1 taken, 2 there, 0 refused"},
			{"no such place", auth.AllFleets(), "Tram 9,2026-07-06,service,\nBus 1,2026-07-06,service,Moon\n",
				"0 taken, 0 there, 2 refused; vehicle no vehicle has this number: correct it, or take in a vehicles file that has it first; depot the vehicle's fleet has no depot of this name: correct it, or leave it blank for a visit elsewhere"},
			{"a depot's planner", planner, "Bus 2,2026-07-06,service,Harbour\nBus 2,2026-07-06,service,Bridge\nBus 90,2026-07-06,service,\n",
				"1 taken, 0 there, 2 refused; depot the vehicle's fleet has no depot of this name: correct it, or leave it blank for a visit elsewhere; vehicle no vehicle of yours has this number: correct it, or take in a vehicles file that has it first; if it is of another depot, have somebody of that depot hand the line in"},
			{"a technician", technician, "Bus 3,2026-07-09,service,\n", "0 taken, 0 there, 1 refused; vehicle you may not plan for this vehicle: have a planner hand the line in"},
		} {
			s.handIn(c.name, c.sc, "vehicle,day,what,depot\n"+c.text, c.want)
		}
		ups, err := db.Upkeeps(t.Context(), auth.AllFleets(), s.buses, s.today)
		s.check(err)
		var got []string
		for i, id := range s.buses {
			if ups[id] == nil {
				continue
			}
			for _, v := range ups[id].Visits {
				got = append(got, fmt.Sprintf("Bus %d %v %s at %q", i+1, v.Day, v.What, v.Depot))
			}
		}
		want := []string{
			`Bus 1 2026-07-06 statutory test at ""`, `Bus 1 2026-07-07 service at "Harbour"`, `Bus 1 2026-07-07 tyres at "Harbour"`, `Bus 2 2026-07-06 service at "Harbour"`,
		}
		if d := cmp.Diff(want, got); d != "" {
			t.Errorf("the calendars (-want +got):\n%s", d)
		}
	})
}

// Two depots of one name are told apart by their fleets, or by who may plan for them,
// and a parts file asks for the right to plan as its page does.
func TestImportAsPlanner(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s := newShop(t, db)
		s.handIn("another fleet", auth.AllFleets(), "vehicle,fleet,depot,category\nCoach 1,Night Lines,Harbour,M3\n", "1 taken, 0 there, 0 refused")
		technician := auth.Who{Grants: []auth.Grant{{Role: auth.Technician, FleetID: s.depot.FleetID}}}.Scope(auth.Measure)
		ds, err := db.Depots(t.Context(), auth.AllFleets())
		s.check(err)
		other := ds[slices.IndexFunc(ds, func(d fleet.Depot) bool { return d.FleetID != s.depot.FleetID })]
		both := auth.Who{Grants: []auth.Grant{
			{Role: auth.Planner, FleetID: s.depot.FleetID, DepotID: s.depot.ID}, {Role: auth.Technician, FleetID: other.FleetID},
		}}.Scope(auth.Measure)
		for _, c := range []struct {
			name string
			sc   auth.Scope
			text string
			want string
		}{
			{"which depot", auth.AllFleets(), absencesHeader + ",Harbour,,2026-12-24,,,,\n", "0 taken, 0 there, 1 refused; depot several fleets have a depot of this name: add a column fleet that says which"},
			{"the one depot planned for", both, absencesHeader + ",Harbour,,2026-12-25,,,,\n", "1 taken, 0 there, 0 refused"},
			{"the other", both, absencesHeader + ",Harbour,night lines,2026-12-26,,,,\n", "0 taken, 0 there, 1 refused; depot you may not plan for this workshop: have a planner hand the line in"},
			{"that one", auth.AllFleets(), absencesHeader + ",Harbour,night lines,2026-12-24,,,,\n", "1 taken, 0 there, 0 refused"},
			{"parts", auth.AllFleets(), "part_number,fleet,item\nP 1,Ferry Lines,pads\n", "1 taken, 0 there, 0 refused"},
			{"parts of the other", both, "part_number,fleet,item\nP 3,Night Lines,pads\n", "0 taken, 0 there, 1 refused; part_number you may not plan for this fleet: have a planner hand the line in"},
			{"a technician's parts", technician, "part_number,item,depot,stock\nP 1,,Harbour,3\nP 2,pads,,\n",
				"0 taken, 0 there, 2 refused; part_number you may not plan for this fleet: have a planner hand the line in; part_number you may not plan for this fleet: have a planner hand the line in"},
		} {
			s.handIn(c.name, c.sc, c.text, c.want)
		}
	})
}
