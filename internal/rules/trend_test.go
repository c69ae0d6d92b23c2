package rules

import (
	"math"
	"strings"
	"testing"

	"brakewear/internal/fleet"
)

// TestTrendChance compares with cor.test(seq_along(y), y, method = "kendall")
// of R 4.2.2, one-sided; exact = FALSE, continuity = TRUE where values tie.
// The values are invented.
func TestTrendChance(t *testing.T) {
	for _, c := range []struct {
		xs     []float64
		rising bool
		want   float64
	}{
		{[]float64{62, 60, 57, 55}, false, 0.04166666667},
		{[]float64{62, 60, 61, 55, 54}, false, 0.04166666667},
		{[]float64{62, 63, 60, 61, 58, 57, 59, 55}, false, 0.007068452381},
		{[]float64{300, 310, 305, 330, 340, 360}, true, 0.008333333333},
		{[]float64{62, 62, 60, 60, 57, 55}, false, 0.009681924883},
		{[]float64{300, 310, 310, 330, 340, 340, 360}, true, 0.002833046176},
		{[]float64{61, 64, 63, 62}, false, 0.625}, // as many up as down
		{[]float64{60, 60, 60, 60}, false, 1},
		{[]float64{60}, false, 1},
	} {
		days := make([]fleet.Date, len(c.xs))
		for i := range days {
			days[i] = fleet.Date(20000 + 90*i)
		}
		got := TrendOf(days, c.xs)
		if math.Abs(got.Chance-c.want) > 1e-9 || got.Rising != c.rising || got.N != len(c.xs) {
			t.Errorf("%v: got %+v, want a chance of %g, rising %v", c.xs, got, c.want, c.rising)
		}
	}
}

// TestTrendSlope: the median of the slopes between all pairs, by hand: 10, 10,
// 10 and, with the outlier, −65, −27.5, −15 a year.
func TestTrendSlope(t *testing.T) {
	year := func(n float64) fleet.Date { return fleet.Date(math.Round(n * daysPerYear)) }
	days := []fleet.Date{0, year(4), year(8)}
	got := TrendOf(days, []float64{10, 50, 90})
	if math.Abs(got.PerYear-10) > 1e-9 || math.Abs(got.Over-80) > 1e-9 {
		t.Errorf("got %+v, want 10 a year and 80 in all", got)
	}
	// An outlier does not move it much: slopes 10, 10, 10, -20, -40, -80 (by 4 years).
	got = TrendOf([]fleet.Date{0, year(4), year(8), year(12)}, []float64{10, 50, 90, -230})
	if want := (10.0 - 20) / 2; math.Abs(got.PerYear-want) > 1e-9 {
		t.Errorf("got %g a year, want %g", got.PerYear, want)
	}
	if got := TrendOf([]fleet.Date{5, 5, 5, 5}, []float64{62, 60, 57, 55}); got.PerYear != 0 || math.IsNaN(got.Over) {
		t.Errorf("all on one day: got %+v", got)
	}
}

// series returns roller tests a quarter apart with the efficiencies in % and
// pedal forces in N.
func series(values ...[2]float64) (out []*fleet.BrakeTest) {
	for i, v := range values {
		b := even(v[0], v[1])
		b.Date = fleet.Date(20000 + 91*i)
		out = append(out, b)
	}
	return out
}

