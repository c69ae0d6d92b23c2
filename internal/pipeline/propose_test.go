package pipeline

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"brakewear/forecast"
	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

func (s *shop) propose() store.Proposal {
	s.t.Helper()
	ps, err := s.Propose(s.t.Context(), auth.AllFleets(), "N. N.", s.today, ProposeOptions{})
	s.check(err)
	if len(ps) != 1 {
		s.t.Fatalf("got %d proposals", len(ps))
	}
	return ps[0]
}

// accept accepts all and wants no refusal.
func (s *shop) accept() []fleet.Booking {
	s.t.Helper()
	os, err := s.AcceptProposal(s.t.Context(), auth.AllFleets(), "M. M.", 0, nil)
	s.check(err)
	var bs []fleet.Booking
	for _, o := range os {
		if o.Fault != nil {
			s.t.Errorf("%s: %v", o.Visit.Vehicle, o.Fault)
		}
		bs = append(bs, o.Booking)
	}
	return bs
}

func visitOf(p store.Proposal, vehicle string) *store.Visit {
	for i := range p.Visits {
		if p.Visits[i].Vehicle == vehicle {
			return &p.Visits[i]
		}
	}
	return nil
}

// say puts visits into short words.
func say(vs []store.Visit) (out []string) {
	for _, v := range vs {
		out = append(out, fmt.Sprintf("%s %s %v", v.Vehicle, v.Advice, fleet.Axles(v.Work)))
	}
	slices.Sort(out)
	return out
}

func TestPropose(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s := newShop(t, db)
		s.due(1, 1, 20)              // by 22 days
		s.due(1, 2, 30)              // company
		s.due(2, 1, 10)              //
		s.due(3, 1, 0, pastLimitNow) // at once
		s.due(4, 1, 400)             // not in sight of this plan
		s.due(5, 1, 12, func(f *store.AxleForecast) { f.Warnings = []forecast.Warning{{Code: forecast.NoReadings}} })
		p := s.propose()
		if d := cmp.Diff([]string{"Bus 1 book [1 2]", "Bus 2 book [1]", "Bus 3 book [1]"}, say(p.Visits)); d != "" {
			t.Fatal(d)
		}
		for _, v := range p.Visits {
			wd := v.Day.Weekday()
			if wd > 4 || v.Day <= s.today || v.Bay != 1 || v.Starts < 480 || v.Ends() > 17*60 {
				t.Errorf("%s: %s bay %d %s–%s", v.Vehicle, v.Day, v.Bay, v.Starts, v.Ends())
			}
			if v.Advice == store.AdviseBook && v.Vehicle != "Bus 3" && (*v.Chance >= .05 || v.Day > *v.BookBy) {
				t.Errorf("%s: on %s, chance %g, book by %s", v.Vehicle, v.Day, *v.Chance, v.BookBy)
			}
		}
		// Set-up once: 1 + 2 × 1.5 hours at 80 and two sets at 220.
		one := visitOf(p, "Bus 1")
		if one.Hours != 4 || *one.Cost != 4*80+2*220 || !strings.Contains(one.Work[1].Reason, "same visit as axle 1") {
			t.Errorf("Bus 1: %g h, cost %g, %q", one.Hours, *one.Cost, one.Work[1].Reason)
		}
		if v := visitOf(p, "Bus 3"); v.Day > s.today+3 || !strings.Contains(v.Why, "past its limit") {
			t.Errorf("Bus 3: %s, %s", v.Day, v.Why)
		}
		if p.Figures.Unmeasured != 1 || p.Figures.Placed != 4 {
			t.Errorf("figures: %+v", p.Figures)
		}

		bs := s.accept()
		if len(bs) != 3 {
			t.Fatalf("got %d bookings", len(bs))
		}
		// What is booked is left alone.
		if p := s.propose(); len(p.Visits) != 0 || len(p.Figures.Dropped) != 0 {
			t.Errorf("again: got %v, dropped %v", say(p.Visits), p.Figures.Dropped)
		}
	})
}

