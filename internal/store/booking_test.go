package store_test

import (
	"errors"
	"fmt"
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

// monday is a working day of the samples.
var monday = day(time.March, 3)

// depotOf returns the depot of a name.
func depotOf(t testing.TB, db *store.DB, name string) fleet.Depot {
	t.Helper()
	ds, err := db.Depots(t.Context(), all)
	if err != nil {
		t.Fatal(err)
	}
	for _, d := range ds {
		if d.Name == name {
			return d
		}
	}
	t.Fatalf("no depot %q", name)
	return fleet.Depot{}
}

// job is an hour and a half of pads on the front axle.
func job(vehicleID, depotID int64, d fleet.Date) fleet.Booking {
	return fleet.Booking{
		VehicleID: vehicleID,
		Slot:      fleet.Slot{DepotID: depotID, Day: d, Minutes: 90},
		Hours:     1.5,
		Work:      []fleet.WorkItem{{Axle: 1, Item: fleet.ItemPads, PartNumber: "P 1", Quantity: 1, Reason: "to book by then"}},
	}
}

func mustBook(t testing.TB, db *store.DB, b fleet.Booking) fleet.Booking {
	t.Helper()
	got, err := db.Book(t.Context(), all, "N. N.", b)
	if err != nil {
		t.Fatal(err)
	}
	return got
}

func TestBooking(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ids := mustVehicles(t, db, entry("Bus 1"), entry("Bus 2"))
		quay := depotOf(t, db, "Quay")
		at := time.Date(2025, 3, 1, 8, 0, 0, 0, time.UTC)
		db.Now = func() time.Time { return at }

		first := mustBook(t, db, job(ids[0], quay.ID, monday))
		want := job(ids[0], quay.ID, monday)
		want.ID, want.FleetID, want.State, want.Kept = first.ID, quay.FleetID, fleet.Booked, true
		want.Bay, want.Starts = 1, 8*60 // the default workshop opens at eight
		want.MadeBy, want.MadeAt, want.Changed = "N. N.", at, at
		want.HomeDepotID = quay.ID
		want.Vehicle, want.Fleet, want.Depot, want.TimeZone = "Bus 1", "North", "Quay", "UTC"
		if d := cmp.Diff(want, first); d != "" {
			t.Errorf("booked: %s", d)
		}
		second := mustBook(t, db, job(ids[1], quay.ID, monday))
		if second.Starts != first.Ends() || second.Bay != 1 {
			t.Errorf("second: bay %d at %s, want bay 1 at %s", second.Bay, second.Starts, first.Ends())
		}

		at = at.Add(time.Hour)
		moved, err := db.MoveBooking(t.Context(), all, "M. M.", first.ID, fleet.Slot{DepotID: quay.ID, Day: monday + 1, Starts: 10 * 60}, "the driver asked")
		if err != nil {
			t.Fatal(err)
		}
		if moved.Day != monday+1 || moved.Starts != 10*60 || moved.Revision != 1 || !moved.Changed.Equal(at) {
			t.Errorf("moved: got %+v", moved)
		}
		booked, err := db.BookedAxles(t.Context(), all, ids)
		if err != nil {
			t.Fatal(err)
		}
		if d := cmp.Diff(map[store.AxleKey]store.AxleBooking{
			{VehicleID: ids[0], Axle: 1}: {ID: first.ID, Day: monday + 1, Depot: "Quay", Kept: true},
			{VehicleID: ids[1], Axle: 1}: {ID: second.ID, Day: monday, Depot: "Quay", Kept: true},
		}, booked); d != "" {
			t.Errorf("BookedAxles: %s", d)
		}

		// The due-soon list can be narrowed to what is booked, or is not.
		for _, id := range ids {
			mustForecasts(t, db, due(id, 1, ptr(monday), float64(monday)), due(id, 2, ptr(monday), float64(monday)))
		}
		for _, c := range []struct {
			booked *bool
			axles  int
		}{{nil, 4}, {ptr(true), 2}, {ptr(false), 2}} {
			page, err := db.DueSoon(t.Context(), all, store.DueQuery{Booked: c.booked})
			if err != nil || page.Total != c.axles || len(page.Rows) != c.axles {
				t.Errorf("due, booked %v: got %d of %d, %v", c.booked, len(page.Rows), page.Total, err)
			}
			for _, r := range page.Rows {
				if c.booked != nil && *c.booked != (r.Axle == 1) {
					t.Errorf("due, booked %v: got axle %d", *c.booked, r.Axle)
				}
			}
		}

		if _, err := db.EndBooking(t.Context(), all, "M. M.", second.ID, fleet.Done, ""); err != nil {
			t.Fatal(err)
		}
		if _, err := db.EndBooking(t.Context(), all, "M. M.", second.ID, fleet.Missed, ""); !errors.Is(err, fleet.ErrConflict) {
			t.Errorf("ended twice: got %v", err)
		}
		if _, err := db.MoveBooking(t.Context(), all, "M. M.", second.ID, fleet.Slot{DepotID: quay.ID, Day: monday + 2}, ""); !errors.Is(err, fleet.ErrConflict) {
			t.Errorf("moved when done: got %v", err)
		}
		open, err := db.Bookings(t.Context(), all, store.BookingQuery{States: []fleet.BookingState{fleet.Booked}, From: monday, To: monday + 5})
		if err != nil || len(open) != 1 || open[0].ID != first.ID {
			t.Errorf("open: got %+v, %v", open, err)
		}

		changes, err := db.BookingChanges(t.Context(), all, at)
		if err != nil {
			t.Fatal(err)
		}
		var said []string
		for _, c := range changes {
			said = append(said, fmt.Sprintf("%s %s %s %s: %s -> %s, %s", c.By, c.What, c.Vehicle, c.Why, c.From.Day, c.To.Day, c.ToDepot))
		}
		if d := cmp.Diff([]string{
			"M. M. moved Bus 1 the driver asked: 2025-03-03 -> 2025-03-04, Quay",
			"M. M. done Bus 2 : 2025-03-03 -> 2025-03-03, Quay",
		}, said); d != "" {
			t.Errorf("BookingChanges: %s", d)
		}
		history, err := db.BookingHistory(t.Context(), all, first.ID)
		if err != nil || len(history) != 2 || history[0].What != "booked" || history[0].From.Day != 0 {
			t.Errorf("BookingHistory: got %+v, %v", history, err)
		}
	})
}

