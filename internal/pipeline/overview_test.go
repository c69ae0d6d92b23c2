package pipeline

import (
	"log/slog"
	"math"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"brakewear/forecast"
	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// Figures by hand, of an invented fleet on Monday 2 March 2026. A limit that is
// reached evenly over the days 20 to 60 falls into a week with the chance of
// its days among these 40: 1 of the third week, 7 of each of the five after it,
// 4 of the ninth. Pads take 1.5 hours and a visit 1 hour more (the default
// workshop's for heavy vehicles); 40 hours a week are there.
func TestOverview(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s := newShop(t, db)
		ctx, all := t.Context(), auth.AllFleets()
		w := fleet.DefaultWorkshop()
		w.DepotID, w.Currency, w.LabourRate, w.SetHeavy = s.depot.ID, "KR", 50, 220
		s.check(db.SaveWorkshop(ctx, all, "N. N.", w))
		s.check(db.AddClosures(ctx, all, []fleet.Closure{{DepotID: s.depot.ID, First: s.today + 28, Last: s.today + 34, Reason: "fair"}}))
		price := 100.
		part, err := db.SaveStockPart(ctx, all, fleet.StockPart{FleetID: s.depot.FleetID, Number: "P 1", Item: fleet.ItemPads, PerAxle: 2, Price: &price,
			Fits: []fleet.Fit{{Make: "Orlo", Axle: 1}}})
		s.check(err)
		s.check(db.SetStock(ctx, all, part, s.depot.ID, 3))
		s.due(1, 1, 20)
		s.due(1, 2, 20) // no part is known to fit
		s.due(2, 1, 20)
		s.due(3, 1, -50, pastLimitNow)
		s.due(4, 1, 0, func(f *store.AxleForecast) { // nobody measured it
			f.Readings = 0
			f.Warnings = []forecast.Warning{{Code: forecast.NoReadings, Text: "never measured"}}
		})
		s.due(5, 1, 300)
		_, err = s.Book(ctx, all, "N. N.", ByHand{VehicleID: s.buses[1], Axles: []int{1}, Slot: fleet.Slot{DepotID: s.depot.ID, Day: s.today + 7}})
		s.check(err)

		got, err := s.Overview(ctx, all, store.OverviewQuery{})
		s.check(err)
		want := &Overview{
			AsOf: s.today,
			Left: store.LiningLeft{Classes: make([]int, len(store.LeftClasses)), Unmeasured: 1},
			Past: LimitSpan{To: s.today - 1, Expected: 1, EvenOdds: 1, ToBook: 1, HoursToBook: 2.5, HoursNeeded: 2.5},
			Gaps: CostGaps{Items: map[fleet.Item]float64{}},
			Duty: []store.WearRate{{Part: fleet.Pad, Axles: 5, MMPer10000: [5]float64{3, 3, 3, 3, 3}}},
			Depot: []store.WearRate{{DepotID: s.depot.ID, Fleet: "Ferry Lines", Name: "Harbour", Part: fleet.Pad, Axles: 5,
				MMPer10000: [5]float64{3, 3, 3, 3, 3}}},
			// Bus 1 alone is not booked: 7/40 of two axles in the week of the fair.
			Short: HoursShort{Expected: 2, NoHours: .35, TooFew: .35},
			// The spans of Past and of the weeks, added up.
			Depots: []DepotOutlook{{DepotID: s.depot.ID, Depot: "Harbour", Fleet: "Ferry Lines", Past: 1,
				Expected: 3, Booked: 1, ToBook: 3, HoursToBook: 2.5 + 4, HoursFree: 11*40 + 37.5}},
			Trend: store.Trend{Then: s.today - 30, Measured: 5}, // of none a forecast was kept a month ago
			Late:  BookedLate{},                                 // bus 2 comes 15 days ahead of its book-by date
		}
		// Bus 3 is past its limit, of the two of bus 1 the days 20 to 34 of 20 to 60
		// go by first. 800 is the default workshop's figure of heavy vehicles.
		for i, axles := range []float64{1 + 2*15./40, 3, 3} {
			to := s.today + fleet.Date(7*waitWeeks[i]) + 6
			want.Waits = append(want.Waits, WaitCost{To: to, Axles: axles, NoDisc: axles, Costs: []WaitMoney{{Currency: "KR", Damage: axles * 800}}})
		}
		want.Left.Classes[2] = 5 // (6 - 3) mm of (20 - 3) mm: 18 %
		for i := range OverviewWeeks {
			want.Weeks = append(want.Weeks, LimitSpan{From: s.today + fleet.Date(7*i), To: s.today + fleet.Date(7*i) + 6, HoursFree: 40})
		}
		want.Weeks[1].HoursFree = 40 - 2.5
		want.Weeks[4].HoursFree = 0
		want.Weeks[5].EvenOdds = 3 // day 40
		// To be booked by day 21, 23 March: both axles of bus 1, on one visit.
		want.Weeks[3].ToBook, want.Weeks[3].HoursToBook = 2, 2*1.5+1
		for i, p := range map[int]float64{2: 1. / 40, 3: 7. / 40, 4: 7. / 40, 5: 7. / 40, 6: 7. / 40, 7: 7. / 40, 8: 4. / 40} {
			x := &want.Weeks[i]
			x.Expected, x.Booked = 3*p, p
			x.HoursNeeded = 2*p*1.5 + (1 - (1-p)*(1-p))
		}
		// All are changed on their book-by date, in March: both axles of bus 1
		// on one visit, and bus 3 on another.
		for i, last := range []int{31, 30, 31, 30} {
			month := time.March + time.Month(i)
			want.Months = append(want.Months, MonthOutlook{From: fleet.NewDate(2026, month, 1), To: fleet.NewDate(2026, month, last)})
		}
		want.Months[0].From = s.today
		want.Months[0].Axles = 3
		want.Months[0].Costs = []MonthCost{{
			Currency: "KR",
			Booked:   2.5*50 + 2*100,       // the pads of bus 2
			Parts:    2*2*100 + 220,        // axle 2 at the workshop's own price
			Labour:   (3*1.5 + 1 + 1) * 50, // three axles, two visits
		}}
		want.Parts = []PartOutlook{
			{Part: fleet.StockPart{ID: part}, Fleet: "Ferry Lines", Expected: [OverviewMonths]float64{6}, Booked: [OverviewMonths]int{2}, Stock: 3, Out: 0},
			{Fleet: "Ferry Lines", For: "pads of axle 2, Orlo", Expected: [OverviewMonths]float64{1}, Out: -1},
		}
		opts := cmp.Options{cmpopts.EquateApprox(0, 1e-9), cmp.Transformer("id", func(p fleet.StockPart) int64 { return p.ID })}
		if d := cmp.Diff(want, got, opts); d != "" {
			t.Errorf("want, got:\n%s", d)
		}
		// Bus 3 is past its limit, and both axles of bus 1 reach theirs.
		if w := got.Waiting(); len(w) != OverviewWeeks || math.Abs(w[0]-1) > 1e-9 || math.Abs(w[OverviewWeeks-1]-3) > 1e-9 {
			t.Errorf("what waiting comes to: got %v, want 1 at first and 3 in the end", w)
		}
		// The axles that are not booked, one by one, come to what the overview says.
		waiting, err := db.Waiting(ctx, all, s.buses)
		s.check(err)
		booked, err := db.BookedAxles(ctx, all, s.buses)
		s.check(err)
		sum := 0.
		for k, x := range waiting {
			if _, there := booked[k]; !there {
				sum += x.Damage * x.Day.CDF(float64(WaitUntil(s.today)+1))
			}
		}
		if first := got.Waits[0]; first.To != WaitUntil(s.today) || math.Abs(sum-first.Costs[0].Damage) > 1e-9 {
			t.Errorf("waiting until %s: got %g axle by axle, want %g until %s", WaitUntil(s.today), sum, first.Costs[0].Damage, first.To)
		}
		if cost, ok := got.Parts[0].Cost(); !ok || cost != 600 {
			t.Errorf("six parts at 100: got %g, %v", cost, ok)
		}

		// The parts list of the same days says the same.
		ns, err := s.PartsNeeded(ctx, all, PartsQuery{From: s.today, To: want.Months[0].To})
		s.check(err)
		if len(ns) != 2 || ns[0].Expected != 6 || ns[1].Expected != 1 {
			t.Errorf("parts needed: got %+v", ns)
		}

		for name, sc := range map[string]auth.Scope{"another scope": auth.ScopeOf(nil, []int64{99}), "no scope": {}} {
			got, err := s.Overview(ctx, sc, store.OverviewQuery{})
			s.check(err)
			if of, err := db.Waiting(ctx, sc, s.buses); err != nil || len(of) > 0 {
				t.Errorf("%s, waiting: got %v, %v", name, of, err)
			}
			if len(got.Parts)+len(got.Duty)+len(got.Depot) > 0 || got.Past.Expected+got.Short.Expected+got.Weeks[0].HoursFree+got.Months[0].Axles > 0 || len(got.Months[0].Costs) > 0 {
				t.Errorf("%s: got %+v", name, got)
			}
		}
		if got, err := s.Overview(ctx, all, store.OverviewQuery{Depot: 99}); err != nil || got.Past.Expected+got.Weeks[0].HoursFree > 0 {
			t.Errorf("another depot: got %+v, %v", got, err)
		}
	})
}

