package pipeline

import (
	"strings"
	"testing"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// A day that was set aside is not proposed again, unless no other is in time.
func TestDeclined(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s := newShop(t, db)
		s.due(1, 1, 20)
		s.due(2, 1, 0, pastLimitNow)
		decline := func(v *store.Visit) {
			t.Helper()
			s.check(db.DeclineVisits(t.Context(), auth.AllFleets(), "M. M.", []int64{v.ID}))
		}
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
			if len(seen) > 0 && !strings.Contains(one.Changed, "which M. M. set aside") {
				t.Errorf("changed: %q", one.Changed)
			}
			// It is at its limit: no day is in time, so the first comes back.
			if two.Day != s.today+1 {
				t.Errorf("Bus 2 on %s, want %s", two.Day, s.today+1)
			}
			seen[one.Day] = true
			decline(one)
			decline(two)
		}
	})
}
