package store_test

import (
	"errors"
	"testing"

	"github.com/google/go-cmp/cmp"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

func TestWorkshop(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		mustVehicles(t, db, entry("Bus 1"), entry("Bus 2", of("North", "Hill")), entry("Bus 3", of("South", "Bay")))
		quay := depotOf(t, db, "Quay")
		got, err := db.Workshop(t.Context(), all, quay.ID, monday)
		if err != nil {
			t.Fatal(err)
		}
		want := fleet.DefaultWorkshop()
		want.FleetID, want.DepotID = quay.FleetID, quay.ID
		if d := cmp.Diff(want, got.Workshop); d != "" {
			t.Errorf("nobody has set it: %s", d)
		}

		want.Bays, want.Currency, want.Overtime, want.PastHeavy, want.Set = 4, "KR", 1.5, 1234.5, true
		want.Week[6] = fleet.WorkDay{Opens: 600, Closes: 720, Technicians: 2}
		want.Hours[fleet.TaskBleed] = fleet.TaskHours{Light: .25, Heavy: .75}
		for range 2 { // new, then changed
			want.Bays++
			if err := db.SaveWorkshop(t.Context(), all, "N. N.", want); err != nil {
				t.Fatal(err)
			}
		}
		for range 2 { // the second is there already
			err := db.AddClosures(t.Context(), all, []fleet.Closure{
				{DepotID: quay.ID, First: monday + 7, Last: monday + 8, Reason: "fair"},
				{DepotID: quay.ID, First: monday, Last: monday, Technicians: 3, Reason: "training"},
			})
			if err != nil {
				t.Fatal(err)
			}
		}
		got, err = db.Workshop(t.Context(), all, quay.ID, monday)
		if err != nil {
			t.Fatal(err)
		}
		if d := cmp.Diff(want, got.Workshop); d != "" {
			t.Errorf("set: %s", d)
		}
		if len(got.Closures) != 2 || got.Closures[0].Reason != "training" {
			t.Errorf("closures: got %+v", got.Closures)
		}
		for d, hours := range map[fleet.Date]float64{monday - 1: 2, monday: 3, monday + 1: 8, monday + 7: 0, monday + 8: 0, monday + 9: 8} {
			if w := got.Day(d); w.Technicians != hours || w.Open() != (hours > 0) {
				t.Errorf("%s: got %+v, want %g hours", d, w, hours)
			}
		}
		if err := db.DropClosure(t.Context(), all, quay.ID, got.Closures[0].ID); err != nil {
			t.Error(err)
		}
		if err := db.DropClosure(t.Context(), all, quay.ID, got.Closures[0].ID); !errors.Is(err, fleet.ErrNotFound) {
			t.Errorf("dropped twice: got %v", err)
		}
		ws, err := db.Workshops(t.Context(), all, monday+9)
		if err != nil || len(ws) != 3 || len(ws[2].Closures) != 0 || ws[2].Workshop.Bays != want.Bays {
			t.Errorf("Workshops: got %+v, %v", ws, err)
		}
	})
}

func TestWorkshopFaults(t *testing.T) {
	s := fleet.DefaultWorkshop()
	if got := s.Faults(); len(got) != 0 {
		t.Errorf("the default has faults: %v", got)
	}
	s.Bays, s.Week[2].Closes, s.VisitCost = 0, 60, -1
	s.Hours[fleet.TaskPads] = fleet.TaskHours{Light: 25}
	var fields []string
	for _, f := range s.Faults() {
		fields = append(fields, f.Field)
	}
	if d := cmp.Diff([]string{"bays", "opens_2", "light_pads", "visit_cost"}, fields); d != "" {
		t.Error(d)
	}
}

func TestTimeZone(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		mustVehicles(t, db, entry("Bus 1"))
		quay := depotOf(t, db, "Quay")
		for zone, want := range map[string]error{"": fleet.ErrInvalid, "Local": fleet.ErrInvalid, "Moon/Rim": fleet.ErrInvalid, "Atlantic/Azores": nil} {
			if err := db.SetTimeZone(t.Context(), all, quay.ID, zone); !errors.Is(err, want) {
				t.Errorf("%q: got %v", zone, err)
			}
		}
		if got := depotOf(t, db, "Quay").TimeZone; got != "Atlantic/Azores" {
			t.Errorf("got %q", got)
		}
	})
}