// A booking behind the book-by date is late: of a limit that is reached evenly
// over the days 20 to 60, 2 of 40 days make the accepted 5 %, which day 22 has no
// longer below it: it is to be booked by day 21, and 8 of 40 days lie before day 28.
func TestOverviewLate(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s := newShop(t, db)
		ctx, all := t.Context(), auth.AllFleets()
		s.due(1, 1, 20)
		s.due(2, 1, 20)
		s.due(3, 1, -50, pastLimitNow)
		book := func(bus int, day fleet.Date) {
			t.Helper()
			_, err := s.Book(ctx, all, "N. N.", ByHand{VehicleID: s.buses[bus-1], Axles: []int{1}, Slot: fleet.Slot{DepotID: s.depot.ID, Day: day}})
			s.check(err)
		}
		see := func(sc auth.Scope, want BookedLate) {
			t.Helper()
			o, err := s.Overview(ctx, sc, store.OverviewQuery{})
			s.check(err)
			if d := cmp.Diff(want, o.Late, cmpopts.EquateApprox(0, 1e-9)); d != "" {
				t.Errorf("want, got:\n%s", d)
			}
			yes := true
			page, err := db.DueSoon(ctx, sc, store.DueQuery{Measured: &yes, Late: true})
			if err != nil || page.Total != want.Axles {
				t.Errorf("the list has %d, want %d; %v", page.Total, want.Axles, err)
			}
		}
		book(1, s.today+21) // in time
		see(all, BookedLate{})
		book(2, s.today+28)
		see(all, BookedLate{Axles: 1, Expected: .2})
		book(3, s.today+1) // past its limit, and still to wait
		see(all, BookedLate{Axles: 2, Expected: 1.2})
		see(auth.Scope{}, BookedLate{})
	})
}