// TestDropped takes a vehicle off the proposal that need not come any more: the
// next says so, and where.
func TestDropped(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s := newShop(t, db)
		s.due(1, 1, 20)
		s.propose()
		s.due(1, 1, 400)
		want := store.Figures{
			Depots:    []int64{s.depot.ID},
			Dropped:   []string{"Bus 1: no axle of it is to be booked by Fri 1 May any more"}, // 60 days from 3 Mar
			DroppedAt: []int64{s.depot.ID},
		}
		if d := cmp.Diff(want, s.propose().Figures); d != "" {
			t.Error(d)
		}
	})
}

// Who plans one depot accepts all that is proposed there, and not the visit of
// a vehicle of theirs at another depot, which they see.
func TestAcceptAllAtADepot(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s := newShop(t, db)
		home := func(bus int, depot string) {
			up := fleet.Upload{Kind: "vehicles", By: "N. N."}
			s.check(db.TakeIn(t.Context(), auth.AllFleets(), &up, func(w *store.Writer) error {
				_, err := w.Vehicles([]store.VehicleEntry{{Fleet: "Ferry Lines", Depot: depot, Vehicle: fleet.Vehicle{Number: fmt.Sprint("Bus ", bus), Category: "M3", Make: "Orlo"}}})
				return err
			}))
		}
		home(2, "Hill")
		for bus := 1; bus <= 3; bus++ {
			s.due(bus, 1, 20)
		}
		_, err := s.Propose(t.Context(), auth.AllFleets(), "N. N.", s.today, ProposeOptions{})
		s.check(err)
		home(1, "Hill") // its visit is still at Harbour
		ds, err := db.Depots(t.Context(), auth.AllFleets())
		s.check(err)
		hill := ds[slices.IndexFunc(ds, func(d fleet.Depot) bool { return d.Name == "Hill" })].ID
		sc := auth.ScopeOf(nil, []int64{hill})
		vs, err := db.Visits(t.Context(), sc, store.VisitQuery{State: store.VisitOpen})
		s.check(err)
		if d := cmp.Diff([]string{"Bus 1 book [1]", "Bus 2 book [1]"}, say(vs)); d != "" {
			t.Fatalf("seen from Hill: %s", d)
		}
		os, err := s.AcceptProposal(t.Context(), sc, "M. M.", 0, nil)
		s.check(err)
		if len(os) != 1 || os[0].Visit.Vehicle != "Bus 2" || os[0].Fault != nil || os[0].Booking.DepotID != hill {
			t.Errorf("got %+v, want Bus 2 booked at Hill", os)
		}
		if _, err := s.AcceptProposal(t.Context(), sc, "M. M.", 0, nil); !errors.Is(err, fleet.ErrNotFound) {
			t.Errorf("again: got %v, want nothing left to accept", err)
		}
		// One that is named and may not be accepted is still refused.
		if _, err := s.AcceptProposal(t.Context(), sc, "M. M.", 0, []int64{visitOf(store.Proposal{Visits: vs}, "Bus 1").ID}); !errors.Is(err, fleet.ErrNotFound) {
			t.Errorf("Bus 1: got %v, want not found", err)
		}
	})
}

