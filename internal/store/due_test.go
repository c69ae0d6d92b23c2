package store_test

import (
	"cmp"
	"encoding/base64"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	gocmp "github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"brakewear/forecast"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/store/storetest"
)

func isNotFound(err error) bool { return errors.Is(err, fleet.ErrNotFound) }
func isInvalid(err error) bool  { return errors.Is(err, fleet.ErrInvalid) }

func TestDueRow(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		v := mustVehicles(t, db, entry("Bus 1", func(e *store.VehicleEntry) { e.Plate = "QX 1" }))[0]
		f := due(v, 2, ptr(day(5, 1)), float64(asOf)+100.9)
		f.Readings = 12
		f.PastLimit = true
		f.Warnings = []forecast.Warning{{Code: forecast.Remeasure, Text: "measure again"}}
		f.Basis.Width80Days, f.Basis.Width80IfMeasured = 80, 30
		f.Positions[0].RatePer10000 = 1.5
		drum := due(v, 3, nil, float64(asOf)+19*365+300)
		drum.Positions[0].Pos = forecast.Position{Part: forecast.Drum, Side: "right"}
		drum.Positions[0].Spec = forecast.Spec{New: 410, Limit: 414}
		unknown := store.AxleForecast{VehicleID: v}
		unknown.Axle, unknown.Limiting, unknown.AsOf = 4, -1, forecast.Day(asOf)
		mustForecasts(t, db, f, drum, unknown)
		page, err := db.DueSoon(t.Context(), all, store.DueQuery{Sort: store.ByVehicle})
		if err != nil {
			t.Fatal(err)
		}
		vehicle := store.DueRow{VehicleID: v, Vehicle: "Bus 1", Plate: "QX 1", Fleet: "North", Depot: "Quay", AsOf: asOf}
		want := []store.DueRow{vehicle, vehicle, vehicle}
		w := &want[0]
		w.Axle, w.Position = 2, pad(2, fleet.Left, fleet.Inner)
		w.ThicknessMM, w.NewMM, w.LimitMM, w.KmLeft, w.RatePer10000 = 8, 20, 3, 55000-42000, 1.5
		// Quantiles of the even spread, cut to whole days.
		w.P05, w.P10, w.P50, w.P90, w.P95 = ptr(asOf+105), ptr(asOf+110), ptr(asOf+150), ptr(asOf+190), ptr(asOf+195)
		w.BookBy, w.PastLimit, w.Readings = ptr(day(5, 1)), true, 12
		w.Width80Days, w.Width80IfMeasured = 80, 30
		w.Warnings = f.Warnings
		w = &want[1]
		w.Axle, w.Position = 3, fleet.Position{Axle: 3, Part: fleet.Drum, Side: fleet.Right}
		w.ThicknessMM, w.NewMM, w.LimitMM, w.KmLeft = 8, 410, 414, 13000
		// 20 years on no date is given: 7,305 days.
		w.P05, w.P10, w.P50 = ptr(asOf+7240), ptr(asOf+7245), ptr(asOf+7285)
		w = &want[2]
		w.Axle = 4
		nan := math.NaN()
		w.ThicknessMM, w.NewMM, w.LimitMM, w.KmLeft, w.RatePer10000 = nan, nan, nan, nan, nan
		if d := gocmp.Diff(want, page.Rows, cmpopts.EquateNaNs(), cmpopts.EquateApprox(0, 1e-6)); d != "" {
			t.Error(d)
		}
	})
}

