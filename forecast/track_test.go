package forecast

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// monthly returns invented readings 30 days apart.
func monthly(first Day, km ...float64) []Odometer {
	rs := make([]Odometer, len(km))
	for i, x := range km {
		rs[i] = Odometer{first + Day(30*i), x}
	}
	return rs
}

// All histories are invented.
func TestCleanOdometer(t *testing.T) {
	tests := []struct {
		name    string
		rs      []Odometer
		n       int
		dropped []string // a word of each reason
		swaps   int
		last    float64
	}{
		{"steady", monthly(100, 1000, 3000, 5000), 3, nil, 0, 5000},
		{"none", nil, 0, nil, 0, 0},
		{"one", monthly(100, 7000), 1, nil, 0, 7000},
		{"standing", monthly(100, 7000, 7000, 7000), 3, nil, 0, 7000},
		{"twice the same", append(monthly(100, 1000, 3000), Odometer{130, 3000}), 2, nil, 0, 3000},
		{"two on one day", append(monthly(100, 1000, 3000), Odometer{130, 3080}), 3, nil, 0, 3080},
		{"extra digit", monthly(100, 1000, 3000, 50000, 7000, 9000), 4, []string{"above"}, 0, 9000},
		{"lost digit", monthly(100, 11000, 13000, 1500, 17000, 19000), 4, []string{"below"}, 0, 19000},
		{"last one mistyped", monthly(100, 11000, 13000, 15000, 71000), 3, []string{"further"}, 0, 15000},
		{"first one mistyped", monthly(100, 91000, 13000, 15000, 17000), 3, []string{"above"}, 0, 17000},
		// 3217 km a day is no vehicle's rate, though it is half of those there are.
		{"an extra digit in the last of three", []Odometer{{100, 90000}, {336, 101734}, {661, 1147090}}, 2, []string{"further"}, 0, 101734},
		{"not numbers", monthly(100, math.NaN(), 1000, -5, math.Inf(1), 9000), 2, []string{"not an", "not an", "not an"}, 0, 9000},
		{"new cluster", monthly(100, 90000, 92000, 94000, 500, 2500, 4500), 6, nil, 1, 100000},
		{"new cluster, read once", monthly(100, 90000, 92000, 94000, 500), 4, nil, 1, 96000},
		{"near nothing, once", monthly(100, 90000, 92000, 500, 96000, 98000), 4, []string{"below"}, 0, 98000},
		{"nought for not read", monthly(100, 90000, 92000, 94000, 0), 3, []string{"below"}, 0, 94000},
		{"run back", monthly(100, 90000, 92000, 94000, 61000, 63000, 65000, 67000), 7, nil, 1, 102000},
		{"a spell in miles", monthly(100, 90000, 92000, 94000, 59652, 60894, 62137, 63380, 104000, 106000), 9,
			[]string{"miles", "miles", "miles", "miles"}, 0, 106000},
		{"one in miles", monthly(100, 90000, 92000, 58409, 96000), 3, []string{"below"}, 0, 96000},
		{"one long trip", []Odometer{{100, 1000}, {107, 1300}, {114, 1600}, {116, 4000}, {123, 4300}, {130, 4600}}, 6, nil, 0, 4600},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got := CleanOdometer(tt.rs)
			if got.N != tt.n || len(got.Swaps) != tt.swaps || math.Abs(got.Last.Km-tt.last) > 1 {
				t.Errorf("N, swaps, last = %d, %d, %.1f; want %d, %d, %.1f", got.N, len(got.Swaps), got.Last.Km, tt.n, tt.swaps, tt.last)
			}
			if len(got.Dropped) != len(tt.dropped) {
				t.Fatalf("dropped %v, want %d", got.Dropped, len(tt.dropped))
			}
			for i, word := range tt.dropped {
				if !strings.Contains(got.Dropped[i].Why, word) {
					t.Errorf("reason %q, want %q in it", got.Dropped[i].Why, word)
				}
			}
		})
	}
}