func TestUpkeep(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ids := mustVehicles(t, db, entry("Bus 1"), entry("Bus 2"), entry("Bus 3", of("South", "Bay")))
		quay := depotOf(t, db, "Quay")
		check := func(err error) {
			t.Helper()
			if err != nil {
				t.Fatal(err)
			}
		}
		check(db.AddAbsence(t.Context(), all, fleet.Absence{VehicleID: ids[0], First: ptr(monday), Last: ptr(monday + 4), Reason: "rented out"}))
		check(db.AddAbsence(t.Context(), all, fleet.Absence{VehicleID: ids[0], Last: ptr(monday - 10), Weekdays: fleet.Days(0).With(1), Reason: "over"}))
		check(db.AddAbsence(t.Context(), all, fleet.Absence{VehicleID: ids[0], Weekdays: fleet.Days(0).With(4), Reason: "market day"}))
		check(db.AddPlannedVisit(t.Context(), all, fleet.PlannedVisit{VehicleID: ids[1], DepotID: quay.ID, Day: monday + 2, What: "service"}))
		check(db.AddPlannedVisit(t.Context(), all, fleet.PlannedVisit{VehicleID: ids[1], Day: monday + 3, What: "statutory test"}))
		check(db.SetFluidChange(t.Context(), all, ids[1], ptr(monday-800)))
		check(db.SetFluidChange(t.Context(), all, ids[1], ptr(monday-700)))
		check(db.SetFluidChange(t.Context(), all, ids[2], ptr(monday)))
		check(db.SetFluidChange(t.Context(), all, ids[2], nil))
		// The same again, as a feed sends it: nothing more, and the log of changes says nothing.
		told := func() int {
			ds, err := db.Deeds(t.Context(), all, store.DeedQuery{Record: "vehicle", Limit: store.MaxLimit})
			check(err)
			return len(ds)
		}
		before := told()
		check(db.AddAbsence(t.Context(), all,
			fleet.Absence{VehicleID: ids[0], First: ptr(monday), Last: ptr(monday + 4), Reason: "rented out"},
			fleet.Absence{VehicleID: ids[0], Weekdays: fleet.Days(0).With(4), Reason: "market day"}))
		check(db.AddPlannedVisit(t.Context(), all,
			fleet.PlannedVisit{VehicleID: ids[1], DepotID: quay.ID, Day: monday + 2, What: "service"},
			fleet.PlannedVisit{VehicleID: ids[1], Day: monday + 3, What: "statutory test"}))
		if n := told() - before; n != 0 || before == 0 {
			t.Errorf("sent again: %d changes told after %d, want none", n, before)
		}
		// One of several that cannot be: none is kept.
		err := db.AddAbsence(t.Context(), all, fleet.Absence{VehicleID: ids[2], First: ptr(monday)}, fleet.Absence{VehicleID: 999999, First: ptr(monday)})
		if !errors.Is(err, fleet.ErrNotFound) {
			t.Errorf("of no vehicle: got %v", err)
		}
		got, err := db.Upkeeps(t.Context(), all, nil, monday)
		check(err)
		want := map[int64]*fleet.Upkeep{
			ids[0]: {Absences: []fleet.Absence{
				{VehicleID: ids[0], First: ptr(monday), Last: ptr(monday + 4), Reason: "rented out"},
				{VehicleID: ids[0], Weekdays: 16, Reason: "market day"},
			}},
			ids[1]: {Visits: []fleet.PlannedVisit{
				{VehicleID: ids[1], DepotID: quay.ID, Day: monday + 2, What: "service", Depot: "Quay"},
				{VehicleID: ids[1], Day: monday + 3, What: "statutory test"},
			}, FluidChanged: ptr(monday - 700)},
		}
		drop := got[ids[0]].Absences[0].ID
		for _, u := range got {
			for i := range u.Absences {
				u.Absences[i].ID = 0
			}
			for i := range u.Visits {
				u.Visits[i].ID = 0
			}
		}
		if d := cmp.Diff(want, got); d != "" {
			t.Error(d)
		}
		south := auth.ScopeOf(nil, []int64{depotOf(t, db, "Bay").ID})
		if got, err := db.Upkeeps(t.Context(), south, nil, monday); err != nil || len(got) != 0 {
			t.Errorf("another's: got %v, %v", got, err)
		}
		for _, err := range []error{
			db.AddAbsence(t.Context(), south, fleet.Absence{VehicleID: ids[0], First: ptr(monday)}),
			db.AddPlannedVisit(t.Context(), south, fleet.PlannedVisit{VehicleID: ids[0], Day: monday, What: "service"}),
			db.SetFluidChange(t.Context(), south, ids[1], nil),
			db.DropAbsence(t.Context(), south, ids[0], drop),
			db.DropPlannedVisit(t.Context(), south, ids[1], 1),
			db.SaveWorkshop(t.Context(), south, "N. N.", func() fleet.Workshop { s := fleet.DefaultWorkshop(); s.DepotID = quay.ID; return s }()),
			db.SetTimeZone(t.Context(), south, quay.ID, "UTC"),
			db.AddClosures(t.Context(), south, []fleet.Closure{{DepotID: quay.ID, First: monday, Last: monday}}),
			db.DropClosure(t.Context(), south, quay.ID, 1),
		} {
			if !errors.Is(err, fleet.ErrNotFound) {
				t.Errorf("another's: got %v", err)
			}
		}
		if ws, err := db.Workshops(t.Context(), south, monday); err != nil || len(ws) != 1 {
			t.Errorf("another's: got %d workshops, %v", len(ws), err)
		}
	})
}