// sampleDue stores axles with many ties and many unknown values.
func sampleDue(t *testing.T, db *store.DB) {
	t.Helper()
	rng := rand.New(rand.NewPCG(1, 2)) // a seed like any other
	var entries []store.VehicleEntry
	for i := range 40 {
		entries = append(entries, entry(fmt.Sprint("Bus ", i), of([]string{"North", "South"}[i%2], []string{"Quay", "Hill", "Bay"}[i%3])))
	}
	ids := mustVehicles(t, db, entries...)
	var fs []store.AxleForecast
	for _, id := range ids {
		for axle := 1; axle <= 3; axle++ {
			first := float64(asOf) + 50*float64(rng.IntN(4))
			f := due(id, axle, ptr(asOf+fleet.Date(10*rng.IntN(4)-10)), first)
			f.PastLimit = rng.IntN(5) == 0
			f.Positions[0].ThicknessMM = float64(3 + rng.IntN(4))
			f.OdometerKm = float64(40000 + 1000*rng.IntN(4))
			f.Basis.Width80Days, f.Basis.Width80IfMeasured = 80, float64(20*rng.IntN(4))
			switch rng.IntN(4) {
			case 0: // nothing to order by
				f.BookBy = nil
				f.Crossing = forecast.Crossing{}
				f.Limiting = -1
				f.Basis.Width80IfMeasured = math.NaN()
			case 1: // beyond the horizon
				f.BookBy = nil
				f.Crossing.Km = forecast.DistOf(func(float64) float64 { return math.Inf(1) })
				f.Crossing.Day = f.Crossing.Km
			}
			fs = append(fs, f)
		}
	}
	mustForecasts(t, db, fs...)
}

// sortValue is what each order goes by, worked out from the row; what is not
// known is +Inf.
func sortValue(s store.DueSort, r store.DueRow) any {
	date := func(d *fleet.Date) float64 {
		if d == nil {
			return math.Inf(1)
		}
		return float64(*d)
	}
	known := func(x float64) float64 {
		if math.IsNaN(x) {
			return math.Inf(1)
		}
		return x
	}
	switch s {
	case store.ByBookBy:
		if r.PastLimit {
			return min(date(r.BookBy), float64(r.AsOf))
		}
		return date(r.BookBy)
	case store.ByLimitDate:
		return date(r.P50)
	case store.ByKmLeft:
		return known(r.KmLeft)
	case store.ByThicknessLeft:
		return known(r.ThicknessMM - r.LimitMM)
	case store.ByNarrowing:
		return known(r.Width80IfMeasured - r.Width80Days)
	}
	var n int
	fmt.Sscanf(r.Vehicle, "Bus %d", &n)
	return float64(n)
}

type dueKey struct {
	vehicle int64
	axle    int
}

// What is booked and what is not are parted in every order, and counted as they
// are listed.
func TestDueBooked(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		sampleDue(t, db)
		depots, err := db.Depots(t.Context(), all)
		if err != nil {
			t.Fatal(err)
		}
		shop := fleet.DefaultWorkshop()
		shop.DepotID = depots[0].ID
		if err := db.SaveWorkshop(t.Context(), all, "N. N.", shop); err != nil {
			t.Fatal(err)
		}
		page, err := db.Vehicles(t.Context(), all, store.VehicleQuery{Depot: depots[0].ID})
		if err != nil {
			t.Fatal(err)
		}
		id := page.Rows[0].ID
		mustBook(t, db, job(id, depots[0].ID, monday))
		fleetID := page.Rows[0].FleetID
		for _, s := range store.DueSorts {
			for i, q := range []store.DueQuery{{}, {Fleet: fleetID}, {Text: "bus 1"}, {Before: ptr(asOf + 5)}} {
				q.Sort, q.Limit = s, store.MaxLimit
				listed := map[string]int{}
				for name, booked := range map[string]*bool{"all": nil, "booked": ptr(true), "not booked": ptr(false)} {
					q.Booked = booked
					got, err := db.DueSoon(t.Context(), all, q)
					if err != nil {
						t.Fatal(err)
					}
					if got.Total != len(got.Rows) {
						t.Errorf("%s, %s, %+v: counted %d, listed %d", s, name, q, got.Total, len(got.Rows))
					}
					for _, r := range got.Rows {
						if name == "booked" && (r.VehicleID != id || r.Axle != 1) {
							t.Errorf("%s: %s axle %d is not booked", s, r.Vehicle, r.Axle)
						}
					}
					listed[name] = len(got.Rows)
				}
				if listed["all"] != listed["booked"]+listed["not booked"] {
					t.Errorf("%s, %+v: got %v", s, q, listed)
				}
				if i == 0 && listed["booked"] != 1 {
					t.Errorf("%s: got %d booked axles, want 1", s, listed["booked"])
				}
			}
		}
	})
}

