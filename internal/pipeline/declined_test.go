package pipeline

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

func (s *shop) decline(v *store.Visit) {
	s.t.Helper()
	if v == nil {
		s.t.Fatal("nothing to set aside")
	}
	s.check(s.DB.DeclineVisits(s.t.Context(), auth.AllFleets(), "M. M.", "", []int64{v.ID}))
}

// A day that was set aside is not proposed again, unless no other is in time.
func TestDeclined(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s := newShop(t, db)
		s.due(1, 1, 20)
		s.due(2, 1, 0, pastLimitNow)
		seen := map[fleet.Date]bool{}
		for range 3 {
			p := s.propose()
			one, two := visitOf(p, "Bus 1"), visitOf(p, "Bus 2")
			if one == nil || two == nil {
				t.Fatalf("got %v", say(p.Visits))
			}
			if seen[one.Day] || one.Day > *one.BookBy {
				t.Errorf("Bus 1 on %s; set aside: %v, to be booked by %s", one.Day, seen, one.BookBy)
			}
			// It is at its limit: no day is in time, so the first comes back.
			if two.Day != s.today+1 {
				t.Errorf("Bus 2 on %s, want %s", two.Day, s.today+1)
			}
			if len(seen) > 0 && (!strings.HasPrefix(one.Changed, "another day than") || !strings.HasSuffix(one.Changed, "which M. M. set aside")) {
				t.Errorf("Bus 1: %q", one.Changed)
			}
			if len(seen) > 0 && two.Changed != "M. M. set this day aside; it comes back, for no other is in time" {
				t.Errorf("Bus 2: %q", two.Changed)
			}
			seen[one.Day] = true
			s.decline(one)
			s.decline(two)
		}
		// What is set aside of one axle says nothing of another, which is new.
		s.due(1, 1, 500)
		s.due(1, 2, 25)
		p := s.propose()
		if v := visitOf(p, "Bus 1"); v == nil || v.Changed != "new" || seen[v.Day] {
			t.Errorf("another axle: %+v", v)
		}
	})
}

// A day that was set aside comes back where the others in time have no room:
// nothing is late, or without a place, on its account.
func TestDeclinedNoRoom(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s := newShop(t, db)
		s.narrow()
		first, last := s.today+14, s.today+50
		s.due(1, 1, 13) // on one of two Mondays
		s.due(2, 1, 13) // on the first of them only
		s.check(db.AddAbsence(t.Context(), auth.AllFleets(), fleet.Absence{VehicleID: s.buses[1], First: &first, Last: &last}))
		for _, changed := range []string{"", "M. M. set this day aside; it comes back, for no other is in time"} {
			p := s.propose()
			one, two := visitOf(p, "Bus 1"), visitOf(p, "Bus 2")
			if one == nil || two == nil || one.Day != s.today+14 || two.Day != s.today+7 || one.Changed != changed {
				t.Fatalf("got %+v and %+v", one, two)
			}
			if p.Figures.Late+p.Figures.Unplaced > 0 {
				t.Errorf("figures %+v", p.Figures)
			}
			s.decline(one)
		}
		// With room on the other Monday it goes there.
		s.due(2, 1, 500)
		if v := visitOf(s.propose(), "Bus 1"); v == nil || v.Day != s.today+7 {
			t.Errorf("with room: %+v", v)
		}
	})
}

// Days before the parts can be there are none to go to instead.
func TestDeclinedParts(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s := newShop(t, db)
		_, err := db.SaveStockPart(t.Context(), auth.AllFleets(), fleet.StockPart{FleetID: s.depot.FleetID, Number: "P 1", Item: fleet.ItemPads, PerAxle: 1, LeadDays: 15,
			Fits: []fleet.Fit{{Make: "Orlo"}}})
		s.check(err)
		s.due(1, 1, 15) // by the 16th day, a Wednesday; parts come on the 15th
		days := map[fleet.Date]int{}
		for range 3 {
			p := s.propose()
			v := visitOf(p, "Bus 1")
			if v == nil || v.Day < s.today+15 || v.Day > *v.BookBy || p.Figures.Late > 0 {
				t.Fatalf("got %+v, figures %+v", v, p.Figures)
			}
			days[v.Day]++
			s.decline(v)
		}
		if len(days) != 2 {
			t.Errorf("days %v, want both on which there are parts", days)
		}
	})
}

// What is booked stays on a day that was set aside, be it for another axle or
// before a person booked it.
func TestDeclinedBooked(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s := newShop(t, db)
		s.due(1, 1, 20)
		s.due(2, 1, 20)
		p := s.propose()
		aside := visitOf(p, "Bus 2")
		s.decline(aside)
		byHand, err := s.Book(t.Context(), auth.AllFleets(), "M. M.", ByHand{VehicleID: s.buses[1], Axles: []int{1}, Slot: fleet.Slot{DepotID: s.depot.ID, Day: aside.Day}})
		s.check(err)
		booked := s.accept()
		if len(booked) != 1 {
			t.Fatalf("got %d bookings", len(booked))
		}
		s.due(1, 2, 24)
		p = s.propose()
		more := visitOf(p, "Bus 1")
		if d := cmp.Diff([]string{"Bus 1 extend [1 2]"}, say(p.Visits)); d != "" {
			t.Fatal(d)
		}
		s.decline(more)
		p = s.propose()
		if d := cmp.Diff([]string{"Bus 1 book [2]"}, say(p.Visits)); d != "" {
			t.Fatal(d)
		}
		if v := visitOf(p, "Bus 1"); v.Day == booked[0].Day || v.Day > *v.BookBy || !strings.HasPrefix(v.Changed, "another day than") {
			t.Errorf("the other axle: %+v", v)
		}
		for _, b := range []fleet.Booking{byHand, booked[0]} {
			if now, err := db.Booking(t.Context(), auth.AllFleets(), b.ID); err != nil || now.Slot != b.Slot || now.State != fleet.Booked {
				t.Errorf("booking %d: %+v, %v", b.ID, now, err)
			}
		}

		// Its parts changed, the booking has nothing left to do; a person keeps it.
		s.due(1, 1, 500)
		s.due(1, 2, 500)
		p = s.propose()
		if d := cmp.Diff([]string{"Bus 1 withdraw [1]"}, say(p.Visits)); d != "" {
			t.Fatal(d)
		}
		s.decline(visitOf(p, "Bus 1"))
		if p := s.propose(); len(p.Visits) != 0 {
			t.Errorf("withdrawn again: %v", say(p.Visits))
		}
	})
}