// TestDeclaredSwaps: invented vehicles whose clusters were changed, and that it
// was written down.
func TestDeclaredSwaps(t *testing.T) {
	with := func(rs []Odometer, more ...Odometer) []Odometer { return append(rs, more...) }
	for _, tt := range []struct {
		name    string
		rs      []Odometer
		swaps   []DeclaredSwap
		dropped int
		shown   [2]float64 // on the last day: total, and on the dashboard
		total   [2]float64 // on day 130
	}{
		{"one reading after", with(monthly(100, 90000, 92000, 94000), Odometer{190, 1500}),
			[]DeclaredSwap{{175, 95000, 0}}, 0, [2]float64{96500, 1500}, [2]float64{130, 92000}},
		{"none after", monthly(100, 90000, 92000, 94000),
			[]DeclaredSwap{{175, 95000, 0}}, 0, [2]float64{95000, 0}, [2]float64{130, 92000}},
		{"to another used one, higher", with(monthly(100, 90000, 92000, 94000), Odometer{190, 251500}, Odometer{220, 253500}),
			[]DeclaredSwap{{175, 95000, 250000}}, 0, [2]float64{98500, 253500}, [2]float64{130, 92000}},
		{"set to the old value", with(monthly(100, 90000, 92000, 94000), Odometer{190, 96500}),
			[]DeclaredSwap{{175, 95000, 95000}}, 0, [2]float64{96500, 96500}, [2]float64{130, 92000}},
		{"read on the day of the swap, before and after", []Odometer{{100, 90000}, {175, 94990}, {175, 3}, {190, 1500}},
			[]DeclaredSwap{{175, 95000, 0}}, 0, [2]float64{96500, 1500}, [2]float64{130, 92000}},
		{"two swaps", []Odometer{{100, 90000}, {160, 94000}, {190, 1500}, {220, 300}},
			[]DeclaredSwap{{205, 2500, 0}, {175, 95000, 0}}, 0, [2]float64{97800, 300}, [2]float64{130, 92000}},
		{"a mistyped reading after it", with(monthly(100, 90000, 92000, 94000), Odometer{190, 1500}, Odometer{205, 91500}, Odometer{220, 3500}),
			[]DeclaredSwap{{175, 95000, 0}}, 1, [2]float64{98500, 3500}, [2]float64{130, 92000}},
		{"values that cannot be meant", monthly(100, 90000, 92000, 94000),
			[]DeclaredSwap{{145, math.NaN(), 0}, {146, 93000, -1}}, 0, [2]float64{94000, 94000}, [2]float64{130, 92000}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			got := CleanOdometer(tt.rs, tt.swaps...)
			if len(got.Dropped) != tt.dropped {
				t.Errorf("dropped %v, want %d", got.Dropped, tt.dropped)
			}
			if math.Abs(got.Last.Km-tt.shown[0]) > 20 || math.Abs(got.Display(got.Last.Km)-tt.shown[1]) > 20 {
				t.Errorf("ends at %.0f km, shown as %.0f; want %.0f and %.0f", got.Last.Km, got.Display(got.Last.Km), tt.shown[0], tt.shown[1])
			}
			if km := got.Km(Day(tt.total[0])); math.Abs(km-tt.total[1]) > 200 {
				t.Errorf("%.0f km on day %.0f, want %.0f", km, tt.total[0], tt.total[1])
			}
			for _, s := range got.Swaps {
				if !s.Declared {
					t.Errorf("another swap was inferred: %+v", s)
				}
			}
		})
	}
}