// What has no room is refused, and says what is in the way.
func TestBookingRefused(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ids := mustVehicles(t, db, entry("Bus 1"), entry("Bus 2"), entry("Bus 3"), entry("Bay 1", of("South", "Bay")))
		quay, bay := depotOf(t, db, "Quay"), depotOf(t, db, "Bay")
		mustBook(t, db, job(ids[0], quay.ID, monday))
		if err := db.AddClosures(t.Context(), all, []fleet.Closure{{DepotID: quay.ID, First: monday + 3, Last: monday + 3, Reason: "fair"}}); err != nil {
			t.Fatal(err)
		}
		long := job(ids[1], quay.ID, monday)
		long.Hours, long.Minutes = 7, 7*60
		wide := job(ids[1], quay.ID, monday)
		wide.Hours, wide.Minutes = 1, 8*60
		at := job(ids[1], quay.ID, monday)
		at.Starts, at.Bay = 9*60, 1
		nowhere, early := job(ids[1], quay.ID, monday), job(ids[1], quay.ID, monday)
		nowhere.Bay, early.Starts = 9, 5*60
		idle := job(ids[1], quay.ID, monday)
		idle.Work = nil
		for _, c := range []struct {
			name string
			b    fleet.Booking
			kind error
			say  string
		}{
			{"twice", job(ids[0], quay.ID, monday), fleet.ErrConflict, "has a booking on 3 Mar 2025 already"},
			{"weekend", job(ids[1], quay.ID, monday+5), fleet.ErrConflict, "closed on 8 Mar 2025"},
			{"holiday", job(ids[1], quay.ID, monday+3), fleet.ErrConflict, "closed on 6 Mar 2025"},
			{"hours", long, fleet.ErrConflict, "has 6.5 technician hours left"},
			{"bays", wide, fleet.ErrConflict, "no bay free for 480 minutes"},
			{"taken", at, fleet.ErrConflict, "bay 1 not free from 09:00 to 10:30"},
			{"no such bay", nowhere, fleet.ErrConflict, "Quay has no bay 9: its bays are 1 to "},
			{"before it opens", early, fleet.ErrConflict, "Quay is open from 08:00 to "},
			{"nothing to do", idle, fleet.ErrInvalid, "needs something to do"},
			{"another fleet's depot", job(ids[1], bay.ID, monday), fleet.ErrInvalid, "another fleet"},
			{"no such depot", job(ids[1], 999, monday), fleet.ErrNotFound, "depot 999"},
			{"no such vehicle", job(999, quay.ID, monday), fleet.ErrNotFound, "vehicle 999"},
		} {
			_, err := db.Book(t.Context(), all, "N. N.", c.b)
			if !errors.Is(err, c.kind) || !strings.Contains(err.Error(), c.say) {
				t.Errorf("%s: got %v, want %v with %q", c.name, err, c.kind, c.say)
			}
		}
		if n := count(t, db, `select count(*) from bookings`); n != 1 {
			t.Errorf("got %d bookings, want the first alone", n)
		}
	})
}