// What is accepted in rounds is as accepted at once: a visit takes the place that one of
// a later round gives up.
func TestAcceptInRounds(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s := newShop(t, db)
		visit := func(bus int, day fleet.Date, advice store.Advice, booking int64) store.Visit {
			return store.Visit{VehicleID: s.buses[bus-1], Advice: advice, BookingID: booking, Slot: fleet.Slot{DepotID: s.depot.ID, Day: day, Bay: 1, Starts: 480, Minutes: 300},
				Hours: 5, Work: []fleet.WorkItem{{Axle: 1, Item: fleet.ItemPads}}} // no two on a day of one bay
		}
		keep := func(vs ...store.Visit) {
			p := store.Proposal{FleetID: s.depot.FleetID, AsOf: s.today, Until: s.today + 60, Visits: vs}
			s.check(db.SaveProposal(t.Context(), auth.AllFleets(), &p, []int64{s.depot.ID}))
		}
		keep(visit(1, s.today+7, store.AdviseBook, 0))
		first := s.accept()
		keep(visit(2, s.today+7, store.AdviseBook, 0), visit(1, s.today+8, store.AdviseMove, first[0].ID))
		vs, err := db.Visits(t.Context(), auth.AllFleets(), store.VisitQuery{State: store.VisitOpen})
		s.check(err)
		os, err := s.acceptInRounds(t.Context(), auth.AllFleets(), "M. M.", []int64{vs[0].ID, vs[1].ID}, 1)
		s.check(err)
		for i, o := range os {
			if o.Fault != nil || o.Visit.ID != vs[i].ID || o.Booking.Day != s.today+7+fleet.Date(i) {
				t.Errorf("got %s on %s, %v", o.Visit.Vehicle, o.Booking.Day, o.Fault)
			}
		}
	})
}

// After new readings only what must move does.
func TestProposeAgain(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s := newShop(t, db)
		for bus := 1; bus <= 4; bus++ {
			s.due(bus, 1, 28+bus)
		}
		s.propose()
		bs := s.accept()
		byBus := map[int64]fleet.Booking{}
		for _, b := range bs {
			byBus[b.VehicleID] = b
		}
		// A person moves Bus 4 to a later day; a proposal leaves it there.
		kept, err := s.DB.MoveBooking(t.Context(), auth.AllFleets(), "M. M.", byBus[s.buses[3]].ID, fleet.Slot{DepotID: s.depot.ID, Day: s.today + 35}, "the driver is away")
		s.check(err)
		// New readings: Bus 1 wears faster, Bus 2 a little, Bus 3 was done.
		s.due(1, 1, 13)
		s.due(2, 1, 31)
		s.due(3, 1, 500)
		p := s.propose()
		if d := cmp.Diff([]string{"Bus 1 move [1]", "Bus 3 withdraw [1]"}, say(p.Visits)); d != "" {
			t.Fatal(d)
		}
		one := visitOf(p, "Bus 1")
		if one.Day > s.today+15 || one.BookingID != byBus[s.buses[0]].ID || !strings.Contains(one.Why, "now to be booked by") || !strings.HasPrefix(one.Changed, "new: ") {
			t.Errorf("Bus 1: %s, %q, %q", one.Day, one.Why, one.Changed)
		}
		s.accept()
		open, err := s.DB.Bookings(t.Context(), auth.AllFleets(), store.BookingQuery{States: []fleet.BookingState{fleet.Booked}})
		s.check(err)
		if len(open) != 3 {
			t.Errorf("got %d open bookings", len(open))
		}
		for _, b := range open {
			if b.ID == kept.ID && (b.Day != kept.Day || !b.Kept) {
				t.Errorf("the one a person moved is on %s", b.Day)
			}
		}
		// The workshop closes on Bus 2's day: it must move, and only it.
		two := byBus[s.buses[1]]
		s.check(s.DB.AddClosures(t.Context(), auth.AllFleets(), []fleet.Closure{{DepotID: s.depot.ID, First: two.Day, Last: two.Day, Reason: "fair"}}))
		p = s.propose()
		if d := cmp.Diff([]string{"Bus 2 move [1]"}, say(p.Visits)); d != "" {
			t.Fatal(d)
		}
		if v := visitOf(p, "Bus 2"); !strings.Contains(v.Why, "closed on") || v.Day == two.Day {
			t.Errorf("Bus 2: %s, %q", v.Day, v.Why)
		}
	})
}

