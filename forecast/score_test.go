package forecast

import (
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"gonum.org/v1/gonum/stat/distuv"
)

// calibrated makes up outcomes that the forecasts describe truly: normal laws
// with random means, in km and days. Invented numbers.
func calibrated(rng *rand.Rand, n int, model string) []Outcome {
	out := make([]Outcome, n)
	for i := range out {
		mean, day := 40e3+30e3*rng.Float64(), 20100+300*rng.Float64()
		out[i] = Outcome{
			Model: model, Class: []string{"M1", "N3"}[i%2], Depot: "North", Readings: i % 7, AsOf: 20000,
			Crossing: Crossing{Km: normalDist(mean, 5000), Day: normalDist(day, 60)},
			NowKm:    30e3, HorizonKm: 1e6, Km10: 50e3,
			TrueKm: mean + 5000*rng.NormFloat64(), TrueDay: day + 60*rng.NormFloat64(),
			FirstRight: i%4 != 0,
		}
	}
	return out
}

// Expected values of calibrated normal forecasts, closed forms: mean absolute
// error sd sqrt(2/pi), median .6745 sd, CRPS sd/sqrt(pi), 80 % width 2.563 sd,
// interval score of level 1-a 2 sd phi(z)/(a/2) with z the normal quantile of
// 1-a/2 (Gneiting and Raftery 2007, equation 43, integrated).
func TestScoresOfCalibratedForecasts(t *testing.T) {
	var s Scores
	const n = 20000
	for _, o := range calibrated(rand.New(rand.NewPCG(7, 8)), n, "true") {
		s.Add(o)
	}
	row, ok := s.Row(ScoreGroup{"true", "all", ""})
	if !ok || row.Cases != n || row.Unanswered != 0 {
		t.Fatalf("row %+v", row)
	}
	is := func(level float64) float64 {
		z := distuv.UnitNormal.Quantile((1 + level) / 2)
		return 2 * distuv.UnitNormal.Prob(z) / ((1 - level) / 2)
	}
	for _, q := range []struct {
		name string
		got  Score
		sd   float64
	}{{"km", row.Km, 5000}, {"relative", row.Relative, 10}, {"days", row.Day, 60}} {
		for _, x := range []struct {
			name      string
			got, want float64
			tol       float64 // about four standard errors
		}{
			{"MAE", q.got.MAE / q.sd, math.Sqrt(2 / math.Pi), .02},
			{"median AE", q.got.MedianAE / q.sd, .6745, .02},
			{"bias", q.got.Bias / q.sd, 0, .03},
			{"CRPS", q.got.CRPS / q.sd, 1 / math.Sqrt(math.Pi), .015},
			{"80 % width", q.got.Width80 / q.sd, 2 * 1.28155, .001},
			{"IS50", q.got.IS50 / q.sd, is(.5), .04},
			{"IS80", q.got.IS80 / q.sd, is(.8), .06},
			{"IS95", q.got.IS95 / q.sd, is(.95), .15},
			{"cover 50", q.got.Cover50, .5, .015},
			{"cover 80", q.got.Cover80, .8, .012},
			{"cover 95", q.got.Cover95, .95, .007},
			{"below 5 %", q.got.Below05, .05, .007},
		} {
			if math.Abs(x.got-x.want) > x.tol {
				t.Errorf("%s %s = %.4f, want %.4f", q.name, x.name, x.got, x.want)
			}
		}
		for i, p := range ReliabilityLevels {
			if math.Abs(q.got.Reliability[i]-p) > .015 {
				t.Errorf("%s: share below the %g quantile = %.4f", q.name, p, q.got.Reliability[i])
			}
		}
	}
	if math.Abs(row.FirstRight-.75) > 1e-3 {
		t.Errorf("first position right = %g, want .75", row.FirstRight)
	}
	cases := 0
	for _, bucket := range []string{"0", "1", "2", "3-4", "5+"} {
		r, _ := s.Row(ScoreGroup{"true", "readings", bucket})
		cases += r.Cases
	}
	if cases != n {
		t.Errorf("buckets hold %d cases, want %d", cases, n)
	}
}

