package store_test

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

// rows adds n rows to a table, of what row says of each.
func rows(t *testing.T, db *store.DB, table, columns string, n int, row func(i int) []any) {
	t.Helper()
	for from := 0; from < n; from += 500 {
		var places []string
		var args []any
		for i := from; i < min(from+500, n); i++ {
			r := row(i)
			places = append(places, "("+strings.TrimSuffix(strings.Repeat("?, ", len(r)), ", ")+")")
			args = append(args, r...)
		}
		mustExec(t, db, `insert into `+table+` (`+columns+`) values `+strings.Join(places, ", "), args...)
	}
}

// planWorld is a database with so many bookings, visits and parts that planners mind, of
// two fleets with two depots each.
type planWorld struct {
	*store.DB
	vehicles, depots, runs []int64
	fleet                  int64
}

func newPlanWorld(t *testing.T, db *store.DB) *planWorld {
	const n = 4000
	w := &planWorld{DB: db}
	w.vehicles = mustVehicles(t, db, entry("A", of("North", "Quay")), entry("B", of("North", "Hill")), entry("C", of("South", "Bay")), entry("D", of("South", "Cove")))
	var depots []fleet.Depot
	for _, name := range []string{"Quay", "Hill", "Bay", "Cove"} {
		d := depotOf(t, db, name)
		depots = append(depots, d)
		w.depots = append(w.depots, d.ID)
	}
	w.fleet = depots[0].FleetID
	for i := range 8 {
		w.runs = append(w.runs, mustPropose(t, db, depots[i%2*2:i%2*2+2]).ID)
	}
	// Vehicles that share a day, a depot and a time have their ids alone to be told by.
	rows(t, db, "bookings", "fleet_id, vehicle_id, depot_id, day, bay, starts, minutes, hours, state, kept, note, made_by, made_at, changed_at, revision", n, func(i int) []any {
		at := time.Date(2025, 3, 1, 0, i, 0, 0, time.UTC)
		return []any{depots[i%4].FleetID, w.vehicles[i%4], w.depots[i%4], monday + fleet.Date(i*7%300), 1 + i/300, 60 * (i % 5), 60, 1, []string{"done", "missed"}[i%2], false, "", "", at.Format(time.RFC3339), at.Format(time.RFC3339), 0}
	})
	ids := w.bookingIDs(t, all, store.BookingQuery{})
	rows(t, db, "booking_changes", "booking_id, at, changed_by, what, why, to_depot, to_day, to_bay, to_starts, to_minutes", n, func(i int) []any {
		at := time.Date(2025, 3, 1, 0, i, 0, 0, time.UTC)
		return []any{ids[i], at.Format(time.RFC3339), "", "booked", "", w.depots[0], monday, 1, 60, 60}
	})
	rows(t, db, "proposal_visits", "proposal_id, fleet_id, depot_id, vehicle_id, advice, day, bay, starts, minutes, hours, book_by, work, why, remedy, changed, state, decided_by", n, func(i int) []any {
		var day, bookBy any
		if i%10 > 1 {
			day = monday + fleet.Date(i*7%300)
		}
		if i%10 > 0 {
			bookBy = monday + fleet.Date(i*11%300)
		}
		state := "superseded"
		if i%4 == 0 || i%7 == 0 {
			state = "open"
		}
		run := w.runs[i%4/2+i%8/4*2]
		return []any{run, depots[i%4].FleetID, w.depots[i%4], w.vehicles[i%4], "book", day, 1, 60 * (i % 5), 60, 1, bookBy, "[]", "", "", "", state, ""}
	})
	rows(t, db, "stock_parts", "fleet_id, number, number_key, name, item, per_axle, lead_days", n, func(i int) []any {
		number := fmt.Sprintf("P %d", i/2) // two fleets may have the same
		return []any{depots[i%2*2].FleetID, number, strings.ToLower(number), "", "pads", 1, 1}
	})
	if db.Dialect() == store.Postgres {
		mustExec(t, db, "analyze")
	}
	return w
}

// paged asks for all pages of 300 rows, and returns the ids and what the pages are by.
func paged[T any](t *testing.T, ask func(after string, limit int) ([]T, string, error), id func(*T) int64) (ids []int64) {
	t.Helper()
	const limit = 300
	for after := ""; ; {
		got, next, err := ask(after, limit)
		if err != nil {
			t.Fatal(err)
		}
		if next != "" && len(got) != limit {
			t.Errorf("got %d rows of a page before another, want %d", len(got), limit)
		}
		for i := range got {
			ids = append(ids, id(&got[i]))
		}
		if after = next; next == "" {
			return ids
		}
	}
}

