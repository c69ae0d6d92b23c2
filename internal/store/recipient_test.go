package store_test

import (
	"errors"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

func TestRecipients(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		mustVehicles(t, db, entry("Bus 1"), entry("Bus 2", of("North", "Mill")), entry("Bus 3", of("South", "Far Side")))
		quay, mill, far := depotOf(t, db, "Quay"), depotOf(t, db, "Mill"), depotOf(t, db, "Far Side")
		north, south := store.Place{FleetID: quay.FleetID}, store.Place{FleetID: far.FleetID}
		atMill := store.Place{FleetID: mill.FleetID, DepotID: mill.ID}
		person := func(name string, places ...store.Place) *store.Recipient {
			return &store.Recipient{Name: name, Address: name + "@island.example", Role: store.RolePlanner, Places: places}
		}
		everything := person("chief")
		everything.Everything, everything.Role = true, store.RoleManager
		people := []*store.Recipient{person("ann", north), person("ben", atMill), person("cem", north, south), everything}
		for _, r := range people {
			if err := db.SaveRecipient(t.Context(), all, "N. N.", r); err != nil {
				t.Fatal(err)
			}
		}
		seesNorth, seesMill := auth.ScopeOf([]int64{north.FleetID}, nil), auth.ScopeOf(nil, []int64{mill.ID})
		for _, c := range []struct {
			name string
			sc   auth.Scope
			want []string
		}{
			{"all", all, []string{"ann", "ben", "cem", "chief"}},
			{"a fleet", seesNorth, []string{"ann", "ben"}},
			{"a depot", seesMill, []string{"ben"}},
			{"nothing", auth.Scope{}, nil},
		} {
			rs, err := db.Recipients(t.Context(), c.sc)
			if err != nil {
				t.Fatal(err)
			}
			var got []string
			for _, r := range rs {
				got = append(got, r.Name)
			}
			if d := cmp.Diff(c.want, got); d != "" {
				t.Errorf("%s: %s", c.name, d)
			}
		}

		got, err := db.Recipient(t.Context(), all, people[2].ID)
		if err != nil {
			t.Fatal(err)
		}
		want := *people[2]
		want.Places = []store.Place{{FleetID: north.FleetID, Fleet: "North"}, {FleetID: south.FleetID, Fleet: "South"}}
		if d := cmp.Diff(want, got, cmpopts.EquateApproxTime(0)); d != "" {
			t.Error(d)
		}

		for _, c := range []struct {
			name   string
			sc     auth.Scope
			change func(r *store.Recipient)
			want   error
		}{
			{"no name", all, func(r *store.Recipient) { r.Name = " " }, fleet.ErrInvalid},
			{"no such role", all, func(r *store.Recipient) { r.Role = "king" }, fleet.ErrInvalid},
			{"no places", all, func(r *store.Recipient) { r.Places = nil }, fleet.ErrInvalid},
			{"no such fleet", all, func(r *store.Recipient) { r.Places = []store.Place{{FleetID: 999}} }, fleet.ErrNotFound},
			{"a depot of another fleet", all, func(r *store.Recipient) { r.Places = []store.Place{{FleetID: south.FleetID, DepotID: mill.ID}} }, fleet.ErrInvalid},
			{"told already", all, func(r *store.Recipient) { r.Address = "ANN@island.example" }, fleet.ErrConflict},
			{"another's fleet", seesMill, func(r *store.Recipient) {}, fleet.ErrNotFound},
			{"everything, by one who sees a part", seesNorth, func(r *store.Recipient) { r.Everything = true }, fleet.ErrInvalid},
			{"another's person", seesMill, func(r *store.Recipient) { r.ID, r.Places = people[0].ID, []store.Place{atMill} }, fleet.ErrNotFound},
		} {
			r := person("dora", north)
			c.change(r)
			if err := db.SaveRecipient(t.Context(), c.sc, "N. N.", r); !errors.Is(err, c.want) {
				t.Errorf("%s: got %v, want %v", c.name, err, c.want)
			}
		}

		changed := *people[0]
		changed.Name, changed.Places = "Ann", []store.Place{atMill}
		if err := db.SaveRecipient(t.Context(), seesNorth, "N. N.", &changed); err != nil {
			t.Fatal(err)
		}
		if got, err := db.Recipient(t.Context(), seesMill, changed.ID); err != nil || got.Name != "Ann" || got.Address != "ann@island.example" {
			t.Errorf("changed: got %+v, %v", got, err)
		}

		if err := db.StopRecipient(t.Context(), seesMill, "N. N.", people[2].ID); !errors.Is(err, fleet.ErrNotFound) {
			t.Errorf("another's stopped: got %v, want not found", err)
		}
		if err := db.StopRecipient(t.Context(), all, "N. N.", people[2].ID); err != nil {
			t.Fatal(err)
		}
		if _, err := db.Recipient(t.Context(), all, people[2].ID); !errors.Is(err, fleet.ErrNotFound) {
			t.Errorf("stopped: got %v, want not found", err)
		}
		if err := db.SaveRecipient(t.Context(), all, "N. N.", person("cem", north)); err != nil {
			t.Errorf("told again: %v", err)
		}
	})
}