func TestScoresMerge(t *testing.T) {
	os := calibrated(rand.New(rand.NewPCG(9, 10)), 500, "a")
	var whole, left, right Scores
	for i, o := range os {
		whole.Add(o)
		if i < 200 {
			left.Add(o)
		} else {
			right.Add(o)
		}
	}
	left.Merge(&right)
	left.Merge(new(Scores))
	got, want := left.Rows(), whole.Rows()
	if d := cmp.Diff(want, got, cmpopts.EquateApprox(1e-9, 1e-9), cmpopts.EquateNaNs()); d != "" {
		t.Errorf("merged, want what all of them score (-want +got):\n%s", d)
	}
	if fmt.Sprint(want[0].ScoreGroup) != "{a all }" {
		t.Errorf("first row %v, want all cases", want[0].ScoreGroup)
	}
}

func TestScoresOfOpenForecasts(t *testing.T) {
	var s Scores
	o := calibrated(rand.New(rand.NewPCG(1, 1)), 1, "a")[0]
	never := func(p float64) float64 {
		if p > .4 {
			return math.Inf(1)
		}
		return 30e3 + 1e5*p
	}
	o.Crossing = Crossing{Km: DistOf(never), Day: DistOf(never)}
	s.Add(o)
	o.Crossing = Crossing{}
	s.Add(o)
	row, _ := s.Row(ScoreGroup{"a", "all", ""})
	if row.Cases != 2 || row.Unanswered != 1 || row.Km.N != 1 {
		t.Errorf("cases, unanswered, scored = %d, %d, %d; want 2, 1, 1", row.Cases, row.Unanswered, row.Km.N)
	}
	v := reflect.ValueOf(row.Km)
	for i := range v.NumField() {
		if f := v.Field(i); f.Kind() == reflect.Float64 && (math.IsNaN(f.Float()) || math.IsInf(f.Float(), 0)) {
			t.Errorf("%s = %g", v.Type().Field(i).Name, f.Float())
		}
	}
}

// A life worked by hand: fitted on day 0 at 0 km, limit on day 1000 at 50,000
// km, inspections every 250 days.
func TestLifeUnderPolicies(t *testing.T) {
	l := Life{Fitted: 0, Removed: NotRemoved, CrossKm: 50e3, CrossDay: 1000}
	for _, tt := range []struct {
		name   string
		bookBy [4]float64 // on days 0, 250, 500, 750, at every level
		want   lifeEnd
	}{
		{"in time", [4]float64{600, 700, 800, 900}, lifeEnd{wasted: .1}},
		{"before the next inspection", [4]float64{600, 700, 740, 900}, lifeEnd{wasted: .26}},
		{"due at once", [4]float64{-20, 700, 740, 900}, lifeEnd{wasted: 1}},
		{"too late", [4]float64{600, 700, 800, 1001}, lifeEnd{passed: true}},
		{"never booked", [4]float64{600, 700, 800, math.Inf(1)}, lifeEnd{passed: true}},
	} {
		var ds []decision
		for i, b := range tt.bookBy {
			d := decision{day: Day(250 * i), crossDay: 1000, crossKm: 50e3}
			for k := range d.bookBy {
				d.bookBy[k] = b
			}
			ds = append(ds, d)
		}
		if got := l.replan(ds)[3]; got.passed != tt.want.passed || math.Abs(got.wasted-tt.want.wasted) > 1e-9 {
			t.Errorf("%s: %+v, want %+v", tt.name, got, tt.want)
		}
	}
	// Replace below a share left: readings .75, .5, .25, then the truth goes on
	// at the limit.
	visits := []visit{{250, .75}, {500, .5}, {750, .25}}
	last := decision{crossDay: 1000, crossKm: 50e3}
	ends := l.threshold(visits, last, false)
	for i, share := range thresholdShares {
		want := lifeEnd{passed: true}
		switch {
		case share >= .75:
			want = lifeEnd{wasted: .75}
		case share >= .5:
			want = lifeEnd{wasted: .5}
		case share >= .25:
			want = lifeEnd{wasted: .25}
		}
		if ends[i].passed != want.passed || math.Abs(ends[i].wasted-want.wasted) > 1e-9 {
			t.Errorf("threshold %g: %+v, want %+v", share, ends[i], want)
		}
	}
	// Where it is known that no inspection was to come, the limit is passed: at
	// .05 left as well as at .25 where a rotor is worn out half way.
	for _, tt := range []struct {
		last decision
		want [3]lifeEnd // at .05, .25 and .5 left
	}{
		{last, [3]lifeEnd{{passed: true}, {wasted: .25}, {wasted: .5}}},
		{decision{crossDay: 600, crossKm: 30e3}, [3]lifeEnd{{passed: true}, {passed: true}, {wasted: 1. / 6}}},
	} {
		ends := l.threshold(visits, tt.last, true)
		for i, share := range [3]float64{.05, .25, .5} {
			got := ends[slices.Index(thresholdShares, share)]
			if got.passed != tt.want[i].passed || math.Abs(got.wasted-tt.want[i].wasted) > 1e-9 {
				t.Errorf("threshold %g, limit on day %g: %+v, want %+v", share, tt.last.crossDay, got, tt.want[i])
			}
		}
	}
	if ends := l.threshold(nil, last, true); !ends[0].passed || !ends[len(ends)-1].passed {
		t.Error("a life without an inspection to come passes its limit")
	}
	points := []PlanPoint{{.01, .02, .3}, {.05, .04, .2}, {.1, .08, .12}}
	for _, tt := range []struct{ level, passed float64 }{{.005, .02}, {.03, .03}, {.05, .04}, {.3, .08}} {
		if got := atLevel(points, tt.level); math.Abs(got.Passed-tt.passed) > 1e-9 {
			t.Errorf("at level %g: %+v, want %g passed", tt.level, got, tt.passed)
		}
	}
	got := tuned([]PlanPoint{{.01, .02, .3}, {.05, .04, .2}, {.1, .08, .12}}, .05)
	if math.Abs(got.Level-.0625) > 1e-9 || math.Abs(got.Wasted-.18) > 1e-9 {
		t.Errorf("tuned to 5 %%: %+v, want level .0625 and .18 wasted", got)
	}
	// A removal on the way bends the distance.
	l = Life{Fitted: 0, Removed: 500, FittedKm: 0, RemovedKm: 40e3, CrossKm: 50e3, CrossDay: 1000}
	if got := l.left(500, 50e3); math.Abs(got-.2) > 1e-12 {
		t.Errorf("left on day 500 = %g, want .2", got)
	}
	if got := l.left(750, 50e3); math.Abs(got-.1) > 1e-12 {
		t.Errorf("left on day 750 = %g, want .1", got)
	}
}

