package dashboard

import (
	"math"
	"strconv"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"brakewear/internal/auth"
	"brakewear/internal/fleet"
	"brakewear/internal/store"
	"brakewear/internal/units"
)

var today = fleet.NewDate(2026, time.March, 2)

// in returns the day so many days from today.
func in(days int) *fleet.Date {
	d := today + fleet.Date(days)
	return &d
}

func TestAxis(t *testing.T) {
	a := newAxis(today, 182)
	if got := a.at(float64(today) + 91); got != 50 {
		t.Errorf("half way: got %g %%, want 50", got)
	}
	// 1 April is 30 days on: 30/182 = 16.48 %. By hand.
	if got := a.Months[0]; got != (Tick{"16.48%", "Apr"}) {
		t.Errorf("first month: got %+v", got)
	}
	if got := len(a.Months); got != 5 { // April to August
		t.Errorf("got %d months, want 5", got)
	}
	if got := len(a.Weeks); got != 25 {
		t.Errorf("got %d weeks, want 25", got)
	}
	labels := 0
	for _, m := range newAxis(today, 364).Months {
		if m.Label != "" {
			labels++
		}
	}
	if labels < 4 || labels > 100/labelRoom {
		t.Errorf("a year: got %d months named, want 4 to %d, or they run into each other", labels, 100/labelRoom)
	}
}

func TestLane(t *testing.T) {
	a := newAxis(today, 100) // a day is a percent
	row := func(p10, p50, p90, bookBy *fleet.Date) store.DueRow {
		return store.DueRow{ThicknessMM: 5, NewMM: 20, LimitMM: 3, P10: p10, P50: p50, P90: p90, BookBy: bookBy}
	}
	for _, c := range []struct {
		name string
		row  store.DueRow
		want Lane // Path and Say apart
	}{
		{"in the middle", row(in(20), in(40), in(70), in(10)), Lane{Lens: true, X: "20%", W: "50%", Median: "40%", Notch: "10%", Level: 3}},
		{"begun already", row(in(-10), in(5), in(20), in(-15)), Lane{Lens: true, X: "-10%", W: "30%", Median: "5%", Notch: "0%", Late: true, Level: 3}},
		{"over the end", row(in(80), in(120), in(200), in(70)), Lane{Lens: true, X: "80%", W: "120%", Notch: "70%", Level: 3}},
		{"beyond", row(in(120), in(150), in(200), in(110)), Lane{Off: "from Jun 2026", Level: 3}},
		{"passed", row(in(-50), in(-30), in(-10), in(-60)), Lane{Off: "passed by now, most likely", Notch: "0%", Late: true, Level: 3}},
		{"nothing known", row(nil, nil, nil, nil), Lane{Level: 3}},
		{"no end", row(in(40), in(60), nil, in(30)), Lane{Lens: true, X: "40%", W: "60%", Median: "60%", Notch: "30%", Level: 3}},
		{"no middle", row(in(40), nil, nil, nil), Lane{Lens: true, X: "40%", W: "360%", Level: 3}},
		{"certain", row(in(40), in(40), in(40), nil), Lane{Lens: true, X: "40%", W: "0.6%", Median: "40%", Level: 3}},
	} {
		got := laneOf(units.Reader{}, a, &c.row)
		if got.Lens != (got.Path != "") {
			t.Errorf("%s: lens %v, path %q", c.name, got.Lens, got.Path)
		}
		if got.Say == "" {
			t.Errorf("%s: says nothing", c.name)
		}
		got.Path, got.Say = "", ""
		if got != c.want {
			t.Errorf("%s:\n got %+v\nwant %+v", c.name, got, c.want)
		}
	}
}

// TestLensStaysInItsBox wants the outline of any lens inside its box of 100 by
// 40, and symmetrical.
func TestLensStaysInItsBox(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		path := lens(rapid.Float64Range(-10, 110).Draw(t, "m"))
		fields := strings.FieldsFunc(path, func(r rune) bool { return strings.ContainsRune("MCZ ", r) })
		for i, f := range fields {
			v, err := strconv.ParseFloat(f, 64)
			if err != nil {
				t.Fatalf("%q: %v", path, err)
			}
			if top := []float64{100, 40}[i%2]; v < 0 || v > top {
				t.Errorf("%q leaves its box", path)
			}
		}
	})
}

