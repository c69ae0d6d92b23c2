package store_test

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// visitOf proposes what job books.
func visitOf(vehicleID, depotID int64, d fleet.Date, starts fleet.Clock) store.Visit {
	b := job(vehicleID, depotID, d)
	v := store.Visit{
		VehicleID: vehicleID, Advice: store.AdviseBook, Slot: b.Slot, Hours: b.Hours, Work: b.Work,
		Cost: ptr(250.5), Chance: ptr(.02), BookBy: ptr(d + 3), Why: "to be booked",
	}
	v.Bay, v.Starts = 1, starts
	return v
}

func mustPropose(t testing.TB, db *store.DB, depots []fleet.Depot, vs ...store.Visit) store.Proposal {
	t.Helper()
	p := store.Proposal{FleetID: depots[0].FleetID, By: "the clock", AsOf: monday - 1, Until: monday + 59, Risk: .05, Cost: 12.5, Bound: 12.25,
		Figures: store.Figures{Due: 3, Placed: len(vs), Dropped: []string{"Bus 9: done"}}, Visits: vs}
	var ids []int64
	for _, d := range depots {
		ids = append(ids, d.ID)
	}
	if err := db.SaveProposal(t.Context(), all, &p, ids); err != nil {
		t.Fatal(err)
	}
	return p
}

