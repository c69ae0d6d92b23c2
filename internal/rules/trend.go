package rules

import (
	"fmt"
	"math"
	"slices"

	"brakewear/internal/fleet"
)

// Trend is the rise or fall of a value over successive days, by the test of
// Mann (Econometrica 13, 1945, 245-259) and Kendall (Rank Correlation Methods,
// 1975), which asks nothing of how the values scatter.
type Trend struct {
	N      int
	Rising bool
	// Chance is how often values without any trend would lie in an order at
	// least as falling (or rising) as this one.
	Chance float64
	// PerYear is the slope by Sen (J. Am. Stat. Assoc. 63, 1968, 1379-1389):
	// the median of the slopes between all pairs.
	PerYear float64
	// Over is the change that the slope comes to from the first day to the
	// last.
	Over float64
}

const daysPerYear = 365.25

// trendTests is how many of the latest like tests a trend is looked for in: the
// slopes between all pairs of them are held, and a vehicle tested every day for
// half a year shows what there is to show. Judgement.
const trendTests = 200

// TrendOf returns the trend of values by day; days that are equal are in the
// order given.
func TrendOf(days []fleet.Date, xs []float64) Trend {
	n := len(xs)
	t := Trend{N: n, Chance: 1}
	if n < 2 {
		return t
	}
	s := 0
	var slopes []float64
	for i := range n {
		for j := i + 1; j < n; j++ {
			switch {
			case xs[j] > xs[i]:
				s++
			case xs[j] < xs[i]:
				s--
			}
			if days[j] > days[i] {
				slopes = append(slopes, (xs[j]-xs[i])/float64(days[j]-days[i])*daysPerYear)
			}
		}
	}
	t.Rising = s > 0
	t.Chance = kendallChance(xs, max(s, -s))
	if len(slopes) > 0 {
		t.PerYear = median(slopes)
		t.Over = t.PerYear * float64(days[n-1]-days[0]) / daysPerYear
	}
	return t
}

// exactUpTo is how many values the distribution of Kendall's S is counted for;
// beyond, its normal approximation is exact to three digits. Where values tie it
// stands in for few as well, with some tenths of its value as the error: six of
// which two pairs tie, in order, have 1/180 and get 1/103.
const exactUpTo = 50

// kendallChance returns the chance that S of n values in any order is s ≥ 0 or
// more.
func kendallChance(xs []float64, s int) float64 {
	n := len(xs)
	sorted := slices.Sorted(slices.Values(xs))
	variance := float64(n*(n-1)*(2*n+5)) / 18
	ties := false
	for i := 0; i < n; {
		j := i
		for j < n && sorted[j] == sorted[i] {
			j++
		}
		if k := j - i; k > 1 {
			ties = true
			variance -= float64(k*(k-1)*(2*k+5)) / 18
		}
		i = j
	}
	switch {
	case variance <= 0:
		return 1
	case ties || n > exactUpTo:
		z := (float64(s) - 1) / math.Sqrt(variance) // continuity: S goes in steps of 2
		return 0.5 * math.Erfc(z/math.Sqrt2)
	}
	// The number of orders of k values with so many inversions builds up from
	// that of k−1: the k-th goes in any of k places.
	counts := []float64{1}
	for k := 2; k <= n; k++ {
		next := make([]float64, k*(k-1)/2+1)
		for inv, c := range counts {
			for more := range k {
				next[inv+more] += c / float64(k)
			}
		}
		counts = next
	}
	// S = pairs − 2·inversions.
	chance := 0.0
	for inv := 0; inv <= (n*(n-1)/2-s)/2; inv++ {
		chance += counts[inv]
	}
	return chance
}

func median(xs []float64) float64 {
	slices.Sort(xs)
	n := len(xs)
	if n%2 == 1 {
		return xs[n/2]
	}
	return (xs[n/2-1] + xs[n/2]) / 2
}