func TestWearLevel(t *testing.T) {
	for _, c := range []struct {
		now, fresh, limit float64
		want              int
		left              float64
	}{ // by hand
		{20, 20, 3, 1, 1},
		{25, 20, 3, 1, 1}, // thicker than new
		{11.5, 20, 3, 1, .5},
		{11.4, 20, 3, 2, 8.4 / 17},
		{7, 20, 3, 3, 4. / 17},
		{3.1, 20, 3, 4, .1 / 17},
		{3, 20, 3, 5, 0},
		{2, 20, 3, 5, 0},
		{300.5, 300, 302, 1, .75}, // a drum grows
		{303, 300, 302, 5, 0},
		{math.NaN(), 20, 3, 1, math.NaN()},
		{5, 3, 3, 1, math.NaN()}, // no room between new and limit
	} {
		if got := wearLevel(c.now, c.fresh, c.limit); got != c.want {
			t.Errorf("wearLevel(%g, %g, %g): got %d, want %d", c.now, c.fresh, c.limit, got, c.want)
		}
		got := leftOf(c.now, c.fresh, c.limit)
		if math.Abs(got-c.left) > 1e-9 || math.IsNaN(got) != math.IsNaN(c.left) {
			t.Errorf("leftOf(%g, %g, %g): got %g, want %g", c.now, c.fresh, c.limit, got, c.left)
		}
	}
}

func TestWords(t *testing.T) {
	for _, c := range []struct{ got, want string }{
		{units.Reader{}.Km(1234567.4), "1,234,567"},
		{units.Reader{}.Km(-1200), "−1,200"},
		{units.Reader{}.Km(999), "999"},
		{units.Reader{}.Km(math.NaN()), "–"},
		{units.Reader{}.KmAbout(25237), "25,000"},
		{units.Reader{}.KmAbout(943), "940"},
		{units.Reader{}.KmAbout(4), "0"},
		{units.Reader{}.MM("pad", 4.06), "4.1"},
		{units.Reader{}.Spec("pad", 3), "3.0"},
		{units.Reader{}.Spec("pad", 302.15), "302.15"},
		{plural(1, "axle", "axles"), "1 axle"},
		{plural(1200, "axle", "axles"), "1,200 axles"},
		{span(9), "9 days"},
		{span(35), "5 weeks"},
		{span(200), "7 months"},
		{spanBeside(122, 112), "17 weeks"},
		{span(1096), "3 years"},
		{span(1300), "3.6 years"},
		{span(math.Inf(1)), "an unknown time"},
		{percent(.05), "5\u00a0%"},
		{percent(.025), "2.5\u00a0%"},
		{units.Reader{}.DayNear(*in(30), today), "1 Apr"},
		{units.Reader{}.DayNear(*in(400), today), "6 Apr 2027"},
		{units.Reader{}.DayNear(*in(-30), today), "31 Jan"},
		{units.Reader{}.DayNear(*in(-100), today), "22 Nov 2025"},
	} {
		if c.got != c.want {
			t.Errorf("got %q, want %q", c.got, c.want)
		}
	}
}

// A vehicle's page draws its axles from their forecasts as the due-soon list draws
// them from its rows.
func TestAxleLane(t *testing.T) {
	w := island(t)
	all := auth.AllFleets()
	page, err := w.svc.DB.DueSoon(t.Context(), all, store.DueQuery{})
	if err != nil {
		t.Fatal(err)
	}
	if len(page.Rows) < 20 {
		t.Fatalf("got %d rows", len(page.Rows))
	}
	axis := yearFrom(w.svc.Today())
	compared := 0
	for i := range page.Rows {
		r := &page.Rows[i]
		_, fs, _, err := w.svc.VehicleForecast(t.Context(), all, r.VehicleID, r.AsOf)
		if err != nil {
			t.Fatal(err)
		}
		for j := range fs {
			if fs[j].Axle != r.Axle {
				continue
			}
			compared++
			if got, want := axleLane(units.Reader{}, axis, &fs[j]), laneOf(units.Reader{}, axis, r); got != want {
				t.Errorf("%s axle %d: got %+v, want %+v", r.Vehicle, r.Axle, got, want)
			}
		}
	}
	if compared != len(page.Rows) {
		t.Errorf("compared %d of %d axles", compared, len(page.Rows))
	}
}