func (w *planWorld) bookingIDs(t *testing.T, sc auth.Scope, q store.BookingQuery) []int64 {
	return paged(t, func(after string, limit int) ([]fleet.Booking, string, error) {
		return w.BookingPage(t.Context(), sc, q, after, limit)
	}, func(b *fleet.Booking) int64 { return b.ID })
}

func (w *planWorld) visitIDs(t *testing.T, sc auth.Scope, q store.VisitQuery) []int64 {
	return paged(t, func(after string, limit int) ([]store.Visit, string, error) {
		return w.VisitPage(t.Context(), sc, q, after, limit)
	}, func(v *store.Visit) int64 { return v.ID })
}

func idsOf[T any](xs []T, id func(*T) int64) (ids []int64) {
	for i := range xs {
		ids = append(ids, id(&xs[i]))
	}
	return ids
}

// The long lists of the plan come in pages.
func TestPlanPages(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		w := newPlanWorld(t, db)
		t.Run("rows", w.pages)
		t.Run("plans", w.plans)
	})
}

// The pages of a list are the whole list, in the order of its pages, whatever is asked
// for and whoever asks.
func (w *planWorld) pages(t *testing.T) {
	scopes := map[string]auth.Scope{"all": all, "a fleet": auth.ScopeOf([]int64{w.fleet}, nil), "a depot": auth.ScopeOf(nil, w.depots[3:])}
	for name, sc := range scopes {
		for i, q := range []store.BookingQuery{
			{}, {Fleet: w.fleet}, {Depot: w.depots[1], From: monday + 20}, {Vehicle: w.vehicles[3], To: monday + 200},
			{From: monday + 5, To: monday + 250, States: []fleet.BookingState{fleet.Done}},
		} {
			whole, err := w.Bookings(t.Context(), sc, q)
			if err != nil {
				t.Fatal(err)
			}
			slices.SortFunc(whole, func(a, b fleet.Booking) int {
				return cmp.Or(cmp.Compare(a.Day, b.Day), cmp.Compare(a.DepotID, b.DepotID), cmp.Compare(a.Starts, b.Starts), cmp.Compare(a.ID, b.ID))
			})
			if got, want := w.bookingIDs(t, sc, q), idsOf(whole, func(b *fleet.Booking) int64 { return b.ID }); !slices.Equal(got, want) {
				t.Errorf("%s, bookings %d: got %d in pages, want %d in their order", name, i, len(got), len(want))
			}
		}
		for i, q := range []store.VisitQuery{
			{}, {State: store.VisitOpen}, {Proposal: w.runs[2]}, {Depot: w.depots[3], State: store.VisitSuperseded}, {Vehicle: w.vehicles[0], State: store.VisitOpen},
			{Fleet: w.fleet, State: store.VisitOpen, From: monday + 9, To: monday + 99},
		} {
			whole, err := w.Visits(t.Context(), sc, q)
			if err != nil {
				t.Fatal(err)
			}
			day := func(v *store.Visit) fleet.Date {
				switch {
				case v.Day != 0:
					return v.Day
				case v.BookBy != nil:
					return *v.BookBy
				}
				return fleet.NewDate(9999, 12, 31)
			}
			slices.SortFunc(whole, func(a, b store.Visit) int {
				return cmp.Or(cmp.Compare(day(&a), day(&b)), cmp.Compare(a.DepotID, b.DepotID), cmp.Compare(a.Starts, b.Starts), cmp.Compare(a.ID, b.ID))
			})
			if got, want := w.visitIDs(t, sc, q), idsOf(whole, func(v *store.Visit) int64 { return v.ID }); !slices.Equal(got, want) {
				t.Errorf("%s, visits %d: got %d in pages, want %d in their order", name, i, len(got), len(want))
			}
		}
		for i, q := range []store.PartQuery{{}, {Fleet: w.fleet}, {Depot: w.depots[2]}} {
			of := q.Fleet
			if q.Depot != 0 {
				of = w.fleet + 1 // the other
			}
			whole, err := w.StockParts(t.Context(), sc, of)
			if err != nil {
				t.Fatal(err)
			}
			got := paged(t, func(after string, limit int) ([]fleet.StockPart, string, error) {
				return w.PartPage(t.Context(), sc, q, after, limit)
			}, func(p *fleet.StockPart) int64 { return p.ID })
			if want := idsOf(whole, func(p *fleet.StockPart) int64 { return p.ID }); !slices.Equal(got, want) {
				t.Errorf("%s, parts %d: got %d in pages, want %d in their order", name, i, len(got), len(want))
			}
		}
		shops, err := w.Workshops(t.Context(), sc, monday)
		if err != nil {
			t.Fatal(err)
		}
		var got []int64
		for after := ""; ; {
			ws, next, err := w.WorkshopPage(t.Context(), sc, 0, monday, after, 1)
			if err != nil {
				t.Fatal(err)
			}
			got = append(got, idsOf(ws, func(x *store.DepotWorkshop) int64 { return x.ID })...)
			if after = next; next == "" {
				break
			}
		}
		if want := idsOf(shops, func(x *store.DepotWorkshop) int64 { return x.ID }); !slices.Equal(got, want) {
			t.Errorf("%s, workshops: got %d in pages, want %d", name, got, want)
		}
	}
	// What was done to a booking is known since.
	w.Now = func() time.Time { return time.Date(2025, 6, 1, 8, 0, 0, 0, time.UTC) }
	b := mustBook(t, w.DB, job(w.vehicles[0], w.depots[0], monday+400))
	for since, want := range map[time.Time]int{w.Now(): 1, w.Now().Add(time.Second): 0} {
		bs, _, err := w.BookingPage(t.Context(), all, store.BookingQuery{Since: since}, "", 0)
		if err != nil || len(bs) != want || want > 0 && bs[0].ID != b.ID {
			t.Errorf("since %s: got %v, %v, want %d", since, bs, err, want)
		}
	}
	// What another list goes on from.
	_, ofBookings, err1 := w.BookingPage(t.Context(), all, store.BookingQuery{}, "", 1)
	_, ofVisits, err2 := w.VisitPage(t.Context(), all, store.VisitQuery{}, "", 1)
	_, ofParts, err3 := w.PartPage(t.Context(), all, store.PartQuery{}, "", 1)
	if err := errors.Join(err1, err2, err3); err != nil || ofBookings == "" || ofVisits == "" || ofParts == "" {
		t.Fatal(err)
	}
	for _, cursor := range []string{ofVisits, ofParts} {
		if _, _, err := w.BookingPage(t.Context(), all, store.BookingQuery{}, cursor, 0); !errors.Is(err, fleet.ErrInvalid) {
			t.Errorf("bookings, cursor %q: got %v, want that it is not one of theirs", cursor, err)
		}
	}
	for _, cursor := range []string{ofBookings, ofParts} {
		if _, _, err := w.VisitPage(t.Context(), all, store.VisitQuery{}, cursor, 0); !errors.Is(err, fleet.ErrInvalid) {
			t.Errorf("visits, cursor %q: got %v, want that it is not one of theirs", cursor, err)
		}
	}
	// No base64, a list, {"Day":"0000-01-01"} and {"Starts":99999999999999}.
	for _, cursor := range []string{"last", "WzFd", "eyJEYXkiOiIwMDAwLTAxLTAxIn0", "eyJTdGFydHMiOjk5OTk5OTk5OTk5OTk5fQ"} {
		_, _, err1 := w.BookingPage(t.Context(), all, store.BookingQuery{}, cursor, 0)
		_, _, err2 := w.VisitPage(t.Context(), all, store.VisitQuery{}, cursor, 0)
		_, _, err3 := w.PartPage(t.Context(), all, store.PartQuery{}, cursor, 0)
		for _, err := range []error{err1, err2, err3} {
			if !errors.Is(err, fleet.ErrInvalid) {
				t.Errorf("cursor %q: got %v, want that it is not one of ours", cursor, err)
			}
		}
	}
}