// Every order lists every row once, in the order it says with ties by vehicle
// and axle, whatever the length of the pages.
func TestDuePaging(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		sampleDue(t, db)
		for _, s := range append([]store.DueSort{""}, store.DueSorts...) {
			var want []store.DueRow
			err := db.EachDue(t.Context(), all, store.DueQuery{Sort: s}, func(r store.DueRow) error {
				want = append(want, r)
				return nil
			})
			if err != nil {
				t.Fatal(err)
			}
			if len(want) != 120 {
				t.Fatalf("%s: EachDue gave %d rows, want 120", s, len(want))
			}
			slices.SortFunc(want, func(a, b store.DueRow) int {
				sort := cmp.Or(s, store.ByBookBy)
				return cmp.Or(
					cmp.Compare(sortValue(sort, a).(float64), sortValue(sort, b).(float64)),
					cmp.Compare(a.VehicleID, b.VehicleID),
					cmp.Compare(a.Axle, b.Axle))
			})
			for _, limit := range []int{1, 7, 120} {
				if limit == 1 && testing.Short() {
					continue
				}
				var got []dueKey
				q := store.DueQuery{Sort: s, Limit: limit}
				for {
					page, err := db.DueSoon(t.Context(), all, q)
					if err != nil {
						t.Fatal(err)
					}
					if page.Total != 120 || len(page.Rows) > limit {
						t.Fatalf("%s by %d: a page of %d rows says there are %d", s, limit, len(page.Rows), page.Total)
					}
					for _, r := range page.Rows {
						got = append(got, dueKey{r.VehicleID, r.Axle})
					}
					if page.Next == "" {
						break
					}
					q.After = page.Next
				}
				var keys []dueKey
				for _, r := range want {
					keys = append(keys, dueKey{r.VehicleID, r.Axle})
				}
				if d := gocmp.Diff(keys, got, gocmp.AllowUnexported(dueKey{})); d != "" {
					t.Errorf("%s by %d: %s", s, limit, d)
				}
			}
		}
	})
}

func TestDueFilters(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		sampleDue(t, db)
		var rows []store.DueRow
		err := db.EachDue(t.Context(), all, store.DueQuery{}, func(r store.DueRow) error {
			rows = append(rows, r)
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
		fleets, err := db.Fleets(t.Context(), all)
		if err != nil {
			t.Fatal(err)
		}
		depots, err := db.Depots(t.Context(), all)
		if err != nil {
			t.Fatal(err)
		}
		names := map[int64]string{}
		for _, f := range fleets {
			names[f.ID] = f.Name
		}
		for _, c := range []struct {
			name string
			q    store.DueQuery
			keep func(r store.DueRow) bool
		}{
			{"fleet", store.DueQuery{Fleet: fleets[1].ID}, func(r store.DueRow) bool { return r.Fleet == fleets[1].Name }},
			{"depot", store.DueQuery{Depot: depots[2].ID}, func(r store.DueRow) bool {
				return r.Depot == depots[2].Name && r.Fleet == names[depots[2].FleetID]
			}},
			{"text", store.DueQuery{Text: " bUS 1"}, func(r store.DueRow) bool { return strings.HasPrefix(r.Vehicle, "Bus 1") }},
			{"text that matches nothing", store.DueQuery{Text: "%"}, func(store.DueRow) bool { return false }},
			{"before", store.DueQuery{Before: ptr(asOf)}, func(r store.DueRow) bool {
				return r.PastLimit || r.BookBy != nil && *r.BookBy <= asOf
			}},
			{"all at once", store.DueQuery{Fleet: fleets[0].ID, Text: "2", Before: ptr(asOf + 10), Sort: store.ByKmLeft}, func(r store.DueRow) bool {
				return r.Fleet == fleets[0].Name && strings.Contains(r.Vehicle, "2") && (r.PastLimit || r.BookBy != nil && *r.BookBy <= asOf+10)
			}},
			{"fleet that is not there", store.DueQuery{Fleet: 99}, func(store.DueRow) bool { return false }},
		} {
			want := map[dueKey]bool{}
			for _, r := range rows {
				if c.keep(r) {
					want[dueKey{r.VehicleID, r.Axle}] = true
				}
			}
			c.q.Limit = store.MaxLimit
			page, err := db.DueSoon(t.Context(), all, c.q)
			if err != nil {
				t.Fatal(err)
			}
			got := map[dueKey]bool{}
			for _, r := range page.Rows {
				got[dueKey{r.VehicleID, r.Axle}] = true
			}
			if d := gocmp.Diff(want, got); d != "" || page.Total != len(want) {
				t.Errorf("%s: total %d: %s", c.name, page.Total, d)
			}
		}
	})
}