// What nobody has said the price of is not in the cost, and is said.
func TestOverviewGaps(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s := newShop(t, db)
		s.due(1, 1, 20)
		s.due(2, 1, 20)
		got, err := s.Overview(t.Context(), auth.AllFleets(), store.OverviewQuery{})
		s.check(err)
		want := CostGaps{Items: map[fleet.Item]float64{fleet.ItemPads: 2}, Depots: []string{"Harbour"}}
		if d := cmp.Diff(want, got.Gaps); d != "" {
			t.Errorf("want, got:\n%s", d)
		}
		if len(got.Months[0].Costs) != 0 {
			t.Errorf("a cost out of nothing: %+v", got.Months[0].Costs)
		}
	})
}

// On a Sunday the running week has one day, and what was to come on the days
// before counts as past.
func TestOverviewSunday(t *testing.T) {
	o := &Overview{AsOf: fleet.NewDate(2026, 3, 8)}
	o.spans()
	if w := o.Weeks[0]; w.From != o.AsOf || w.To != o.AsOf {
		t.Errorf("got %v to %v", w.From, w.To)
	}
	if w := o.Weeks[12]; w.From != fleet.NewDate(2026, 5, 25) || w.To != fleet.NewDate(2026, 5, 31) {
		t.Errorf("got %v to %v", w.From, w.To)
	}
	if m := o.Months[3]; m.From != fleet.NewDate(2026, 6, 1) || m.To != fleet.NewDate(2026, 6, 30) {
		t.Errorf("got %v to %v", m.From, m.To)
	}
	a := &ahead{o: o}
	for d, want := range map[fleet.Date]int{o.AsOf: 0, o.AsOf + 1: 1, o.Weeks[12].To: 12, o.Weeks[12].To + 1: -1} {
		if got := a.week(d); got != want {
			t.Errorf("%s: got week %d, want %d", d, got, want)
		}
	}
}