// A page is read from where it begins, in its order, by an index.
func (w *planWorld) plans(t *testing.T) {
	sorts := regexp.MustCompile(`USE TEMP B-TREE FOR ORDER BY|->\s+Sort\s`)
	whole := regexp.MustCompile(`Seq Scan on (booking_changes|proposal_visits|stock_parts)\b|SCAN c\b`)
	for _, c := range []struct {
		name, index string
		sorts       bool // few rows are sorted
		ask         func(ctx context.Context, after string) (string, error)
	}{
		{"bookings", "bookings_time", false, w.askBookings(store.BookingQuery{From: monday + 3})},
		{"bookings of a depot's reader", "bookings_time", false, func(ctx context.Context, after string) (string, error) {
			_, next, err := w.BookingPage(ctx, auth.ScopeOf(nil, w.depots[2:3]), store.BookingQuery{From: monday + 3}, after, 0)
			return next, err
		}},
		{"visits of a depot's reader", "proposal_visits_", false, func(ctx context.Context, after string) (string, error) {
			_, next, err := w.VisitPage(ctx, auth.ScopeOf(nil, w.depots[2:3]), store.VisitQuery{State: store.VisitOpen}, after, 0)
			return next, err
		}},
		{"bookings changed since", "booking_changes_", true, w.askBookings(store.BookingQuery{Since: time.Date(2025, 3, 3, 17, 40, 0, 0, time.UTC)})},
		{"bookings of a depot", "bookings_day", false, w.askBookings(store.BookingQuery{From: monday + 3, Depot: w.depots[2]})},
		{"open visits", "proposal_visits_days", false, w.askVisits(store.VisitQuery{State: store.VisitOpen})},
		{"visits of a run", "proposal_visits_run", false, w.askVisits(store.VisitQuery{Proposal: w.runs[1]})},
		{"visits of a depot", "proposal_visits_open", false, w.askVisits(store.VisitQuery{Depot: w.depots[2], State: store.VisitSuperseded})},
		{"parts", "stock_parts_number", false, func(ctx context.Context, after string) (string, error) {
			_, next, err := w.PartPage(ctx, all, store.PartQuery{}, after, 0)
			return next, err
		}},
	} {
		next, err := c.ask(t.Context(), "")
		if err != nil || next == "" {
			t.Fatalf("%s: got %q, %v", c.name, next, err)
		}
		for _, after := range []string{"", next} {
			seen := false
			for query, plan := range plan(t, w.DB, func(ctx context.Context) error {
				_, err := c.ask(ctx, after)
				return err
			}) {
				if !strings.Contains(query, "limit") {
					continue // what hangs on the rows of the page
				}
				seen = true
				if !strings.Contains(plan, c.index) || !c.sorts && sorts.MatchString(plan) || whole.MatchString(plan) {
					t.Errorf("%s after %q: does not use %s alone:\n%s", c.name, after, c.index, plan)
				}
			}
			if !seen {
				t.Errorf("%s: no page was asked for", c.name)
			}
		}
	}
	// Few vehicles are not looked for among all that is open.
	for query, plan := range plan(t, w.DB, func(ctx context.Context) error {
		_, err1 := w.Visits(ctx, all, store.VisitQuery{Vehicles: w.vehicles[:2], State: store.VisitOpen})
		_, _, err2 := w.VisitPage(ctx, all, store.VisitQuery{Vehicle: w.vehicles[0], State: store.VisitOpen}, "", 0)
		return errors.Join(err1, err2)
	}) {
		if w.Dialect() == store.SQLite && (!strings.Contains(plan, "proposal_visits_vehicle") || strings.Contains(plan, "proposal_visits_days")) {
			t.Errorf("visits of vehicles: got %s\n%s", query, plan)
		}
	}
}