// The list filters by the depot a vehicle is in now, not when it was forecast.
func TestDueFollowsTheVehicle(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		v := mustVehicles(t, db, entry("Bus 1", of("North", "Quay")), entry("Bus 2", of("North", "Hill")))[0]
		mustForecasts(t, db, due(v, 1, nil, 0))
		mustVehicles(t, db, entry("Bus 1", of("North", "Hill")))
		depots, err := db.Depots(t.Context(), all)
		if err != nil {
			t.Fatal(err)
		}
		for _, d := range depots {
			page, err := db.DueSoon(t.Context(), all, store.DueQuery{Depot: d.ID})
			if err != nil {
				t.Fatal(err)
			}
			if want := map[string]int{"Quay": 0, "Hill": 1}[d.Name]; page.Total != want {
				t.Errorf("%s: got %d axles, want %d", d.Name, page.Total, want)
			}
		}
	})
}

func TestBadDueQueries(t *testing.T) {
	cursorOf := func(text string) string { return base64.RawURLEncoding.EncodeToString([]byte(text)) }
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		sampleDue(t, db)
		page, err := db.DueSoon(t.Context(), all, store.DueQuery{Sort: store.ByKmLeft, Limit: 1})
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range []struct {
			name string
			q    store.DueQuery
		}{
			{"order there is none", store.DueQuery{Sort: "colour"}},
			{"cursor of another order", store.DueQuery{After: page.Next}},
			{"cursor not ours", store.DueQuery{After: "!"}},
			{"cursor without a place", store.DueQuery{After: cursorOf(`{"Sort":"book_by"}`)}},
			{"cursor with a date that is none", store.DueQuery{After: cursorOf(`{"Sort":"book_by","Value":"soon"}`)}},
			{"cursor with a number that is none", store.DueQuery{Sort: store.ByKmLeft, After: cursorOf(`{"Sort":"km_left","Value":"far"}`)}},
		} {
			if _, err := db.DueSoon(t.Context(), all, c.q); !isInvalid(err) {
				t.Errorf("%s: got %v, want invalid", c.name, err)
			}
		}
		if _, err := db.Vehicles(t.Context(), all, store.VehicleQuery{After: page.Next}); !isInvalid(err) {
			t.Errorf("Vehicles: got %v, want invalid", err)
		}
		// Text that one of the databases would choke on finds nothing.
		for _, text := range []string{"\x00", "\xff", `\`, `'`, "_"} {
			page, err := db.DueSoon(t.Context(), all, store.DueQuery{Text: text})
			if err != nil || page.Total != 0 {
				t.Errorf("text %q: got %d axles, %v; want none", text, page.Total, err)
			}
		}
		stop := errors.New("stop")
		calls := 0
		err = db.EachDue(t.Context(), all, store.DueQuery{}, func(store.DueRow) error { calls++; return stop })
		if err != stop || calls != 1 {
			t.Errorf("EachDue: got %v after %d calls, want %v after 1", err, calls, stop)
		}
	})
}