// What is kept is what would be worked out anew: of its scope, depot and day,
// and only until something is written.
func TestOverviewKept(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s := newShop(t, db)
		s.Overviews = &Overviews{}
		ctx, all := t.Context(), auth.AllFleets()
		s.due(1, 1, 20)
		see := func(sc auth.Scope, q store.OverviewQuery) *Overview {
			t.Helper()
			o, err := s.Overview(ctx, sc, q)
			s.check(err)
			return o
		}
		kept := false
		for range 20 { // a server's upkeep may write in between
			first := see(all, store.OverviewQuery{})
			kept = kept || see(all, store.OverviewQuery{}) == first
		}
		if !kept {
			t.Error("it is worked out anew every time")
		}
		if o := see(auth.Scope{}, store.OverviewQuery{}); o.Left.Axles != 0 || len(o.Duty) != 0 {
			t.Errorf("another scope: got %+v", o)
		}
		if o := see(auth.ScopeOf(nil, []int64{99}), store.OverviewQuery{}); len(o.Duty) != 0 {
			t.Errorf("another depot's scope: got %+v", o)
		}
		if o := see(all, store.OverviewQuery{Depot: 99}); len(o.Duty) != 0 {
			t.Errorf("another depot: got %+v", o)
		}
		for n := 2; n <= 5; n++ {
			s.due(n, 1, 20)
			if o := see(all, store.OverviewQuery{}); o.Weeks[3].ToBook != n {
				t.Errorf("after axle %d was forecast: got %d to book", n, o.Weeks[3].ToBook)
			}
		}
		_, err := s.Book(ctx, all, "N. N.", ByHand{VehicleID: s.buses[1], Axles: []int{1}, Slot: fleet.Slot{DepotID: s.depot.ID, Day: s.today + 7}})
		s.check(err)
		if o := see(all, store.OverviewQuery{}); o.Weeks[3].ToBook != 4 {
			t.Errorf("after one was booked: got %d to book", o.Weeks[3].ToBook)
		}
		next := s.today + 1
		s.Now = next.Time
		if o := see(all, store.OverviewQuery{}); o.AsOf != next {
			t.Errorf("a day later: got it as of %s", o.AsOf)
		}
		for i := range 2 * maxOverviews {
			see(all, store.OverviewQuery{Depot: int64(100 + i)})
		}
		if n := len(s.Overviews.kept); n > maxOverviews {
			t.Errorf("%d are kept", n)
		}
	})
}