func TestProposal(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ids := mustVehicles(t, db, entry("Bus 1"), entry("Bus 2"), entry("Bus 3"))
		quay := depotOf(t, db, "Quay")
		first := mustPropose(t, db, []fleet.Depot{quay}, visitOf(ids[0], quay.ID, monday, 480))
		none := store.Visit{VehicleID: ids[2], Advice: store.AdviseNothing, Slot: fleet.Slot{DepotID: quay.ID}, Why: "no hours left", Remedy: "more hours"}
		second := mustPropose(t, db, []fleet.Depot{quay}, visitOf(ids[1], quay.ID, monday+1, 480), none, visitOf(ids[0], quay.ID, monday, 480))
		vs, err := db.Visits(t.Context(), all, store.VisitQuery{State: store.VisitOpen})
		if err != nil {
			t.Fatal(err)
		}
		want := []store.Visit{second.Visits[2], second.Visits[0], second.Visits[1]} // by day, the one without last
		for i, name := range []string{"Bus 1", "Bus 2", "Bus 3"} {
			want[i].Vehicle, want[i].Depot, want[i].Fleet = name, "Quay", "North"
			want[i].HomeFleetID, want[i].HomeDepotID = quay.FleetID, quay.ID
		}
		if d := cmp.Diff(want, vs); d != "" {
			t.Errorf("open: %s", d)
		}
		old, err := db.Visits(t.Context(), all, store.VisitQuery{Proposal: first.ID})
		if err != nil || len(old) != 1 || old[0].State != store.VisitSuperseded {
			t.Errorf("of the first: got %+v, %v", old, err)
		}
		runs, err := db.Proposals(t.Context(), all, quay.FleetID, 0, 0)
		if err != nil || len(runs) != 2 {
			t.Fatalf("got %d runs, %v", len(runs), err)
		}
		second.Visits, second.Fleet = nil, "North"
		if d := cmp.Diff(second, runs[0]); d != "" {
			t.Errorf("run: %s", d)
		}

		// Some are accepted, the one without a place and a superseded one are not.
		got, err := db.AcceptVisits(t.Context(), all, "M. M.", []int64{vs[0].ID, vs[2].ID, old[0].ID})
		if err != nil {
			t.Fatal(err)
		}
		var said []string
		for _, o := range got {
			said = append(said, fmt.Sprint(o.Visit.Vehicle, " ", o.Booking.Day, " ", o.Fault))
		}
		if d := cmp.Diff([]string{
			"Bus 1 1970-01-01 a later proposal has replaced the visit of Bus 1",
			"Bus 1 2025-03-03 <nil>",
			"Bus 3 1970-01-01 Bus 3 has no place in the plan: no hours left",
		}, said); d != "" {
			t.Errorf("accepted: %s", d)
		}
		b := got[1].Booking
		if b.Kept || b.MadeBy != "M. M." || *b.Cost != 250.5 || b.Starts != 480 || len(b.Work) != 1 {
			t.Errorf("booked: got %+v", b)
		}
		// The reason is the proposal's, a person's later one is not.
		if _, err := db.EndBooking(t.Context(), all, "M. M.", b.ID, fleet.Missed, "3 mm, she said"); err != nil {
			t.Error(err)
		}
		history, err := db.BookingHistory(t.Context(), all, b.ID)
		if err != nil || len(history) != 2 || history[0].Why == "" || !history[0].Proposed || history[1].Proposed {
			t.Errorf("history: got %+v, %v", history, err)
		}
		// 200 characters are the most that any reason may have.
		if err := db.DeclineVisits(t.Context(), all, "M. M.", strings.Repeat("ä", 201), []int64{vs[1].ID}); !errors.Is(err, fleet.ErrInvalid) || !strings.HasPrefix(err.Error(), "reason: ") {
			t.Errorf("a reason of 201 characters: got %v, want it refused", err)
		}
		if err := db.DeclineVisits(t.Context(), all, "M. M.", "the driver is away", []int64{vs[1].ID}); err != nil {
			t.Error(err)
		}
		got, err = db.AcceptVisits(t.Context(), all, "K. K.", []int64{vs[0].ID, vs[1].ID})
		if err != nil || got[0].Fault == nil || !strings.Contains(got[0].Fault.Error(), "M. M. accepted") || !strings.Contains(got[1].Fault.Error(), "declined by M. M.") {
			t.Errorf("accepted twice: got %+v, %v", got, err)
		}
		if n := count(t, db, `select count(*) from bookings`); n != 1 {
			t.Errorf("got %d bookings, want 1", n)
		}
		for name, err := range map[string]error{
			"set aside": db.DeclineVisits(t.Context(), all, "M. M.", "", nil), "taken back": db.TakeBackVisits(t.Context(), all, "M. M.", nil),
		} {
			if err == nil || err.Error() != "nothing was chosen" {
				t.Errorf("%s: got %v, want that nothing was chosen", name, err)
			}
		}
		// What was set aside says by whom and why, until it is taken back: it is open again,
		// and is not once a later proposal was made for its depot.
		is := func(id int64, state store.VisitState, by, why string) {
			t.Helper()
			vs, err := db.Visits(t.Context(), all, store.VisitQuery{State: state})
			if err != nil || !slices.ContainsFunc(vs, func(v store.Visit) bool { return v.ID == id && v.DecidedBy == by && v.Reason == why }) {
				t.Errorf("got %+v, %v, want visit %d %s by %q: %q", vs, err, id, state, by, why)
			}
		}
		takeBack := func(id int64) {
			t.Helper()
			if err := db.TakeBackVisits(t.Context(), all, "K. K.", []int64{id}); err != nil {
				t.Error(err)
			}
		}
		is(vs[1].ID, store.VisitDeclined, "M. M.", "the driver is away")
		takeBack(vs[1].ID)
		is(vs[1].ID, store.VisitOpen, "", "")
		takeBack(vs[0].ID) // accepted, and stays so
		is(vs[0].ID, store.VisitAccepted, "M. M.", "")
		if err := db.DeclineVisits(t.Context(), all, "M. M.", "", []int64{vs[1].ID}); err != nil {
			t.Error(err)
		}
		mustPropose(t, db, []fleet.Depot{quay}) // wants nothing there, which is newer all the same
		takeBack(vs[1].ID)
		is(vs[1].ID, store.VisitSuperseded, "", "")
		// The log says what was done, not what came of it.
		for act, want := range map[string]int{"accepted": 1, "declined": 2, "taken back": 2} {
			if n := count(t, db, `select count(*) from audit_log where record = 'proposed visit' and act = ?`, act); n != want {
				t.Errorf("the log has %q %d times, want %d", act, n, want)
			}
		}
	})
}