func TestLifeTally(t *testing.T) {
	// A life of 100 km, forecasts at 25, 50 and 75 km: 10 % long, 30 % long,
	// right. All uniform laws 40 km wide about their medians.
	point := func(at, remaining float64) lifePoint {
		return lifePoint{Prognosis{at, remaining}, DistOf(func(p float64) float64 { return at + remaining - 20 + 40*p })}
	}
	var tally lifeTally
	tally.add([]lifePoint{point(25, 82.5), point(50, 65), point(75, 25)}, 100)
	tally.add([]lifePoint{point(25, 75)}, 100) // too few
	s := tally.score()
	want := LifeScore{
		N: 1, At: [3]int{1, 1, 1},
		Cone: [3]float64{1, 0, 1},
		// Mass in 85..115 of 87.5..127.5 is .69; in 90..110 of 95..135 .375; in
		// 95..105 of 80..120 .25.
		Mass:    [3]float64{1, 0, 0},
		RA:      [3]float64{.9, .7, 1},
		CRA:     (.9 + .7 + 1) / 3,
		Horizon: .25,
	}
	close := func(a, b float64) bool { return math.Abs(a-b) < 1e-9 }
	for i := range Lambdas {
		if s.At[i] != want.At[i] || s.Cone[i] != want.Cone[i] || s.Mass[i] != want.Mass[i] || !close(s.RA[i], want.RA[i]) {
			t.Errorf("at %g: cone %g, mass %g, RA %g; want %g, %g, %g", Lambdas[i], s.Cone[i], s.Mass[i], s.RA[i], want.Cone[i], want.Mass[i], want.RA[i])
		}
	}
	if s.N != 1 || !close(s.CRA, want.CRA) || !close(s.Horizon, want.Horizon) {
		t.Errorf("N, CRA, horizon = %d, %g, %g; want 1, %g, .25", s.N, s.CRA, s.Horizon, want.CRA)
	}
}