// TestOverviewSoon: who looks while a newer one is worked out sees the last one
// with its time, and the newer one as soon as it is there.
func TestOverviewSoon(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s := newShop(t, db)
		s.Overviews = &Overviews{}
		ctx, all := t.Context(), auth.AllFleets()
		s.due(1, 1, 20)
		look := func() (*Overview, time.Time) {
			t.Helper()
			o, at, err := s.OverviewSoon(ctx, all, store.OverviewQuery{})
			s.check(err)
			return o, at
		}
		if _, at := look(); !at.IsZero() {
			t.Errorf("the first: got %v, want one up to date", at)
		}
		s.due(2, 1, 20)
		if o, at := look(); !at.IsZero() || o.Weeks[3].ToBook != 2 {
			t.Errorf("without a desk: got %d to book, of %v", o.Weeks[3].ToBook, at)
		}
		desk := OpenDesk(ctx, s.Service, slog.New(slog.DiscardHandler))
		defer desk.Close()
		s.due(3, 1, 20)
		// Somebody's work that takes long, instead of a large fleet.
		key := s.Overviews.key(all, store.OverviewQuery{}, s.today)
		hold := make(chan struct{})
		version, err := db.Version(ctx)
		s.check(err)
		begun := s.Service.now()
		w := s.Overviews.work(key, version, begun, desk.start, func() (*Overview, error) {
			<-hold
			return s.Overview(ctx, all, store.OverviewQuery{})
		})
		o, at := look()
		if at.IsZero() || o.Weeks[3].ToBook != 2 {
			t.Errorf("meanwhile: got %d to book, of %v; want 2 of before", o.Weeks[3].ToBook, at)
		}
		// Joined by somebody who has written since, it does not pass for up to date.
		s.due(5, 1, 20)
		go func() {
			time.Sleep(overviewPatience / 5)
			close(hold)
		}()
		if _, at := look(); !at.Equal(begun) {
			t.Errorf("work begun before a write: got of %v, want %v", at, begun)
		}
		<-w.done
		if o, at := look(); !at.IsZero() || o.Weeks[3].ToBook != 4 {
			t.Errorf("after: got %d to book, of %v; want 4 of now", o.Weeks[3].ToBook, at)
		}
		desk.Close()
		s.due(4, 1, 20)
		if o, at := look(); !at.IsZero() || o.Weeks[3].ToBook != 5 {
			t.Errorf("when the process ends: got %d to book, of %v", o.Weeks[3].ToBook, at)
		}
	})
}

// With rotors of a known price each axle past its limit would take two of them at
// 90, and the 3.5 - 1.5 hours more of the default workshop; where nobody set the
// workshop nothing is said.
func TestWaitingForRotors(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		s := newShop(t, db)
		ctx, all := t.Context(), auth.AllFleets()
		s.due(1, 1, 20)
		got, err := s.Overview(ctx, all, store.OverviewQuery{})
		s.check(err)
		if w := got.Waits[2]; math.Abs(w.Axles-1) > 1e-9 || math.Abs(w.NoFigure-1) > 1e-9 || w.Costs != nil {
			t.Errorf("a workshop that nobody set: got %+v", w)
		}
		w := fleet.DefaultWorkshop()
		w.DepotID, w.Currency, w.LabourRate = s.depot.ID, "KR", 50
		s.check(db.SaveWorkshop(ctx, all, "N. N.", w))
		price := 90.
		_, err = db.SaveStockPart(ctx, all, fleet.StockPart{FleetID: s.depot.FleetID, Number: "R 1", Item: fleet.ItemRotors, PerAxle: 2, Price: &price, Fits: []fleet.Fit{{Make: "Orlo", Axle: 1}}})
		s.check(err)
		got, err = s.Overview(ctx, all, store.OverviewQuery{})
		s.check(err)
		want := []WaitMoney{{Currency: "KR", Damage: 800, Discs: 2*90 + 2*50}}
		if d := cmp.Diff(want, got.Waits[2].Costs, cmpopts.EquateApprox(0, 1e-9)); d != "" || got.Waits[2].NoDisc != 0 {
			t.Errorf("without a price: %g; want, got:\n%s", got.Waits[2].NoDisc, d)
		}
	})
}