// Accepting moves, extends and withdraws bookings, and two that change places
// may.
func TestAcceptChanges(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ids := mustVehicles(t, db, entry("Bus 1"), entry("Bus 2"), entry("Bus 3"))
		quay := depotOf(t, db, "Quay")
		p := mustPropose(t, db, []fleet.Depot{quay},
			visitOf(ids[0], quay.ID, monday, 480), visitOf(ids[1], quay.ID, monday, 600), visitOf(ids[2], quay.ID, monday+1, 480))
		accept := func(vs ...store.Visit) []store.Outcome {
			t.Helper()
			var ids []int64
			for _, v := range vs {
				ids = append(ids, v.ID)
			}
			got, err := db.AcceptVisits(t.Context(), all, "M. M.", ids)
			if err != nil {
				t.Fatal(err)
			}
			for _, o := range got {
				if o.Fault != nil {
					t.Errorf("%s: %v", o.Visit.Vehicle, o.Fault)
				}
			}
			return got
		}
		booked := accept(p.Visits...)
		move := visitOf(ids[0], quay.ID, monday+1, 600)
		move.Advice, move.BookingID, move.Why = store.AdviseMove, booked[0].Booking.ID, "closed that day"
		extend := visitOf(ids[1], quay.ID, monday, 480) // where the first was
		extend.Advice, extend.BookingID = store.AdviseExtend, booked[1].Booking.ID
		extend.Hours, extend.Minutes = 7, 420
		extend.Work = append(extend.Work, fleet.WorkItem{Axle: 2, Item: fleet.ItemPads, Reason: "with axle 1"})
		withdraw := visitOf(ids[2], quay.ID, monday+1, 480)
		withdraw.Advice, withdraw.BookingID = store.AdviseWithdraw, booked[2].Booking.ID
		// The extension has no room before the move has made it.
		p = mustPropose(t, db, []fleet.Depot{quay}, extend, move, withdraw)
		accept(p.Visits...)
		bs, err := db.Bookings(t.Context(), all, store.BookingQuery{})
		if err != nil {
			t.Fatal(err)
		}
		var said []string
		for _, b := range bs {
			said = append(said, fmt.Sprint(b.Vehicle, " ", b.Day, " ", b.Starts, " ", b.Minutes, " ", fleet.Axles(b.Work), " ", b.State))
		}
		if d := cmp.Diff([]string{
			"Bus 2 2025-03-03 08:00 420 [1 2] booked",
			"Bus 3 2025-03-04 08:00 90 [1] withdrawn",
			"Bus 1 2025-03-04 10:00 90 [1] booked",
		}, said); d != "" {
			t.Error(d)
		}
	})
}

// What people did since a proposal was made stands: an axle that they booked is not
// put on another booking too, and a booking that they moved is not moved back.
func TestAcceptMeanwhile(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ids := mustVehicles(t, db, entry("Bus 1"), entry("Bus 2"))
		quay := depotOf(t, db, "Quay")
		now := (monday - 3).Time()
		db.Now = func() time.Time { now = now.Add(time.Second); return now }
		first, second := mustBook(t, db, job(ids[0], quay.ID, monday)), mustBook(t, db, job(ids[1], quay.ID, monday))
		extend, move := visitOf(ids[0], quay.ID, monday, 480), visitOf(ids[1], quay.ID, monday+1, 480)
		extend.Advice, extend.BookingID = store.AdviseExtend, first.ID
		extend.Work = append(extend.Work, fleet.WorkItem{Axle: 2, Item: fleet.ItemPads})
		move.Advice, move.BookingID = store.AdviseMove, second.ID
		p := mustPropose(t, db, []fleet.Depot{quay}, extend, move)
		axle2 := job(ids[0], quay.ID, monday+2)
		axle2.Work[0].Axle = 2
		mustBook(t, db, axle2)
		if _, err := db.MoveBooking(t.Context(), all, "N. N.", second.ID, fleet.Slot{DepotID: quay.ID, Day: monday + 3}, ""); err != nil {
			t.Fatal(err)
		}
		got, err := db.AcceptVisits(t.Context(), all, "M. M.", []int64{p.Visits[0].ID, p.Visits[1].ID})
		if err != nil {
			t.Fatal(err)
		}
		for _, o := range got {
			want := "axle 2 is booked for 5 Mar 2025 at Quay already: "
			if o.Visit.VehicleID == ids[1] {
				want = "the booking of Bus 2 was moved to 6 Mar 2025 since this was proposed: "
			}
			if !errors.Is(o.Fault, fleet.ErrConflict) || !strings.HasPrefix(o.Fault.Error(), want) {
				t.Errorf("%s: got %v, want a conflict with %q", o.Visit.Vehicle, o.Fault, want)
			}
		}
	})
}