// BrakeTrend is a trend over successive brake tests that a person should look
// into.
type BrakeTrend struct {
	Threshold *Threshold // which it is beyond: EfficiencyFall or PedalForceGrowth
	Trend
	Tests    []*fleet.BrakeTest // it is of, by date
	From, To float64            // the first and the last value
}

// String puts the trend into a sentence.
func (t *BrakeTrend) String() string {
	first, last := t.Tests[0], t.Tests[len(t.Tests)-1]
	what := fmt.Sprintf("the efficiency fell from %s to %s", Efficiency.Of(t.From), Efficiency.Of(t.To))
	if t.Threshold.Key == PedalForceGrowth {
		what = fmt.Sprintf("the pedal force for a like stop grew from %.0f to %.0f\u00a0N", t.From, t.To)
	}
	return fmt.Sprintf("Over %d %s tests of the %s brake from %s to %s %s; chance alone would show such an order in %s of cases.",
		t.N, first.Method, last.System, first.Date.Written(), last.Date.Written(),
		what, percentOf(t.Chance))
}

// BrakeTrends returns what the latest like tests of a vehicle of category c
// show: a falling efficiency, a growing pedal force. tests are by date, of one
// vehicle. Like are those of the last test's method and brake since the last
// test after a job, with which a new series begins.
func (ts Thresholds) BrakeTrends(c fleet.Category, tests []*fleet.BrakeTest) (found []BrakeTrend) {
	series := LikeTests(tests)
	chance := ts.Of(TrendChance, c)
	look := func(t *Threshold, value func(*fleet.BrakeTest) float64, worse func(t Trend, first float64) float64) {
		var days []fleet.Date
		var xs []float64
		var of []*fleet.BrakeTest
		for _, b := range series {
			if x := value(b); x > 0 {
				days, xs, of = append(days, b.Date), append(xs, x), append(of, b)
			}
		}
		if t == nil || chance == nil || len(xs) < 2 {
			return
		}
		if old := len(xs) - trendTests; old > 0 {
			days, xs, of = days[old:], xs[old:], of[old:]
		}
		tr := TrendOf(days, xs)
		if change := worse(tr, xs[0]); t.Shows(change) && chance.Shows(100*tr.Chance) {
			found = append(found, BrakeTrend{Threshold: t, Trend: tr, Tests: of, From: xs[0], To: xs[len(xs)-1]})
		}
	}
	look(ts.Of(EfficiencyFall, c), (*fleet.BrakeTest).Efficiency, func(t Trend, _ float64) float64 { return -t.Over })
	like := likeForce(series)
	look(ts.Of(PedalForceGrowth, c), like, func(t Trend, first float64) float64 { return 100 * t.Over / first })
	return found
}

// LikeTests returns the last of tests, and those before it that can be
// compared with it, by date.
func LikeTests(tests []*fleet.BrakeTest) []*fleet.BrakeTest {
	if len(tests) == 0 {
		return nil
	}
	last := tests[len(tests)-1]
	var like []*fleet.BrakeTest
	for _, t := range slices.Backward(tests) {
		if t.Method == last.Method && t.System == last.System {
			like = append(like, t)
		}
		if t.Stage == fleet.AfterJob {
			break
		}
	}
	slices.Reverse(like)
	return like
}

// likeForce returns the function that gives the pedal force of a test as it
// would be for a stop of the efficiency of the last one: nearly in proportion,
// for small differences.
func likeForce(tests []*fleet.BrakeTest) func(*fleet.BrakeTest) float64 {
	ref := 0.0
	for _, t := range tests {
		if e := t.Efficiency(); e > 0 && t.PedalN > 0 {
			ref = e
		}
	}
	return func(t *fleet.BrakeTest) float64 {
		if e := t.Efficiency(); e > 0 && ref > 0 {
			return t.PedalN * ref / e
		}
		return t.PedalN
	}
}