// Whose account ends is told nothing by mail any more, wherever they were told of.
func TestStoppedIsNotTold(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		mustAccount(t, db, "bo", on(auth.Admin, 0, 0)) // one must be left
		ann := store.Account{Name: "Ann", Email: "ann@island.example", Grants: []store.Grant{{Role: auth.Manager}}}
		if err := db.AddAccount(t.Context(), all, "test", &ann); err != nil {
			t.Fatal(err)
		}
		for _, address := range []string{"Ann@Island.example", "office@island.example"} {
			r := store.Recipient{Name: "N. N.", Address: address, Role: store.RoleManager, Everything: true}
			if err := db.SaveRecipient(t.Context(), all, "test", &r); err != nil {
				t.Fatal(err)
			}
		}
		if err := db.StopAccount(t.Context(), all, "M. M.", ann.ID); err != nil {
			t.Fatal(err)
		}
		rs, err := db.Recipients(t.Context(), all)
		if err != nil || len(rs) != 1 || rs[0].Address != "office@island.example" {
			t.Errorf("told still: %+v, %v, want office@island.example alone", rs, err)
		}
		if n := count(t, db, `select count(*) from audit_log where record = 'person told' and act = 'ended' and done_by = 'M. M.'`); n != 1 {
			t.Errorf("the log says it %d times, want once", n)
		}
	})
}

// Who ends an account of one fleet ends the mail of that fleet, and none of another.
func TestStoppedIsToldElsewhere(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		mustVehicles(t, db, entry("Bus 1"), entry("Bus 2", of("South", "Hill")))
		quay, hill := depotOf(t, db, "Quay"), depotOf(t, db, "Hill")
		north, south := store.Place{FleetID: quay.FleetID}, store.Place{FleetID: hill.FleetID}
		atQuay, atHill := store.Place{FleetID: quay.FleetID, DepotID: quay.ID}, store.Place{FleetID: hill.FleetID, DepotID: hill.ID}
		seesNorth, seesQuay := auth.ScopeOf([]int64{quay.FleetID}, nil), auth.ScopeOf(nil, []int64{quay.ID})
		mustAccount(t, db, "bo", on(auth.Admin, 0, 0)) // one must be left
		for _, c := range []struct {
			name        string
			sc          auth.Scope
			tells, want []store.Place // none wanted = told no more
			logged      int           // in the log of the fleet
		}{
			{"here", seesNorth, []store.Place{north}, nil, 1},
			{"elsewhere", seesNorth, []store.Place{south}, []store.Place{south}, 0},
			{"both", seesNorth, []store.Place{north, south}, []store.Place{south}, 1},
			{"depots", seesNorth, []store.Place{atQuay, atHill}, []store.Place{atHill}, 1},
			{"wider", seesQuay, []store.Place{north}, []store.Place{north}, 0},
			{"depot", seesQuay, []store.Place{atQuay, south}, []store.Place{south}, 1},
		} {
			a := mustAccount(t, db, c.name, on(auth.Planner, quay.FleetID, quay.ID))
			r := store.Recipient{Name: c.name, Address: a.Email, Role: store.RolePlanner, Places: c.tells}
			if err := db.SaveRecipient(t.Context(), all, "test", &r); err != nil {
				t.Fatal(err)
			}
			if err := db.StopAccount(t.Context(), c.sc, "M. M.", a.ID); err != nil {
				t.Fatal(err)
			}
			got, err := db.Recipient(t.Context(), all, r.ID)
			if d := cmp.Diff(c.want, got.Places, cmpopts.IgnoreFields(store.Place{}, "Fleet", "Depot")); d != "" || (err != nil) != (c.want == nil) {
				t.Errorf("%s: got %v, told of (-want +got):\n%s", c.name, err, d)
			}
			n := count(t, db, `
				select count(*) from audit_log
				where record = 'person told' and act = 'ended' and record_id = ? and fleet_id = ?`, r.ID, quay.FleetID)
			if n != c.logged {
				t.Errorf("%s: the fleet's log says it %d times, want %d", c.name, n, c.logged)
			}
		}

		a := mustAccount(t, db, "everything", on(auth.Planner, quay.FleetID, 0))
		r := store.Recipient{Name: a.Name, Address: a.Email, Role: store.RolePlanner, Everything: true}
		if err := db.SaveRecipient(t.Context(), all, "test", &r); err != nil {
			t.Fatal(err)
		}
		if err := db.StopAccount(t.Context(), seesNorth, "M. M.", a.ID); err != nil {
			t.Fatal(err)
		}
		if _, err := db.Recipient(t.Context(), all, r.ID); err != nil {
			t.Errorf("told of everything: got %v, want told still", err)
		}
	})
}