// The newest run of a fleet is found behind however many of another.
func TestNewestProposals(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		mustVehicles(t, db, entry("Bus 1"), entry("Bus 2", of("South", "Hill")))
		quay, hill := depotOf(t, db, "Quay"), depotOf(t, db, "Hill")
		mustPropose(t, db, []fleet.Depot{hill})
		south := mustPropose(t, db, []fleet.Depot{hill})
		var north store.Proposal
		for range 25 {
			north = mustPropose(t, db, []fleet.Depot{quay})
		}
		for _, c := range []struct {
			sc   auth.Scope
			want []int64
		}{{all, []int64{north.ID, south.ID}}, {auth.ScopeOf([]int64{hill.FleetID}, nil), []int64{south.ID}}} {
			ps, err := db.NewestProposals(t.Context(), c.sc)
			if err != nil {
				t.Fatal(err)
			}
			var got []int64
			for _, p := range ps {
				got = append(got, p.ID)
			}
			if !slices.Equal(got, c.want) {
				t.Errorf("got runs %d, want %d", got, c.want)
			}
		}
		// More fleets than a page has rows.
		for i := range store.DefaultLimit {
			depot := fmt.Sprint("Depot ", i)
			mustVehicles(t, db, entry("Bus 1", of(fmt.Sprint("Fleet ", i), depot)))
			mustPropose(t, db, []fleet.Depot{depotOf(t, db, depot)})
		}
		if ps, err := db.NewestProposals(t.Context(), all); err != nil || len(ps) != store.DefaultLimit+2 {
			t.Errorf("got %d runs, %v, want one of each of %d fleets", len(ps), err, store.DefaultLimit+2)
		}
	})
}

// Two people who accept the same proposal at the same time book each visit
// once, and whatever else is booked meanwhile no bay is taken twice.
func TestAcceptAtOnce(t *testing.T) {
	const vehicles = 12
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		var entries []store.VehicleEntry
		for i := range 2 * vehicles {
			entries = append(entries, entry(fmt.Sprint("Bus ", i)))
		}
		ids := mustVehicles(t, db, entries...)
		quay := depotOf(t, db, "Quay")
		var vs []store.Visit
		for i, id := range ids[:vehicles] {
			vs = append(vs, visitOf(id, quay.ID, monday+fleet.Date(i%4), fleet.Clock(480+90*(i/4))))
		}
		p := mustPropose(t, db, []fleet.Depot{quay}, vs...)
		var all3 []int64
		for _, v := range p.Visits {
			all3 = append(all3, v.ID)
		}
		var wg sync.WaitGroup
		outcomes := make([][]store.Outcome, 4)
		for i := range outcomes {
			wg.Go(func() {
				var err error
				if outcomes[i], err = db.AcceptVisits(t.Context(), all, fmt.Sprint("person ", i), all3); err != nil {
					t.Error(err)
				}
			})
		}
		for i, id := range ids[vehicles:] {
			wg.Go(func() {
				_, err := db.Book(t.Context(), all, "N. N.", job(id, quay.ID, monday+fleet.Date(i%4)))
				if err != nil && !errors.Is(err, fleet.ErrConflict) {
					t.Error(err)
				}
			})
		}
		wg.Wait()
		times := map[int64]int{}
		for _, os := range outcomes {
			for _, o := range os {
				if o.Fault == nil {
					times[o.Visit.ID]++
				}
			}
		}
		for id, n := range times {
			if n != 1 {
				t.Errorf("visit %d was accepted %d times", id, n)
			}
		}
		bs, err := db.Bookings(t.Context(), all, store.BookingQuery{})
		if err != nil {
			t.Fatal(err)
		}
		hours := map[fleet.Date]float64{}
		for i := range bs {
			hours[bs[i].Day] += bs[i].Hours
			for k := range i {
				if bs[i].Overlaps(bs[k].Slot) {
					t.Errorf("%+v and %+v", bs[i].Slot, bs[k].Slot)
				}
			}
		}
		for d, h := range hours {
			if h > 8 {
				t.Errorf("%s: %g hours of 8", d, h)
			}
		}
		if len(bs) < vehicles {
			t.Errorf("got %d bookings", len(bs))
		}
	})
}