// TestDeclaredSwapAnywhere wants any swap, declared as it was, to leave the
// total of an invented vehicle that drives 50 km a day as it is.
func TestDeclaredSwapAnywhere(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		at := Day(rapid.IntRange(1, 599).Draw(rt, "day"))
		to := float64(rapid.IntRange(0, 400_000).Draw(rt, "to"))
		total := func(d Day) float64 { return 80_000 + 50*float64(d) }
		var rs []Odometer
		for d := Day(0); d <= 600; d += Day(rapid.IntRange(1, 60).Draw(rt, "gap")) {
			km := total(d)
			if d > at {
				km += to - total(at)
			}
			rs = append(rs, Odometer{d, km})
		}
		track := CleanOdometer(rs, DeclaredSwap{at, total(at), to})
		if len(track.Dropped) > 0 || len(track.Swaps) != 1 {
			rt.Fatalf("dropped %v, swaps %v", track.Dropped, track.Swaps)
		}
		for d := Day(0); d <= 600; d += 20 {
			if d > rs[len(rs)-1].Day {
				break
			}
			if got := track.Km(d); math.Abs(got-total(d)) > 1e-6 {
				rt.Fatalf("%.1f km on day %d, want %.1f", got, d, total(d))
			}
		}
		for _, r := range rs {
			if got := track.Reading(r.Km, r.Day); math.Abs(got-total(r.Day)) > 1e-6 {
				rt.Fatalf("%g km shown on day %d is a total of %.1f, want %.1f", r.Km, r.Day, got, total(r.Day))
			}
		}
	})
}

func TestTrackKmAndDay(t *testing.T) {
	// Invented: 1,000 to 5,000 km in days 100 to 180, at 20 then 66.7 km/day.
	tr := CleanOdometer([]Odometer{{100, 1000}, {150, 2000}, {180, 4000}})
	for _, tt := range []struct {
		day  Day
		want float64
	}{
		{100, 1000}, {125, 1500}, {150, 2000}, {165, 3000}, {180, 4000},
		{80, 250},   // back at the mean 37.5 km/day
		{-900, 0},   // never below zero
		{200, 4750}, // on at the recent rate, here the mean
	} {
		if got := tr.Km(tt.day); math.Abs(got-tt.want) > 1e-9 {
			t.Errorf("Km(%d) = %g, want %g", tt.day, got, tt.want)
		}
		if tt.day >= 80 && tt.day <= 180 {
			if got := tr.Day(tt.want); math.Abs(got-float64(tt.day)) > 1e-9 {
				t.Errorf("Day(%g) = %g, want %d", tt.want, got, tt.day)
			}
		}
	}
	if got := tr.Day(4001); !math.IsNaN(got) {
		t.Errorf("Day of a distance not reached = %g, want NaN", got)
	}
	var none Track
	if got := none.Km(5); !math.IsNaN(got) {
		t.Errorf("Km of nothing = %g, want NaN", got)
	}
	if got := none.Day(5); !math.IsNaN(got) {
		t.Errorf("Day of nothing = %g, want NaN", got)
	}
	if got := none.Display(7) + none.Reading(7, 3); got != 14 {
		t.Errorf("nothing known must map to itself, got %g", got)
	}
}

// On the day of a swap a value may be of either cluster, however near the two
// are.
func TestTrackOnTheDayOfASwap(t *testing.T) {
	// Invented: 50 km a day; on day 10 a cluster at 80,500 km gives way to one at 79,000.
	tr := CleanOdometer([]Odometer{{0, 80000}, {10, 80500}, {34, 80200}, {35, 80250}}, DeclaredSwap{10, 80500, 79000})
	for _, tt := range []struct{ km, want float64 }{{80500, 80500}, {79000, 80500}} {
		if got := tr.Reading(tt.km, 10); got != tt.want {
			t.Errorf("Reading(%g, 10) = %g, want %g", tt.km, got, tt.want)
		}
	}
}

func TestTrackScales(t *testing.T) {
	// Invented: the cluster was changed between days 160 and 190.
	rs := monthly(100, 90000, 92000, 94000, 500, 2500, 4500)
	rs = append(rs, Odometer{235, 99999}) // mistyped
	tr := CleanOdometer(rs)
	for _, tt := range []struct {
		name string
		km   float64
		day  Day
		want float64
	}{
		{"before the swap", 93000, 145, 93000},
		{"after it", 3500, 235, 99000},
		{"in the gap, old cluster", 95000, 175, 95000},
		{"in the gap, new cluster", 100, 186, 95600},
		{"the mistyped one", 99999, 235, tr.Km(235)},
		{"later than all", 6500, 280, 102000},
		{"not given", math.NaN(), 130, 92000},
	} {
		if got := tr.Reading(tt.km, tt.day); math.Abs(got-tt.want) > 1 {
			t.Errorf("%s: Reading(%g, %d) = %g, want %g", tt.name, tt.km, tt.day, got, tt.want)
		}
	}
	if got := tr.Display(tr.Last.Km + 1000); math.Abs(got-5500) > 1e-6 {
		t.Errorf("Display = %g, want 5500", got)
	}
}