// TestBrakeTrends with invented tests and the thresholds of the table: 5
// points, 20 %, a chance of 5 %.
func TestBrakeTrends(t *testing.T) {
	falling := series([2]float64{64, 300}, [2]float64{61, 310}, [2]float64{58, 305}, [2]float64{55, 320})
	growing := series([2]float64{60, 300}, [2]float64{60.5, 340}, [2]float64{59.8, 370}, [2]float64{60.2, 410})
	afterJob := series([2]float64{64, 300}, [2]float64{61, 310}, [2]float64{58, 305}, [2]float64{55, 320})
	afterJob[2].Stage = fleet.AfterJob
	other := series([2]float64{64, 300}, [2]float64{61, 310}, [2]float64{58, 305}, [2]float64{55, 320})
	other[0].System = fleet.ParkingBrake
	otherWay := series([2]float64{64, 300}, [2]float64{61, 310}, [2]float64{58, 305}, [2]float64{55, 320})
	otherWay[0].Method = fleet.Plate
	noForce := series([2]float64{60, 300}, [2]float64{60.5, 340}, [2]float64{59.8, 370}, [2]float64{60.2, 410}, [2]float64{30, 0})
	for _, c := range []struct {
		name  string
		tests []*fleet.BrakeTest
		own   map[string]float64
		want  []ThresholdKey
		says  string
	}{
		{"falling", falling, nil, []ThresholdKey{EfficiencyFall, PedalForceGrowth}, "the efficiency fell from 64.0\u00a0% to 55.0\u00a0%; chance alone would show such an order in 4.2\u00a0% of cases"},
		{"growing force", growing, nil, []ThresholdKey{PedalForceGrowth}, "the pedal force for a like stop grew from 301 to 410\u00a0N"},
		{"growing by 10 %", series([2]float64{60, 300}, [2]float64{60, 310}, [2]float64{60, 320}, [2]float64{60, 330}), nil, nil, ""},
		{"three are too few", falling[:3], nil, nil, ""},
		{"too little", series([2]float64{64, 0}, [2]float64{63.5, 0}, [2]float64{63, 0}, [2]float64{62.5, 0}), nil, nil, ""},
		{"too little, but for a stricter workshop", series([2]float64{64, 0}, [2]float64{63.5, 0}, [2]float64{63, 0}, [2]float64{62.5, 0}),
			map[string]float64{"BW-03": 1}, []ThresholdKey{EfficiencyFall}, ""},
		{"up and down", series([2]float64{64, 0}, [2]float64{50, 0}, [2]float64{63, 0}, [2]float64{52, 0}, [2]float64{58, 0}), nil, nil, ""},
		{"rising", series([2]float64{55, 0}, [2]float64{58, 0}, [2]float64{61, 0}, [2]float64{64, 0}), nil, nil, ""},
		{"a job in between", afterJob, nil, nil, ""},
		{"another brake", other, nil, nil, ""},
		{"another method", otherWay, nil, nil, ""},
		{"no force on the last, of half the efficiency", noForce, nil, []ThresholdKey{PedalForceGrowth}, "grew from 301 to 410\u00a0N"},
		{"none", nil, nil, nil, ""},
	} {
		got := ThresholdsWith(c.own).BrakeTrends("N3", c.tests)
		var keys []ThresholdKey
		var says []string
		for i := range got {
			keys = append(keys, got[i].Threshold.Key)
			says = append(says, got[i].String())
		}
		if len(keys) != len(c.want) || len(keys) > 0 && keys[0] != c.want[0] || !strings.Contains(strings.Join(says, "\n"), c.says) {
			t.Errorf("%s: got %v, want %v; it says %q", c.name, keys, c.want, says)
		}
	}
}

// Of a vehicle that is tested every day the latest tests are looked at. Invented:
// for years the efficiency rose, and lately it falls.
func TestBrakeTrendsOfMany(t *testing.T) {
	var tests []*fleet.BrakeTest
	for i := range 3000 {
		g := .5 + .00005*float64(i)
		if old := i - (3000 - trendTests); old >= 0 {
			g = .7 - .001*float64(old)
		}
		tests = append(tests, &fleet.BrakeTest{Date: fleet.Date(10000 + i), Method: fleet.Decelerometer, System: fleet.ServiceBrake, Mean: g * fleet.Gravity})
	}
	found := ThresholdsWith(nil).BrakeTrends("N3", tests)
	if len(found) != 1 || found[0].N != trendTests || len(found[0].Tests) != trendTests || found[0].Rising || math.Abs(found[0].From-70) > .1 {
		t.Errorf("got %+v, want the fall over the last %d", found, trendTests)
	}
}