// A job waits for its parts and its vehicle, joins a visit that is made
// anyway, and says why there is no place for it.
func TestProposeAround(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s := newShop(t, db)
		ctx, all := t.Context(), auth.AllFleets()
		price := 200.
		part, err := db.SaveStockPart(ctx, all, fleet.StockPart{FleetID: s.depot.FleetID, Number: "P 1", Item: fleet.ItemPads, PerAxle: 1, Price: &price, LeadDays: 14,
			Fits: []fleet.Fit{{Make: "Orlo"}}})
		s.check(err)
		s.check(db.SetStock(ctx, all, part, s.depot.ID, 1))
		s.due(1, 1, 6)  // takes the set on the shelf
		s.due(2, 1, 40) // its parts have to come
		s.due(3, 1, 45) // likewise
		s.check(db.AddPlannedVisit(ctx, all, fleet.PlannedVisit{VehicleID: s.buses[2], DepotID: s.depot.ID, Day: s.today + 43, What: "service"}))
		first := s.today + 1
		last := s.today + 9
		s.due(4, 1, 8) // cannot be spared until it is nearly too late
		s.check(db.AddAbsence(ctx, all, fleet.Absence{VehicleID: s.buses[3], First: &first, Last: &last, Reason: "rented out"}))
		p := s.propose()
		if v := visitOf(p, "Bus 1"); v.Day > s.today+8 || v.Work[0].PartNumber != "P 1" || *v.Cost != 2.5*80+200 {
			t.Errorf("Bus 1: %s, %+v, %g", v.Day, v.Work, *v.Cost)
		}
		if v := visitOf(p, "Bus 2"); v.Day < s.today+14 {
			t.Errorf("Bus 2: %s, before its parts can be there", v.Day)
		}
		if v := visitOf(p, "Bus 3"); v.Day != s.today+43 || v.VisitID == 0 || !strings.Contains(v.Why, "joins the service") {
			t.Errorf("Bus 3: %s, %q", v.Day, v.Why)
		}
		if v := visitOf(p, "Bus 4"); v == nil || v.Day != 0 && v.Day <= last {
			t.Errorf("Bus 4: %+v", v)
		}
	})
}

// Several fleets have a proposal each, and a caller sees and makes its own.
func TestProposeScope(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s := newShop(t, db)
		s.due(1, 1, 20)
		other := auth.ScopeOf(nil, []int64{999})
		if ps, err := s.Propose(t.Context(), other, "N. N.", s.today, ProposeOptions{}); err != nil || len(ps) != 0 {
			t.Errorf("got %+v, %v", ps, err)
		}
		own := auth.ScopeOf(nil, []int64{s.depot.ID})
		ps, err := s.Propose(t.Context(), own, "N. N.", s.today, ProposeOptions{Days: 30})
		if err != nil || len(ps) != 1 || len(ps[0].Visits) != 1 || ps[0].Until != s.today+30 {
			t.Errorf("got %+v, %v", ps, err)
		}
	})
}

// A proposal that somebody waits for has a place for every vehicle as soon as the
// time is over, and says that it was cut short.
func TestProposeBudget(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s := newShop(t, db)
		s.narrow()
		for bus := 1; bus <= 5; bus++ {
			s.due(bus, 1, 30) // more than come in time
		}
		for _, c := range []struct {
			budget time.Duration
			cut    bool
		}{{1, true}, {time.Hour, false}, {0, false}} {
			ps, err := s.Propose(t.Context(), auth.AllFleets(), "N. N.", s.today, ProposeOptions{Budget: c.budget})
			s.check(err)
			if f := ps[0].Figures; f.Cut != c.cut || f.Placed+f.Unplaced+f.Later != 5 || ps[0].Bound > ps[0].Cost || ps[0].Bound <= 0 {
				t.Errorf("within %s: figures %+v, cost %g, bound %g", c.budget, f, ps[0].Cost, ps[0].Bound)
			}
		}
	})
}