func (w *planWorld) askBookings(q store.BookingQuery) func(ctx context.Context, after string) (string, error) {
	return func(ctx context.Context, after string) (string, error) {
		_, next, err := w.BookingPage(ctx, all, q, after, 0)
		return next, err
	}
}

func (w *planWorld) askVisits(q store.VisitQuery) func(ctx context.Context, after string) (string, error) {
	return func(ctx context.Context, after string) (string, error) {
		_, next, err := w.VisitPage(ctx, all, q, after, 0)
		return next, err
	}
}

// A list that comes in pages is handed on row by row, until a row or a page fails.
func TestEachOfPages(t *testing.T) {
	pages := map[string][]int{"": {1, 2}, "2": {3, 4}, "4": {5}}
	for _, c := range []struct {
		name    string
		without string // this page
		stop    int    // at this row
		want    []int
		err     string
	}{
		{"all", "none", 0, []int{1, 2, 3, 4, 5}, ""},
		{"a row fails", "none", 4, []int{1, 2, 3}, "no row"},
		{"a page fails", "4", 0, []int{1, 2, 3, 4}, "no page"},
	} {
		var got []int
		err := store.EachOfPages(func(after string) ([]int, string, error) {
			if after == c.without {
				return nil, "", errors.New("no page")
			}
			rows := pages[after]
			if len(rows) < 2 {
				return rows, "", nil
			}
			return rows, fmt.Sprint(rows[1]), nil
		}, func(x *int) error {
			if *x == c.stop {
				return errors.New("no row")
			}
			got = append(got, *x)
			return nil
		})
		if said := fmt.Sprint(err); !slices.Equal(got, c.want) || c.err == "" != (err == nil) || c.err != "" && said != c.err {
			t.Errorf("%s: got %d, %v, want %d, %q", c.name, got, err, c.want, c.err)
		}
	}
}