// Many people who book at the same time never share a bay at a time, nor go
// beyond the technicians' hours, whatever the program's own checks say.
func TestBookAtOnce(t *testing.T) {
	const people = 24
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		var entries []store.VehicleEntry
		for i := range people {
			entries = append(entries, entry(fmt.Sprint("Bus ", i)))
		}
		ids := mustVehicles(t, db, entries...)
		quay := depotOf(t, db, "Quay")
		s := fleet.DefaultWorkshop()
		s.DepotID, s.Bays = quay.ID, 3
		s.Week[0].Technicians = 15 // ten jobs of an hour and a half
		if err := db.SaveWorkshop(t.Context(), all, "N. N.", s); err != nil {
			t.Fatal(err)
		}
		errs := make([]error, people)
		var wg sync.WaitGroup
		for i := range people {
			wg.Go(func() { _, errs[i] = db.Book(t.Context(), all, fmt.Sprint("person ", i), job(ids[i], quay.ID, monday)) })
		}
		wg.Wait()
		got := 0
		for _, err := range errs {
			switch {
			case err == nil:
				got++
			case !errors.Is(err, fleet.ErrConflict):
				t.Error(err)
			}
		}
		bs, err := db.Bookings(t.Context(), all, store.BookingQuery{})
		if err != nil {
			t.Fatal(err)
		}
		if got != 10 || len(bs) != got {
			t.Errorf("%d people booked and there are %d bookings, want 10", got, len(bs))
		}
		for i := range bs {
			for k := range i {
				if bs[i].Overlaps(bs[k].Slot) {
					t.Errorf("%+v and %+v", bs[i].Slot, bs[k].Slot)
				}
			}
		}
	})
}