// Axles that come in together and are late for one reason have it said once.
func TestProposeSaysOnceWhyLate(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s := newShop(t, db)
		s.due(1, 1, -5)
		s.due(1, 2, -5)
		p := s.propose()
		v := visitOf(p, "Bus 1")
		if v == nil || len(v.Work) != 2 || strings.Count(v.Why, "had passed before") != 1 {
			t.Errorf("got %+v, want one visit for both axles that says once that the date had passed", v)
		}
	})
}

// narrow gives the workshop one job a week, on Mondays.
func (s *shop) narrow() {
	s.t.Helper()
	w := fleet.DefaultWorkshop()
	w.DepotID = s.depot.ID
	for i := 1; i < 7; i++ {
		w.Week[i] = fleet.WorkDay{}
	}
	w.Hours[fleet.TaskPads] = fleet.TaskHours{Light: 6, Heavy: 6}
	s.check(s.DB.SaveWorkshop(s.t.Context(), auth.AllFleets(), "N. N.", w))
}

// Where there is no room, what stays out says why and what would help; what is
// booked gives way only to what cannot wait.
func TestProposeCrowded(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s := newShop(t, db)
		s.narrow()
		// Five Mondays lie before the limits of all but one.
		for bus := 1; bus <= 5; bus++ {
			s.due(bus, 1, 30)
		}
		p := s.propose()
		var late []string
		for _, v := range p.Visits {
			if v.Day == 0 || v.BookBy != nil && v.Day > *v.BookBy {
				late = append(late, v.Vehicle)
				if !strings.Contains(v.Why, "technician hours") || !strings.Contains(v.Remedy, "more technician hours at Harbour on") && !strings.Contains(v.Remedy, "bay") {
					t.Errorf("%s: %q, %q", v.Vehicle, v.Why, v.Remedy)
				}
			}
		}
		// Mondays 7, 14, 21 and 28 are before the book-by day 32.
		if len(late) != 1 || p.Figures.Late+p.Figures.Unplaced != 1 {
			t.Errorf("late or without a place: %v, figures %+v", late, p.Figures)
		}
		// The same again changes nothing, and says so.
		again := s.propose()
		for _, v := range again.Visits {
			if v.Changed != "" {
				t.Errorf("%s changed: %s", v.Vehicle, v.Changed)
			}
		}
	})
}

func TestProposeMakesRoom(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s := newShop(t, db)
		s.narrow()
		s.due(1, 1, 21) // best on the Monday three weeks on
		s.propose()
		booked := s.accept()[0]
		if booked.Day != s.today+21 {
			t.Fatalf("booked for %s, want the Monday three weeks on", booked.Day)
		}
		// Two others can only come on the Mondays until then.
		kept := fleet.Slot{DepotID: s.depot.ID, Day: s.today + 7}
		s.due(3, 1, 300)
		_, err := s.Book(t.Context(), auth.AllFleets(), "N. N.", ByHand{VehicleID: s.buses[2], Axles: []int{1}, Slot: kept})
		s.check(err)
		first, last := s.today+8, s.today+20
		s.due(2, 1, 21)
		s.check(db.AddAbsence(t.Context(), auth.AllFleets(), fleet.Absence{VehicleID: s.buses[1], First: &first, Last: &last}))
		p := s.propose()
		if d := cmp.Diff([]string{"Bus 1 move [1]", "Bus 2 book [1]"}, say(p.Visits)); d != "" {
			t.Fatal(d)
		}
		if v := visitOf(p, "Bus 1"); v.Day != s.today+14 || !strings.Contains(v.Why, "makes room") {
			t.Errorf("Bus 1: %s, %q", v.Day, v.Why)
		}
		if v := visitOf(p, "Bus 2"); v.Day != s.today+21 {
			t.Errorf("Bus 2: %s", v.Day)
		}
		s.accept()
	})
}