// A value that the track does not allow is not made to fit by taking it for miles
// where nobody was seen to write miles.
func TestTrackReadingNotInMiles(t *testing.T) {
	// Invented: the cluster was changed, and the new one read once. 90,000 miles would
	// be 144,841 km, which the vehicle may have driven at its best.
	tr := CleanOdometer(append(monthly(100, 100000, 102000, 104000), Odometer{360, 90000}))
	if got, want := tr.Reading(90000, 360), tr.Km(360); got != want {
		t.Errorf("Reading = %g, want the track's own %g", got, want)
	}
}

func TestTrackWithOneReading(t *testing.T) {
	tr := CleanOdometer([]Odometer{{100, 7000}})
	if got, want := tr.Km(110), 7000+10*assumedKmPerDay; got != want {
		t.Errorf("Km = %g, want %g", got, want)
	}
	if got := tr.WithRate(100).Km(90); got != 6000 {
		t.Errorf("Km at 100 km/day = %g, want 6000", got)
	}
}

// anyOdometer draws readings of which many cannot be meant.
func anyOdometer(t *rapid.T) []Odometer {
	return rapid.SliceOfN(rapid.Custom(func(t *rapid.T) Odometer {
		return Odometer{
			Day(rapid.Int32Range(-1000, 30000).Draw(t, "day")),
			rapid.OneOf(rapid.Float64Range(-10, 1e6), rapid.Just(math.NaN()), rapid.Just(math.Inf(-1)), rapid.Float64()).Draw(t, "km"),
		}
	}), 0, 40).Draw(t, "readings")
}

func TestTrackProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rs := anyOdometer(t)
		seed := rapid.Uint64().Draw(t, "seed")
		tr := CleanOdometer(rs)
		mixed := slices.Clone(rs)
		rand.New(rand.NewPCG(seed, 0)).Shuffle(len(mixed), func(i, j int) { mixed[i], mixed[j] = mixed[j], mixed[i] })
		again := CleanOdometer(mixed)
		if tr.N != again.N || tr.Last != again.Last {
			t.Fatalf("order matters: %v, %v", tr.Last, again.Last)
		}
		if !tr.Known() {
			return
		}
		before := math.Inf(-1)
		for d := Day(-2000); d < 32000; d += 97 {
			km := tr.Km(d)
			if math.IsNaN(km) || math.IsInf(km, 0) || km < before {
				t.Fatalf("Km(%d) = %g after %g", d, km, before)
			}
			before = km
			if km > tr.km[0] && km < tr.Last.Km {
				if back := tr.kmAt(tr.Day(km)); math.Abs(back-km) > 1e-6*km+1e-6 {
					t.Fatalf("Km(Day(%g)) = %g", km, back)
				}
			}
		}
	})
}

func BenchmarkCleanOdometer(b *testing.B) {
	rng := rand.New(rand.NewPCG(3, 4))
	v := inventOdometer(rng)
	many := make([]Odometer, 10000)
	for i := range many {
		many[i] = Odometer{Day(10000 + i), float64(100 * i)}
	}
	b.Run("60", func(b *testing.B) {
		for b.Loop() {
			CleanOdometer(v.shown)
		}
	})
	b.Run("10000", func(b *testing.B) {
		for b.Loop() {
			CleanOdometer(many)
		}
	})
}

// TestTrackReach: 2000 km in 30 days, so the greatest rate is 3.5 times that, 233 km
// a day (our own constants, no source).
func TestTrackReach(t *testing.T) {
	tr := CleanOdometer(monthly(100, 1000, 3000, 5000))
	for d, want := range map[Day]float64{160: 5300, 161: 5300 + 3.5*2000/30, 90: 5300} {
		if got := tr.Reach(d); math.Abs(got-want) > .5 {
			t.Errorf("day %d: got %.0f km, want %.0f", d, got, want)
		}
	}
}