// An axle that has a booking to come gets no other, by hand or from a proposal,
// whatever else was left open before today; nor do people who book it at the same
// time at two depots.
func TestBookAxleAgain(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ids := mustVehicles(t, db, entry("Bus 1"), entry("Bus 2"), entry("Bus 3"), entry("Bus 4"), entry("Bus 5", of("North", "Hill")))
		quay, hill := depotOf(t, db, "Quay"), depotOf(t, db, "Hill")
		db.Now = func() time.Time { return (monday + 7).Time() }
		mustBook(t, db, job(ids[0], quay.ID, monday)) // left open, a week ago
		mustBook(t, db, job(ids[0], quay.ID, monday+8))
		const say = "axle 1 is booked for 11 Mar 2025 at Quay already"
		if _, err := db.Book(t.Context(), all, "N. N.", job(ids[0], hill.ID, monday+9)); !errors.Is(err, fleet.ErrConflict) || !strings.HasPrefix(err.Error(), say) {
			t.Errorf("by hand: got %v, want a conflict with %q", err, say)
		}
		p := mustPropose(t, db, []fleet.Depot{quay}, visitOf(ids[0], quay.ID, monday+9, 480))
		got, err := db.AcceptVisits(t.Context(), all, "M. M.", []int64{p.Visits[0].ID})
		if err != nil || !errors.Is(got[0].Fault, fleet.ErrConflict) || !strings.HasPrefix(got[0].Fault.Error(), say) {
			t.Errorf("from a proposal: got %+v, %v, want a conflict with %q", got, err, say)
		}
		other := job(ids[0], quay.ID, monday+9)
		other.Work[0].Axle = 2
		mustBook(t, db, other)

		for _, id := range ids[1:] {
			errs := make([]error, 2)
			var wg sync.WaitGroup
			for i, at := range []int64{quay.ID, hill.ID} {
				wg.Go(func() { _, errs[i] = db.Book(t.Context(), all, "N. N.", job(id, at, monday+14+fleet.Date(i))) })
			}
			wg.Wait()
			var refused []error
			for _, err := range errs {
				if err != nil {
					refused = append(refused, err)
				}
			}
			if len(refused) != 1 || !strings.HasPrefix(refused[0].Error(), "axle 1 is booked for ") {
				t.Errorf("two at once: refused %v, want one for what the other booked", refused)
			}
		}
	})
}

// A booking's day is over by the clock of its depot, and one that was left open then
// is not moved ahead once its axle was booked anew.
func TestBookAxleAgainByTheClock(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ids := mustVehicles(t, db, entry("Bus 1"), entry("Bus 2"))
		quay := depotOf(t, db, "Quay")
		for i, c := range []struct {
			zone string // 14 hours before UTC, and 10 behind it (IANA time zone database)
			hour time.Duration
			want bool // Monday is over
		}{{"Pacific/Kiritimati", 12, true}, {"Pacific/Honolulu", 32, false}} {
			if err := db.SetTimeZone(t.Context(), all, quay.ID, c.zone); err != nil {
				t.Fatal(err)
			}
			db.Now = func() time.Time { return monday.Time().Add(c.hour * time.Hour) }
			left := mustBook(t, db, job(ids[i], quay.ID, monday))
			_, err := db.Book(t.Context(), all, "N. N.", job(ids[i], quay.ID, monday+2))
			if (err == nil) != c.want {
				t.Errorf("%s: got %v, want it booked: %t", c.zone, err, c.want)
			}
			_, err = db.MoveBooking(t.Context(), all, "N. N.", left.ID, fleet.Slot{DepotID: quay.ID, Day: monday + 3}, "")
			if (err == nil) == c.want {
				t.Errorf("%s: moved ahead: got %v, want it refused: %t", c.zone, err, c.want)
			}
		}
	})
}

