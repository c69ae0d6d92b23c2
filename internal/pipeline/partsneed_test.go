package pipeline

import (
	"fmt"
	"testing"

	"github.com/google/go-cmp/cmp"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// Figures by hand: every axle's limit is reached evenly over 40 days, nothing
// narrows it, so that it is changed on its book-by date; with the next reading
// telling all it is changed on the limit itself.
func TestPartsNeeded(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s := newShop(t, db)
		ctx, all := t.Context(), auth.AllFleets()
		part, err := db.SaveStockPart(ctx, all, fleet.StockPart{FleetID: s.depot.FleetID, Number: "P 1", Item: fleet.ItemPads, PerAxle: 2, LeadDays: 10,
			Fits: []fleet.Fit{{Make: "Orlo", Axle: 1}}})
		s.check(err)
		s.check(db.SetStock(ctx, all, part, s.depot.ID, 3))
		told := func(f *store.AxleForecast) { f.Basis.Width80Days, f.Basis.Width80IfMeasured = 32, 0 }
		s.due(1, 1, 20)              // changed on day 22, for sure
		s.due(2, 1, 20, told)        // evenly over days 20 to 60: half within 40
		s.due(3, 1, 20, told)        // the same
		s.due(4, 1, 300)             // far away
		s.due(5, 1, 0, pastLimitNow) // now
		s.due(1, 2, 20)              // no part is known to fit
		need := func(from, to fleet.Date) (out []string) {
			t.Helper()
			ns, err := s.PartsNeeded(ctx, all, PartsQuery{From: from, To: to})
			s.check(err)
			for _, n := range ns {
				order := "-"
				if n.OrderBy != nil {
					order = fmt.Sprint(int(*n.OrderBy - s.today))
				}
				out = append(out, fmt.Sprintf("%s%s: %g, %d to %d, booked %d, stock %d, short %d, order %s",
					n.Part.Number, n.For, n.Expected, n.Lo, n.Hi, n.Booked, n.Stock, n.Short, order))
			}
			return out
		}
		// Two for sure and two halves, two sets an axle: 6, at most 8.
		if d := cmp.Diff([]string{
			"P 1: 6, 4 to 8, booked 0, stock 3, short 5, order 0",
			"pads of axle 2, Orlo: 1, 1 to 1, booked 0, stock 0, short 0, order -",
		}, need(s.today, s.today+40)); d != "" {
			t.Error(d)
		}
		// Ordered the lead time of 10 days before the first book-by date, day 21, the last one with
		// less than 5 %. Of three axles two are as likely as not to be changed by day 40.
		if d := cmp.Diff([]string{
			"P 1: 4, 2 to 6, booked 0, stock 3, short 3, order 11",
			"pads of axle 2, Orlo: 1, 1 to 1, booked 0, stock 0, short 0, order -",
		}, need(s.today+20, s.today+40)); d != "" {
			t.Error(d)
		}
		// Later days: the quarter of each half's law, and what was due before is gone.
		if d := cmp.Diff([]string{"P 1: 1, 0 to 2, booked 0, stock 3, short 0, order -"}, need(s.today+31, s.today+40)); d != "" {
			t.Error(d)
		}
		// What is booked counts on its day alone.
		_, err = s.Book(ctx, all, "N. N.", ByHand{VehicleID: s.buses[1], Axles: []int{1}, Slot: fleet.Slot{DepotID: s.depot.ID, Day: s.today + 7}})
		s.check(err)
		if d := cmp.Diff([]string{"P 1: 4, 4 to 4, booked 2, stock 3, short 1, order 0"}, need(s.today, s.today+7)); d != "" {
			t.Error(d)
		}
		// What was measured at its limit is changed now, though its forecast has it last.
		s.due(4, 1, 300, pastLimitNow)
		if d := cmp.Diff([]string{"P 1: 4, 4 to 4, booked 0, stock 3, short 1, order 0"}, need(s.today, s.today)); d != "" {
			t.Error(d)
		}
		// The shelves of another depot count where all are asked for.
		up := fleet.Upload{Kind: "vehicles", By: "N. N."}
		s.check(db.TakeIn(ctx, all, &up, func(w *store.Writer) error {
			_, err := w.Vehicles([]store.VehicleEntry{{Fleet: "Ferry Lines", Depot: "Hill", Vehicle: fleet.Vehicle{Number: "Bus 9"}}})
			return err
		}))
		ds, err := db.Depots(ctx, all)
		s.check(err)
		for _, d := range ds {
			if d.ID != s.depot.ID {
				s.check(db.SetStock(ctx, all, part, d.ID, 7))
			}
		}
		for depot, want := range map[int64]int{0: 10, s.depot.ID: 3} {
			ns, err := s.PartsNeeded(ctx, all, PartsQuery{Depot: depot, From: s.today, To: s.today})
			s.check(err)
			if len(ns) != 1 || ns[0].Stock != want {
				t.Errorf("depot %d: got %+v, want %d on the shelves", depot, ns, want)
			}
		}
		if _, err := s.PartsNeeded(ctx, all, PartsQuery{From: s.today, To: s.today - 1}); err == nil {
			t.Error("days backwards were taken")
		}
		if ns, err := s.PartsNeeded(ctx, auth.ScopeOf(nil, []int64{99}), PartsQuery{From: s.today, To: s.today + 40}); err != nil || len(ns) != 0 {
			t.Errorf("another's: got %+v, %v", ns, err)
		}
	})
}