func TestProposalScope(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ids := mustVehicles(t, db, entry("Quay"), entry("Hill", of("North", "Hill")), entry("Bay", of("South", "Bay")))
		quay, hill, bay := depotOf(t, db, "Quay"), depotOf(t, db, "Hill"), depotOf(t, db, "Bay")
		north := mustPropose(t, db, []fleet.Depot{quay, hill}, visitOf(ids[0], quay.ID, monday, 480), visitOf(ids[1], hill.ID, monday, 480))
		mustPropose(t, db, []fleet.Depot{bay}, visitOf(ids[2], bay.ID, monday, 480))
		// What was dropped is told where its depot is seen; of an older run, which does
		// not say where, to those who see the whole fleet.
		told := store.Proposal{FleetID: quay.FleetID, AsOf: monday - 1, Until: monday + 59, Figures: store.Figures{
			Dropped: []string{"Hill 9: it is booked", "Quay 9: it is booked"}, DroppedAt: []int64{hill.ID, quay.ID},
		}}
		if err := db.SaveProposal(t.Context(), all, &told, nil); err != nil {
			t.Fatal(err)
		}
		onlyHill := auth.ScopeOf(nil, []int64{hill.ID})
		for _, c := range []struct {
			name    string
			sc      auth.Scope
			visits  []string
			runs    int
			dropped []string
		}{
			{"all", all, []string{"Bay", "Hill", "Quay"}, 3, []string{"Hill 9: it is booked", "Quay 9: it is booked", "Bus 9: done", "Bus 9: done"}},
			{"nothing", auth.Scope{}, nil, 0, nil},
			{"one depot", onlyHill, []string{"Hill"}, 2, []string{"Hill 9: it is booked"}},
			{"one fleet", auth.ScopeOf([]int64{bay.FleetID}, nil), []string{"Bay"}, 1, []string{"Bus 9: done"}},
		} {
			vs, err := db.Visits(t.Context(), c.sc, store.VisitQuery{})
			if err != nil {
				t.Fatal(err)
			}
			var got []string
			for _, v := range vs {
				got = append(got, v.Vehicle)
			}
			if d := cmp.Diff(c.visits, got); d != "" {
				t.Errorf("%s: %s", c.name, d)
			}
			// Days are asked for within what is seen.
			for from, want := range map[fleet.Date]int{monday: len(c.visits), monday + 1: 0} {
				vs, err := db.Visits(t.Context(), c.sc, store.VisitQuery{From: from})
				if err != nil || len(vs) != want {
					t.Errorf("%s: got %d visits from %s, %v, want %d", c.name, len(vs), from, err, want)
				}
			}
			runs, err := db.Proposals(t.Context(), c.sc, 0, 0, 0)
			if err != nil || len(runs) != c.runs {
				t.Errorf("%s: got %d runs, %v", c.name, len(runs), err)
			}
			var dropped []string
			for _, p := range runs {
				dropped = append(dropped, p.Figures.Dropped...)
			}
			if d := cmp.Diff(c.dropped, dropped); d != "" {
				t.Errorf("%s: dropped: %s", c.name, d)
			}
			due, err := db.DueVehicles(t.Context(), c.sc, 0, monday)
			if err != nil || len(due) != 0 {
				t.Errorf("%s: got %d due vehicles, %v", c.name, len(due), err)
			}
		}
		for _, err := range []error{
			db.DeclineVisits(t.Context(), onlyHill, "N. N.", "", []int64{north.Visits[0].ID}),
			func() error {
				_, err := db.AcceptVisits(t.Context(), onlyHill, "N. N.", []int64{north.Visits[0].ID})
				return err
			}(),
			db.SaveProposal(t.Context(), onlyHill, &store.Proposal{FleetID: quay.FleetID}, []int64{quay.ID}),
		} {
			if !errors.Is(err, fleet.ErrNotFound) {
				t.Errorf("another's: got %v", err)
			}
		}
		// A proposal for one depot leaves the other's open.
		mustPropose(t, db, []fleet.Depot{hill})
		vs, err := db.Visits(t.Context(), all, store.VisitQuery{State: store.VisitOpen})
		if err != nil || len(vs) != 2 {
			t.Errorf("got %d open visits, %v, want Bay's and Quay's", len(vs), err)
		}
	})
}
