package pipeline_test

import (
	"context"
	"errors"
	"slices"
	"strings"
	"testing"

	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// The jobs come with names and times of their own, and those they wait for
// are there.
func TestJobs(t *testing.T) {
	s := newService(storetest.Open(t, store.SQLite))
	var names []string
	for _, j := range s.Jobs() {
		if slices.Contains(names, j.Name) || j.What == "" || j.Spec == "" || j.Limit <= 0 || j.Run == nil {
			t.Errorf("got %+v", j)
		}
		names = append(names, j.Name)
	}
	for _, j := range s.Jobs() {
		did, err := j.Run(context.Background(), "UTC")
		if err != nil || did == "" || !strings.HasSuffix(did, ".") {
			t.Errorf("%s, with nothing there: got %q, %v", j.Name, did, err)
		}
		for _, a := range j.After {
			if !slices.Contains(names, a) {
				t.Errorf("%s waits for %s, which is not among %v", j.Name, a, names)
			}
		}
	}
}

// A fleet is planned once a night, as one, in the zone of most of its depots.
func TestProposalJob(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s := newService(db)
		db.Now = s.Now
		mustImport(t, s, "vehicles.csv", "vehicle,fleet,depot\nBus 1,North,Quay\nBus 2,North,Mill\nBus 3,North,Far Side\nBus 4,South,Sands\n", 4, 0, 0)
		ds, err := db.Depots(t.Context(), all)
		if err != nil {
			t.Fatal(err)
		}
		for _, d := range ds {
			if d.Name == "Far Side" || d.Name == "Sands" {
				if err := db.SetTimeZone(t.Context(), all, d.ID, "Pacific/Auckland"); err != nil {
					t.Fatal(err)
				}
			}
		}
		for _, j := range s.Jobs() {
			if j.Name != "proposal" {
				continue
			}
			for _, zone := range []string{"UTC", "Pacific/Auckland"} {
				if did, err := j.Run(t.Context(), zone); err != nil || !strings.HasPrefix(did, "Planned 1 fleet: ") {
					t.Errorf("%s: got %q, %v", zone, did, err)
				}
			}
			if did, err := j.Run(t.Context(), "Asia/Tokyo"); err != nil || did != "There is no fleet to plan for." {
				t.Errorf("nobody's zone: got %q, %v", did, err)
			}
		}
	})
}

// A fleet that cannot be planned is named, and the others are planned.
func TestProposalJobGoesOn(t *testing.T) {
	for _, dialect := range []string{store.SQLite, store.Postgres} {
		t.Run(dialect, func(t *testing.T) {
			url := storetest.URL(t, dialect)
			s := newService(storetest.MustOpen(t, url))
			s.DB.Now = s.Now
			mustImport(t, s, "vehicles.csv", "vehicle,fleet,depot\nBus 1,Away,Quay\nBus 2,Middle,Mill\nBus 3,North,Sands\n", 3, 0, 0)
			ds, err := s.DB.Depots(t.Context(), all)
			if err != nil {
				t.Fatal(err)
			}
			for _, d := range ds {
				w := fleet.DefaultWorkshop()
				w.DepotID = d.ID
				if err := s.DB.SaveWorkshop(t.Context(), all, "N. N.", w); err != nil {
					t.Fatal(err)
				}
			}
			storetest.Exec(t, url, "update workshops set visit_cost = -400 where depot_id <> (select id from depots where name = 'Mill')")
			for _, j := range s.Jobs() {
				if j.Name != "proposal" {
					continue
				}
				did, err := j.Run(t.Context(), "UTC")
				const want = "Planned 1 fleet: 0 axles placed, 0 without a place. " +
					"Not planned: plan fleet Away: correct the visit cost on the workshop's page of depot Quay: want an amount from 0 to 1000000; " +
					"plan fleet North: correct the visit cost on the workshop's page of depot Sands: want an amount from 0 to 1000000."
				if did != want || !errors.Is(err, fleet.ErrInvalid) || strings.Count(err.Error(), "plan fleet") != 2 {
					t.Errorf("got %q, %v; want %q", did, err, want)
				}
			}
		})
	}
}