// The database itself refuses a bay that is taken, should the program's own
// check ever be wrong.
func TestBayConstraint(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ids := mustVehicles(t, db, entry("Bus 1"), entry("Bus 2"))
		quay := depotOf(t, db, "Quay")
		b := mustBook(t, db, job(ids[0], quay.ID, monday))
		insert := func(starts int, state string) error {
			p := db.WritePool()
			_, err := p.ExecContext(t.Context(), p.Rebind(`
				insert into bookings (fleet_id, vehicle_id, depot_id, day, bay, starts, minutes, hours, state, kept, note, made_by, made_at, changed_at, revision)
				select fleet_id, ?, depot_id, day, bay, ?, minutes, hours, ?, kept, note, made_by, made_at, changed_at, revision
				from bookings where id = ?`), ids[1], starts, state, b.ID)
			return err
		}
		if err := insert(int(b.Starts)+30, "booked"); err == nil || !strings.Contains(err.Error(), "bookings_bay") {
			t.Errorf("overlapping: got %v", err)
		}
		if err := insert(int(b.Starts)+30, "missed"); err != nil {
			t.Errorf("one that was missed: %v", err)
		}
		if err := insert(int(b.Ends()), "booked"); err != nil {
			t.Errorf("the one after: %v", err)
		}
		p := db.WritePool()
		if _, err := p.ExecContext(t.Context(), `update bookings set state = 'done' where state = 'missed'`); err == nil || !strings.Contains(err.Error(), "bookings_bay") {
			t.Errorf("missed made done: got %v", err)
		}
	})
}

func TestBookingScope(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		ids := mustVehicles(t, db, entry("Quay"), entry("Hill", of("North", "Hill")), entry("Bay", of("South", "Bay")))
		quay, hill, bay := depotOf(t, db, "Quay"), depotOf(t, db, "Hill"), depotOf(t, db, "Bay")
		mustBook(t, db, job(ids[0], quay.ID, monday))
		visitor := mustBook(t, db, job(ids[1], quay.ID, monday)) // of Hill, done at Quay
		mustBook(t, db, job(ids[2], bay.ID, monday))
		onlyHill := auth.ScopeOf(nil, []int64{hill.ID})
		for _, c := range []struct {
			name string
			sc   auth.Scope
			want []string
		}{
			{"all", all, []string{"Bay", "Quay", "Hill"}},
			{"nothing", auth.Scope{}, nil},
			{"one fleet", auth.ScopeOf([]int64{quay.FleetID}, nil), []string{"Quay", "Hill"}},
			{"the workshop", auth.ScopeOf(nil, []int64{quay.ID}), []string{"Quay", "Hill"}},
			{"the vehicle's home", onlyHill, []string{"Hill"}},
		} {
			bs, err := db.Bookings(t.Context(), c.sc, store.BookingQuery{})
			if err != nil {
				t.Fatal(err)
			}
			var got []string
			for _, b := range bs {
				got = append(got, b.Vehicle)
			}
			if d := cmp.Diff(c.want, got); d != "" {
				t.Errorf("%s: %s", c.name, d)
			}
			changes, err := db.BookingChanges(t.Context(), c.sc, time.Time{})
			if err != nil || len(changes) != len(c.want) {
				t.Errorf("%s: got %d changes, %v", c.name, len(changes), err)
			}
			booked, err := db.BookedAxles(t.Context(), c.sc, ids)
			if err != nil || len(booked) != len(c.want) {
				t.Errorf("%s: got %d booked axles, %v", c.name, len(booked), err)
			}
		}
		// Seen, but another workshop's to change.
		if _, err := db.Booking(t.Context(), onlyHill, visitor.ID); err != nil {
			t.Error(err)
		}
		if _, err := db.EndBooking(t.Context(), onlyHill, "N. N.", visitor.ID, fleet.Missed, ""); !errors.Is(err, fleet.ErrNotFound) {
			t.Errorf("ended from elsewhere: got %v", err)
		}
		if _, err := db.MoveBooking(t.Context(), auth.ScopeOf(nil, []int64{quay.ID}), "N. N.", visitor.ID, fleet.Slot{DepotID: hill.ID, Day: monday}, ""); !errors.Is(err, fleet.ErrNotFound) {
			t.Errorf("moved into a workshop not seen: got %v", err)
		}
		if _, err := db.Book(t.Context(), onlyHill, "N. N.", job(ids[1], quay.ID, monday+1)); !errors.Is(err, fleet.ErrNotFound) {
			t.Errorf("booked into a workshop not seen: got %v", err)
		}
	})
}