func TestVehiclesPage(t *testing.T) {
	storetest.Each(t, func(t *testing.T, db *store.DB) {
		numbers := []string{"9", "Bus 2", "bus 10", "BUS 10", "Bus 010", "Zug 1", "Ärmel", "äther"} // numbers as people sort them, letters by bytes
		var entries []store.VehicleEntry
		for _, n := range numbers {
			entries = append(entries, entry(n, func(e *store.VehicleEntry) { e.Plate, e.Make, e.Model = "P-"+n, "Maker_"+n, "50%" }))
		}
		slices.Reverse(entries)
		mustVehicles(t, db, entries...)
		all3 := mustVehicles(t, db, entry("Bus 2"))[0]
		mustForecasts(t, db, due(all3, 1, ptr(day(5, 1)), 0), due(all3, 2, ptr(day(4, 1)), 0), due(all3, 3, nil, 0))
		var got []string
		q := store.VehicleQuery{Limit: 3}
		for {
			page, err := db.Vehicles(t.Context(), all, q)
			if err != nil {
				t.Fatal(err)
			}
			if page.Total != len(numbers) {
				t.Errorf("got a total of %d, want %d", page.Total, len(numbers))
			}
			for _, v := range page.Rows {
				got = append(got, v.Number)
				if v.Number == "Bus 2" && (v.BookBy == nil || *v.BookBy != day(4, 1) || v.PastLimit) {
					t.Errorf("Bus 2: book by %v, past limit %v; want %v, false", v.BookBy, v.PastLimit, day(4, 1))
				}
			}
			if page.Next == "" {
				break
			}
			q.After = page.Next
		}
		// The three of number 10 are alike to a person; their order is the ids'.
		fold := func(s string) string { return strings.ReplaceAll(strings.ToLower(s), " 010", " 10") }
		for i := range got {
			if i >= len(numbers) || fold(got[i]) != fold(numbers[i]) {
				t.Fatalf("got %q, want %q", got, numbers)
			}
		}
		if len(got) != len(numbers) {
			t.Fatalf("got %q, want %q", got, numbers)
		}
		for text, want := range map[string]int{
			"bus 10": 2, "ÄR": 1, "p-bus 2": 1, "maker_z": 1, "maker z": 0, "50%": 8, "%": 8, "5%": 0, "_": 8, `\`: 0, "": 8, "  ": 8,
		} {
			page, err := db.Vehicles(t.Context(), all, store.VehicleQuery{Text: text})
			if err != nil || page.Total != want {
				t.Errorf("text %q: got %d, %v; want %d", text, page.Total, err, want)
			}
		}
		fleets, err := db.Fleets(t.Context(), all)
		if err != nil {
			t.Fatal(err)
		}
		for f, want := range map[int64]int{fleets[0].ID: 8, 99: 0} {
			page, err := db.Vehicles(t.Context(), all, store.VehicleQuery{Fleet: f})
			if err != nil || page.Total != want {
				t.Errorf("fleet %d: got %d, %v; want %d", f, page.Total, err, want)
			}
		}
	})
}

func TestSortKey(t *testing.T) {
	sorted := []string{"", "7", "0010", "11", "Bus 2", "bus 9", "BUS 10", "Bus 10 b", "bus 100", "Bus a", "Bus " + strings.Repeat("9", 60)}
	for i := 1; i < len(sorted)-1; i++ {
		if a, b := store.SortKey(sorted[i-1]), store.SortKey(sorted[i]); a >= b {
			t.Errorf("%q (%q) does not come before %q (%q)", sorted[i-1], a, sorted[i], b)
		}
	}
	if a, b := store.SortKey("Bus 007"), store.SortKey("bus 7"); a != b {
		t.Errorf("got %q and %q, want the same", a, b)
	}
}
